//! What was understood of a job, in words and in both unit systems, with derived figures.
//!
//! *Input -> output*: a checked job -> text for people (`kerfwatchd check JOB`). *Units*: metric
//! first, field units in brackets, whatever the job's `display`. *Source of the figures*: [`crate::model`]; the formulas are named there.

mod cut;
mod expected;
mod inputs;
mod services;

use super::Job;

/// The text. Ends with a line break.
pub fn summary(job: &Job) -> String {
    let mut text = Text::default();
    inputs::inputs(job, &mut text);
    text.heading("Expected with the wheels in the middle of the interval");
    expected::expected(job, &mut text);
    text.heading("Cut");
    cut::cut(job, &mut text);
    text.heading("Instruments and services");
    services::services(job, &mut text);
    text.out
}

#[derive(Debug, Default)]
struct Text {
    out: String,
}

impl Text {
    fn heading(&mut self, words: &str) {
        self.out.push_str(&format!("\n{words}\n"));
    }

    fn row(&mut self, label: &str, value: impl AsRef<str>) {
        self.out
            .push_str(&format!("  {label:<24}{}\n", value.as_ref()));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::{print_default_job, read_job};

    fn of(change: (&str, &str)) -> String {
        let text = print_default_job().replace(change.0, change.1);
        summary(
            &read_job(&text, "job.toml")
                .unwrap_or_else(|f| panic!("{f}"))
                .job,
        )
    }

    #[test]
    fn every_derived_figure_is_there_in_both_unit_systems() {
        let text = of(("", ""));
        for row in [
            "line weight in fluid",
            "static weight",
            "pick-up weight",
            "slack-off weight",
            "stretch at rest",
            "line stiffness",
            "tension limit",
        ] {
            let line = text.lines().find(|l| l.trim_start().starts_with(row));
            let line = line.unwrap_or_else(|| panic!("{row} not in\n{text}"));
            assert!(line.contains('('), "{line}");
        }
        assert!(!text.contains("NaN") && !text.contains("inf "), "{text}");
    }

    // Plain statics, computed outside this project's code: 0.108 in line of 2000 m in 1000 kg/m3 weighs 0.3970 N/m.
    #[test]
    fn weight_and_stiffness_agree_with_the_table_of_hanging_wire() {
        let plain = print_default_job()
            .replace("density = \"1030 kg/m3\"", "density = \"1000 kg/m3\"")
            .replace("\"25 deg\"", "\"0 deg\"")
            .replace("\"26 deg\"", "\"0 deg\"")
            .replace("interval_top = \"2000 m\"", "interval_top = \"1992.4 m\"")
            .replace(
                "interval_bottom = \"2019 m\"",
                "interval_bottom = \"2012.4 m\"",
            );
        let text = summary(
            &read_job(&plain, "job.toml")
                .unwrap_or_else(|f| panic!("{f}"))
                .job,
        );
        assert!(text.contains("line weight in fluid    794 N"), "{text}");
        assert!(text.contains("591 N/m"), "{text}");
    }

    #[test]
    fn a_tool_that_does_not_go_down_and_a_limit_in_newtons_are_said() {
        assert!(of(("friction_down = 0.2", "friction_down = 0.9")).contains("slack-off weight"));
        assert!(
            of(("#tension_limit = \"3500 N\"", "tension_limit = \"3500 N\""))
                .contains("3500 N (786.8 lbf), as given")
        );
        let above = of(("#tension_limit = \"3500 N\"", "tension_limit = \"9 kN\""));
        assert!(above.contains("parts, below the 9000 N"), "{above}");
    }
}
