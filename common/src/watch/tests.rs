//! No alarm chatters, whatever noise comes: every signal at its limit at once, as the pipeline sees it.

use super::*;
use crate::alarm::Level;
use crate::job::{print_default_job, read_job};
use crate::result::AlarmRecord;
use crate::units::Metres;
use proptest::prelude::*;

const STEP: Nanos = 20_000_000;

/// Noise of a given colour: 0 white, near 1 a slow wander.
struct Noise {
    state: u64,
    value: f64,
    colour: f64,
}

impl Noise {
    fn next(&mut self) -> f64 {
        self.state ^= self.state << 13;
        self.state ^= self.state >> 7;
        self.state ^= self.state << 17;
        let white = (self.state >> 11) as f64 / (1u64 << 53) as f64 - 0.5;
        self.value = self.colour * self.value + white;
        self.value
    }
}

fn moment(t: f64, noise: &mut Noise) -> Moment {
    let n = noise.next();
    Moment {
        index: (t * 50.0) as i64,
        t,
        counted: 2000.0,
        line_speed: 2.0 + 0.2 * n,
        tension: 3000.0 + 500.0 * n,
        tension_max: 3000.0,
        ..Moment::still(1990.0 + 0.2 * n)
    }
}

/// Ten minutes of it.
fn noisy_run(seed: u64, colour: f64, scale: f64) -> Vec<AlarmRecord> {
    let job = read_job(print_default_job(), "job.toml")
        .unwrap_or_else(|findings| panic!("{findings}"))
        .job;
    let mut watch = Watch::new(&job);
    // Both stops where the tool is.
    watch.limits.upper_stop = Some(Metres(1990.0));
    watch.limits.lower_stop = Some(Metres(1990.0));
    let limit = watch.limit_n(Some(2000.0));
    let mut noise = Noise {
        state: seed | 1,
        value: 0.0,
        colour,
    };
    let health = crate::calibrate::Instruments::new(&Job {
        load: None,
        depth: None,
        ..job.clone()
    })
    .expect("no port, nothing to set up")
    .health(ChannelId::Load);
    for n in 0..30_000 {
        let at = n * STEP;
        let t = at as f64 * 1e-9;
        watch.depth(at, 2000.0 - 0.2 * t % 5.0 + 0.002 * noise.next());
        watch.load(at, limit + scale * noise.next());
        let state = match (noise.next() * 4.0).rem_euclid(3.0) as u32 {
            0 => Motionless::Stalled,
            1 => Motionless::Slack,
            _ => Motionless::Up,
        };
        watch.moment(at, &moment(t, &mut noise), state);
        let fault = if noise.next() > 0.0 {
            Fault::Stale
        } else {
            Fault::None
        };
        watch.health(at, ChannelId::Load, &ChannelHealth { fault, ..health });
        watch.line_life(at, Some(0.8 + 0.01 * noise.next()));
        if n % 5 == 0 {
            watch.tick(at);
        }
    }
    watch.engine.records().to_vec()
}

#[test]
fn another_fault_of_an_acknowledged_instrument_is_told_anew_and_the_same_one_is_not() {
    let job = read_job(print_default_job(), "job.toml")
        .unwrap_or_else(|findings| panic!("{findings}"))
        .job;
    let mut watch = Watch::new(&job);
    let health = crate::calibrate::Instruments::new(&job)
        .expect("the sample job sets up")
        .health(ChannelId::Load);
    let second = NANOS_PER_SECOND;
    let mut at = 0;
    let mut state_after = |watch: &mut Watch, fault, seconds: i64| {
        for _ in 0..seconds {
            at += second;
            watch.health(at, ChannelId::Load, &ChannelHealth { fault, ..health });
            watch.tick(at);
        }
        let state = watch
            .engine
            .state(AlarmKind::Sensor(ChannelId::Load), Level::High);
        watch.mark(at, &MarkKind::Acknowledge("sensor".to_owned()));
        state.name()
    };
    let told = "unacknowledged";
    let known = "acknowledged";
    assert_eq!(state_after(&mut watch, Fault::Frames, 3), told);
    assert_eq!(state_after(&mut watch, Fault::Frames, 300), known);
    assert_eq!(state_after(&mut watch, Fault::Closed, 1), told);
    // The same to the crew; and what comes and goes between known ones is no news each time.
    assert_eq!(state_after(&mut watch, Fault::Stale, 10), known);
    assert_eq!(state_after(&mut watch, Fault::Frames, 10), known);
    assert_eq!(state_after(&mut watch, Fault::Closed, 10), known);
    // After minutes of another one it is news again.
    assert_eq!(state_after(&mut watch, Fault::Frames, 200), known);
    assert_eq!(state_after(&mut watch, Fault::Closed, 1), told);
    // A moment of health between them changes nothing.
    assert_eq!(state_after(&mut watch, Fault::None, 2), known);
    assert_eq!(state_after(&mut watch, Fault::Range, 1), told);
}

