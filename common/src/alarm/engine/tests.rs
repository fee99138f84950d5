//! Facts about the engine in time: delays, latch, shelving, chatter, restart.

use super::*;
use crate::input::{ChannelId, MarkKind};
use proptest::prelude::*;

const S: Nanos = NANOS_PER_SECOND;

fn engine() -> AlarmEngine {
    AlarmEngine::new(Display::Metric)
}

fn over(engine: &mut AlarmEngine, at: Nanos, active: bool) {
    let detail = Detail::Limit(4000.0);
    engine.condition(
        AlarmKind::Overpull,
        at,
        active,
        Level::High,
        Some(4100.0),
        detail,
    );
}

fn slack(engine: &mut AlarmEngine, at: Nanos, active: bool) {
    engine.condition(
        AlarmKind::Slack,
        at,
        active,
        Level::Low,
        Some(100.0),
        Detail::None,
    );
}

fn states(engine: &mut AlarmEngine) -> Vec<(Nanos, &'static str)> {
    let mut events = Vec::new();
    engine.drain(&mut events);
    events
        .into_iter()
        .map(|event| match event {
            Event::Alarm { at, state, .. } => (at, state),
            other => panic!("{other:?}"),
        })
        .collect()
}

#[test]
fn overpull_is_raised_by_the_very_condition_and_latches() {
    let mut e = engine();
    over(&mut e, S, true);
    assert_eq!(
        e.state(AlarmKind::Overpull, Level::High),
        AlarmState::Unacknowledged
    );
    over(&mut e, 2 * S, false);
    e.tick(10 * S);
    assert_eq!(
        e.state(AlarmKind::Overpull, Level::High),
        AlarmState::LatchedUnacknowledged
    );
    assert_eq!(
        e.command(11 * S, "overpull", AlarmCommand::Reset),
        Err(Refused::AcknowledgeFirst)
    );
    assert_eq!(
        e.command(12 * S, "overpull", AlarmCommand::Acknowledge),
        Ok(())
    );
    assert_eq!(e.command(13 * S, "overpull", AlarmCommand::Reset), Ok(()));
    assert_eq!(
        e.state(AlarmKind::Overpull, Level::High),
        AlarmState::Normal
    );
    let record = &e.records()[0];
    assert_eq!(
        (record.raised_s, record.cleared_s, record.peak_n),
        (1.0, Some(2.0), Some(4100.0))
    );
    let seen: Vec<&str> = states(&mut e).iter().map(|(_, state)| *state).collect();
    assert!(
        seen.starts_with(&["unacknowledged"]) && seen.contains(&"latched_acknowledged"),
        "{seen:?}"
    );
}

#[test]
fn a_verdict_of_the_guard_becomes_three_conditions() {
    let mut e = engine();
    let mut verdict = Verdict {
        tension_n: 3900.0,
        limit_n: 4000.0,
        overpull: false,
        pull: true,
        allowed_n: 2000.0,
        pick_up_n: Some(1500.0),
        approaching: true,
        time_to_limit_s: Some(0.5),
    };
    e.judged(S, &verdict);
    e.judged(2 * S, &verdict);
    let messages: Vec<String> = e.views().into_iter().map(|view| view.message).collect();
    assert_eq!(messages.len(), 2, "{messages:?}");
    assert!(
        messages[0].contains("limit of 4000 N in about 0.5 s"),
        "{messages:?}"
    );
    assert!(
        messages[1].contains("2400 N above the expected pick-up weight (2000 N allowed)"),
        "{messages:?}"
    );
    verdict.overpull = true;
    verdict.tension_n = 4050.0;
    e.judged(3 * S, &verdict);
    assert!(e.stands(AlarmKind::Overpull));
    assert_eq!(
        e.records().last().map(|r| (r.level.as_str(), r.peak_n)),
        Some(("high", Some(4050.0)))
    );
}

#[test]
fn the_lesser_overpull_does_not_come_back_when_both_conditions_end_together() {
    let mut e = engine();
    let both = |e: &mut AlarmEngine, at, active| {
        over(e, at, active);
        let detail = Detail::None;
        e.condition(
            AlarmKind::Overpull,
            at,
            active,
            Level::Low,
            Some(4100.0),
            detail,
        );
    };
    both(&mut e, S, true);
    e.tick(2 * S);
    both(&mut e, 3 * S, false);
    e.tick(60 * S);
    assert_eq!(e.state(AlarmKind::Overpull, Level::Low), AlarmState::Normal);
    assert_eq!(raisings(&e, "overpull", "low"), Vec::<f64>::new());
}

