//! Values that are not what the line does: spikes, out of range, frozen, a cell that warms.

use super::*;

#[test]
fn spike_is_set_aside_for_estimation_only_and_the_overpull_path_sees_it_at_once() {
    let mut rig = Rig::new();
    for index in 0..20 {
        rig.load(index * 100 * MS, &format!("{}", 2000 + index % 3));
    }
    rig.load(2_000 * MS, "6000");
    assert_eq!(rig.every.last().unwrap().value, 6000.0);
    assert_eq!(rig.judged.len(), 20);
    rig.load(2_100 * MS, "2001");
    let judged = rig.of_channel(ChannelId::Load);
    assert_eq!(judged[20], (6000.0, Flags::SPIKE));
    assert_eq!(judged[21], (2001.0, Flags::NONE));
    assert_eq!(rig.instruments.health(ChannelId::Load).spikes, 1);
}

#[test]
fn pull_that_lasts_two_readings_is_handed_to_estimation() {
    let mut rig = Rig::new();
    for index in 0..20 {
        rig.load(index * 100 * MS, &format!("{}", 2000 + index % 3));
    }
    rig.load(2_000 * MS, "6000");
    rig.load(2_100 * MS, "6020");
    let judged = rig.of_channel(ChannelId::Load);
    assert_eq!(judged[20..], [(6000.0, Flags::NONE), (6020.0, Flags::NONE)]);
    assert_eq!(rig.instruments.health(ChannelId::Load).spikes, 0);
}

#[test]
fn out_of_range_value_is_flagged_counted_and_still_seen() {
    let mut rig = Rig::new();
    rig.load(0, "2000");
    rig.load(100 * MS, "32767");
    assert_eq!(rig.fault(ChannelId::Load), "range");
    assert_eq!(rig.every[1].value, 32_767.0);
    assert!(rig.judged[1].flags.has(Flags::OUT_OF_RANGE));
    assert!(!rig.judged[1].flags.usable());
    rig.load(200 * MS, "2000");
    assert_eq!(rig.fault(ChannelId::Load), "");
    let health = rig.instruments.health(ChannelId::Load);
    assert_eq!((health.out_of_range, health.readings), (1, 3));
}

#[test]
fn tension_that_stays_negative_is_out_of_range_and_a_bounce_or_a_zero_error_is_not() {
    // The breaking load is 10 kN; the job itself believes all down to -5 kN.
    let mut job = invented_job();
    job.load.as_mut().unwrap().channel.raw_min = -5000.0;
    for (value, lasts, fault) in [(-984, 40, "range"), (-984, 10, ""), (-300, 40, "")] {
        let mut rig = Rig::of(&job);
        for index in 0..lasts {
            rig.load(index * 50 * MS, &format!("{value}"));
        }
        assert_eq!(rig.fault(ChannelId::Load), fault, "{value} N");
        let flags = rig.every.last().unwrap().flags;
        assert_eq!(flags.has(Flags::OUT_OF_RANGE), !fault.is_empty());
        assert_eq!(rig.every.last().unwrap().value, f64::from(value));
        rig.load(lasts * 50 * MS, "1000");
        assert_eq!(rig.fault(ChannelId::Load), "");
    }
    let words = Fault::Negative.in_words();
    assert!(words.contains("reversed") && words.contains("zero"));
}

#[test]
fn depth_that_this_well_does_not_have_is_out_of_range_unless_the_job_says_otherwise() {
    let mut job = invented_job();
    let mut faults = |raw_min, raw_max| {
        let depth = &mut job.depth.as_mut().unwrap().channel;
        (depth.raw_min, depth.raw_max) = (raw_min, raw_max);
        // The interval ends at 1100 m. Reversed sign, swapped words, a float gone wild; then what may be.
        [-2004.0, 131_000_000.0, 1e300, 8005.0, -30.0, 0.0, 2100.0].map(|depth| {
            let mut rig = Rig::of(&job);
            rig.depth(0, 1, depth);
            rig.fault(ChannelId::Depth)
        })
    };
    let range = "range";
    assert_eq!(
        faults(f64::MIN, f64::MAX),
        [range, range, range, range, "", "", ""]
    );
    assert_eq!(faults(f64::MIN, 9000.0), ["", range, range, "", "", "", ""]);
}

