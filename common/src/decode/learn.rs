//! Proposes how to read an instrument from what it sends.
//!
//! *Input*: the first bytes heard on a port. *Output*: [`Proposal`]s, best first, each with the
//! share of the frames that it reads. *Limits*: a proposal is a guess for a person to look at:
//! which column is load and which is depth is told from words and units beside it if there are
//! any, else by order. *Errors*: none; what makes no sense gives no proposal.

use super::packet::Packet;
use super::pattern::PatternDecoder;
use crate::input::ChannelId;

mod line;

use line::{Shape, Slot};

/// Fewest frames to judge by.
const FRAMES_MIN: usize = 3;

/// Most shapes of lines that are told apart.
const SHAPES_MAX: usize = 32;

/// One way to read the bytes.
#[derive(Debug, Clone, PartialEq)]
pub struct Proposal {
    /// `pattern` or `packet`.
    pub protocol: &'static str,
    /// The pattern, if that is the protocol.
    pub pattern: Option<String>,
    /// Channels that it gives.
    pub channels: Vec<ChannelId>,
    /// Part of the frames that it reads, 0 to 1.
    pub share: f64,
    /// The columns of numbers, from left to right.
    pub columns: Vec<Column>,
}

/// One column of numbers.
#[derive(Debug, Clone, PartialEq)]
pub struct Column {
    /// Name of the capture that the proposal gives it; `None`: not captured.
    pub capture: Option<&'static str>,
    /// Unit that the line itself names, as a job file writes it.
    pub unit: Option<&'static str>,
    /// Smallest number seen.
    pub low: f64,
    /// Largest number seen.
    pub high: f64,
}

impl Proposal {
    /// Lines for the job file.
    pub fn job_lines(&self) -> String {
        match &self.pattern {
            Some(pattern) => format!("protocol = \"pattern\"\npattern = '''{pattern}'''\n"),
            None => format!("protocol = \"{}\"\n", self.protocol),
        }
    }
}

/// Proposals for `bytes`, best first; may be empty.
pub fn propose(bytes: &[u8]) -> Vec<Proposal> {
    let mut proposals: Vec<Proposal> = packets(bytes).into_iter().collect();
    proposals.extend(patterns(bytes));
    proposals.retain(|proposal| proposal.share > 0.3);
    // A stable sort: of equal shares the likelier reading stays first.
    proposals.sort_by(|one, two| two.share.total_cmp(&one.share));
    proposals
}

fn packets(bytes: &[u8]) -> Option<Proposal> {
    let frames: Vec<&[u8]> = whole_frames(bytes, |byte| byte == 0);
    let read: Vec<Packet> = (frames.iter())
        .filter_map(|frame| Packet::decode(&mut frame.to_vec()).ok())
        .collect();
    if read.len() < FRAMES_MIN {
        return None;
    }
    let column = |capture, of: fn(&Packet) -> Option<f64>| {
        let numbers: Vec<f64> = read.iter().filter_map(of).collect();
        (!numbers.is_empty()).then(|| column(Some(capture), None, &numbers))
    };
    let load = column("load", |packet| packet.load);
    let depth = column("depth", |packet| packet.depth);
    let channels = [(&load, ChannelId::Load), (&depth, ChannelId::Depth)];
    Some(Proposal {
        protocol: "packet",
        pattern: None,
        channels: (channels.iter())
            .filter(|(column, _)| column.is_some())
            .map(|(_, channel)| *channel)
            .collect(),
        share: read.len() as f64 / frames.len() as f64,
        columns: load.into_iter().chain(depth).collect(),
    })
}

fn patterns(bytes: &[u8]) -> Vec<Proposal> {
    let lines = whole_frames(bytes, |byte| byte == b'\n' || byte == b'\r');
    if lines.len() < FRAMES_MIN {
        return Vec::new();
    }
    let mut shapes: Vec<Shape> = Vec::new();
    for line in &lines {
        let Some(shape) = Shape::of(line) else {
            continue;
        };
        let known = shapes.iter().position(|known| known.same_as(&shape));
        match known {
            Some(index) => shapes[index].merge(&shape),
            None if shapes.len() < SHAPES_MAX => shapes.push(shape),
            None => {}
        }
    }
    shapes.sort_by_key(|shape| std::cmp::Reverse(shape.lines));
    (shapes.iter().take(2))
        .filter(|shape| shape.lines >= FRAMES_MIN)
        .flat_map(|shape| readings_of(shape, &lines))
        .collect()
}