#[test]
fn overpull_cannot_be_put_aside_at_its_top_level() {
    let mut e = engine();
    over(&mut e, S, true);
    for command in [AlarmCommand::Shelve(60.0), AlarmCommand::TakeOut] {
        assert_eq!(
            e.command(2 * S, "overpull", command),
            Err(Refused::NotShelvable)
        );
    }
    assert_eq!(
        e.state(AlarmKind::Overpull, Level::High),
        AlarmState::Unacknowledged
    );
    // Its lesser level may be, while the limit is far; the limit still speaks.
    let mut e = engine();
    assert_eq!(e.command(S, "overpull", AlarmCommand::Shelve(60.0)), Ok(()));
    assert_eq!(
        e.state(AlarmKind::Overpull, Level::Low),
        AlarmState::Shelved
    );
    over(&mut e, 2 * S, true);
    assert_eq!(
        e.state(AlarmKind::Overpull, Level::High),
        AlarmState::Unacknowledged
    );
}

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
fn shelving_ends_by_itself_and_the_condition_decides_afresh() {
    let mut e = engine();
    slack(&mut e, 0, true);
    e.tick(S);
    assert_eq!(
        e.command(2 * S, "slack", AlarmCommand::Shelve(10.0)),
        Ok(())
    );
    assert_eq!(e.state(AlarmKind::Slack, Level::Low), AlarmState::Shelved);
    e.tick(11 * S);
    assert_eq!(e.state(AlarmKind::Slack, Level::Low), AlarmState::Shelved);
    e.tick(12 * S);
    assert_eq!(
        e.state(AlarmKind::Slack, Level::Low),
        AlarmState::Unacknowledged
    );
    slack(&mut e, 13 * S, false);
    e.tick(100 * S);
    e.command(100 * S, "slack", AlarmCommand::Shelve(10.0))
        .expect("shelved");
    e.tick(120 * S);
    assert_eq!(e.state(AlarmKind::Slack, Level::Low), AlarmState::Normal);
    for bad in [0.0, -1.0, f64::NAN, f64::INFINITY, SHELVE_MAX + 1.0] {
        assert_eq!(
            e.command(121 * S, "slack", AlarmCommand::Shelve(bad)),
            Err(Refused::BadDuration)
        );
    }
}

