//! `learn`: listens to an unknown instrument and proposes the lines of the job file.

use super::{block_on, complain, live_clock, print};
use crate::cli::{LearnArgs, exit};
use crate::ports::address::Address;
use crate::ports::discover::serial_ports;
use crate::ports::learn::Learned;
use kerfwatch::decode::learn::{Proposal, ToldBy, seven_bits};
use kerfwatch::input::ChannelId;
use kerfwatch::job::{SerialLine, significant};
use std::path::Path;
use std::time::Duration;

/// Listening cannot find a device that waits for a question, and the questions differ by maker.
const ONLY_ANSWERS: &str = "a Modbus device or gateway is silent until it is asked, and cannot be learned: write \
    protocol = \"modbus-rtu\" with unit_address, function, register and type from its manual into the job file \
    (`kerfwatchd config` shows them), and try that with `kerfwatchd check JOB --ports`";

pub(super) fn learn(args: &LearnArgs) -> u8 {
    if let Err(error) = Address::parse(&args.port) {
        complain(&error);
        for port in serial_ports(Path::new("/")) {
            complain(&format_args!("there is {}", port.address()));
        }
        return exit::BAD_INPUT;
    }
    let framing = match args.framing.as_deref().map(str::parse).transpose() {
        Ok(framing) => framing,
        Err(error) => {
            complain(&format_args!("--framing: {error}"));
            return exit::BAD_INPUT;
        }
    };
    let time = Duration::from_secs_f64(args.listen_s.clamp(0.1, 3600.0));
    let clock = live_clock();
    let learning = crate::ports::learn::learn(&args.port, args.baud, framing, time, &clock);
    let learned = match block_on(learning) {
        Ok(learned) => learned,
        Err(code) => return code,
    };
    let Some(best) = learned.proposals.first() else {
        let what = if learned.heard.bytes == 0 {
            let advice = learned.heard.advice().unwrap_or_default();
            match learned.heard.opened && learned.heard.trouble.is_none() {
                true => format!("{advice}; {ONLY_ANSWERS}"),
                false => advice,
            }
        } else {
            let beginning: String = learned
                .heard
                .beginning
                .iter()
                .take(120)
                .flat_map(|byte| std::ascii::escape_default(*byte))
                .map(char::from)
                .collect();
            let is_serial = !args.port.starts_with("tcp:");
            let hint = match seven_bits(&learned.heard.beginning) {
                Some((framing, _)) if !is_serial => {
                    format!("; this is text of {framing}: set the device server to it")
                }
                _ if is_serial && framing.is_none() => {
                    "; if the instrument is set to parity, say so, e.g. --framing 8E1".to_owned()
                }
                _ => String::new(),
            };
            format!("bytes come, but neither lines nor packets were made out: {beginning}{hint}")
        };
        complain(&format_args!("{}: {what}", args.port));
        return exit::FAILED;
    };
    if let Some(example) = &best.comma {
        complain(&with_comma(&args.port, example));
        return exit::FAILED;
    }
    print(&proposed(&args.port, &learned, best))
}

fn with_comma(port: &str, example: &str) -> String {
    format!(
        "{port}: its lines write numbers with a comma ({example}), which a pattern does not read: the comma could \
         part decimals, thousands or columns; set the instrument to decimal points and no separator of thousands"
    )
}

/// Lines to paste into the job file, each guess said.
fn proposed(port: &str, learned: &Learned, best: &Proposal) -> String {
    // A device server keeps its line speed to itself.
    let is_serial = !port.starts_with("tcp:");
    let mut text = format!(
        "# {} bytes{}; this reads {:.0} % of the frames\n",
        learned.heard.bytes,
        if is_serial {
            format!(" at {}", learned.serial)
        } else {
            String::new()
        },
        best.share * 100.0
    );
    for column in &best.columns {
        if let Some(name) = column.capture {
            let (low, high) = (significant(column.low), significant(column.high));
            text.push_str(&format!("# {name}: {low} to {high}\n"));
        }
    }
    let other = (learned.proposals.get(1)).filter(|next| next.share == best.share);
    text.push_str(&doubt(best, other.is_some()));
    if !best.changing_words.is_empty() {
        text.push_str(&format!(
            "# words in its lines that change: {}; where they tell two quantities apart, write them into the pattern\n",
            best.changing_words.join(", ")
        ));
    }
    let sections = sections(port, learned, best);
    match other.filter(|_| best.told_by == ToldBy::Nothing) {
        Some(other) => {
            text.push_str("\n# either, if it is the load cell:\n");
            text.push_str(&sections);
            text.push_str("\n# or, if it is the depth counter (take the # away, and the section above out):\n");
            // Pasted as they are, both would be read from one instrument.
            for line in self::sections(port, learned, other).lines() {
                text.push_str(&format!("#{line}\n"));
            }
        }
        None => text.push_str(&sections),
    }
    text
}

