//! Proposes how to read an instrument from what it sends.
//!
//! *Input*: the first bytes heard on a port. *Output*: [`Proposal`]s, best first, each with the
//! share of the frames that it reads. *Limits*: a proposal is a guess for a person to look at:
//! which column is load and which is depth is told from words and units beside it if there are
//! any, else by order; both may come in lines of their own, told apart by labels. *Errors*: none;
//! what makes no sense gives no proposal.

use super::packet::Packet;
use super::pattern::PatternDecoder;
use crate::input::ChannelId;

mod decimal_comma;
mod hint;
mod labels;
mod line;
mod seven;
mod thousands;

pub use hint::ToldBy;
use line::{Shape, Slot};
pub use seven::seven_bits;

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
    /// By what load or depth of a single column is told.
    pub told_by: ToldBy,
    /// Part of the frames that it reads, 0 to 1.
    pub share: f64,
    /// The columns of numbers, from left to right; those of lines with load before those with depth.
    pub columns: Vec<Column>,
    /// A number that the lines write with a comma, decimal or between thousands, which no protocol reads: there is
    /// no pattern then.
    pub comma: Option<String>,
    /// Words in its lines that change: status, or labels that were not made out as such.
    pub changing_words: Vec<String>,
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
        told_by: ToldBy::Lines,
        share: read.len() as f64 / frames.len() as f64,
        columns: load.into_iter().chain(depth).collect(),
        comma: None,
        changing_words: Vec::new(),
    })
}

fn patterns(bytes: &[u8]) -> Vec<Proposal> {
    let lines = whole_frames(bytes, |byte| byte == b'\n' || byte == b'\r');
    if lines.len() < FRAMES_MIN {
        return Vec::new();
    }
    if let Some(example) = decimal_comma::example(&lines).or_else(|| thousands::example(&lines)) {
        return vec![unreadable(example)];
    }
    let mut alike: Vec<Vec<Shape>> = Vec::new();
    for line in &lines {
        let Some(shape) = Shape::of(line) else {
            continue;
        };
        let known = alike.iter().position(|known| known[0].same_as(&shape));
        match known {
            Some(index) => alike[index].push(shape),
            None if alike.len() < SHAPES_MAX => alike.push(vec![shape]),
            None => {}
        }
    }
    let mut shapes: Vec<Shape> = alike.into_iter().flat_map(labels::split).collect();
    shapes.retain(|shape| shape.lines >= FRAMES_MIN);
    shapes.sort_by_key(|shape| std::cmp::Reverse(shape.lines));
    let mut proposals: Vec<Proposal> = labels::load_and_depth(&shapes)
        .into_iter()
        .filter_map(|(load, depth)| reading_of_both(&shapes[load], &shapes[depth], &lines))
        .collect();
    proposals.extend((shapes.iter().take(2)).flat_map(|shape| readings_of(shape, &lines)));
    proposals
}

/// What is said of lines with commas within numbers: a column for each side of the comma would be wrong by its
/// fraction at best, and by its thousands at worst.
fn unreadable(example: String) -> Proposal {
    Proposal {
        protocol: "pattern",
        pattern: None,
        channels: Vec::new(),
        told_by: ToldBy::Nothing,
        share: 1.0,
        columns: Vec::new(),
        comma: Some(example),
        changing_words: Vec::new(),
    }
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
    // A name may stand once in a pattern.
    let counts = (0..slots.len()).filter(|&index| names[index] == Some("seq"));
    for index in counts.skip(1).collect::<Vec<usize>>() {
        names[index] = None;
    }
    let told = |names: &[Option<&str>], name| names.contains(&Some(name));
    let mut open: Vec<usize> = (0..slots.len())
        .filter(|&index| names[index].is_none() && !slots[index].clock)
        .collect();
    // Columns that change are likelier to be instruments than constants are.
    open.sort_by_key(|&index| !slots[index].varies());
    open.truncate(2);
    open.sort_unstable();

    let mut told_by = ToldBy::Lines;
    let mut choices: Vec<Vec<Option<&'static str>>> = Vec::new();
    match (told(&names, "load"), told(&names, "depth"), &open[..]) {
        (true, false, [one, ..]) => names[*one] = Some("depth"),
        (false, true, [one, ..]) => names[*one] = Some("load"),
        (false, false, [one]) => {
            let likelier;
            (likelier, told_by) = hint::hint(&slots[*one]);
            let order = match likelier {
                Some("depth") => ["depth", "load"],
                _ => ["load", "depth"],
            };
            for name in order {
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
        .filter_map(|names| proposal(&[(shape, names)], lines))
        .map(|proposal| Proposal {
            told_by: told_by.clone(),
            ..proposal
        })
        .collect()
}

/// Load in lines of one shape and depth in those of the other, read by one pattern with two branches.
fn reading_of_both(load: &Shape, depth: &Shape, lines: &[&[u8]]) -> Option<Proposal> {
    let of_load = names_of_one(load, "load")?;
    let mut of_depth = names_of_one(depth, "depth")?;
    if of_load.contains(&Some("seq")) {
        // A name may stand once in a pattern.
        of_depth
            .iter_mut()
            .filter(|name| **name == Some("seq"))
            .for_each(|name| *name = None);
    }
    proposal(&[(load, &of_load), (depth, &of_depth)], lines)
}

/// Names of the columns of lines that carry `quantity` only.
fn names_of_one(shape: &Shape, quantity: &'static str) -> Option<Vec<Option<&'static str>>> {
    let mut names: Vec<_> = shape.slots().iter().map(Slot::told_name).collect();
    let told = names.iter().position(|name| *name == Some(quantity));
    let at = told.or_else(|| shape.value_slot())?;
    for (index, name) in names.iter_mut().enumerate() {
        match name {
            _ if index == at => *name = Some(quantity),
            Some("load" | "depth") => *name = None,
            _ => {}
        }
    }
    Some(names)
}

/// A proposal for lines of `parts`, each with the names of its columns.
fn proposal(parts: &[(&Shape, &[Option<&'static str>])], lines: &[&[u8]]) -> Option<Proposal> {
    let branches: Vec<String> = (parts.iter())
        .map(|(shape, names)| shape.pattern(names))
        .collect();
    let pattern = branches.join("|");
    let named = |name| parts.iter().any(|(_, names)| names.contains(&Some(name)));
    let channels: Vec<ChannelId> = [("load", ChannelId::Load), ("depth", ChannelId::Depth)]
        .into_iter()
        .filter(|(name, _)| named(*name))
        .map(|(_, channel)| channel)
        .collect();
    let wanted: Vec<_> = (channels.iter())
        .map(|&channel| (channel, pattern.as_str()))
        .collect();
    let mut decoder = PatternDecoder::new(&wanted).ok()?;
    for line in lines {
        decoder.push(0, line, &mut |_| {});
        decoder.push(0, b"\n", &mut |_| {});
    }
    let columns_of = |(shape, names): &(&Shape, &[Option<&'static str>])| -> Vec<Column> {
        (shape.slots().iter().zip(*names))
            .map(|(slot, name)| column(*name, slot.unit(), &slot.numbers))
            .collect()
    };
    Some(Proposal {
        protocol: "pattern",
        told_by: ToldBy::Lines,
        share: decoder.counts().good as f64 / lines.len() as f64,
        columns: parts.iter().flat_map(columns_of).collect(),
        comma: None,
        changing_words: (parts.iter())
            .flat_map(|(shape, _)| shape.changing_words())
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
mod tests;
