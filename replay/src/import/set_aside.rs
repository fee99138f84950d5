//! What was left out of an import, counted by reason, with the first places of each.

use super::shown::shown;
use crate::failure::Finding;

/// Places shown per reason.
const SHOWN: usize = 3;

/// Why something was left out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Reason {
    /// More or fewer cells than the header (torn or merged line).
    CellCount,
    /// Line longer than any instrument writes.
    TooLong,
    /// No usable time: the row cannot be placed.
    Time,
    /// Tension is no number.
    Load,
    /// Tension is NaN or infinite.
    LoadNotFinite,
    /// Depth is no number.
    Depth,
    /// Depth is NaN or infinite.
    DepthNotFinite,
    /// Mark that is not known.
    Mark,
}

impl Reason {
    const ALL: [Self; 8] = [
        Self::CellCount,
        Self::TooLong,
        Self::Time,
        Self::Load,
        Self::LoadNotFinite,
        Self::Depth,
        Self::DepthNotFinite,
        Self::Mark,
    ];

    fn field(self) -> Option<&'static str> {
        match self {
            Self::CellCount | Self::TooLong => None,
            Self::Time => Some("time_s"),
            Self::Load | Self::LoadNotFinite => Some("load_n"),
            Self::Depth | Self::DepthNotFinite => Some("depth_m"),
            Self::Mark => Some("mark"),
        }
    }

    fn what(self, count: u64) -> &'static str {
        let (one, many) = match self {
            Self::CellCount => (
                "row with more or fewer cells than the header",
                "rows with more or fewer cells than the header",
            ),
            Self::TooLong => ("line longer than 64 KiB", "lines longer than 64 KiB"),
            Self::Time => ("row without a usable time", "rows without a usable time"),
            Self::Load => ("tension that is no number", "tensions that are no number"),
            Self::LoadNotFinite => ("tension that is not finite", "tensions that are not finite"),
            Self::Depth => ("depth that is no number", "depths that are no number"),
            Self::DepthNotFinite => ("depth that is not finite", "depths that are not finite"),
            Self::Mark => ("mark that is not known", "marks that are not known"),
        };
        if count == 1 { one } else { many }
    }

    fn remedy(self) -> &'static str {
        match self {
            Self::CellCount => "write as many cells as the header has; an empty cell stays empty",
            Self::TooLong => "check the line ends of the file",
            Self::Time => "write seconds from run start, e.g. 12.34 (below one year)",
            Self::Load | Self::LoadNotFinite => "write newtons, e.g. 2034.5, or leave it empty",
            Self::Depth | Self::DepthNotFinite => "write metres, e.g. 1200.25, or leave it empty",
            Self::Mark => {
                "write cutter_out, cutter_in, weight_check, reference_depth:1502.4 m or note:TEXT"
            }
        }
    }
}

#[derive(Debug, Clone, Default)]
struct Tally {
    count: u64,
    first: Vec<(u64, String)>,
}

/// Counts and first places.
#[derive(Debug, Clone, Default)]
pub(crate) struct SetAside {
    /// Data rows seen.
    pub(crate) rows: u64,
    /// Rows that gave at least one reading.
    pub(crate) used: u64,
    /// Rows with a time but no value (both cells empty, or set aside).
    pub(crate) without_value: u64,
    /// The last line, where it was used and has no line end.
    pub(crate) torn_end: Option<u64>,
    tallies: [Tally; Reason::ALL.len()],
}

impl SetAside {
    /// Counts one; `found` is what stood there.
    #[cold]
    pub(crate) fn add(&mut self, reason: Reason, line: u64, found: &[u8]) {
        let tally = &mut self.tallies[reason as usize];
        tally.count += 1;
        if tally.first.len() < SHOWN {
            tally.first.push((line, shown(found)));
        }
    }

    /// How many rows or cells were set aside.
    pub(crate) fn count(&self) -> u64 {
        self.tallies.iter().map(|t| t.count).sum()
    }

    /// One line, e.g. `3 tensions that are no number`.
    pub(crate) fn summary(&self) -> String {
        let parts: Vec<String> = self
            .by_reason()
            .map(|(reason, tally)| format!("{} {}", tally.count, reason.what(tally.count)))
            .collect();
        if parts.is_empty() {
            "nothing set aside".to_owned()
        } else {
            parts.join(", ")
        }
    }

    /// Nothing could be used: what was wrong with it, and how to put the first of it right.
    pub(crate) fn as_nothing_usable(&self, file: &str) -> Finding {
        let problem = format!("no row is usable: {}", self.summary());
        let of_first = self
            .by_reason()
            .find_map(|(reason, tally)| Some((reason, tally.first.first()?)));
        let Some((reason, (line, found))) = of_first else {
            return Finding::new(
                file,
                problem,
                "write one row per reading, e.g. 12.34,2034.5,1200.25",
            );
        };
        let finding =
            Finding::new(file, format!("{problem}; first `{found}`"), reason.remedy()).at(*line);
        match reason.field() {
            Some(field) => finding.field(field),
            None => finding,
        }
    }

    /// The first places of each reason as findings.
    pub(crate) fn findings(&self, file: &str) -> Vec<Finding> {
        let mut findings = Vec::new();
        for (reason, tally) in self.by_reason() {
            for (i, (line, found)) in tally.first.iter().enumerate() {
                let last = i + 1 == tally.first.len();
                let more = tally.count - tally.first.len() as u64;
                let mut problem = format!("`{found}`: {}", reason.what(1));
                if last && more > 0 {
                    problem += &format!(" (and {more} more like it)");
                }
                let remedy = if last { reason.remedy() } else { "" };
                let finding = Finding::new(file, problem, remedy).at(*line);
                findings.push(match reason.field() {
                    Some(field) => finding.field(field),
                    None => finding,
                });
            }
        }
        findings
    }

    fn by_reason(&self) -> impl Iterator<Item = (Reason, &Tally)> {
        Reason::ALL
            .into_iter()
            .zip(&self.tallies)
            .filter(|(_, tally)| tally.count > 0)
    }
}