#[test]
fn out_of_service_lasts_until_it_is_put_back() {
    let mut e = engine();
    e.command(0, "sensor", AlarmCommand::TakeOut)
        .expect("taken out");
    let load = AlarmKind::Sensor(ChannelId::Load);
    e.condition(
        load,
        S,
        true,
        Level::High,
        None,
        Detail::Text("stale".into()),
    );
    e.tick(10_000 * S);
    assert_eq!(e.state(load, Level::High), AlarmState::OutOfService);
    e.command(10_001 * S, "sensor", AlarmCommand::PutBack)
        .expect("put back");
    assert_eq!(e.state(load, Level::High), AlarmState::Unacknowledged);
    assert_eq!(
        e.state(AlarmKind::Sensor(ChannelId::Depth), Level::High),
        AlarmState::Normal
    );
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

#[test]
fn the_first_alarm_of_a_group_is_named_first() {
    let mut e = engine();
    slack(&mut e, 0, true);
    e.tick(S);
    over(&mut e, 2 * S, true);
    assert_eq!(e.first_out(), Some((AlarmKind::Slack, Level::Low)));
    let views = e.views();
    assert_eq!(views[0].kind, "slack");
    assert!(
        views[0].message.ends_with("It came first."),
        "{}",
        views[0].message
    );
    assert_eq!(views[1].kind, "overpull");
    slack(&mut e, 3 * S, false);
    over(&mut e, 3 * S, false);
    e.command(20 * S, "all", AlarmCommand::Acknowledge)
        .expect("acknowledged");
    assert_eq!(e.first_out(), None);
}

#[test]
fn the_lesser_overpull_is_silent_while_the_limit_is_reached() {
    let mut e = engine();
    over(&mut e, S, true);
    let lesser = |e: &mut AlarmEngine, at, active| {
        e.condition(
            AlarmKind::Overpull,
            at,
            active,
            Level::Low,
            Some(4000.0),
            Detail::None,
        );
    };
    lesser(&mut e, S, true);
    e.tick(2 * S);
    assert_eq!(
        e.state(AlarmKind::Overpull, Level::Low),
        AlarmState::Suppressed
    );
    over(&mut e, 3 * S, false);
    e.tick(20 * S);
    assert_eq!(
        e.state(AlarmKind::Overpull, Level::Low),
        AlarmState::Unacknowledged
    );
}

#[test]
fn an_unseen_overpull_is_still_unseen_after_a_crash() {
    for stands in [true, false] {
        let mut e = engine();
        over(&mut e, S, true);
        if !stands {
            over(&mut e, 2 * S, false);
            e.tick(10 * S);
        }
        let json = serde_json::to_string(&e.saved(11 * S)).expect("json");
        let mut again = engine();
        again.restore(0, &serde_json::from_str(&json).expect("saved"));
        assert!(
            again
                .state(AlarmKind::Overpull, Level::High)
                .is_unacknowledged()
        );
        assert_eq!(again.records()[0].peak_n, Some(4100.0));
        assert_eq!(again.views()[0].kind, "overpull");
        again.tick(100 * S);
        assert_eq!(
            again.state(AlarmKind::Overpull, Level::High),
            AlarmState::LatchedUnacknowledged
        );
    }
}

#[test]
fn shelving_left_survives_a_restart() {
    let mut e = engine();
    e.command(0, "speed", AlarmCommand::Shelve(100.0))
        .expect("shelved");
    let saved = e.saved(40 * S);
    let mut again = engine();
    again.restore(0, &saved);
    again.tick(59 * S);
    assert_eq!(
        again.state(AlarmKind::Speed, Level::Low),
        AlarmState::Shelved
    );
    again.tick(60 * S);
    assert_eq!(
        again.state(AlarmKind::Speed, Level::Low),
        AlarmState::Normal
    );
}

#[test]
fn the_whole_engine_goes_through_serde_unchanged() {
    let mut e = engine();
    over(&mut e, S, true);
    slack(&mut e, S, true);
    e.command(2 * S, "speed", AlarmCommand::Shelve(100.0))
        .expect("shelved");
    states(&mut e);
    let json = serde_json::to_string(&e).expect("json");
    assert_eq!(
        serde_json::from_str::<AlarmEngine>(&json).expect("engine"),
        e
    );
}

#[test]
fn unknown_names_and_idle_commands_are_refused() {
    let mut e = engine();
    assert_eq!(
        e.command(0, "nothing", AlarmCommand::Acknowledge),
        Err(Refused::UnknownKind)
    );
    assert_eq!(
        e.command(0, "all", AlarmCommand::Shelve(1.0)),
        Err(Refused::UnknownKind)
    );
    assert_eq!(
        e.command(0, "slack", AlarmCommand::Acknowledge),
        Err(Refused::NothingToDo)
    );
    assert_eq!(e.mark(0, &MarkKind::CutterIn), None);
    assert_eq!(
        e.mark(0, &MarkKind::Shelve("slack".into(), 5.0)),
        Some(Ok(()))
    );
}

#[test]
fn a_more_urgent_level_speaks_again() {
    let mut e = engine();
    let mut stops = |at, level| {
        e.condition(
            AlarmKind::UpperStop,
            at,
            true,
            level,
            Some(10.0),
            Detail::Limit(12.0),
        );
        if level == Level::Low {
            e.command(at, "upper_stop", AlarmCommand::Acknowledge)
                .expect("acknowledged");
        }
    };
    stops(0, Level::Low);
    stops(S, Level::High);
    assert_eq!(e.views()[0].state, "unacknowledged");
    assert_eq!(e.records()[0].level, "high");
}

/// Raisings of each alarm, as times.
fn raisings(e: &AlarmEngine, kind: &str, level: &str) -> Vec<f64> {
    e.records()
        .iter()
        .filter(|r| r.kind == kind && r.level == level)
        .map(|r| r.raised_s)
        .collect()
}

fn chatters(raised: &[f64]) -> bool {
    raised.windows(3).any(|w| w[2] - w[0] <= 60.0)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    // Chatter: three or more in one minute (references, section 7).
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
