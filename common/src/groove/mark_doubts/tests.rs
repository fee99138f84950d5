use super::*;

/// Invented: drag of a cut, stroke by stroke, N; of its wall parts give way from stroke 40 on over a dozen strokes.
fn cut(strokes: usize) -> Vec<f32> {
    let cutting = |n: usize| 700.0 / (1.0 + n as f32).powf(0.7);
    let alive = |n: usize| (1.0 - (n as f32 - 40.0) / 12.0).clamp(0.0, 1.0);
    (0..strokes)
        .map(|n| 100.0 + cutting(n) * alive(n) + if n % 4 < 2 { 6.0 } else { 0.0 })
        .collect()
}

fn free(strokes: usize) -> Vec<f32> {
    [10.0, -5.0, 8.0, -4.0, 12.0, 0.0][..strokes].to_vec()
}

/// Flags and faults of strokes with what marks say from which on.
fn read(drags: &[Vec<f32>], marks: &[(usize, Option<bool>)]) -> (Vec<bool>, Vec<Fault>) {
    let times = |k: usize| {
        let set = marks.iter().rev().filter(|m| m.0 <= k);
        let said = marks.iter().rfind(|m| m.0 <= k).and_then(|m| m.1);
        set.take_while(|m| m.1 == said).count() as u32
    };
    let said = |k: usize| marks.iter().rfind(|m| m.0 <= k).and_then(|m| m.1);
    let drags = drags.concat();
    let strokes: Vec<_> = (drags.iter().enumerate())
        .map(|(k, drag)| (*drag, said(k)))
        .collect();
    let mut ledger = Ledger::invented(&strokes);
    for (k, row) in ledger.rows.iter_mut().enumerate() {
        row.said = times(k);
    }
    let (out, doubts) = read_marks(&ledger);
    (out, doubts.iter().map(|d| d.fault).collect())
}

fn expected(free: usize, cut: usize, after: usize) -> Vec<bool> {
    [vec![false; free], vec![true; cut], vec![false; after]].concat()
}

#[test]
fn right_marks_are_believed_at_every_stroke() {
    for cutting in 1..60 {
        for after in 0..6 {
            let drags = [free(5), cut(cutting), free(after)];
            let marks = [(5, Some(true)), (5 + cutting, Some(false))];
            let told = read(&drags, &marks);
            assert_eq!(
                told,
                (expected(5, cutting, after), vec![]),
                "{cutting}, {after}"
            );
        }
    }
}

#[test]
fn an_early_in_does_not_end_the_cut() {
    for early in [2, 5, 20, 30] {
        let drags = [free(5), cut(40), free(3)];
        let marks = [(5, Some(true)), (45 - early, Some(false))];
        let told = read(&drags, &marks);
        assert_eq!(told, (expected(5, 40, 3), vec![Fault::InEarly]), "{early}");
    }
}

#[test]
fn an_in_just_set_is_believed_until_a_stroke_each_way_was_made() {
    for (since, faults) in [(0, vec![]), (1, vec![]), (2, vec![Fault::InEarly])] {
        let drags = [free(5), cut(20 + since)];
        assert_eq!(
            read(&drags, &[(5, Some(true)), (25, Some(false))]).1,
            faults
        );
    }
}

#[test]
fn an_in_two_strokes_after_the_out_turns_no_words() {
    let drags = [free(5), cut(40), free(3)];
    let told = read(&drags, &[(5, Some(true)), (9, Some(false))]);
    assert_eq!(told, (expected(5, 40, 3), vec![Fault::InEarly]));
}

#[test]
fn where_nothing_was_cut_an_in_is_believed() {
    let drags = [free(6), free(6), free(6)];
    assert_eq!(read(&drags, &[(6, Some(true)), (12, Some(false))]).1, []);
    // Nor where no free stroke or fall shows what the tool drags by itself.
    let drags = [vec![150.0; 20], vec![150.0; 6]];
    assert_eq!(read(&drags, &[(0, Some(true)), (20, Some(false))]).1, []);
}

#[test]
fn drag_that_stays_in_part_is_a_cutter_that_went_in() {
    let after: Vec<f32> = vec![70.0; 6];
    let drags = [free(5), cut(30), after];
    let told = read(&drags, &[(5, Some(true)), (35, Some(false))]);
    assert_eq!(told, (expected(5, 30, 6), vec![]));
}

#[test]
fn where_only_one_free_stroke_comes_before_and_one_after_they_tell_together() {
    let drags = [free(1), cut(30), vec![10.0]];
    let told = read(&drags, &[(1, Some(true)), (15, Some(false))]);
    assert_eq!(told, (expected(1, 30, 1), vec![Fault::InEarly]));
}

