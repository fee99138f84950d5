//! Plain lines on standard output: one for each stroke, alarm and mark.

use crate::lines_out;
use crate::publish::MarkView;
use kerfwatch::input::MarkKind;
use kerfwatch::job::{Display, fixed};
use kerfwatch::result::{AlarmRecord, Direction, GrooveBin, RunResult, Stroke, in_interval};
use kerfwatch::snapshot::Snapshot;
use kerfwatch::units::{Metres, Newtons};

/// One line on standard output. A terminal that takes none, or has gone, must not hold up the recording.
pub fn say(text: std::fmt::Arguments<'_>) {
    lines_out::out().send(format!("{text}\n").into_bytes());
}

/// Writes lines in the job's units.
#[derive(Debug, Clone, Copy)]
pub struct Console {
    /// Units.
    pub display: Display,
    /// `false` writes nothing (tests).
    pub speak: bool,
}

impl Console {
    /// A stroke has ended.
    pub fn stroke(&self, stroke: &Stroke, now: &Snapshot) {
        let direction = match stroke.direction {
            Direction::Up => "up  ",
            Direction::Down => "down",
        };
        let (from, to) = match stroke.direction {
            Direction::Up => (stroke.bottom_m, stroke.top_m),
            Direction::Down => (stroke.top_m, stroke.bottom_m),
        };
        let groove = self.cut(in_interval(&now.groove, &now.joints));
        self.line(format_args!(
            "{}  stroke {:>4} {direction}  {} -> {}  drag {}  peak {}  {groove}",
            clock(stroke.end_s),
            stroke.n,
            self.length(from),
            self.length(to),
            self.force(stroke.mean_drag_n),
            self.force(stroke.peak_tension_n),
        ));
    }

    /// An alarm has changed; one that is suppressed by the state of the job is nobody's concern.
    pub fn alarm(&self, at_s: f64, state: &str, record: &AlarmRecord) {
        if !matches!(state, "suppressed" | "normal") {
            self.line(format_args!("{}", self.alarm_line(at_s, state, record)));
        }
    }

    fn alarm_line(&self, at_s: f64, state: &str, record: &AlarmRecord) -> String {
        let peak = record
            .peak_n
            .map(|peak| format!("  {} {}", record.extreme(), self.force(peak)))
            .unwrap_or_default();
        let word = if state == "unacknowledged" {
            "ALARM"
        } else {
            "alarm"
        };
        format!(
            "{}  {word} {} ({}) {}{peak}",
            clock(at_s),
            record.name(),
            record.level,
            state.replace('_', " "),
        )
    }

    /// A mark, with who made it where that is known.
    pub fn mark(&self, mark: &MarkView, kind: &MarkKind) {
        self.line(format_args!("{}", self.mark_line(mark, kind)));
    }

    fn mark_line(&self, mark: &MarkView, kind: &MarkKind) -> String {
        let by = match mark.author.as_str() {
            "" => String::new(),
            author => format!("by {author}"),
        };
        // The view has metres, to the last digit.
        let text = match kind {
            MarkKind::Zero(metres) | MarkKind::ReferenceDepth(metres) => self.length(*metres),
            _ => mark.text.clone(),
        };
        let mut words = vec![mark.mark.as_str(), text.trim(), &by];
        words.retain(|word| !word.is_empty());
        format!("{}  mark {}", clock(mark.at_s), words.join(" "))
    }

    /// The run has ended.
    pub fn end(&self, result: &RunResult) {
        self.line(format_args!(
            "{}  end: {} strokes, {} readings, {} bad frames, {} alarms",
            clock(result.span_s().1),
            result.strokes.len(),
            result.run.samples,
            result.quality.bad_frames,
            result.alarms.len(),
        ));
    }

    /// Any line.
    pub fn line(&self, text: std::fmt::Arguments<'_>) {
        if self.speak {
            say(text);
        }
    }

    fn length(&self, metres: f64) -> String {
        match self.display {
            Display::Metric => format!("{metres:8.2} m"),
            Display::Field => format!("{:8.1} ft", Metres(metres).as_feet()),
        }
    }

    fn force(&self, newtons: f64) -> String {
        // Zero added: what rounds to nothing has no sign.
        let whole = |value: f64| value.round() + 0.0;
        match self.display {
            Display::Metric => format!("{:>6} N", fixed(whole(newtons), 0)),
            Display::Field => format!("{:>6} lbf", fixed(whole(Newtons(newtons).as_lbf()), 0)),
        }
    }

