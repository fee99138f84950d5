//! What the scoreboard prints and writes.

use super::measure::{STATES, Tally};
use super::total::{Column, columns, reliability};
use serde_json::{Map, Value, json};
use std::fmt::Write as _;

/// Columns of the table by run, short headings.
const SHORT: [(&str, &str); 21] = [
    ("stroke_precision", "strP"),
    ("stroke_recall", "strR"),
    ("stroke_end_p95_s", "end95"),
    ("f1_still", "still"),
    ("f1_free", "free"),
    ("f1_cutting", "cut"),
    ("f1_stalled", "stall"),
    ("f1_slack", "slack"),
    ("stall_delay_median_s", "st.del"),
    ("false_stalls_per_day", "falseSt"),
    ("groove_before_mae_pct", "grBef"),
    ("groove_after_mae_pct", "grAft"),
    ("groove_final_mae_pct", "grEnd"),
    ("groove_final_coverage", "cover"),
    ("through_brier", "brier"),
    ("through_precision", "thrP"),
    ("through_recall", "thrR"),
    ("tool_depth_p95_m", "tool95"),
    ("tool_depth_in_stroke_p95_m", "rel95"),
    ("overpull_off_median_s", "ovOff"),
    ("false_overpulls_per_day", "falseOv"),
];

/// Heading of the table by run.
pub fn heading() -> String {
    let mut out = format!("{:<22}", "run");
    for (_, short) in SHORT {
        let _ = write!(out, "{short:>8}");
    }
    out + "     s"
}

/// One line of the table by run.
pub fn line(label: &str, tally: &Tally) -> String {
    let all = columns(tally);
    let mut out = format!("{label:<22}");
    for (name, _) in SHORT {
        let value = all.iter().find(|c| c.name == name).and_then(|c| c.value);
        let _ = write!(out, "{:>8}", number(value));
    }
    let _ = write!(out, "{:>6.1}", tally.took);
    out
}

fn number(value: Option<f64>) -> String {
    match value {
        None => "-".into(),
        Some(value) if value.is_infinite() => "missed".into(),
        Some(value) if value.abs() >= 100.0 => format!("{value:.0}"),
        Some(value) if value.abs() >= 10.0 => format!("{value:.1}"),
        Some(value) => format!("{value:.3}"),
    }
}

/// Ours against the baseline, column by column.
pub fn comparison(ours: &Tally, baseline: &Tally) -> String {
    let mut out = format!("{:<30}{:>12}{:>12}  better\n", "column", "ours", "baseline");
    for (mine, theirs) in columns(ours).iter().zip(&columns(baseline)) {
        let winner = match (mine.value, theirs.value) {
            (Some(a), Some(b)) => {
                let (a, b) = (
                    Column::badness(mine.better, a),
                    Column::badness(mine.better, b),
                );
                if a < b {
                    "ours"
                } else if a > b {
                    "BASELINE"
                } else {
                    "equal"
                }
            }
            (None, Some(_)) => "BASELINE",
            _ => "",
        };
        let _ = writeln!(
            out,
            "{:<30}{:>12}{:>12}  {winner}",
            mine.name,
            number(mine.value),
            number(theirs.value)
        );
    }
    out
}

/// Seconds by true state (rows) and claimed state (columns).
pub fn confusion(tally: &Tally) -> String {
    let mut out = format!("{:<10}", "true");
    for state in STATES {
        let _ = write!(out, "{:>10}", format!("{state:?}").to_lowercase());
    }
    for (row, state) in tally.confusion.iter().zip(STATES).take(5) {
        let _ = write!(out, "\n{:<10}", format!("{state:?}").to_lowercase());
        for cell in row {
            let _ = write!(out, "{cell:>10.0}");
        }
    }
    out
}

/// Reliability of the probability of being through.
pub fn reliability_table(tally: &Tally) -> String {
    let mut out = String::from("through_probability   bins   given     was\n");
    for (edge, count, given, was) in reliability(&tally.through) {
        let _ = writeln!(
            out,
            "{edge:>8.1}-{:.1}{count:>15}{given:>8.3}{was:>8.3}",
            edge + 0.1
        );
    }
    out
}

/// Columns as a JSON object; missed is `null` like not asked, so it also has `name_missed`.
pub fn json(tally: &Tally) -> Value {
    let mut map = Map::new();
    for column in columns(tally) {
        let value = column.value.filter(|v| v.is_finite());
        map.insert(column.name.into(), value.map_or(Value::Null, |v| json!(v)));
    }
    map.insert("seconds".into(), json!(tally.took));
    map.insert("rows".into(), json!(tally.readings));
    Value::Object(map)
}
