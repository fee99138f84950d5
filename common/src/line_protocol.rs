//! Points as InfluxDB line protocol text, and the fields of what is sent live and exported afterwards alike.
//!
//! *Input -> output*: measurement, tags, fields, time -> one line, `measurement,tag=.. field=.. timestamp`.
//! *Units*: the timestamp is ns since 1970-01-01 UTC; the others are in the names of the fields.
//! *Errors*: none; what the protocol cannot carry is left out (fields that are not finite, tags without a value) or replaced
//! (line breaks and backslashes in tags), and a point without a field is no point.
//! *Source*: page "InfluxDB line protocol reference".

use crate::result::{AlarmRecord, GrooveBin, Interval, Stroke};
use std::fmt::Write as _;

/// Value of a field.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Field<'t> {
    /// A float; left out when it is not finite.
    Real(f64),
    /// A whole number.
    Whole(i64),
    /// Yes or no.
    Flag(bool),
    /// Text.
    Text(&'t str),
}

/// Appends one point with its line end; `false` when no field is left and nothing was appended. Tags may come in
/// any order; they are sorted by key, as the protocol advises. Names of measurement, tags and fields are ours and plain.
pub fn push_point(
    out: &mut String,
    measurement: &str,
    tags: &[(&str, &str)],
    fields: &[(&str, Field<'_>)],
    unix_ns: i64,
) -> bool {
    let before = out.len();
    out.push_str(measurement);
    let mut sorted: Vec<_> = tags.to_vec();
    sorted.sort_unstable();
    for (key, value) in sorted {
        push_tag(out, key, value);
    }
    let mut separator = ' ';
    for (key, value) in fields {
        if matches!(value, Field::Real(x) if !x.is_finite()) {
            continue;
        }
        out.push(separator);
        separator = ',';
        out.push_str(key);
        out.push('=');
        push_field(out, *value);
    }
    if separator == ' ' {
        out.truncate(before);
        return false;
    }
    // Writing to a string does not fail.
    let _ = writeln!(out, " {unix_ns}");
    true
}

fn push_field(out: &mut String, value: Field<'_>) {
    // Writing to a string does not fail.
    let _ = match value {
        Field::Real(x) => write!(out, "{x}"),
        Field::Whole(n) => write!(out, "{n}i"),
        Field::Flag(flag) => write!(out, "{flag}"),
        Field::Text(text) => {
            out.push('"');
            for c in text.chars() {
                match c {
                    '"' | '\\' => out.extend(['\\', c]),
                    // A line end would begin the next point for many a reader.
                    '\n' | '\r' => out.push(' '),
                    _ => out.push(c),
                }
            }
            out.push('"');
            Ok(())
        }
    };
}

fn push_tag(out: &mut String, key: &str, value: &str) {
    if value.trim().is_empty() {
        return;
    }
    out.push(',');
    out.push_str(key);
    out.push('=');
    for c in value.chars() {
        match c {
            ',' | '=' | ' ' => out.extend(['\\', c]),
            // A line break cannot be encoded; a backslash at the end would escape what follows.
            '\n' | '\r' | '\t' => out.push('_'),
            '\\' => out.push('/'),
            _ => out.push(c),
        }
    }
}

/// Fields of a stroke that are known when it ends, and stay.
fn stroke_motion(s: &Stroke) -> [(&'static str, Field<'static>); 7] {
    [
        ("n", Field::Whole(i64::from(s.n))),
        ("end_s", Field::Real(s.end_s)),
        ("start_s", Field::Real(s.start_s)),
        ("top_m", Field::Real(s.top_m)),
        ("bottom_m", Field::Real(s.bottom_m)),
        ("tool_travel_m", Field::Real(s.tool_travel_m)),
        ("peak_tension_n", Field::Real(s.peak_tension_n)),
    ]
}

/// Fields of a stroke told live: the same point as that of the result, to which they must not give another value. Work
/// and engaged length are not known yet; drag is read anew when friction and weight are learned later, so what was told
/// has a name of its own.
pub fn stroke_told_fields(s: &Stroke) -> Vec<(&'static str, Field<'static>)> {
    let mut fields = stroke_motion(s).to_vec();
    fields.push(("mean_drag_told_n", Field::Real(s.mean_drag_n)));
    fields
}

/// Fields of a stroke of a result.
pub fn stroke_fields(s: &Stroke) -> Vec<(&'static str, Field<'static>)> {
    let mut fields = stroke_motion(s).to_vec();
    fields.extend([
        ("mean_drag_n", Field::Real(s.mean_drag_n)),
        ("cut_work_j", Field::Real(s.cut_work_j)),
        ("engaged_m", Field::Real(s.engaged_m)),
    ]);
    fields
}

/// Fields of a stretch of time in one state, as told live or as worked out afterwards.
pub fn state_fields(i: &Interval) -> [(&'static str, Field<'static>); 2] {
    [
        ("state", Field::Text(i.state.word())),
        ("duration_s", Field::Real(i.end_s - i.start_s)),
    ]
}

/// Tags of an alarm: kind, level, and which of several of one kind, empty where there is one only. Two instruments may
/// fail at one moment, and their alarms are two points.
pub fn alarm_tags(a: &AlarmRecord) -> [(&'static str, &str); 3] {
    [
        ("kind", &a.kind),
        ("level", &a.level),
        ("about", a.about.as_deref().unwrap_or_default()),
    ]
}

/// Fields of an alarm; what is not known yet is left out.
pub fn alarm_fields(a: &AlarmRecord) -> Vec<(&'static str, Field<'static>)> {
    let mut fields = vec![("raised_s", Field::Real(a.raised_s))];
    fields.extend(a.cleared_s.map(|s| ("cleared_s", Field::Real(s))));
    fields.extend(a.peak_n.map(|n| ("peak_n", Field::Real(n))));
    fields
}

/// Fields of the groove in one bin; its top is a tag ([`depth_tag`]).
pub fn groove_fields(b: &GrooveBin) -> [(&'static str, Field<'static>); 8] {
    [
        ("depth_mm", Field::Real(b.depth_mm)),
        ("low_mm", Field::Real(b.low_mm)),
        ("high_mm", Field::Real(b.high_mm)),
        ("wall_mm", Field::Real(b.wall_mm)),
        ("passes", Field::Whole(i64::from(b.passes))),
        ("through", Field::Flag(b.through)),
        ("through_probability", Field::Real(b.through_probability)),
        ("coupling", Field::Flag(b.coupling)),
    ]
}

/// A depth as a tag: to the millimetre, without trailing zeros.
pub fn depth_tag(m: f64) -> String {
    let text = format!("{m:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(tags: &[(&str, &str)], fields: &[(&str, Field<'_>)]) -> String {
        let mut text = String::new();
        push_point(&mut text, "stroke", tags, fields, 5);
        text
    }

    #[test]
    fn tags_are_sorted_and_escaped_and_empty_ones_left_out() {
        let tags = [
            ("well", "A, b=c d"),
            ("run", "7"),
            ("rig", " "),
            ("a", "x\ny\\"),
        ];
        assert_eq!(
            line(&tags, &[("n", Field::Whole(3))]),
            "stroke,a=x_y/,run=7,well=A\\,\\ b\\=c\\ d n=3i 5\n"
        );
    }

    #[test]
    fn fields_keep_their_type_and_text_is_quoted() {
        let fields = [
            ("x", Field::Real(-0.1)),
            ("f", Field::Flag(true)),
            ("t", Field::Text("say \"no\\\"\n")),
        ];
        assert_eq!(
            line(&[], &fields),
            "stroke x=-0.1,f=true,t=\"say \\\"no\\\\\\\" \" 5\n"
        );
    }

    #[test]
    fn numbers_that_are_not_finite_never_get_out() {
        let nan = ("x", Field::Real(f64::NAN));
        let infinite = ("y", Field::Real(f64::NEG_INFINITY));
        assert_eq!(line(&[], &[nan, infinite]), "");
        assert_eq!(
            line(&[], &[nan, ("n", Field::Whole(1)), infinite]),
            "stroke n=1i 5\n"
        );
    }

    #[test]
    fn depth_tags_are_the_same_however_the_number_was_reached() {
        assert_eq!(depth_tag(600.1), depth_tag(600.0 + 0.1));
        assert_eq!(depth_tag(600.0), "600");
        assert_eq!(depth_tag(601.25), "601.25");
    }
}
