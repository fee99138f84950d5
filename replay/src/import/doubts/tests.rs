use super::*;
use kerfwatch::job::{print_default_job, read_job};
use kerfwatch::time::nanos;

/// The sample job: interval 2000 to 2019 m, static weight 1212 N (`kerfwatchd check`).
fn job() -> Job {
    read_job(print_default_job(), "job.toml").unwrap().job
}

/// Invented: an hour of stroking over the interval after two hundred seconds of coming there, at 5 Hz, with `change`
/// done to each row (s, N, m).
fn told(change: impl Fn(f64, f64, f64) -> (f64, Option<f64>, Option<f64>)) -> String {
    let job = job();
    let mut doubts = Doubts::new(&job);
    for i in 0..18_000_u32 {
        let t = f64::from(i) * 0.2;
        let up = (t * 0.05).sin() > 0.0;
        let depth = 2010.0 + 9.0 * (t * 0.05).cos() - (200.0 - t).max(0.0);
        let (s, load_n, depth_m) = change(t, if up { 1900.0 } else { 900.0 }, depth);
        let row = Row {
            at: nanos(s).unwrap(),
            load_n,
            depth_m,
        };
        doubts.take(&row, u64::from(i) + 2);
    }
    let findings = doubts.findings("s.csv", &job);
    let lines: Vec<String> = findings.iter().map(ToString::to_string).collect();
    lines.join("\n")
}

#[test]
fn a_table_in_newtons_metres_and_seconds_is_not_doubted() {
    assert_eq!(told(|t, n, m| (t, Some(n), Some(m))), "");
    // Nor is one that starts at surface, nor two rates, nor a heavy pull.
    assert_eq!(
        told(|t, n, m| (t, Some(n), Some(m - (1800.0 - t).max(0.0)))),
        ""
    );
    assert_eq!(
        told(|t, n, m| (t, (t as u64).is_multiple_of(2).then_some(n), Some(m))),
        ""
    );
    assert_eq!(told(|t, n, m| (t, Some(n + 2000.0), Some(m))), "");
}

#[test]
fn a_channel_that_never_speaks_is_named() {
    let text = told(|t, _, m| (t, None, Some(m)));
    assert!(
        text.starts_with("s.csv: load_n: no reading of line tension in the whole table"),
        "{text}"
    );
    let text = told(|t, n, _| (t, Some(n), None));
    assert!(
        text.contains("depth_m: no reading of line paid out"),
        "{text}"
    );
}

#[test]
fn tensions_in_another_unit_are_recognised() {
    for (factor, word) in [
        (1e-3, "kilonewtons"),
        (
            1.0 / NEWTONS_PER_LBF,
            "pounds-force, multiply them by 4.4482216",
        ),
        (1e-3 / NEWTONS_PER_LBF, "thousands of pounds-force"),
        (1.0 / 9.80665, "kilograms-force"),
        (-1.0, "pull is positive: change the sign"),
        (-1e-3, "by 1000, and change the sign"),
        (1e3, "check zero and scale of the load cell"),
    ] {
        let text = told(|t, n, m| (t, Some(n * factor), Some(m)));
        assert!(
            text.starts_with("s.csv: load_n: ") && text.contains(word),
            "{word}: {text}"
        );
        assert_eq!(text.lines().count(), 2, "{text}");
    }
}

#[test]
fn depths_in_another_unit_or_of_another_well_are_recognised() {
    for (factor, word) in [
        (1.0 / METRES_PER_FOOT, "feet, multiply them by 0.3048"),
        (METRES_PER_FOOT, "do not convert them again"),
        (1e3, "millimetres"),
        (1e-3, "kilometres"),
        (-1.0, "change their sign"),
        (0.5, "the job file of this table"),
    ] {
        let text = told(|t, n, m| (t, Some(n), Some(m * factor)));
        assert!(
            text.starts_with("s.csv: depth_m: ") && text.contains(word),
            "{word}: {text}"
        );
    }
    // In feet from surface down: the interval in metres lies on the way.
    let text = told(|t, n, m| {
        (
            t,
            Some(n),
            Some((m - (1800.0 - 2.0 * t).max(0.0)) / METRES_PER_FOOT),
        )
    });
    assert!(text.contains("if depths are feet"), "{text}");
}

