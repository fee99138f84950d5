//! How long nobody recorded: run time tied to the host's boot-time clock.
//!
//! A run that goes on after a crash has to know how much time has passed. UTC may have been set meanwhile: a laptop
//! that first hears the right time on site jumps by hours. The boot-time clock cannot be set, but starts anew with
//! the host. So the run folder keeps what that clock read at run time zero, and which boot of the host that was: on the same
//! boot the time away is exact; on another it is what UTC says, at least the time since that boot, and a note says so.

use crate::clock::{boot_id, boot_ns};
use kerfwatch::time::{Nanos, seconds};
use serde::{Deserialize, Serialize};
use std::io;
use std::path::Path;

/// File name in the run folder.
pub const ANCHOR_FILE: &str = "boot.toml";

/// UTC and boot time that differ by more tell of a clock that was set, s.
const STEP_S: f64 = 1.0;

/// The host's clocks at one moment.
#[derive(Debug, Clone, PartialEq)]
pub struct HostTime {
    /// Which boot; `None` where the system does not tell.
    pub boot_id: Option<String>,
    /// Boot-time clock, ns.
    pub boot_ns: i64,
    /// UTC, ns since 1970.
    pub unix_ns: i128,
}

impl HostTime {
    /// Now.
    pub fn now() -> Self {
        Self {
            boot_id: boot_id(),
            boot_ns: boot_ns(),
            unix_ns: jiff::Timestamp::now().as_nanosecond(),
        }
    }
}

/// Ties run time to one boot of the host.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BootAnchor {
    boot_id: String,
    /// What the boot-time clock read at run time zero, ns; negative where the run began before that boot.
    zero_boot_ns: i64,
}

impl BootAnchor {
    /// For a run whose time is `run_ns` at `now`; `None` where the system does not tell its boots apart.
    pub fn new(now: &HostTime, run_ns: Nanos) -> Option<Self> {
        Some(Self {
            boot_id: now.boot_id.clone()?,
            zero_boot_ns: now.boot_ns.checked_sub(run_ns)?,
        })
    }

    /// The anchor of a run folder; `None`: there is none that can be read.
    pub fn read(folder: &Path) -> Option<Self> {
        let text = std::fs::read_to_string(folder.join(ANCHOR_FILE)).ok()?;
        toml::from_str(&text).ok()
    }

    /// Puts it into a run folder, in the place of an earlier one. Not synced: after a power cut it is of another boot.
    pub fn write(&self, folder: &Path) -> io::Result<()> {
        let text = toml::to_string(self).map_err(io::Error::other)?;
        let new = folder.join("boot.toml.new");
        std::fs::write(&new, text)?;
        std::fs::rename(&new, folder.join(ANCHOR_FILE))
    }

    /// Time from the newest input to `now` by the boot-time clock; `None` on another boot.
    pub fn away(&self, now: &HostTime, newest: Nanos) -> Option<Nanos> {
        Some(self.run_ns(now)?.saturating_sub(newest))
    }

    /// Run time at `now` by the boot-time clock; `None` on another boot.
    fn run_ns(&self, now: &HostTime) -> Option<Nanos> {
        let same = now.boot_id.as_ref() == Some(&self.boot_id);
        same.then(|| now.boot_ns.saturating_sub(self.zero_boot_ns))
    }
}

/// Where run time goes on.
#[derive(Debug, Clone, PartialEq)]
pub struct Away {
    /// Run time now, not older than any earlier input.
    pub from: Nanos,
    /// Nobody recorded for this long.
    pub length_ns: Nanos,
    /// What the record should tell about it.
    pub note: Option<String>,
}

