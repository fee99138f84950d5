use super::*;

fn run(samples: &[(usize, f64, f64)]) -> (Vec<Cell>, AlignCounts) {
    let mut aligner = Aligner::default();
    let mut cells = Vec::new();
    for &(channel, t, v) in samples {
        if channel == 0 {
            aligner.load(t, v, &mut |c| cells.push(c));
        } else {
            aligner.depth(t, v, &mut |c| cells.push(c));
        }
    }
    aligner.finish(&mut |c| cells.push(c));
    (cells, aligner.counts())
}

#[test]
fn straight_lines_at_different_rates_come_out_straight() {
    let mut samples = Vec::new();
    for i in 0..2000 {
        let t = f64::from(i) * 0.01 + 0.003;
        samples.push((0, t, 1000.0 + 10.0 * t));
        if i % 7 == 0 {
            samples.push((1, t, 500.0 + 0.5 * t));
        }
    }
    let (cells, counts) = run(&samples);
    assert_eq!(counts, AlignCounts::default());
    for c in &cells[2..cells.len() - 3] {
        assert!((c.tension.unwrap() - 1000.0 - 10.0 * c.time()).abs() < 1e-9);
        assert!((c.line.unwrap() - 500.0 - 0.5 * c.time()).abs() < 1e-9);
    }
}

#[test]
fn late_readings_are_counted_and_slightly_late_ones_merged() {
    let mut samples: Vec<_> = (0..100)
        .flat_map(|i| {
            let t = f64::from(i) * 0.05;
            [(0, t, 1.0), (1, t, 2.0)]
        })
        .collect();
    samples.push((0, 4.8, 1.0));
    samples.push((0, 1.0, 99.0));
    let (cells, counts) = run(&samples);
    assert_eq!(counts.late, 1);
    assert!(cells.iter().all(|c| c.tension == Some(1.0)));
}

#[test]
fn a_lone_absurd_time_does_not_make_the_rest_late() {
    let mut samples: Vec<_> = (0..100)
        .flat_map(|i| {
            let t = f64::from(i) * 0.05;
            [(0, t, 1.0), (1, t, 2.0)]
        })
        .collect();
    samples.insert(50, (0, 1e9, 1.0));
    let (cells, counts) = run(&samples);
    assert_eq!((counts.late, counts.spikes), (0, 1));
    assert!(cells.len() <= 51);
}

#[test]
fn a_counter_reset_is_not_line_movement() {
    let samples: Vec<_> = (0..100)
        .flat_map(|i| {
            let t = f64::from(i) * 0.05;
            [(0, t, 1.0), (1, t, if i < 50 { 2000.0 } else { 0.0 })]
        })
        .collect();
    let (cells, counts) = run(&samples);
    assert_eq!(counts.counter_steps, 1);
    assert!(cells.iter().all(|c| c.line == Some(2000.0)));
}

#[test]
fn silence_is_a_gap_and_not_a_value() {
    let mut samples = Vec::new();
    for i in 0..400 {
        let t = f64::from(i) * 0.05;
        samples.push((1, t, 2000.0));
        if !(5.0..12.0).contains(&t) {
            samples.push((0, t, 1000.0));
        }
    }
    let (cells, counts) = run(&samples);
    assert_eq!(counts.gaps, 1);
    assert!(cells.iter().filter(|c| c.tension.is_none()).count() > 60);
    assert!(cells.iter().all(|c| c.line.is_some()));
}

#[test]
fn a_silence_of_hours_is_a_gap_of_each_channel() {
    let samples: Vec<_> = (0..400)
        .flat_map(|i| {
            let t = f64::from(i) * 0.05 + if i < 200 { 0.0 } else { 36_000.0 };
            [(0, t, 1000.0), (1, t, 2000.0)]
        })
        .collect();
    let (cells, counts) = run(&samples);
    assert_eq!((counts.gaps, counts.spikes, counts.late), (2, 0, 0));
    assert!(cells.len() <= 200);
}

#[test]
fn a_channel_that_comes_first_or_last_by_a_cell_is_no_gap() {
    let both: Vec<_> = (0..100)
        .flat_map(|i| {
            let t = 1.0 + f64::from(i) * 0.05;
            [(0, t, 1.0), (1, t, 2.0)]
        })
        .collect();
    for channel in [0, 1] {
        for alone_s in [0.95, 0.3, 6.0, 6.4] {
            let mut samples = both.clone();
            samples.push((channel, alone_s, 1.0));
            samples.sort_by(|a, b| a.1.total_cmp(&b.1));
            assert_eq!(run(&samples).1, AlignCounts::default(), "{alone_s} s");
        }
    }
}

#[test]
fn a_channel_that_is_dead_for_long_at_an_end_of_the_run_is_a_gap() {
    let one =
        |from: i32, to: i32, channel| (from..to).map(move |i| (channel, f64::from(i) * 0.05, 1.0));
    for (from, to) in [(0, 140), (60, 200)] {
        let mut samples: Vec<_> = one(0, 200, 0).chain(one(from, to, 1)).collect();
        samples.sort_by(|a, b| a.1.total_cmp(&b.1));
        assert_eq!(run(&samples).1.gaps, 1, "heard from {from} to {to}");
    }
}
