//! Reading everything in order to say whether it is whole.

use super::error::{Damage, DamageKind};
use super::health::ClockAnchor;
use super::manifest::{self, DigestState};
use super::reader::{Run, RunReader, time_of};
use super::storage::Storage;
use crate::input::Input;
use crate::time::Nanos;

/// What [`RunReader::verify`] reports.
#[derive(Debug, Clone, PartialEq)]
pub struct Verification {
    /// Whole blocks of inputs and of decisions.
    pub blocks: u64,
    /// Other blocks (clock anchors, ends of segments, recovery notes).
    pub other_blocks: u64,
    /// Raw and derived segments.
    pub segments: usize,
    /// Of these, packed.
    pub packed_segments: usize,
    /// Bytes in them.
    pub bytes: u64,
    /// Inputs read.
    pub inputs: u64,
    /// Readings and received frames among them.
    pub samples: u64,
    /// Decisions read.
    pub derived: u64,
    /// Decisions missing between these: no damage, as they follow again from the inputs.
    pub derived_missing: u64,
    /// First and last time of the inputs.
    pub span: Option<(Nanos, Nanos)>,
    /// Times longer than asked for in which nothing at all was recorded: start, length.
    pub silences: Vec<(Nanos, Nanos)>,
    /// The same in which no instrument spoke, whatever else was recorded.
    pub without_readings: Vec<(Nanos, Nanos)>,
    /// Universal time beside run time.
    pub anchors: Vec<ClockAnchor>,
    /// Segments without an end mark: the run is going on, was interrupted there, or the file was cut.
    pub unsealed: Vec<String>,
    /// Everything damaged.
    pub damage: Vec<Damage>,
    /// Files against the digests of the finished run; `None` when the run was not finished.
    pub digests: Option<Vec<(String, DigestState)>>,
}

impl Verification {
    /// Nothing lost and nothing changed since the run was finished.
    pub fn is_whole(&self) -> bool {
        !self.damage.iter().any(|d| d.kind.is_loss()) && self.wrong_files().next().is_none()
    }

    /// Files that are not as they were when the run was finished. One that was put beside them takes nothing away,
    /// unless the reader takes it for a part of the recording.
    pub fn wrong_files(&self) -> impl Iterator<Item = (&str, DigestState)> {
        let files = self.digests.iter().flatten();
        files
            .filter(|(name, state)| match state {
                DigestState::Right => false,
                DigestState::Added => name.ends_with(".kwr"),
                DigestState::Changed | DigestState::Missing => true,
            })
            .map(|(name, state)| (name.as_str(), *state))
    }
}

impl<S: Storage> RunReader<S> {
    /// Files of a finished run that are not there any more; none of one that was not finished.
    pub fn missing_files(&self) -> Vec<String> {
        manifest::missing(&self.disk)
    }

    /// Reads everything and reports. Silences of any kind of input longer than `silence` are listed.
    pub fn verify(&mut self, silence: Nanos) -> Verification {
        let mut inputs = 0;
        let mut samples = 0;
        let mut span: Option<(Nanos, Nanos)> = None;
        let mut silences = Vec::new();
        let (mut without_readings, mut spoke) = (Vec::new(), None);
        let mut seen = |at: Nanos, is_sample: bool| {
            inputs += 1;
            samples += u64::from(is_sample);
            let since = *spoke.get_or_insert(at);
            if is_sample {
                if at.saturating_sub(since) > silence {
                    without_readings.push((since, at - since));
                }
                spoke = Some(at.max(since));
            }
            match &mut span {
                None => span = Some((at, at)),
                Some((_, last)) => {
                    let quiet = at.saturating_sub(*last);
                    if quiet > silence {
                        silences.push((*last, quiet));
                    }
                    *last = at.max(*last);
                }
            }
        };
        self.for_each_run(|run| match run {
            Run::Readings(readings) => readings.for_each(|(_, at, _)| seen(at, true)),
            Run::One(input) => seen(
                time_of(input),
                matches!(input, Input::Reading { .. } | Input::Received { .. }),
            ),
        });
        if let (Some((_, end)), Some(since)) = (span, spoke)
            && end.saturating_sub(since) > silence
        {
            without_readings.push((since, end - since));
        }
        let mut derived = 0;
        self.for_each_derived_from(0, |_, _| derived += 1);
        let mut damage = self.damage();
        let missing = |d: &Damage| d.kind == DamageKind::DecisionsMissing;
        let derived_missing = damage.iter().filter(|d| missing(d));
        let derived_missing = derived_missing.filter_map(|d| d.entries).sum();
        damage.retain(|d| !missing(d));
        let segments: Vec<_> = self
            .raw
            .segments
            .iter()
            .chain(&self.derived.segments)
            .collect();
        Verification {
            blocks: (self.raw.blocks.len() + self.derived.blocks.len()) as u64,
            other_blocks: segments.iter().map(|s| s.other_blocks).sum(),
            segments: segments.len(),
            packed_segments: segments.iter().filter(|s| s.packed).count(),
            bytes: segments.iter().map(|s| s.bytes).sum(),
            inputs,
            samples,
            derived,
            derived_missing,
            span,
            silences,
            without_readings,
            anchors: self.raw.anchors.clone(),
            unsealed: segments
                .iter()
                .filter(|s| !s.sealed)
                .map(|s| s.name.clone())
                .collect(),
            damage,
            digests: manifest::check(&self.disk),
        }
    }
}
