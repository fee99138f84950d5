//! `[[alarm.output]]`: where alarms go besides the page and the log.
//!
//! *Errors*: reported, never returned.

use super::findings::nearest;
use super::quantity::Dimension as D;
use super::section::{Section, shown};
use super::serial::{self, SerialLine};
use crate::alarm::AlarmKind;
use crate::units::Seconds;
use toml::de::DeValue;

/// One output.
#[derive(Debug, Clone, PartialEq)]
pub struct AlarmOutput {
    /// What the crew calls it.
    pub name: String,
    /// Kinds of alarms that drive it, e.g. `overpull`; never empty.
    pub alarms: Vec<String>,
    /// How it is driven.
    pub kind: OutputKind,
}

/// `kind = "command" | "modbus-coil" | "serial-line"`
#[derive(Debug, Clone, PartialEq)]
pub enum OutputKind {
    /// A program that is started at each change of what sounds, and again when it fails.
    Command {
        /// Program and arguments; no shell.
        command: Vec<String>,
        /// Killed when it takes longer.
        timeout: Seconds,
    },
    /// A relay module on a serial line: its coil is on while all is well.
    ModbusCoil {
        /// Line and heartbeat.
        line: OutputLine,
        /// Unit address 1 to 247.
        unit: u8,
        /// Zero-based coil address.
        coil: u16,
    },
    /// Anything that listens to text lines.
    SerialLine {
        /// Line and heartbeat.
        line: OutputLine,
        /// Sent while all is well.
        well: String,
        /// Sent at once and then repeated while an alarm stands.
        alarm: String,
    },
}

/// Where a horn or relay hangs.
#[derive(Debug, Clone, PartialEq)]
pub struct OutputLine {
    /// `serial:/dev/...` or `tcp:host:port`.
    pub port: String,
    /// How a serial port is set.
    pub serial: SerialLine,
    /// Time between repetitions; the relay is set to drop out when they stop. Default 1 s.
    pub heartbeat: Seconds,
}

/// What drives an output when it does not say: overpull, and that it could not be seen.
const DEFAULT_ALARMS: [&str; 3] = ["overpull", "approaching", "sensor"];

/// All `[[alarm.output]]` of the alarm section.
pub(super) fn read(alarm: &Section<'_>) -> Vec<AlarmOutput> {
    alarm
        .list("output")
        .iter()
        .enumerate()
        .filter_map(|(position, section)| {
            let read = output(section, position + 1);
            section.finish();
            read
        })
        .collect()
}

fn output(section: &Section<'_>, number: usize) -> Option<AlarmOutput> {
    let name = section
        .text("name")
        .unwrap_or_else(|| format!("output {number}"));
    let alarms =
        texts(section, "alarms").unwrap_or_else(|| DEFAULT_ALARMS.map(str::to_owned).to_vec());
    check_kinds(section, &alarms);
    check_blindness(section, &alarms);
    let kinds = [("command", 'c'), ("modbus-coil", 'm'), ("serial-line", 's')];
    let kind = match section.choice("kind", &kinds) {
        Some('c') => OutputKind::Command {
            command: texts(section, "command").unwrap_or_else(|| {
                section.fault("command", "nothing", COMMAND);
                Vec::new()
            }),
            timeout: positive(section, "timeout", 5.0),
        },
        Some('m') => OutputKind::ModbusCoil {
            line: line(section),
            unit: section.whole("unit_address", 1, 247).unwrap_or(1) as u8,
            coil: section.whole("coil", 0, 65_535).unwrap_or(0) as u16,
        },
        Some(_) => OutputKind::SerialLine {
            line: line(section),
            well: section.text("well").unwrap_or_else(|| "OK".to_owned()),
            alarm: section.text("alarm").unwrap_or_else(|| "ALARM".to_owned()),
        },
        None => {
            if section.raw("kind").is_none() {
                section.fault(
                    "kind",
                    "nothing",
                    "\"command\", \"modbus-coil\" or \"serial-line\"",
                );
            }
            // The other keys cannot be judged without it.
            for key in KEYS {
                section.raw(key);
            }
            return None;
        }
    };
    Some(AlarmOutput { name, alarms, kind })
}

/// An output that waits for an alarm that does not exist would never sound.
fn check_kinds(section: &Section<'_>, alarms: &[String]) {
    for alarm in alarms {
        if AlarmKind::NAMES.contains(&alarm.as_str()) {
            continue;
        }
        let write = match nearest(alarm, AlarmKind::NAMES) {
            Some(near) => format!("\"{near}\" (the nearest known alarm)"),
            None => format!("known alarms: {}", AlarmKind::NAMES.join(", ")),
        };
        section.fault("alarms", format!("\"{alarm}\", an unknown alarm"), write);
    }
}

/// A horn for overpull that is told "all is well" while the load cell is dead.
fn check_blindness(section: &Section<'_>, alarms: &[String]) {
    let has = |name: &str| alarms.iter().any(|alarm| alarm == name);
    if (has("overpull") || has("approaching")) && !has("sensor") {
        section.warn(
            "alarms",
            "overpull without sensor, so it says that all is well while a dead load cell hides an overpull",
            "\"sensor\" too: alarms = [\"overpull\", \"approaching\", \"sensor\"]",
        );
    }
}

