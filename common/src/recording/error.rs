//! What can go wrong with a run folder: errors that stop, and damage that is reported and passed over.

use std::fmt;
use std::io;

/// An operation on a run folder that could not be done at all.
#[derive(Debug, thiserror::Error)]
pub enum RecordError {
    /// The operating system refused.
    #[error("{what} {}: {source}", named(file))]
    Io {
        /// What was attempted, e.g. `cannot create`.
        what: &'static str,
        /// Which file of the folder; empty for the folder itself.
        file: String,
        /// The system's answer.
        source: io::Error,
    },
    /// Another process writes this run.
    #[error("the run folder is in use by another recorder; stop it first or choose another folder")]
    Locked,
    /// The folder already holds a run.
    #[error(
        "the folder already holds a run (`run.toml` exists); choose an empty folder or resume it"
    )]
    Exists,
    /// The run was finished and sealed.
    #[error("the run was finished (`{0}` exists) and can't be continued as it is; start a new run")]
    Finished(&'static str),
    /// `run.toml` is missing or unreadable.
    #[error(
        "`run.toml`: {0}; without it the job and the run id are unknown: restore it from a copy, or give the job file"
    )]
    Head(String),
    /// A sync to disk failed earlier: what the disk holds is unknown, nothing more is written.
    #[error("the recording can't be trusted any more: {0}; restart to recover what the disk holds")]
    Poisoned(String),
    /// The run ended while the disk took nothing.
    #[error("the last {entries} inputs could not be written and are lost: {why}")]
    Unwritten {
        /// How many.
        entries: u64,
        /// The system's answer.
        why: String,
    },
    /// A block could not be built (an encoder refused its own input); the entries were kept in memory.
    #[error("cannot encode a block: {0}")]
    Encode(String),
}

fn named(file: &str) -> String {
    match file {
        "" => "the folder".to_owned(),
        file => format!("`{file}`"),
    }
}

impl RecordError {
    /// Closure for `map_err`.
    pub(super) fn io<'a>(what: &'static str, file: &'a str) -> impl FnOnce(io::Error) -> Self + 'a {
        move |source| Self::Io {
            what,
            file: file.to_owned(),
            source,
        }
    }
}

/// What kind of damage.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DamageKind {
    /// The file does not begin with a whole, valid segment header.
    SegmentHeader,
    /// The segment belongs to another run (a stray copy); it was not used.
    ForeignSegment,
    /// Bytes that are no block: overwritten, shifted or mangled.
    Garbage,
    /// A block whose contents fail their checksum.
    Checksum,
    /// A block whose checksum holds but whose contents don't decode (other version, or a defect).
    Contents,
    /// The end of a segment was cut or half written.
    TornTail,
    /// The end of a segment is zeros: space was reserved, data never reached the disk.
    ZeroTail,
    /// Entries are missing between two whole blocks.
    Gap,
    /// Decisions are missing; a full disk takes them first, and they follow again from the inputs.
    DecisionsMissing,
    /// The same entries were found a second time; used once.
    Duplicate,
    /// Cut off and reported when the run was resumed.
    CutOnResume,
    /// The system could not read the file.
    Unreadable,
}

impl DamageKind {
    /// Plain words.
    pub const fn describe(self) -> &'static str {
        match self {
            Self::SegmentHeader => "segment header damaged",
            Self::ForeignSegment => "segment of another run, not used",
            Self::Garbage => "bytes that are no block",
            Self::Checksum => "block fails its checksum",
            Self::Contents => "block does not decode",
            Self::TornTail => "torn tail",
            Self::ZeroTail => "zero-filled tail",
            Self::Gap => "entries missing",
            Self::DecisionsMissing => {
                "decisions missing: a full disk takes them first, a recomputation gives them again"
            }
            Self::Duplicate => "entries found twice, used once",
            Self::CutOnResume => "torn tail cut off when the run was resumed",
            Self::Unreadable => "file can't be read",
        }
    }

    /// Whether data was (or may have been) lost: all kinds but duplicates, stray copies, and decisions, which
    /// can be had again.
    pub const fn is_loss(self) -> bool {
        !matches!(
            self,
            Self::Duplicate | Self::ForeignSegment | Self::DecisionsMissing
        )
    }
}

/// One located piece of damage.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Damage {
    /// What kind.
    pub kind: DamageKind,
    /// File in the run folder.
    pub segment: String,
    /// Byte offset in that file.
    pub offset: u64,
    /// Bytes affected.
    pub bytes: u64,
    /// First entry number affected, where known.
    pub first_entry: Option<u64>,
    /// Entries affected, where known.
    pub entries: Option<u64>,
}

impl fmt::Display for Damage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "{} at byte {}: {}",
            self.segment,
            self.offset,
            self.kind.describe()
        )?;
        if self.bytes > 0 {
            write!(f, ", {} bytes", self.bytes)?;
        }
        if let (Some(first), Some(entries)) = (self.first_entry, self.entries) {
            write!(f, ", entries {first}..{}", first.saturating_add(entries))?;
        }
        Ok(())
    }
}