/// The frames of `bytes` without the first and the last, which may be half ones, and without empty
/// ones.
fn whole_frames(bytes: &[u8], end: impl Fn(u8) -> bool) -> Vec<&[u8]> {
    let mut parts: Vec<&[u8]> = bytes.split(|&byte| end(byte)).collect();
    parts.pop();
    let mut parts = parts.into_iter();
    parts.next();
    parts.filter(|part| !part.is_empty()).collect()
}

/// Ways to read lines of one shape: one, or two when the order of load and depth is a guess.
fn readings_of(shape: &Shape, lines: &[&[u8]]) -> Vec<Proposal> {
    let slots = shape.slots();
    let mut names: Vec<Option<&'static str>> = slots.iter().map(Slot::told_name).collect();
    let told = |names: &[Option<&str>], name| names.contains(&Some(name));
    let mut open: Vec<usize> = (0..slots.len())
        .filter(|&index| names[index].is_none() && !slots[index].clock)
        .collect();
    // Columns that change are likelier to be instruments than constants are.
    open.sort_by_key(|&index| !slots[index].varies());
    open.truncate(2);
    open.sort_unstable();

    let mut choices: Vec<Vec<Option<&'static str>>> = Vec::new();
    match (told(&names, "load"), told(&names, "depth"), &open[..]) {
        (true, false, [one, ..]) => names[*one] = Some("depth"),
        (false, true, [one, ..]) => names[*one] = Some("load"),
        (false, false, [one]) => {
            for name in ["load", "depth"] {
                let mut choice = names.clone();
                choice[*one] = Some(name);
                choices.push(choice);
            }
        }
        (false, false, [one, two]) => {
            for (first, second) in [("load", "depth"), ("depth", "load")] {
                let mut choice = names.clone();
                (choice[*one], choice[*two]) = (Some(first), Some(second));
                choices.push(choice);
            }
        }
        _ => {}
    }
    if choices.is_empty() && (told(&names, "load") || told(&names, "depth")) {
        choices.push(names);
    }
    (choices.iter())
        .filter_map(|names| proposal(shape, names, lines))
        .collect()
}