#[test]
fn a_leap_of_the_counter_is_a_fault_of_its_own_until_the_counter_is_set() {
    let mut rig = Rig::new();
    let mut at = 0;
    let mut depths = |rig: &mut Rig, depth: f64| {
        for _ in 0..20 {
            at += 50 * MS;
            rig.depth(at, (at / MS) as u32, depth);
        }
        rig.every.last().unwrap().flags
    };
    assert!(depths(&mut rig, 1005.0).tells_depth());
    let flags = depths(&mut rig, 193.0);
    assert!(flags.usable() && !flags.tells_depth(), "{flags:?}");
    assert_eq!(rig.fault(ChannelId::Depth), "leapt");
    let health = rig.instruments.health(ChannelId::Depth);
    assert_eq!((health.leaps, health.leapt_m), (1, -812.0));
    let kind = MarkKind::Zero(193.0);
    let mark = crate::input::Mark {
        kind,
        author: String::new(),
    };
    rig.push(&Input::Mark {
        at: 3000 * MS,
        mark,
    });
    assert!(depths(&mut rig, 193.0).tells_depth());
    assert_eq!(rig.fault(ChannelId::Depth), "");
}

#[test]
fn frozen_load_is_found_while_the_line_moves_and_not_while_it_rests() {
    for (speed, fault) in [(0.0, ""), (1.0, "frozen")] {
        let mut rig = Rig::new();
        for index in 0..100_u32 {
            let at = Nanos::from(index) * 100 * MS;
            rig.load(at, "2000");
            rig.depth(at, index, 1000.0 + speed * f64::from(index) * 0.1);
        }
        assert_eq!(rig.fault(ChannelId::Load), fault);
        let frozen = |(_, flags): &(f64, Flags)| flags.has(Flags::FROZEN);
        let seen = rig.of_channel(ChannelId::Load).iter().any(frozen);
        assert_eq!(seen, speed > 0.0);
        rig.load(10_000 * MS, "2001");
        assert_eq!(rig.fault(ChannelId::Load), "");
        // From the last change of the value on, not from when it was told.
        let (silences, spells) = rig.instruments.fault_spells(ChannelId::Load);
        assert_eq!(silences.count(), 0);
        let whole = (speed > 0.0).then_some((0, 10_000 * MS));
        assert_eq!(spells.first().collect::<Vec<_>>(), Vec::from_iter(whole));
    }
}

/// Depth of so many m for two minutes at 10 Hz, stuck at it from the start or after a few readings; the load by time.
fn stuck_depth(depth: f64, step: f64, load: impl Fn(f64) -> f64) -> &'static str {
    let mut rig = Rig::new();
    for index in 0..1200_u32 {
        let at = Nanos::from(index) * 100 * MS;
        rig.load(at, &format!("{:.1}", load(f64::from(index) * 0.1)));
        rig.depth(at, index, if index < 5 { depth - step } else { depth });
    }
    rig.fault(ChannelId::Depth)
}

#[test]
fn frozen_depth_is_found_while_the_load_swings_again_and_again() {
    let strokes = |t: f64| if t % 40.0 < 20.0 { 985.0 } else { 1455.0 };
    assert_eq!(stuck_depth(1000.0, 0.01, strokes), "frozen");
    let pulls = |t: f64| 1200.0 + 900.0 * (t * 0.5).sin();
    assert_eq!(stuck_depth(1000.0, 0.01, pulls), "frozen");
}

#[test]
fn a_resting_depth_is_not_frozen_whatever_a_resting_line_does() {
    let quiet = |t: f64| 1200.0 + 60.0 * (t * 0.6).sin();
    let crept = |t: f64| 1200.0 + 12.0 * t;
    let clamped_and_freed = |t: f64| {
        if (30.0..90.0).contains(&t) {
            0.0
        } else {
            1200.0
        }
    };
    let loose = |t: f64| {
        if (t * 10.0).round() % 2.0 == 0.0 {
            0.0
        } else {
            1200.0
        }
    };
    let rests: [fn(f64) -> f64; 4] = [quiet, crept, clamped_and_freed, loose];
    for load in rests {
        assert_eq!(stuck_depth(1000.0, 0.01, load), "");
    }
    // A held tool on a short line moves a coarse counter by less than its step.
    let pulls = |t: f64| 1200.0 + 900.0 * (t * 0.5).sin();
    assert_eq!(stuck_depth(100.0, 0.1, pulls), "");
}