impl Away {
    /// For a run that started at `started_unix_ns` and whose newest input is `newest`.
    pub fn judge(
        anchor: Option<&BootAnchor>,
        now: &HostTime,
        started_unix_ns: i64,
        newest: Nanos,
    ) -> Self {
        let by_utc = now.unix_ns - i128::from(started_unix_ns);
        let by_utc = i64::try_from(by_utc).unwrap_or(newest);
        if let Some(by_boot) = anchor.and_then(|anchor| anchor.run_ns(now)) {
            let set_s = seconds(by_utc.saturating_sub(by_boot));
            let note = (set_s.abs() > STEP_S).then(|| {
                format!(
                    "host clock was set by {set_s:+.3} s since the run started; run time does not follow it"
                )
            });
            return Self::at(by_boot.max(newest), newest, note);
        }
        // The host was started again after the last input, so it has been away for at least as long.
        let least = newest.saturating_add(now.boot_ns.max(0));
        let away = Self::at(by_utc.max(least), newest, None);
        let note = format!(
            "the host was started again: {:.0} s without a record by its clock, which may have been set meanwhile; \
             at least {:.0} s",
            seconds(away.length_ns),
            seconds(least.saturating_sub(newest))
        );
        Self {
            note: Some(note),
            ..away
        }
    }

    fn at(from: Nanos, newest: Nanos, note: Option<String>) -> Self {
        Self {
            from,
            length_ns: from.saturating_sub(newest),
            note,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const S: i64 = 1_000_000_000;
    const STARTED: i64 = 1_780_000_000 * S;

    fn host(boot: &str, boot_s: i64, unix_after_start_s: i64) -> HostTime {
        HostTime {
            boot_id: Some(boot.to_owned()),
            boot_ns: boot_s * S,
            unix_ns: i128::from(STARTED + unix_after_start_s * S),
        }
    }

    /// A run that started 100 s after the host; its newest input came after 600 s.
    fn judge(now: &HostTime) -> Away {
        let anchor = BootAnchor::new(&host("a", 100, 0), 0);
        Away::judge(anchor.as_ref(), now, STARTED, 600 * S)
    }

    #[test]
    fn on_the_same_boot_no_step_of_utc_moves_run_time() {
        let quiet = judge(&host("a", 730, 630));
        assert_eq!((quiet.from, quiet.length_ns), (630 * S, 30 * S));
        assert_eq!(quiet.note, None);
        for step_s in [7200, -7200] {
            let stepped = judge(&host("a", 730, 630 + step_s));
            assert_eq!(stepped.from, 630 * S);
            let note = stepped.note.unwrap();
            assert!(note.contains(&format!("{step_s:+}.000 s")), "{note}");
        }
    }

    #[test]
    fn after_a_restart_of_the_host_utc_counts_but_never_less_than_the_time_since_and_a_note_says_so()
     {
        let away = judge(&host("b", 20, 690));
        assert_eq!(away.from, 690 * S);
        let note = away.note.unwrap();
        assert!(
            note.contains("90 s without") && note.contains("at least 20 s"),
            "{note}"
        );
        // A battery clock that has lost the time: less than nothing passed, by UTC.
        assert_eq!(judge(&host("b", 20, -5000)).from, 620 * S);
    }

    #[test]
    fn without_an_anchor_or_a_name_of_the_boot_it_is_as_after_a_restart() {
        let now = host("a", 730, 640);
        let away = Away::judge(None, &now, STARTED, 600 * S);
        assert!(away.note.is_some());
        let nameless = HostTime {
            boot_id: None,
            ..now
        };
        assert_eq!(BootAnchor::new(&nameless, 0), None);
        assert!(judge(&nameless).note.is_some());
    }

    #[test]
    fn an_anchor_of_a_run_that_went_on_counts_from_its_first_start() {
        let folder = tempfile::tempdir().unwrap();
        // Went on at 690 s of run time, 20 s after the host was started again.
        let anchor = BootAnchor::new(&host("b", 20, 690), 690 * S).unwrap();
        anchor.write(folder.path()).unwrap();
        let read = BootAnchor::read(folder.path());
        assert_eq!(read.as_ref(), Some(&anchor));
        let away = Away::judge(read.as_ref(), &host("b", 50, 9000), STARTED, 700 * S);
        assert_eq!(away.from, 720 * S);
        std::fs::write(folder.path().join(ANCHOR_FILE), "boot_id = ").unwrap();
        assert_eq!(BootAnchor::read(folder.path()), None);
    }
}
