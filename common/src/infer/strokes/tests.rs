use super::*;

fn moment(i: i64, depth: f64, before: f64) -> Moment {
    Moment {
        index: i,
        t: i as f64 * 0.1,
        speed: (depth - before) / 0.1,
        line_speed: (depth - before) / 0.1,
        tension: 1000.0,
        tension_max: 1000.0,
        ..Moment::still(depth)
    }
}

fn find(path: &[f64]) -> Vec<FoundStroke> {
    let mut finder = StrokeFinder::new(0.1, 0.0);
    let mut found = Vec::new();
    let mut before = path[0];
    for (i, &depth) in path.iter().enumerate() {
        found.extend(finder.push(&moment(i as i64, depth, before)));
        before = depth;
    }
    found.extend(finder.finish());
    found
}

fn ramp(path: &mut Vec<f64>, to: f64, speed: f64) {
    let mut d = *path.last().unwrap();
    while (to - d).abs() > speed * 0.1 {
        d += (to - d).signum() * speed * 0.1;
        path.push(d);
    }
    path.push(to);
}

#[test]
fn pauses_jitter_and_short_way_back_do_not_split_a_stroke() {
    let mut path = vec![100.0];
    ramp(&mut path, 95.0, 0.5);
    ramp(&mut path, 95.3, 0.2);
    ramp(&mut path, 90.0, 0.5);
    path.extend((0..300).map(|i| 90.0 + 0.01 * f64::from(i % 3)));
    ramp(&mut path, 100.0, 0.5);
    ramp(&mut path, 99.8, 0.5);
    let found = find(&path);
    assert_eq!(found.len(), 2);
    assert_eq!(found[0].direction, Direction::Up);
    assert!((found[0].to - 90.0).abs() < 0.01 && (found[1].to - 100.0).abs() < 0.01);
}

#[test]
fn start_and_end_are_five_centimetres_from_the_turning_points() {
    let mut path = vec![100.0; 20];
    ramp(&mut path, 95.0, 0.5);
    path.extend(std::iter::repeat_n(95.0, 50));
    ramp(&mut path, 100.0, 0.5);
    let found = find(&path);
    assert_eq!(found.len(), 2);
    // 20 moments still (the last at 1.9 s), then 0.5 m/s: 5 cm take 0.1 s.
    assert!((found[0].start - 2.0).abs() < 0.11, "{}", found[0].start);
    assert!(
        (found[0].end - (1.9 + 9.9)).abs() < 0.11,
        "{}",
        found[0].end
    );
    assert!(
        (found[1].start - (1.9 + 10.0 + 5.0 + 0.1)).abs() < 0.21,
        "{}",
        found[1].start
    );
}

/// Moments of a tool at `tool` m with `line` m paid out, every tenth of a second.
fn find_with_line(path: &[(f64, f64)]) -> Vec<FoundStroke> {
    let mut finder = StrokeFinder::new(0.1, 0.0);
    let mut found = Vec::new();
    let mut before = path[0];
    for (i, &(tool, line)) in path.iter().enumerate() {
        let m = Moment {
            counted: line,
            line_speed: (line - before.1) / 0.1,
            ..moment(i as i64, tool, before.0)
        };
        found.extend(finder.push(&m));
        before = (tool, line);
    }
    found.extend(finder.finish());
    found
}

/// Up by 5 m, a rest, and back; while the line takes up 1.5 m the tool seems to go by `seems` and comes back.
fn with_an_error_of_take_up(seems: f64) -> Vec<(f64, f64)> {
    let mut path = vec![(100.0, 100.0)];
    path.extend((1..=100).map(|i| (100.0 - 0.05 * f64::from(i), 100.0 - 0.05 * f64::from(i))));
    path.extend(std::iter::repeat_n((95.0, 95.0), 50));
    path.extend((1..=60).map(|i| {
        let part = f64::from(i) / 60.0;
        let error = seems * (std::f64::consts::PI * part).sin();
        (95.0 + error, 95.0 + 1.5 * part)
    }));
    path.extend((1..=100).map(|i| (95.0 + 0.05 * f64::from(i), 96.5 + 0.05 * f64::from(i))));
    path
}

#[test]
fn a_tool_that_seems_to_come_back_from_a_line_that_goes_on_has_not_gone() {
    let found = find_with_line(&with_an_error_of_take_up(0.8));
    assert_eq!(found.len(), 2);
    // 10 s up, 5 s rest, 6 s take-up, from 0.1 s.
    assert!((found[1].start - 21.1).abs() < 0.3, "{}", found[1].start);
}

#[test]
fn a_stroke_starts_when_the_tool_has_left_for_good_not_when_stretch_was_told_wrong() {
    let found = find_with_line(&with_an_error_of_take_up(0.2));
    assert_eq!(found.len(), 2);
    assert!((found[1].start - 21.1).abs() < 0.3, "{}", found[1].start);
}

#[test]
fn movements_below_half_a_metre_are_no_strokes() {
    let mut path = vec![100.0];
    for _ in 0..20 {
        ramp(&mut path, 99.6, 0.3);
        ramp(&mut path, 100.0, 0.3);
    }
    assert!(find(&path).is_empty());
}

#[test]
fn a_tool_parked_short_of_its_turning_point_does_not_fill_memory() {
    let mut path = vec![100.0];
    ramp(&mut path, 90.0, 0.5);
    ramp(&mut path, 90.3, 0.2);
    let drive = |parked: usize| {
        let mut path = path.clone();
        path.extend(std::iter::repeat_n(90.3, parked));
        ramp(&mut path, 100.0, 0.5);
        let mut finder = StrokeFinder::new(0.1, 0.0);
        let (mut before, mut most) = (path[0], 0);
        let mut found = Vec::new();
        for (i, depth) in (0..).zip(path) {
            found.extend(finder.push(&moment(i, depth, before)));
            most = most.max(finder.tail.len());
            before = depth;
        }
        found.extend(finder.finish());
        (found, most)
    };
    let (short, _) = drive(100);
    let (long, most) = drive(100_000);
    assert!(most <= TAIL_MAX, "{most}");
    assert_eq!((short.len(), long.len()), (2, 2));
    assert_eq!(short[1].profile.bins(), long[1].profile.bins());
    let (first, end) = short[1].profile.bins();
    for bin in first..end {
        assert_eq!(short[1].profile.drag(bin), long[1].profile.drag(bin));
    }
}

#[test]
fn an_hour_of_short_moves_before_the_first_stroke_does_not_fill_memory() {
    let mut finder = StrokeFinder::new(0.1, 0.0);
    let (mut before, mut most) = (100.0, 0);
    for i in 0..36_000 {
        let depth = 100.0 + 0.1 * (f64::from(i) * std::f64::consts::TAU / 80.0).sin();
        assert!(finder.push(&moment(i64::from(i), depth, before)).is_none());
        most = most.max(finder.tail.len());
        before = depth;
    }
    assert!(most <= TAIL_MAX, "{most}");
    let mut path = vec![100.0];
    ramp(&mut path, 104.0, 0.5);
    ramp(&mut path, 100.0, 0.5);
    let mut found = Vec::new();
    for (i, depth) in (36_000..).zip(path) {
        found.extend(finder.push(&moment(i, depth, before)));
        before = depth;
    }
    found.extend(finder.finish());
    assert_eq!(found.len(), 2);
}
