//! Delays and deadbands: what holds too briefly, and noise around a limit, raise and clear nothing.

use super::*;
use proptest::prelude::*;

#[test]
fn on_delay_needs_the_condition_for_the_whole_time() {
    let mut e = engine();
    slack(&mut e, 0, true);
    slack(&mut e, S / 4, false);
    slack(&mut e, S / 2, true);
    slack(&mut e, 14 * S / 10, true);
    assert!(!e.stands(AlarmKind::Slack));
    e.tick(2 * S);
    assert!(e.stands(AlarmKind::Slack));
    // Raised when the delay of a second ended, however late the tick came.
    assert_eq!(states(&mut e), [(3 * S / 2, "unacknowledged")]);
}

#[test]
fn off_delay_holds_the_alarm_through_brief_clearing() {
    let mut e = engine();
    slack(&mut e, 0, true);
    e.tick(S);
    slack(&mut e, 2 * S, false);
    slack(&mut e, 4 * S, true);
    slack(&mut e, 5 * S, false);
    e.tick(7 * S);
    assert!(e.stands(AlarmKind::Slack));
    e.tick(9 * S);
    assert_eq!(
        e.state(AlarmKind::Slack, Level::Low),
        AlarmState::ReturnedUnacknowledged
    );
    assert_eq!(e.records().len(), 1);
    assert_eq!(e.records()[0].cleared_s, Some(5.0));
}

#[test]
fn results_do_not_depend_on_how_often_time_is_told() {
    let run = |every: Nanos| {
        let mut e = engine();
        for step in 0..600 {
            let at = step * S / 10;
            slack(&mut e, at, (at / (7 * S)) % 2 == 1);
            over(&mut e, at, (100..130).contains(&step));
            let mut tick = at;
            while tick < at + S / 10 {
                e.tick(tick);
                tick += every;
            }
        }
        (states(&mut e), e.records().to_vec())
    };
    assert_eq!(run(S), run(S / 1000));
}

#[test]
fn a_commanded_reversal_suppresses_low_tension_only() {
    let mut e = engine();
    e.reversal(0, 3 * S);
    slack(&mut e, S / 10, true);
    over(&mut e, S / 10, true);
    e.tick(2 * S);
    assert_eq!(
        e.state(AlarmKind::Slack, Level::Low),
        AlarmState::Suppressed
    );
    assert!(!e.stands(AlarmKind::Slack) && e.stands(AlarmKind::Overpull));
    assert!(e.views().iter().all(|view| view.kind != "slack"));
    e.tick(4 * S);
    assert!(e.stands(AlarmKind::Slack));
    // One that stands already is not lost by the next reversal.
    e.reversal(5 * S, 8 * S);
    assert_eq!(
        e.state(AlarmKind::Slack, Level::Low),
        AlarmState::Unacknowledged
    );
}

fn chatters(raised: &[f64]) -> bool {
    raised.windows(3).any(|w| w[2] - w[0] <= 60.0)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    // Chatter: three or more in one minute (common practice, from memory).
    #[test]
    fn no_alarm_chatters_on_a_noisy_signal(
        seed in any::<u64>(), noise in 1.0f64..500.0, offset in -200.0f64..200.0, correlation in 0.0f64..0.999
    ) {
        let mut e = engine();
        let mut state = seed | 1;
        let mut wander = 0.0;
        for n in 0..20_000i64 {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            let white = (state >> 11) as f64 / (1u64 << 53) as f64 - 0.5;
            wander = correlation * wander + white * noise;
            let at = n * S / 50;
            let value = 4000.0 + offset + wander;
            e.measure(AlarmKind::Overpull, at, Level::High, value, 4000.0, Sense::Above);
            e.measure(AlarmKind::Overpull, at, Level::Low, value - 2000.0, 2000.0, Sense::Above);
            e.measure(AlarmKind::Slack, at, Level::Low, value, 4000.0, Sense::Below);
            e.measure(AlarmKind::Speed, at, Level::Low, value, 4000.0, Sense::Above);
        }
        for (kind, level) in [("overpull", "high"), ("overpull", "low"), ("slack", "low"), ("speed", "low")] {
            let raised = raisings(&e, kind, level);
            prop_assert!(!chatters(&raised), "{kind} {level}: {raised:?}");
        }
    }

    #[test]
    fn no_sequence_of_conditions_and_commands_chatters_or_panics(
        steps in proptest::collection::vec((0usize..14, any::<bool>(), 0i64..5_000_000_000, 0usize..9), 0..400)
    ) {
        let mut e = engine();
        let mut at = 0;
        for (which, active, later, what) in steps {
            at += later;
            let (kind, level) = ALARMS[which];
            match what {
                0 => { let _ = e.command(at, kind.name(), AlarmCommand::Acknowledge); }
                1 => { let _ = e.command(at, kind.name(), AlarmCommand::Reset); }
                2 => e.tick(at),
                _ => e.condition(kind, at, active, level, Some(1.0), Detail::None),
            }
        }
        let mut events = Vec::new();
        e.drain(&mut events);
        let times: Vec<Nanos> = events.iter().map(|event| match event {
            Event::Alarm { at, .. } => *at,
            _ => 0,
        }).collect();
        prop_assert!(times.is_sorted());
        for (kind, level) in ALARMS {
            if matches!(kind, AlarmKind::Sensor(_)) {
                continue; // two alarms of one name
            }
            prop_assert!(!chatters(&raisings(&e, kind.name(), level.name())));
        }
    }
}
