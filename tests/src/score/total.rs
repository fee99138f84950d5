//! The columns of the scoreboard: figures made from tallies, each with the direction that is
//! better and the tolerance with which a change is called worse.

use super::forecasts::{Forecast, done_by};
use super::measure::Tally;
use super::ten_strokes::TenStrokes;

/// Which way a figure improves.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Better {
    /// More is better.
    Higher,
    /// Less is better.
    Lower,
    /// Nearer to 0.9 is better (coverage of a 90 % interval).
    NearNineTenths,
    /// Nearer to 0.5 is better (a median).
    NearHalf,
}

/// One figure.
#[derive(Debug, Clone)]
pub struct Column {
    /// Name in JSON and table.
    pub name: &'static str,
    /// Value; `None` when the runs do not ask for it.
    pub value: Option<f64>,
    /// Which way is better.
    pub better: Better,
    /// A change smaller than this is not called a change.
    pub tolerance: f64,
}

impl Column {
    /// How bad a value is: smaller is better.
    pub fn badness(better: Better, value: f64) -> f64 {
        match better {
            Better::Higher => -value,
            Better::Lower => value,
            Better::NearNineTenths => (value - 0.9).abs(),
            Better::NearHalf => (value - 0.5).abs(),
        }
    }
}

/// All figures of a tally.
pub fn columns(t: &Tally) -> Vec<Column> {
    use Better::{Higher, Lower, NearHalf, NearNineTenths};
    let mut out = Vec::new();
    let mut put = |name, value: Option<f64>, better, tolerance| {
        out.push(Column {
            name,
            value,
            better,
            tolerance,
        });
    };
    let per = |a: u64, b: u64| (b > 0).then(|| a as f64 / b as f64);
    put(
        "stroke_precision",
        per(t.strokes_matched, t.strokes_said),
        Higher,
        0.01,
    );
    put(
        "stroke_recall",
        per(t.strokes_matched, t.strokes_true),
        Higher,
        0.01,
    );
    put("stroke_end_mean_s", mean(&t.ends), Lower, 0.1);
    put("stroke_end_p95_s", quantile(&t.ends, 0.95), Lower, 0.25);
    let within = t.ends.iter().filter(|e| **e <= 0.5).count();
    put(
        "stroke_ends_within_half_s",
        per(within as u64, t.ends.len() as u64),
        Higher,
        0.02,
    );
    for (k, name) in [
        "f1_still",
        "f1_free",
        "f1_cutting",
        "f1_stalled",
        "f1_slack",
    ]
    .into_iter()
    .enumerate()
    {
        let right = t.confusion[k][k];
        let real: f64 = t.confusion[k].iter().sum();
        let said: f64 = t.confusion.iter().map(|row| row[k]).sum();
        let f1 = (real > 1.0).then(|| 2.0 * right / (real + said));
        put(name, f1, Higher, 0.02);
    }
    put(
        "stall_delay_median_s",
        quantile(&t.stall_delay, 0.5),
        Lower,
        0.3,
    );
    let prompt = t
        .stall_delay
        .iter()
        .zip(&t.stall_line)
        .filter(|(time, line)| **time <= 2.0 || **line <= 1.5)
        .count();
    put(
        "stalls_told_in_time",
        per(prompt as u64, t.stall_delay.len() as u64),
        Higher,
        0.05,
    );
    put(
        "slack_delay_median_s",
        quantile(&t.slack_delay, 0.5),
        Lower,
        0.5,
    );
    let daily = |count: u64| (t.hours > 0.0).then(|| 24.0 * count as f64 / t.hours);
    put("false_stalls_per_day", daily(t.false_stalls), Lower, 0.5);
    put("false_slacks_per_day", daily(t.false_slacks), Lower, 0.5);
    for (score, mae, bias, cover, interval) in [
        (
            &t.before,
            "groove_before_mae_pct",
            "groove_before_bias_pct",
            "groove_before_coverage",
            "groove_before_interval_score_pct",
        ),
        (
            &t.after,
            "groove_after_mae_pct",
            "groove_after_bias_pct",
            "groove_after_coverage",
            "groove_after_interval_score_pct",
        ),
        (
            &t.last,
            "groove_final_mae_pct",
            "groove_final_bias_pct",
            "groove_final_coverage",
            "groove_final_interval_score_pct",
        ),
    ] {
        let size: Vec<f64> = score.errors.iter().map(|e| e.abs()).collect();
        put(mae, mean(&size), Lower, 0.4);
        put(bias, mean(&score.errors).map(f64::abs), Lower, 0.8);
        put(cover, per(score.covered, score.asked), NearNineTenths, 0.05);
        let asked = score.asked as f64;
        let score = (asked > 0.0).then(|| score.interval_score / asked);
        put(interval, score, Lower, 2.0);
    }
    let square = |p: f64, hit: bool| (p - f64::from(u8::from(hit))).powi(2);
    let squares: Vec<f64> = t.through.iter().map(|(p, hit)| square(*p, *hit)).collect();
    put("through_brier", mean(&squares), Lower, 0.01);
    put(
        "through_calibration_error",
        calibration(&t.through),
        Lower,
        0.01,
    );
    let said = t.through_right + t.through_wrong;
    let real = t.through_right + t.through_missed;
    put(
        "through_precision",
        per(t.through_right, said),
        Higher,
        0.01,
    );
    put("through_recall", per(t.through_right, real), Higher, 0.02);
    let off: Vec<f64> = (t.forecasts.iter())
        .filter_map(|f| Some((f.took? - f.told.0).abs()))
        .collect();
    put("forecast_off_median", quantile(&off, 0.5), Lower, 3.0);
    let done = |strokes: fn(&Forecast) -> f64| done_by(&t.forecasts, strokes);
    put("forecast_done_by_p50", done(|f| f.told.0), NearHalf, 0.1);
    put(
        "forecast_done_by_p90",
        done(|f| f.told.1),
        NearNineTenths,
        0.1,
    );
    let ten =
        |off: &dyn Fn(&TenStrokes) -> f64| -> Vec<f64> { t.ten_strokes.iter().map(off).collect() };
    let split_off = ten(&TenStrokes::split_off_pct);
    put("ten_strokes_split_off_pct", mean(&split_off), Lower, 0.3);
    let deepen_off = ten(&TenStrokes::deepen_off_mm);
    put("ten_strokes_deepen_off_mm", mean(&deepen_off), Lower, 0.02);
    put("tool_depth_median_m", quantile(&t.depth, 0.5), Lower, 0.03);
    put("tool_depth_p95_m", quantile(&t.depth, 0.95), Lower, 0.05);
    put(
        "tool_depth_in_stroke_p95_m",
        quantile(&t.depth_in_stroke, 0.95),
        Lower,
        0.01,
    );
    put(
        "overpull_off_median_s",
        quantile(&t.overpull_off, 0.5),
        Lower,
        0.05,
    );
    let seen = t.overpull_off.iter().filter(|d| d.is_finite()).count();
    put(
        "overpulls_seen",
        per(seen as u64, t.overpull_off.len() as u64),
        Higher,
        0.05,
    );
    put(
        "false_overpulls_per_day",
        daily(t.false_overpulls),
        Lower,
        0.5,
    );
    out
}

