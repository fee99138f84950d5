//! OpenMetrics text under construction.
//!
//! *Source*: the OpenMetrics 1.0 specification: families with `# TYPE`, `# UNIT`, `# HELP`; counters end in
//! `_total`; the text ends with `# EOF`.

use kerfwatch::result::State as ToolState;
use std::fmt::Write;

/// Text under construction.
#[derive(Debug, Default)]
pub(super) struct Families {
    text: String,
}

impl Families {
    pub(super) fn family(&mut self, name: &str, kind: &str, unit: &str, help: &str) {
        let text = &mut self.text;
        // Writing to a string does not fail.
        let _ = writeln!(text, "# TYPE {name} {kind}");
        if !unit.is_empty() {
            let _ = writeln!(text, "# UNIT {name} {unit}");
        }
        let _ = writeln!(text, "# HELP {name} {help}");
    }

    pub(super) fn sample(&mut self, name: &str, labels: &[(&str, &str)], value: f64) {
        let text = &mut self.text;
        text.push_str(name);
        for (n, (label, value)) in labels.iter().enumerate() {
            let value = value
                .replace('\\', "\\\\")
                .replace('"', "\\\"")
                .replace('\n', "\\n");
            let _ = write!(
                text,
                "{}{label}=\"{value}\"",
                if n == 0 { '{' } else { ',' }
            );
        }
        if !labels.is_empty() {
            text.push('}');
        }
        let _ = writeln!(text, " {value}");
    }

    /// An unknown value has no sample: a missing figure is not zero.
    pub(super) fn gauge(&mut self, name: &str, unit: &str, help: &str, value: Option<f64>) {
        self.family(name, "gauge", unit, help);
        if let Some(value) = value.filter(|value| value.is_finite()) {
            self.sample(name, &[], value);
        }
    }

    pub(super) fn counter(&mut self, name: &str, help: &str, value: u64) {
        self.family(name, "counter", "", help);
        self.sample(&format!("{name}_total"), &[], value as f64);
    }

    pub(super) fn info(&mut self, name: &str, help: &str, labels: &[(&str, &str)]) {
        self.family(name, "info", "", help);
        self.sample(&format!("{name}_info"), labels, 1.0);
    }

    pub(super) fn state(&mut self, now: ToolState) {
        let name = "kerfwatch_tool_state";
        self.family(name, "stateset", "", "What the tool does.");
        for state in ToolState::ALL {
            let is_it = f64::from(u8::from(state == now));
            self.sample(name, &[(name, state.word())], is_it);
        }
    }

    pub(super) fn end(mut self) -> String {
        self.text.push_str("# EOF\n");
        self.text
    }
}
