//! What became of each run of a batch, and how it is told.

use super::Args;
use crate::console::Console;
use crate::failure::{Exit, Failure};
use crate::units_shown::count;
use std::collections::BTreeMap;

/// What became of one run.
#[derive(Debug, Clone, Default, serde::Serialize)]
pub(super) struct Outcome {
    pub(super) folder: String,
    pub(super) run: String,
    pub(super) well: String,
    pub(super) status: &'static str,
    pub(super) joints: usize,
    pub(super) samples: u64,
    #[serde(skip)]
    pub(super) messages: String,
    #[serde(skip)]
    pub(super) exit_code: u8,
}

/// How a message begins; other lines belong to the one before them, as those of a parser that shows where it failed.
const BEGINNINGS: [&str; 3] = ["warning: ", "error: ", "note: "];

/// Messages of one run, each with its run named once and its remedy below it.
fn told(outcome: &Outcome) -> Vec<String> {
    let folder = &outcome.folder;
    let mut told: Vec<String> = Vec::new();
    for line in (outcome.messages.lines()).filter(|line| !line.trim().is_empty()) {
        match told.last_mut() {
            Some(message)
                if !BEGINNINGS
                    .iter()
                    .any(|beginning| line.starts_with(beginning)) =>
            {
                message.push_str(if line.starts_with(' ') { "\n" } else { "\n  " });
                message.push_str(line);
            }
            _ => {
                let bare = ["warning: ", "error: "].iter();
                let text = bare
                    .filter_map(|word| line.strip_prefix(word))
                    .find(|text| text.starts_with(folder))
                    .unwrap_or_else(|| line.strip_prefix("warning: ").unwrap_or(line));
                told.push(if text.starts_with(folder) {
                    text.to_owned()
                } else {
                    format!("{folder}: {text}")
                });
            }
        }
    }
    told
}

/// Messages of all runs, then how many there are of each status and the exit code that fits.
pub(super) fn tell(
    outcomes: &[Outcome],
    args: &Args,
    console: &mut Console<'_>,
) -> Result<Exit, Failure> {
    let mut exit = Exit::Well;
    for outcome in outcomes {
        for message in told(outcome) {
            console.warn(message);
        }
        exit = exit.and(match outcome.exit_code {
            0 => Exit::Well,
            3 => Exit::Damaged,
            _ => Exit::BadInput,
        });
    }
    if args.json {
        let text =
            serde_json::to_string_pretty(outcomes).map_err(|e| Failure::write("JSON", e.into()))?;
        console.line(text)?;
        return Ok(exit);
    }
    let mut by_status: BTreeMap<&str, (usize, u64)> = BTreeMap::new();
    for outcome in outcomes {
        let entry = by_status.entry(outcome.status).or_default();
        entry.0 += 1;
        entry.1 += outcome.samples;
    }
    for (status, (runs, samples)) in by_status {
        console.line(format_args!(
            "{status:<12} {runs} runs, {} readings",
            count(samples)
        ))?;
    }
    Ok(exit)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn messages_name_their_run_once_and_keep_their_remedy() {
        let outcome = Outcome {
            folder: "runs/a".to_owned(),
            messages: "warning: runs/a: no tension\n  remedy: look\nnote: b\n".to_owned(),
            ..Outcome::default()
        };
        assert_eq!(
            told(&outcome),
            ["runs/a: no tension\n  remedy: look", "runs/a: note: b"]
        );
    }

    #[test]
    fn an_error_of_several_lines_is_one_message() {
        let outcome = Outcome {
            folder: "runs/a".to_owned(),
            messages: "error: runs/a/run.toml: cannot be read: TOML parse error\n  |\n1 | \n  | ^\nmissing field `x`\n\n  \
                       remedy: give the job file\n"
                .to_owned(),
            ..Outcome::default()
        };
        let told = told(&outcome);
        assert_eq!(told.len(), 1, "{told:?}");
        assert!(told[0].starts_with("runs/a/run.toml: cannot"), "{told:?}");
        assert!(told[0].contains("\n  missing field `x`\n"), "{told:?}");
    }
}
