use super::*;
use crate::align::CELL_S;

/// Invented run: the tool drags 200 N going up, the line stretches by 250 N/m.
struct Run {
    tracker: HoldTracker,
    m: Moment,
}

impl Run {
    /// Amid the second stroke up at 0.3 m/s, over an interval whose first pass would drag 400 N.
    fn going_up() -> Self {
        let mut run = Self {
            tracker: HoldTracker::new((0.0, 1000.0), 400.0),
            m: Moment::still(500.0),
        };
        run.m.drag_up = 200.0;
        run.m.drag_down = 200.0;
        for (speed, seconds) in [(-0.3, 40.0), (0.3, 40.0), (-0.3, 20.0)] {
            run.moves(speed, seconds);
        }
        run
    }

    fn push(&mut self) {
        self.m.index += 1;
        self.m.t += CELL_S;
        self.m.depth += self.m.speed * CELL_S;
        self.tracker.push(&self.m);
    }

    /// The tool follows the line for so long, s.
    fn moves(&mut self, speed: f64, seconds: f64) {
        (self.m.speed, self.m.line_speed) = (speed, speed);
        (self.m.hold_up, self.m.hold_down) = (self.m.drag_up, self.m.drag_down);
        for _ in 0..(seconds / CELL_S).round() as usize {
            self.push();
        }
    }

    /// The tool stands while the line goes up for so long, s; when it was first told stalled, s.
    fn stands(&mut self, line_speed: f64, seconds: f64) -> Option<f64> {
        (self.m.speed, self.m.line_speed) = (0.0, line_speed);
        let mut told = None;
        for i in 1..=(seconds / CELL_S).round() as usize {
            self.m.hold_up += 250.0 * line_speed.abs() * CELL_S;
            self.push();
            if self.tracker.now() == Motionless::Stalled {
                told = told.or(Some(i as f64 * CELL_S));
            }
        }
        told
    }
}

#[test]
fn a_tool_that_stops_following_is_stalled_within_two_seconds_and_from_where_it_stopped() {
    let mut run = Run::going_up();
    let stopped = run.m.t;
    let told = run.stands(-0.3, 5.0).expect("never told");
    assert!(told <= 2.0, "{told}");
    let start = run.tracker.phases().last().unwrap().start;
    assert!((start - stopped).abs() < 0.15, "{start} for {stopped}");
}

#[test]
fn sticking_that_breaks_loose_by_itself_is_no_stall() {
    let mut run = Run::going_up();
    for _ in 0..8 {
        assert_eq!(run.stands(-0.3, 1.0), None);
        run.moves(-0.3, 2.0);
    }
}

#[test]
fn where_it_sticks_for_long_more_line_must_go_before_it_is_held() {
    let mut run = Run::going_up();
    run.stands(-0.3, 1.3);
    run.moves(-0.3, 5.0);
    let told = run.stands(-0.3, 6.0).expect("never told");
    assert!((1.9..2.5).contains(&told), "{told}");
}

#[test]
fn a_winch_that_slows_down_to_rest_does_not_stall_the_tool() {
    let mut run = Run::going_up();
    for k in (0..20).rev() {
        assert_eq!(run.stands(-0.015 * f64::from(k), CELL_S), None);
    }
    assert_eq!(run.stands(0.0, 10.0), None);
    assert_eq!(run.tracker.now(), Motionless::Still);
}

#[test]
fn noise_while_the_winch_rests_is_no_movement() {
    let mut run = Run::going_up();
    run.stands(0.0, 1.0);
    let before = run.tracker.phases().len();
    for i in 0..600 {
        run.m.line_speed = 0.0;
        run.m.speed = 0.06 * f64::from(i % 5 - 2);
        run.push();
    }
    assert_eq!(run.tracker.phases().len(), before);
    assert_eq!(run.tracker.now(), Motionless::Still);
}

#[test]
fn a_start_is_told_once_the_tool_left_its_place_and_dated_back() {
    let mut run = Run::going_up();
    run.stands(0.0, 5.0);
    let start = run.m.t;
    run.moves(-0.3, 2.0);
    let phase = *run.tracker.phases().last().unwrap();
    assert_eq!(phase.what, Motionless::Up);
    assert!((phase.start - start).abs() < 0.15, "{phase:?}");
}

/// The winch turns and the pull goes, for so long, s.
fn lets_go(run: &mut Run, seconds: f64) {
    (run.m.speed, run.m.line_speed) = (0.0, 0.3);
    for _ in 0..(seconds / CELL_S).round() as usize {
        run.m.hold_up -= 250.0 * 0.3 * CELL_S;
        run.push();
    }
}

#[test]
fn one_that_only_stuck_is_held_no_more_once_the_winch_has_turned() {
    let mut run = Run::going_up();
    run.stands(-0.3, 2.5).expect("never told");
    lets_go(&mut run, 1.0);
    assert_eq!(run.tracker.now(), Motionless::Stalled);
    lets_go(&mut run, 4.0);
    assert_eq!(run.tracker.now(), Motionless::Still);
}

#[test]
fn one_that_was_pulled_hard_is_held_until_it_moves() {
    let mut run = Run::going_up();
    run.stands(-0.3, 6.0).expect("never told");
    lets_go(&mut run, 12.0);
    assert_eq!(run.tracker.now(), Motionless::Stalled);
}

#[test]
fn what_went_on_before_a_silence_ends_where_the_silence_begins() {
    let mut run = Run::going_up();
    let before = run.m.t;
    run.m.t += 3600.0;
    run.m.after_gap = true;
    run.moves(-0.3, CELL_S);
    run.m.after_gap = false;
    run.moves(-0.3, 10.0);
    let phases = run.tracker.phases();
    let [.., silent, up] = phases else {
        panic!("{phases:?}")
    };
    assert_eq!(
        (silent.what, up.what),
        (Motionless::Unknown, Motionless::Up)
    );
    assert!((silent.start - before - CELL_S).abs() < 1e-6, "{phases:?}");
    assert!(up.start > before + 3600.0);
}
