//! What the crew may do to an alarm, and what it may not.

use super::*;

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
fn shelving_a_silent_instrument_leaves_the_other_one_heard() {
    let mut e = engine();
    let load = AlarmKind::Sensor(ChannelId::Load);
    let depth = AlarmKind::Sensor(ChannelId::Depth);
    let silent = |e: &mut AlarmEngine, kind, at| {
        let word = Detail::Text("it is silent".into());
        e.condition(kind, at, true, Level::High, None, word);
    };
    silent(&mut e, depth, S);
    e.tick(2 * S);
    assert_eq!(
        e.command(2 * S, "sensor", AlarmCommand::Shelve(3600.0)),
        Ok(())
    );
    assert_eq!(e.state(depth, Level::High), AlarmState::Shelved);
    assert_eq!(e.state(load, Level::High), AlarmState::Normal);
    silent(&mut e, load, 10 * S);
    e.tick(20 * S);
    assert_eq!(e.state(load, Level::High), AlarmState::Unacknowledged);
}

#[test]
fn of_two_silent_instruments_only_the_one_named_is_dealt_with() {
    let mut e = engine();
    let load = AlarmKind::Sensor(ChannelId::Load);
    let depth = AlarmKind::Sensor(ChannelId::Depth);
    for kind in [load, depth] {
        let word = Detail::Text("it is silent".into());
        e.condition(kind, S, true, Level::High, None, word);
    }
    e.tick(2 * S);
    let names: Vec<String> = e.records().iter().map(|record| record.name()).collect();
    assert_eq!(names, ["sensor load", "sensor depth"]);
    let mark = MarkKind::Acknowledge("sensor load".into());
    assert_eq!(e.mark(3 * S, &mark), Some(Ok(())));
    assert_eq!(e.state(load, Level::High), AlarmState::Acknowledged);
    assert_eq!(e.state(depth, Level::High), AlarmState::Unacknowledged);
    let mark = MarkKind::Shelve("sensor depth".into(), 60.0);
    assert_eq!(e.mark(4 * S, &mark), Some(Ok(())));
    assert_eq!(e.state(load, Level::High), AlarmState::Acknowledged);
    assert_eq!(e.state(depth, Level::High), AlarmState::Shelved);
    for name in ["sensor horn", "overpull load", "sensor "] {
        assert_eq!(
            e.command(5 * S, name, AlarmCommand::Acknowledge),
            Err(Refused::UnknownKind),
            "{name}"
        );
    }
    // The kind alone still means both.
    e.command(65 * S, "sensor", AlarmCommand::Acknowledge)
        .expect("acknowledged");
    assert_eq!(e.state(load, Level::High), AlarmState::Acknowledged);
    assert_eq!(e.state(depth, Level::High), AlarmState::Acknowledged);
}

#[test]
fn an_overpull_that_returns_must_be_acknowledged_again() {
    let mut e = engine();
    let state = |e: &AlarmEngine| e.state(AlarmKind::Overpull, Level::High);
    over(&mut e, 0, true);
    over(&mut e, S, false);
    e.tick(9 * S);
    over(&mut e, 10 * S, true);
    e.command(12 * S, "overpull", AlarmCommand::Acknowledge)
        .expect("acknowledged");
    // A ripple at the limit is the same overpull.
    over(&mut e, 13 * S, false);
    over(&mut e, 13 * S + S / 10, true);
    assert_eq!(state(&e), AlarmState::Acknowledged);
    over(&mut e, 14 * S, false);
    e.tick(39 * S);
    assert_eq!(state(&e), AlarmState::Acknowledged);
    over(&mut e, 40 * S, true);
    assert_eq!(state(&e), AlarmState::Unacknowledged);
    // Twice raised within a minute, it is not raised a third time.
    assert_eq!(e.records().len(), 2);
}

#[test]
fn an_alarm_kept_because_it_came_twice_says_that_it_is_over() {
    let mut e = engine();
    for start in [0, 10 * S] {
        over(&mut e, start, true);
        over(&mut e, start + S, false);
        e.tick(start + 9 * S);
    }
    let views = e.views();
    let told = views
        .iter()
        .find(|view| view.kind == "overpull")
        .expect("told");
    assert_eq!(told.state, "unacknowledged");
    assert!(told.message.starts_with("It is over;"), "{}", told.message);
    assert!(told.is_past);
    let lasted = |e: &AlarmEngine| {
        e.records_at_end()
            .last()
            .and_then(|record| record.cleared_s)
    };
    assert_eq!(e.records().last().and_then(|record| record.cleared_s), None);
    assert_eq!(lasted(&e), Some(11.0));
    over(&mut e, 30 * S, true);
    assert!(e.views()[0].message.starts_with("Line tension"));
    assert!(!e.views()[0].is_past);
    assert_eq!(lasted(&e), None);
}