fn proposal(shape: &Shape, names: &[Option<&'static str>], lines: &[&[u8]]) -> Option<Proposal> {
    let pattern = shape.pattern(names);
    let channels: Vec<ChannelId> = [("load", ChannelId::Load), ("depth", ChannelId::Depth)]
        .iter()
        .filter(|(name, _)| names.contains(&Some(name)))
        .map(|(_, channel)| *channel)
        .collect();
    let wanted: Vec<_> = (channels.iter())
        .map(|&channel| (channel, pattern.as_str()))
        .collect();
    let mut decoder = PatternDecoder::new(&wanted).ok()?;
    for line in lines {
        decoder.push(0, line, &mut |_| {});
        decoder.push(0, b"\n", &mut |_| {});
    }
    Some(Proposal {
        protocol: "pattern",
        share: decoder.counts().good as f64 / lines.len() as f64,
        columns: (shape.slots().iter().zip(names))
            .map(|(slot, name)| column(*name, slot.unit(), &slot.numbers))
            .collect(),
        channels,
        pattern: Some(pattern),
    })
}

fn column(capture: Option<&'static str>, unit: Option<&'static str>, numbers: &[f64]) -> Column {
    Column {
        capture,
        unit,
        low: numbers.iter().copied().fold(f64::INFINITY, f64::min),
        high: numbers.iter().copied().fold(f64::NEG_INFINITY, f64::max),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lines(make: impl Fn(i32) -> String) -> Vec<u8> {
        let text: String = (0..20).map(make).collect();
        // Joins and leaves in the middle of a line.
        text.as_bytes()[2..text.len() - 3].to_vec()
    }

    fn first_pattern(bytes: &[u8]) -> String {
        let proposals = propose(bytes);
        assert!(proposals[0].share > 0.99, "{proposals:?}");
        proposals[0].pattern.clone().unwrap()
    }

    /// What the pattern reads from one line.
    fn read(pattern: &str, channel: ChannelId, line: &str) -> Option<(f64, Option<u64>)> {
        let mut decoder = PatternDecoder::new(&[(channel, pattern)]).unwrap();
        let mut got = None;
        decoder.push(0, format!("{line}\n").as_bytes(), &mut |reading| {
            got = Some((reading.raw, reading.seq));
        });
        got
    }

    #[test]
    fn weighing_indicator_with_padding_status_and_unit_is_learned() {
        let bytes = lines(|n| {
            let status = if n % 3 == 0 { "US" } else { "ST" };
            format!(
                "{status},GS,{}{:7.1}kg\r\n",
                if n % 4 == 0 { "-" } else { "+" },
                n * 30
            )
        });
        let pattern = first_pattern(&bytes);
        assert_eq!(propose(&bytes)[0].columns[0].unit, Some("kgf"));
        let line = "ST,GS,-    81.5kg";
        assert_eq!(
            read(&pattern, ChannelId::Load, line),
            Some((-81.5, None)),
            "{pattern}"
        );
    }

    #[test]
    fn units_tell_load_from_depth_and_a_counter_is_found() {
        let bytes = lines(|n| {
            format!(
                "#{:05} D={:.2} m T={} lbf\n",
                40 + n,
                812.0 + 0.1 * f64::from(n),
                400 - n
            )
        });
        let pattern = first_pattern(&bytes);
        let line = "#01234 D=900.25 m T=1,5 lbf";
        assert_eq!(read(&pattern, ChannelId::Depth, line), None, "{pattern}");
        let line = "#01234 D=900.25 m T=15 lbf";
        assert_eq!(
            read(&pattern, ChannelId::Depth, line),
            Some((900.25, Some(1234)))
        );
        assert_eq!(
            read(&pattern, ChannelId::Load, line),
            Some((15.0, Some(1234)))
        );
    }

    #[test]
    fn checksum_in_hexadecimal_is_no_column() {
        let bytes = lines(|n| {
            format!(
                "$LOAD,{:.1}*{:02X}\r\n",
                3000.0 + f64::from(n),
                37 * n % 256
            )
        });
        let pattern = first_pattern(&bytes);
        for end in ["07", "A3", "ff"] {
            let line = format!("$LOAD,2999.5*{end}");
            assert_eq!(
                read(&pattern, ChannelId::Load, &line),
                Some((2999.5, None)),
                "{pattern}"
            );
        }
    }

    #[test]
    fn time_of_day_is_left_alone() {
        let bytes = lines(|n| format!("12:59:{:02};{:.1};{:.2}\r\n", 30 + n, 2000 - 3 * n, 5 * n));
        let proposals = propose(&bytes);
        let pattern = proposals[0].pattern.clone().unwrap();
        let line = "13:00:07;-5.5;77";
        assert_eq!(
            read(&pattern, ChannelId::Load, line),
            Some((-5.5, None)),
            "{pattern}"
        );
        assert_eq!(read(&pattern, ChannelId::Depth, line), Some((77.0, None)));
        // Load and depth cannot be told apart here: the other order is offered too.
        assert_eq!(proposals.len(), 2);
    }

    #[test]
    fn packets_are_recognised() {
        let mut bytes = vec![7, 7, 0];
        for seq in 0..10 {
            Packet::new(seq, Some(2000.0), None).encode(&mut bytes);
        }
        let proposals = propose(&bytes);
        assert_eq!(proposals[0].job_lines(), "protocol = \"packet\"\n");
        assert_eq!(proposals[0].channels, [ChannelId::Load]);
    }

    #[test]
    fn nonsense_gives_no_proposal() {
        assert!(propose(b"").is_empty());
        assert!(propose(&[0xE6, b'\n', 0x98, 0xFF, b'\r', 0x80, b'\n'].repeat(30)).is_empty());
        assert!(propose(b"hello\nhello\nhello\nhello\nhello\n").is_empty());
    }
}
