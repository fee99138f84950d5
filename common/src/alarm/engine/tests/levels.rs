//! Two levels of one alarm, latching, and which of several is named first.

use super::*;

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