#[test]
fn a_clock_in_milliseconds_or_one_that_stands_is_recognised() {
    let text = told(|t, n, m| (t * 1e3, Some(n), Some(m)));
    assert!(text.contains("time_s: readings lie 200 s apart"), "{text}");
    assert!(text.contains("milliseconds, divide them by 1000"), "{text}");
    let text = told(|_, n, m| (7.0, Some(n), Some(m)));
    assert!(text.contains("every row has the same time, 7\n"), "{text}");
    let text = told(|t, n, m| (t * 25.0, Some(n), Some(m)));
    assert!(
        text.contains("readings lie 5 s apart") && text.contains("at least every 2 s"),
        "{text}"
    );
}

#[test]
fn a_table_of_a_week_is_doubted() {
    let job = job();
    let mut doubts = Doubts::new(&job);
    for i in 0..=604_800 {
        let row = Row {
            at: i * 1_000_000_000,
            load_n: Some(1400.0),
            depth_m: Some(2010.0),
        };
        doubts.take(&row, i.unsigned_abs() + 2);
    }
    let findings = doubts.findings("s.csv", &job);
    assert_eq!(findings.len(), 1, "{findings:?}");
    assert!(
        findings[0].problem.contains("lasts 168 h 00 min"),
        "{}",
        findings[0]
    );
}

#[test]
fn a_few_rows_say_nothing_about_units() {
    let job = job();
    let mut doubts = Doubts::new(&job);
    for i in 0..5 {
        let row = Row {
            at: i * 1_000_000_000,
            load_n: Some(1.0),
            depth_m: Some(1.0),
        };
        doubts.take(&row, i.unsigned_abs() + 2);
    }
    assert!(doubts.findings("s.csv", &job).is_empty());
}

#[test]
fn a_long_silence_is_told_with_its_place() {
    let text = told(|t, n, m| (t + if t > 600.0 { 7200.0 } else { 0.0 }, Some(n), Some(m)));
    assert!(
        text.starts_with("s.csv: time_s: no reading for 2 h 00 min from 0:10:00 on"),
        "{text}"
    );
}

#[test]
fn times_before_the_start_of_the_run_are_told() {
    let text = told(|t, n, m| (t - 60.5, Some(n), Some(m)));
    assert!(text.contains("--time-zero -60.5"), "{text}");
}

#[test]
fn swapped_columns_are_recognised_by_a_line_that_no_winch_moves() {
    // Tensions that would pass for depths of this job, with the noise of a load cell.
    let noise = |t: f64| 40.0 * (7.0 * t).sin();
    let text = told(|t, n, m| (t, Some(m), Some(0.5 * n + 1200.0 + noise(t))));
    assert!(text.contains("which no winch does"), "{text}");
    assert!(text.contains("load_n and depth_m are swapped"), "{text}");
}

#[test]
fn values_that_no_job_has_are_told_by_count_with_the_first_row() {
    let bad = |t: f64| (600.0..604.0).contains(&t);
    let text = told(|t, n, m| {
        (
            t,
            Some(if bad(t) { 1e30 } else { n }),
            Some(if bad(t) { -1e12 } else { m }),
        )
    });
    let lines: Vec<&str> = text.lines().collect();
    assert_eq!(lines.len(), 4, "{text}");
    assert!(
        lines[0].starts_with(
            "s.csv:3002: load_n: 20 values are impossible: the first is 1.000e30 N, more than 4 times the 9380 N"
        ),
        "{text}"
    );
    assert!(
        lines[2].starts_with(
            "s.csv:3002: depth_m: 20 values are impossible: the first is -1.000e12 m, more than 5 times the"
        ),
        "{text}"
    );
    // A few of them more do not hide what the others say.
    let text = told(|t, n, m| {
        let depth = if (t as u64).is_multiple_of(10) {
            1e9
        } else {
            m / METRES_PER_FOOT
        };
        (t, Some(n), Some(depth))
    });
    assert!(text.contains("1800 values are impossible"), "{text}");
    assert!(text.contains("if depths are feet"), "{text}");
}

#[test]
fn a_clock_in_minutes_is_recognised_by_the_speed_of_the_line() {
    for (seconds, unit) in [(60.0, "minutes"), (3600.0, "hours")] {
        let text = told(|t, n, m| (t / seconds, Some(n), Some(m)));
        assert!(text.starts_with("s.csv: time_s: line runs at "), "{text}");
        let remedy = format!("if times are {unit}, multiply them by {seconds}");
        assert!(text.contains(&remedy), "{text}");
    }
    // A counter that is read 1000 times a second and jumps by a millimetre or two is no clock in minutes.
    let text = told(|t, n, m| {
        let noise = 0.002 * (t * 1e4).sin();
        (
            t / 200.0,
            Some(n),
            Some(2010.0 + (m - 2010.0) / 200.0 + noise),
        )
    });
    assert_eq!(text, "");
}