#[test]
fn where_readings_still_come_nobody_is_told_that_overpull_cannot_be_seen() {
    let job = read_job(print_default_job(), "job.toml")
        .unwrap_or_else(|findings| panic!("{findings}"))
        .job;
    let health = crate::calibrate::Instruments::new(&job)
        .expect("the sample job sets up")
        .health(ChannelId::Load);
    for (fault, rate_hz, text) in [
        (Fault::Frames, 0.0, "overpull cannot be seen"),
        (Fault::Frames, 10.0, "overpull may be seen late"),
        (Fault::Leaps, 20.0, "overpull may be seen late"),
        (Fault::Stale, 0.0, "overpull cannot be seen"),
    ] {
        let mut watch = Watch::new(&job);
        let health = ChannelHealth {
            fault,
            rate_hz,
            ..health
        };
        watch.health(1, ChannelId::Load, &health);
        let message = &watch.engine.views()[0].message;
        assert!(message.contains(text), "{message}");
    }
}

#[test]
fn a_silence_while_the_program_did_not_run_is_not_blamed_on_the_cell() {
    let job = read_job(print_default_job(), "job.toml")
        .unwrap_or_else(|findings| panic!("{findings}"))
        .job;
    let healthy = crate::calibrate::Instruments::new(&job)
        .expect("the sample job sets up")
        .health(ChannelId::Load);
    let ticks = |watch: &mut Watch, tenths: std::ops::Range<Nanos>, fault| {
        for n in tenths {
            for channel in [ChannelId::Load, ChannelId::Depth] {
                let fault = if channel == ChannelId::Load {
                    fault
                } else {
                    Fault::None
                };
                let health = ChannelHealth {
                    channel,
                    fault,
                    ..healthy
                };
                watch.health(n * NANOS_PER_SECOND / 10, channel, &health);
            }
        }
        watch
            .engine
            .views()
            .first()
            .map_or_else(String::new, |view| view.message.clone())
    };
    let away = "kerfwatch itself did not run";
    let mut watch = Watch::new(&job);
    assert_eq!(ticks(&mut watch, 0..50, Fault::None), "");
    // A minute down; a second later nothing has come yet.
    assert!(ticks(&mut watch, 650..660, Fault::Stale).starts_with(away));
    // Once readings come, that stays what it said.
    let over = ticks(&mut watch, 660..800, Fault::None);
    assert!(over.contains(away) && !over.contains("load cell"), "{over}");
    // A cell that stays away has had its time.
    let mut watch = Watch::new(&job);
    ticks(&mut watch, 0..50, Fault::None);
    assert!(ticks(&mut watch, 650..680, Fault::Stale).contains("look at the load cell"));
    // So has one that was silent before.
    let mut watch = Watch::new(&job);
    ticks(&mut watch, 0..50, Fault::Stale);
    assert!(ticks(&mut watch, 650..651, Fault::Stale).contains("look at the load cell"));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 12, failure_persistence: None, ..ProptestConfig::default() })]

    // Three raisings of one alarm within a minute are chatter (common practice, from memory).
    #[test]
    fn no_alarm_chatters_when_every_signal_is_noise_at_its_limit(
        seed in any::<u64>(), colour in 0.0f64..0.999, scale in 5.0f64..1500.0
    ) {
        let records = noisy_run(seed, colour, scale);
        let mut names: Vec<(&str, &str)> = records
            .iter()
            .map(|record| (record.kind.as_str(), record.level.as_str()))
            .collect();
        names.sort_unstable();
        names.dedup();
        prop_assert!(names.len() >= 5, "{names:?}");
        for (kind, level) in names {
            let raised: Vec<f64> = records
                .iter()
                .filter(|record| record.kind == kind && record.level == level)
                .map(|record| record.raised_s)
                .collect();
            prop_assert!(raised.windows(3).all(|w| w[2] - w[0] > 60.0), "{kind} {level}: {raised:?}");
        }
    }
}