#[test]
fn an_out_long_before_the_rise_is_early() {
    for early in 2..6 {
        let drags = [free(6), cut(30)];
        let told = read(&drags, &[(6 - early, Some(true))]);
        assert_eq!(told, (expected(6, 30, 0), vec![Fault::OutEarly]), "{early}");
    }
    // A groove of another day, rolled on until new wheels bite: it has been cut all along.
    let drags = [vec![120.0; 6], cut(30)];
    let told = read(&drags, &[(0, Some(true))]);
    assert_eq!(told, (expected(0, 36, 0), vec![]));
}

#[test]
fn a_forgotten_in_is_told_by_the_fall() {
    for after in 1..6 {
        let drags = [free(5), cut(30), free(after)];
        let told = read(&drags, &[(5, Some(true))]);
        let faults = vec![Fault::InMissing];
        assert_eq!(told, (expected(5, 30, after), faults), "{after}");
    }
}

#[test]
fn a_wall_that_splits_all_over_is_no_forgotten_in() {
    for cutting in 1..80 {
        let told = read(&[free(5), cut(cutting)], &[(5, Some(true))]);
        assert_eq!(told, (expected(5, cutting, 0), vec![]), "{cutting}");
    }
    for over in 2..12 {
        let fall = (1..=over).map(|n| 300.0 - 200.0 * n as f32 / over as f32);
        let rolls = std::iter::repeat_n(100.0, 8);
        let drags = [free(5), vec![300.0; 20], fall.chain(rolls).collect()];
        let told = read(&drags, &[(5, Some(true))]);
        assert_eq!(told, (expected(5, 28 + over, 0), vec![]), "over {over}");
    }
}

#[test]
fn before_a_lone_in_the_drag_decides() {
    let drags = [free(5), cut(30), free(3)];
    let told = read(&drags, &[(35, Some(false))]);
    assert_eq!(told, (expected(5, 30, 3), vec![Fault::OutMissing]));
    // Both faults at once.
    let told = read(&drags, &[(20, Some(false))]);
    let faults = vec![Fault::OutMissing, Fault::InEarly];
    assert_eq!(told, (expected(5, 30, 3), faults));
}

#[test]
fn after_marks_that_say_nothing_the_drag_decides() {
    let drags = [free(5), cut(30), free(3)];
    let told = read(&drags, &[(2, Some(false)), (4, None)]);
    assert_eq!(told.0, expected(5, 30, 3));
}

#[test]
fn who_says_it_again_after_it_was_doubted_is_believed_from_there_on() {
    // In, though drag stays: said again eight strokes later.
    let drags = [free(5), cut(40)];
    let marks = [(5, Some(true)), (25, Some(false)), (33, Some(false))];
    let told = read(&drags, &marks);
    assert_eq!(told, (expected(5, 28, 12), vec![Fault::InEarly]));
    // Out, though drag fell: said again two strokes later.
    let drags = [free(5), cut(20), free(6)];
    let told = read(&drags, &[(5, Some(true)), (27, Some(true))]);
    let flags = [expected(5, 20, 2), vec![true; 4]].concat();
    assert_eq!(told, (flags, vec![Fault::InMissing]));
    // Said twice before there was any doubt: the drag decides all the same.
    let told = read(&drags, &[(5, Some(true)), (15, Some(true))]);
    assert_eq!(told, (expected(5, 20, 6), vec![Fault::InMissing]));
}

#[test]
fn one_wrong_word_said_again_where_it_was_meant_is_told_and_ends_the_cut() {
    for again in 25..29 {
        let drags = [free(5), cut(20), free(6)];
        let told = read(&drags, &[(5, Some(false)), (again, Some(false))]);
        let flags = expected(5, again - 5, 31 - again);
        assert_eq!(told, (flags, vec![Fault::OtherWord]), "{again}");
    }
}

#[test]
fn wheels_that_were_said_to_go_back_out_and_do_not_drag_are_still_in() {
    let marks = |again: usize| [(5, Some(true)), (25, Some(false)), (again, Some(true))];
    let drags = [free(5), cut(20), free(6), free(6)];
    let told = read(&drags, &marks(31));
    assert_eq!(told, (expected(5, 20, 12), vec![Fault::OutEarly]));
    // They go out some strokes later, and at once.
    let back = cut(32)[20..].to_vec();
    for late in [2, 4, 0] {
        let drags = [free(5), cut(20), free(6), back.clone()];
        let flags = [expected(5, 20, 6), vec![true; 12]].concat();
        let faults = if late == 0 {
            vec![]
        } else {
            vec![Fault::OutEarly]
        };
        assert_eq!(read(&drags, &marks(31 - late)), (flags, faults), "{late}");
    }
}