/// Says where load or depth is a guess, and by what it was made.
fn doubt(best: &Proposal, is_open: bool) -> String {
    let what = match best.channels.first() {
        Some(ChannelId::Depth) => "depth",
        _ => "load",
    };
    let other = if what == "depth" { "load" } else { "depth" };
    let compare = format!(
        "compare with the display of the instrument; if it is {other}, write {other} for {what} in section and pattern"
    );
    match &best.told_by {
        ToldBy::Letter(letter) => {
            format!("# {what} is a guess by the letter {letter} in its lines: {compare}\n")
        }
        ToldBy::Decimals(digits) => {
            format!("# {what} is a guess by the {digits} digits behind the point: {compare}\n")
        }
        ToldBy::Nothing => {
            "# load or depth: nothing in its lines tells. Look at the display of the instrument and keep one of the two\n"
                .to_owned()
        }
        // The other order of two columns reads as many frames: which is which has to be looked at.
        ToldBy::Lines if is_open => {
            "# load or depth is a guess: compare with the display of the instrument\n".to_owned()
        }
        ToldBy::Lines => String::new(),
    }
}

/// The sections of the job file that read it so.
fn sections(port: &str, learned: &Learned, best: &Proposal) -> String {
    let is_serial = !port.starts_with("tcp:");
    let both = best.channels.len() > 1;
    let section = match best.channels.first() {
        Some(ChannelId::Depth) if !both => "depth",
        _ => "load",
    };
    let mut text = format!(
        "[{section}]\nport = \"{port}\"\n{}{}",
        if is_serial {
            let SerialLine { baud, framing } = learned.serial;
            format!("baud = {baud}\n{}", framing.job_lines())
        } else {
            String::new()
        },
        best.job_lines()
    );
    text.push_str(&unit_line(best, section));
    if both {
        text.push_str("[depth]             # on the same port\n");
        text.push_str(&unit_line(best, "depth"));
    }
    text
}

/// The unit that stands in the lines, else one to be put right.
fn unit_line(best: &Proposal, section: &str) -> String {
    let mut columns = best.columns.iter();
    let told = columns.find(|column| column.capture == Some(section));
    match told.and_then(|column| column.unit) {
        Some(unit) => format!("unit = \"{unit}\"    # as its lines say\n"),
        None => {
            let unit = if section == "depth" { "m" } else { "N" };
            format!("unit = \"{unit}\"    # a guess: write the unit of its display\n")
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ports::listen::Heard;
    use kerfwatch::decode::learn::propose;
    use kerfwatch::job::read_job;

    /// The lines proposed for an instrument that sends what `make` writes.
    fn proposal(make: impl Fn(i32) -> String) -> String {
        let bytes: String = (0..20).map(make).collect();
        let learned = Learned {
            serial: SerialLine::default(),
            heard: Heard::default(),
            proposals: propose(bytes.as_bytes()),
        };
        proposed("tcp:127.0.0.1:4001", &learned, &learned.proposals[0])
    }

    #[test]
    fn two_instruments_get_a_section_each() {
        let depth = proposal(|n| format!("D {:.4}\r\n", 6.0 + 0.25 * f64::from(n)));
        assert!(
            depth.contains("\n[depth]\n") && !depth.contains("[load]"),
            "{depth}"
        );
        assert!(
            depth.contains("a guess by the letter D") && depth.contains("unit = \"m\""),
            "{depth}"
        );
        let load = proposal(|n| format!("L {:.1}\r\n", 1600.0 + f64::from(n)));
        assert!(
            load.contains("\n[load]\n") && !load.contains("[depth]"),
            "{load}"
        );
        let sample = kerfwatch::job::print_default_job();
        let head = sample.split("\n[load]").next().unwrap();
        let rest = sample.split("\n[alarm]").nth(1).unwrap();
        let text = format!("{head}\n{load}\n{depth}\n[alarm]{rest}");
        let job = read_job(&text, "job.toml")
            .unwrap_or_else(|e| panic!("{e}\n{text}"))
            .job;
        assert!(job.load.is_some() && job.depth.is_some());
    }

    #[test]
    fn where_nothing_tells_both_are_printed_and_only_one_is_in_force() {
        let text = proposal(|n| format!("{:.1}\r\n", 1600.0 + f64::from(n)));
        assert!(text.contains("nothing in its lines tells"), "{text}");
        assert!(
            text.contains("\n[load]\n") && text.contains("\n#[depth]\n"),
            "{text}"
        );
        assert!(
            text.contains("(?<load>") && text.contains("(?<depth>"),
            "{text}"
        );
    }
}
