//! Instruments that say nothing, or nothing new.

use super::*;

#[test]
fn silent_port_is_stale_and_the_next_reading_carries_the_gap() {
    let mut rig = Rig::new();
    rig.load(0, "100");
    rig.tick(1_900 * MS);
    assert_eq!(rig.fault(ChannelId::Load), "");
    for at in [2_100, 2_200, 4_000] {
        rig.tick(at * MS);
        assert_eq!(rig.fault(ChannelId::Load), "stale");
    }
    rig.load(5_000 * MS, "101");
    assert_eq!(rig.fault(ChannelId::Load), "");
    assert_eq!(rig.of_channel(ChannelId::Load)[1], (101.0, Flags::GAP));
    assert_eq!(rig.instruments.health(ChannelId::Load).gaps, 1);
    let (silences, _) = rig.instruments.fault_spells(ChannelId::Load);
    assert_eq!(silences.first().collect::<Vec<_>>(), [(0, 5_000 * MS)]);
}

#[test]
fn instrument_that_never_spoke_is_stale() {
    let mut rig = Rig::new();
    rig.tick(0);
    assert_eq!(rig.fault(ChannelId::Depth), "");
    rig.tick(2_500 * MS);
    assert_eq!(rig.fault(ChannelId::Depth), "stale");
    assert_eq!(rig.instruments.health(ChannelId::Depth).last_good_at, None);
}

#[test]
fn instrument_that_repeats_one_frame_for_ever_is_stale() {
    let mut rig = Rig::new();
    for index in 0..40 {
        rig.depth(index * 100 * MS, 7, 1000.0);
    }
    assert_eq!(rig.fault(ChannelId::Depth), "stale");
}

#[test]
fn held_reading_comes_out_in_silence_and_at_the_end() {
    for end_of_run in [false, true] {
        let mut rig = Rig::new();
        for index in 0..20 {
            rig.load(index * 100 * MS, &format!("{}", 2000 + index % 3));
        }
        rig.load(2_000 * MS, "6000");
        if end_of_run {
            let Rig {
                instruments,
                judged,
                ..
            } = &mut rig;
            instruments.finish(&mut |reading| judged.push(*reading));
        } else {
            rig.tick(4_100 * MS);
        }
        assert_eq!(
            rig.of_channel(ChannelId::Load).last(),
            Some(&(6000.0, Flags::NONE))
        );
    }
}

#[test]
fn lost_port_is_closed_and_the_other_channel_goes_on() {
    let mut rig = Rig::new();
    rig.load(0, "2000");
    rig.depth(0, 1, 1000.0);
    rig.push(&Input::Port {
        port: 0,
        at: MS,
        open: false,
    });
    rig.depth(100 * MS, 2, 1000.1);
    assert_eq!(rig.fault(ChannelId::Load), "closed");
    assert_eq!(rig.fault(ChannelId::Depth), "");
    rig.push(&Input::Port {
        port: 0,
        at: 200 * MS,
        open: true,
    });
    rig.load(300 * MS, "00"); // may be the end of a longer line
    rig.load(400 * MS, "2000");
    assert_eq!(rig.fault(ChannelId::Load), "");
    let values: Vec<f64> = rig
        .of_channel(ChannelId::Load)
        .iter()
        .map(|v| v.0)
        .collect();
    assert_eq!(values, [2000.0, 2000.0]);
    assert_eq!(rig.instruments.health(ChannelId::Load).port_losses, 1);
}

#[test]
fn rate_is_that_of_the_last_seconds() {
    let mut rig = Rig::new();
    for index in 0..100 {
        rig.load(index * 50 * MS, "1");
    }
    let health = rig.instruments.health(ChannelId::Load);
    assert!((health.rate_hz - 20.0).abs() < 1e-9, "{}", health.rate_hz);
    rig.tick(20_000 * MS);
    rig.tick(23_000 * MS);
    assert_eq!(rig.instruments.health(ChannelId::Load).rate_hz, 0.0);
}