    /// How far the cut has come. The depth is the estimate where it is greatest, and no bound of it.
    fn cut(&self, bins: &[GrooveBin]) -> String {
        let deepest = bins.iter().map(|bin| bin.depth_mm).fold(f64::NAN, f64::max);
        let split = bins.iter().filter(|bin| bin.through).count();
        match bins.len() {
            0 => "no cut seen yet".to_owned(),
            // After a first short stroke, say, of which nothing is worked out yet.
            _ if deepest == 0.0 => "no groove told yet".to_owned(),
            count => format!(
                "deepest {}  split {split} of {count} bins",
                self.groove(deepest)
            ),
        }
    }

    fn groove(&self, millimetres: f64) -> String {
        match self.display {
            _ if !millimetres.is_finite() => "unknown".to_owned(),
            Display::Metric => format!("{millimetres:.2} mm"),
            Display::Field => format!("{:.3} in", Metres(millimetres * 1e-3).as_inches()),
        }
    }
}

/// Hours, minutes, seconds of run time.
pub fn clock(seconds: f64) -> String {
    let whole = seconds.max(0.0) as u64;
    format!(
        "{:02}:{:02}:{:02}",
        whole / 3600,
        whole / 60 % 60,
        whole % 60
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use kerfwatch::input::Mark;

    #[test]
    fn run_time_reads_as_a_clock() {
        assert_eq!(clock(36_061.9), "10:01:01");
        assert_eq!(clock(-1.0), "00:00:00");
    }

    #[test]
    fn what_rounds_to_nothing_has_no_sign() {
        let console = Console {
            display: Display::Metric,
            speak: false,
        };
        assert_eq!(console.force(-0.3), "     0 N");
        assert_eq!(console.force(-4.4), "    -4 N");
    }

    #[test]
    fn a_number_that_no_instrument_means_stays_short() {
        let console = Console {
            display: Display::Metric,
            speak: false,
        };
        assert_eq!(console.force(3e38), "3.0e38 N");
    }

    #[test]
    fn a_stroke_tells_where_the_groove_is_deepest_and_calls_it_no_bound() {
        let console = Console {
            display: Display::Metric,
            speak: false,
        };
        let bin = |depth_mm, through| GrooveBin {
            top_m: 2000.0,
            bottom_m: 2000.5,
            depth_mm,
            low_mm: 0.0,
            high_mm: 6.0,
            wall_mm: 6.88,
            passes: 9,
            through,
            through_probability: 0.0,
            coupling: false,
        };
        assert_eq!(console.cut(&[]), "no cut seen yet");
        assert_eq!(console.cut(&[bin(0.0, false)]), "no groove told yet");
        assert_eq!(
            console.cut(&[bin(0.4, false), bin(1.62, true)]),
            "deepest 1.62 mm  split 1 of 2 bins"
        );
    }

    #[test]
    fn depths_of_marks_are_told_in_the_units_of_the_job() {
        let told = |display, kind: MarkKind| {
            let mark = Mark {
                author: "engineer".to_owned(),
                kind,
            };
            let view = crate::publish::mark_view(5_000_000_000, &mark).unwrap();
            let speak = false;
            Console { display, speak }.mark_line(&view, &mark.kind)
        };
        assert_eq!(
            told(Display::Field, MarkKind::Zero(6580.0 * 0.3048)),
            "00:00:05  mark zero 6580.0 ft by engineer"
        );
        assert_eq!(
            told(Display::Metric, MarkKind::ReferenceDepth(2_031.500_000_001)),
            "00:00:05  mark reference_depth 2031.50 m by engineer"
        );
        assert_eq!(
            told(Display::Field, MarkKind::Note("hold 3 m".to_owned())),
            "00:00:05  mark note hold 3 m by engineer"
        );
    }

    #[test]
    fn alarms_of_one_name_say_which_they_are() {
        let console = Console {
            display: Display::Metric,
            speak: false,
        };
        let mut record = AlarmRecord {
            kind: "sensor".to_owned(),
            about: Some("depth".to_owned()),
            level: "high".to_owned(),
            raised_s: 5.0,
            cleared_s: None,
            peak_n: None,
        };
        let line = console.alarm_line(5.0, "unacknowledged", &record);
        assert_eq!(line, "00:00:05  ALARM sensor depth (high) unacknowledged");
        (record.kind, record.about) = ("overpull".to_owned(), None);
        record.peak_n = Some(5200.0);
        let line = console.alarm_line(5.0, "returned_unacknowledged", &record);
        assert_eq!(
            line,
            "00:00:05  alarm overpull (high) returned unacknowledged  peak   5200 N"
        );
    }
}