/// One line of the reliability table: lower edge of the class, bins in it, mean probability given,
/// fraction that was through.
pub type Reliability = (f64, u64, f64, f64);

/// Reliability in ten classes of probability.
pub fn reliability(pairs: &[(f64, bool)]) -> Vec<Reliability> {
    (0..10)
        .map(|k| {
            let class: Vec<_> = pairs
                .iter()
                .filter(|(p, _)| ((p * 10.0) as usize).min(9) == k)
                .collect();
            let count = class.len().max(1) as f64;
            (
                k as f64 / 10.0,
                class.len() as u64,
                class.iter().map(|(p, _)| p).sum::<f64>() / count,
                class.iter().filter(|(_, hit)| *hit).count() as f64 / count,
            )
        })
        .collect()
}

/// Mean distance between probability given and fraction that was through, by class.
fn calibration(pairs: &[(f64, bool)]) -> Option<f64> {
    let total = pairs.len() as f64;
    (total > 0.0).then(|| {
        reliability(pairs)
            .iter()
            .map(|(_, count, given, was)| *count as f64 * (given - was).abs() / total)
            .sum()
    })
}

fn mean(values: &[f64]) -> Option<f64> {
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
}

/// Quantile; infinite values (missed) sort last.
fn quantile(values: &[f64], q: f64) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let last = sorted.len().checked_sub(1)?;
    sorted.get((q * last as f64).round() as usize).copied()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_missed_stall_counts_as_an_endless_delay() {
        assert_eq!(
            quantile(&[1.0, f64::INFINITY, f64::INFINITY], 0.5),
            Some(f64::INFINITY)
        );
        assert_eq!(quantile(&[], 0.5), None);
    }

    #[test]
    fn perfect_probabilities_have_no_calibration_error() {
        let pairs = [(0.0, false), (1.0, true), (1.0, true)];
        assert_eq!(calibration(&pairs), Some(0.0));
        let wrong = [(0.95, false), (0.95, true)];
        assert!((calibration(&wrong).unwrap() - 0.45).abs() < 1e-12);
    }
}