const COMMAND: &str = "a list, program first: command = [\"/usr/local/bin/call-driller\", \"now\"]";
const KEYS: [&str; 12] = [
    "command",
    "timeout",
    "port",
    "baud",
    "data_bits",
    "parity",
    "stop_bits",
    "heartbeat",
    "unit_address",
    "coil",
    "well",
    "alarm",
];

fn line(section: &Section<'_>) -> OutputLine {
    let port = section.text("port").unwrap_or_default();
    OutputLine {
        port: serial::port(section, &port).unwrap_or_default(),
        serial: serial::read(section, SerialLine::default()),
        heartbeat: positive(section, "heartbeat", 1.0),
    }
}

fn positive(section: &Section<'_>, key: &'static str, default: f64) -> Seconds {
    let value = section.quantity(key, D::Time).unwrap_or(default);
    if value <= 0.0 {
        section.fault(key, D::Time.show(value), "a time above zero");
    }
    Seconds(value)
}

/// A list of texts; `None` when absent or wrong (and reported).
fn texts(section: &Section<'_>, key: &'static str) -> Option<Vec<String>> {
    let value = section.raw(key)?.get_ref();
    let list: Option<Vec<String>> = value.as_array().and_then(|array| {
        array
            .iter()
            .map(|entry| match entry.get_ref() {
                DeValue::String(text) => Some(text.to_string()),
                _ => None,
            })
            .collect()
    });
    if list.as_ref().is_none_or(Vec::is_empty) {
        section.fault(
            key,
            shown(value),
            format!("a list of texts: {key} = [\"...\"]"),
        );
        return None;
    }
    list
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::{print_default_job, read_job};

    fn job(output: &str) -> String {
        // Before the next section, so that it stays below [alarm].
        print_default_job().replace("[record]", &format!("[[alarm.output]]\n{output}\n[record]"))
    }

    #[test]
    fn a_relay_and_a_command_are_read_with_their_defaults() {
        let text = job(
            "kind = \"modbus-coil\"\nport = \"serial:/dev/relay\"\ncoil = 3\n[[alarm.output]]\nname = \"call\"\nkind = \"command\"\ncommand = [\"call\", \"now\"]\nalarms = [\"stall\"]",
        );
        let outputs = read_job(&text, "job.toml")
            .unwrap_or_else(|f| panic!("{f}"))
            .job
            .alarm
            .outputs;
        assert_eq!(outputs.len(), 2);
        assert_eq!(outputs[0].alarms, ["overpull", "approaching", "sensor"]);
        assert!(matches!(
            &outputs[0].kind,
            OutputKind::ModbusCoil { unit: 1, coil: 3, line } if line.heartbeat == Seconds(1.0)
        ));
        assert_eq!(outputs[1].name, "call");
        assert!(matches!(
            &outputs[1].kind,
            OutputKind::Command { command, .. } if command == &["call", "now"]
        ));
    }

    #[test]
    fn an_output_for_overpull_that_leaves_out_dead_instruments_is_remarked_on() {
        for (alarms, remarks) in [
            ("", 0),
            ("alarms = [\"overpull\"]", 1),
            ("alarms = [\"approaching\", \"stall\"]", 1),
            ("alarms = [\"overpull\", \"sensor\"]", 0),
            ("alarms = [\"stall\"]", 0),
        ] {
            let text = job(&format!(
                "kind = \"serial-line\"\nport = \"tcp:a:1\"\n{alarms}"
            ));
            let read = read_job(&text, "job.toml").unwrap_or_else(|f| panic!("{f}"));
            let warnings = read.warnings.iter().map(ToString::to_string);
            let found = warnings.filter(|text| text.contains("overpull without sensor"));
            assert_eq!(found.count(), remarks, "{alarms}");
        }
    }

    #[test]
    fn what_is_wrong_with_an_output_is_named() {
        for (output, field) in [
            ("kind = \"horn\"", "kind"),
            ("name = \"x\"", "kind"),
            ("kind = \"command\"", "command"),
            ("kind = \"command\"\ncommand = \"call now\"", "command"),
            ("kind = \"modbus-coil\"\nport = \"COM3\"", "port"),
            (
                "kind = \"serial-line\"\nport = \"tcp:a:1\"\nheartbeat = \"-1 s\"",
                "heartbeat",
            ),
            (
                "kind = \"command\"\ncommand = [\"x\"]\nalarms = [\"overpul\"]",
                "\"overpull\" (the nearest known alarm)",
            ),
            (
                "kind = \"serial-line\"\nport = \"tcp:a:1\"\nhertbeat = \"1 s\"",
                "hertbeat",
            ),
        ] {
            let findings = read_job(&job(output), "job.toml").unwrap_err().to_string();
            assert!(findings.contains(field), "{output}\n{findings}");
        }
    }
}
