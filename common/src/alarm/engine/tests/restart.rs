//! What a crash and a restart leave as it was.

use super::*;

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