/// 20 readings/s of a load with some noise; 0 instead where `is_lost`.
fn loose_load(rig: &mut Rig, from: u32, to: u32, is_lost: impl Fn(u32) -> bool) {
    for index in from..to {
        let at = Nanos::from(index) * 50 * MS;
        let value = if is_lost(index) {
            0.0
        } else {
            1200.0 + f64::from(index * 7 % 13)
        };
        rig.load(at, &format!("{value}"));
        rig.tick(at);
    }
}

#[test]
fn a_load_that_drops_out_again_and_again_is_a_fault_until_it_is_steady() {
    let lost: [fn(u32) -> bool; 4] = [
        |n| n % 2 == 0,
        |n| n % 3 != 0,
        |n| n % 4 < 2,
        // Now and then, for a quarter of a second.
        |n| n % 15 < 5,
    ];
    for is_lost in lost {
        let mut rig = Rig::new();
        loose_load(&mut rig, 0, 200, |_| false);
        assert_eq!(rig.fault(ChannelId::Load), "");
        loose_load(&mut rig, 200, 400, is_lost);
        assert_eq!(rig.fault(ChannelId::Load), "leaps");
        loose_load(&mut rig, 400, 600, |_| false);
        assert_eq!(rig.fault(ChannelId::Load), "");
    }
}

#[test]
fn a_spike_now_and_then_and_a_line_slacked_off_are_no_loose_contact() {
    for is_low in [|n: u32| n.is_multiple_of(40), |n: u32| n % 80 < 40] {
        let mut rig = Rig::new();
        for part in 0..20 {
            loose_load(&mut rig, part * 40, (part + 1) * 40, is_low);
            assert_eq!(rig.fault(ChannelId::Load), "");
        }
    }
}

#[test]
fn a_coarse_counter_that_flickers_between_two_readings_at_rest_is_no_fault() {
    let mut rig = Rig::new();
    for index in 0..400_u32 {
        let flicker = f64::from(u32::from(index % 3 == 0));
        rig.depth(Nanos::from(index) * 50 * MS, index, 1000.0 + flicker);
        rig.tick(Nanos::from(index) * 50 * MS);
        assert_eq!(rig.fault(ChannelId::Depth), "");
    }
}

#[test]
fn temperature_in_the_line_corrects_the_load_and_an_impossible_one_does_not() {
    let mut job = invented_job();
    if let Some(load) = &mut job.load {
        load.channel.protocol = Protocol::Pattern {
            pattern: r"^(?<load>\S+) (?<temperature>\S+)$".to_owned(),
        };
        load.temperature = Some(job::CellTemperature {
            zero_per_kelvin: Newtons(3.0),
            span_per_kelvin: 0.0002,
            reference_c: 20.0,
            constant_c: None,
            unit: job::TemperatureUnit::Celsius,
        });
    }
    let mut instruments = Instruments::new(&job).expect("set up");
    let mut values = Vec::new();
    // 2000 N at 45 degC: 2000 x 1.005 + 75 = 2085 (by hand).
    for line in ["2000 20.0", "2085 45.0", "2085 999", "1915 -5"] {
        let input = Input::Received {
            port: 0,
            at: 0,
            bytes: format!("{line}\r\n").into_bytes(),
        };
        instruments.push(&input, &mut |r| values.push(r.value), &mut |_| {});
    }
    let wanted = [2000.0, 2000.0, 2000.0, 2000.0];
    for (found, wanted) in values.iter().zip(wanted) {
        assert!((found - wanted).abs() < 0.02, "{values:?}");
    }
    assert_eq!(values.len(), 4);
    assert_eq!(instruments.health(ChannelId::Load).out_of_range, 1);
}
