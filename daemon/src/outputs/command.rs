//! A program that is started at each change of what sounds: an alarm begins, another joins it, one is dealt with.
//!
//! It is started without a shell; `KERFWATCH_ALARM` is `raised` while any of its alarms sounds and `cleared` once none
//! does, `KERFWATCH_KINDS` holds the kinds, `KERFWATCH_TENSION_N` and `KERFWATCH_LIMIT_N` the reading that raised an
//! overpull. One that fails is started again, in case nobody has heard of the change. Tokens that the daemon was given in
//! its environment are none of the program's business and do not reach it.

use super::{Common, Horn};
use std::process::Stdio;
use std::time::Duration;
use tokio::process::Command;
use tokio::time::Instant;

/// Pause before a program that failed is started again; doubled each time, as it may have told someone all the same.
const RETRY: Duration = Duration::from_secs(2);
const RETRY_LONGEST: Duration = Duration::from_secs(60);

/// What the program is told.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
struct Sounding {
    /// Kinds with a comma between them; empty when none sounds.
    kinds: String,
    /// Overpulls so far, while overpull is among the kinds: the next one is news even while the last one stands.
    overpulls: u64,
}

impl Sounding {
    fn of(horn: &Horn, wanted: &[String]) -> Self {
        let kinds = horn.sounding(wanted);
        Self {
            overpulls: match kinds.contains(&"overpull") {
                true => horn.overpulls,
                false => 0,
            },
            kinds: kinds.join(","),
        }
    }
}

/// `secrets`: variables of the environment that the program does not get.
pub(super) async fn follow(
    mut common: Common,
    command: Vec<String>,
    timeout: Duration,
    secrets: Vec<String>,
) {
    let mut told = Sounding::default();
    // When to start the program once more, and the pause that led there.
    let mut again: Option<(Instant, Duration)> = None;
    loop {
        let due = async {
            match again {
                Some((at, _)) => tokio::time::sleep_until(at).await,
                None => std::future::pending().await,
            }
        };
        let is_due = tokio::select! {
            () = common.stop.cancelled() => return,
            changed = common.horn.changed() => {
                if changed.is_err() {
                    return;
                }
                false
            }
            () = due => true,
        };
        let horn = common.horn.borrow_and_update().clone();
        let now = Sounding::of(&horn, &common.alarms);
        let is_new = now != told;
        if !is_new && !is_due {
            continue;
        }
        told = now;
        // One at a time: what changes while it runs is seen afterwards.
        let started = start(&command, &horn, &told.kinds, timeout, &secrets).await;
        again = match started {
            Ok(()) => {
                common.working();
                None
            }
            Err(what) => {
                common.failing(&what);
                let pause = match again {
                    Some((_, pause)) if !is_new => (2 * pause).min(RETRY_LONGEST),
                    _ => RETRY,
                };
                Some((Instant::now() + pause, pause))
            }
        };
    }
}

async fn start(
    command: &[String],
    horn: &Horn,
    kinds: &str,
    timeout: Duration,
    secrets: &[String],
) -> Result<(), String> {
    let (program, arguments) = command.split_first().ok_or("no program is named")?;
    let word = match kinds.is_empty() {
        true => "cleared",
        false => "raised",
    };
    let mut process = Command::new(program);
    for secret in secrets {
        process.env_remove(secret);
    }
    process
        .args(arguments)
        .env("KERFWATCH_ALARM", word)
        .env("KERFWATCH_KINDS", kinds)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .kill_on_drop(true);
    if let Some(overpull) = horn.overpull {
        process
            .env("KERFWATCH_TENSION_N", format!("{:.0}", overpull.tension_n))
            .env("KERFWATCH_LIMIT_N", format!("{:.0}", overpull.limit_n));
    }
    let mut child = process
        .spawn()
        .map_err(|error| format!("`{program}` cannot be started: {error}"))?;
    match tokio::time::timeout(timeout, child.wait()).await {
        Ok(Ok(status)) if status.success() => Ok(()),
        Ok(Ok(status)) => Err(format!("`{program}` ended with {status}")),
        Ok(Err(error)) => Err(format!("`{program}`: {error}")),
        Err(_) => {
            // Dropping the child would kill it too, but not before the next change.
            let _ = child.kill().await;
            let limit_s = timeout.as_secs_f64();
            Err(format!(
                "`{program}` took longer than {limit_s} s and was killed"
            ))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::guard::Warning;
    use kerfwatch::snapshot::AlarmView;
    use std::path::Path;
    use std::sync::Arc;
    use tokio::sync::watch;
    use tokio_util::sync::CancellationToken;

    async fn run(command: &[&str]) -> Result<(), String> {
        let command: Vec<String> = command.iter().map(|&part| part.to_owned()).collect();
        start(
            &command,
            &Horn::default(),
            "stall",
            Duration::from_millis(300),
            // Set by cargo for every test.
            &["CARGO_MANIFEST_DIR".to_owned()],
        )
        .await
    }

    #[tokio::test]
    async fn a_program_learns_what_happened() {
        let check = "test \"$KERFWATCH_ALARM $KERFWATCH_KINDS\" = 'raised stall'";
        assert_eq!(run(&["sh", "-c", check]).await, Ok(()));
    }

    #[tokio::test]
    async fn a_program_gets_the_environment_but_no_secret_of_it() {
        let check = "test -n \"$CARGO_PKG_NAME\" && test -z \"${CARGO_MANIFEST_DIR+set}\"";
        assert!(std::env::var_os("CARGO_MANIFEST_DIR").is_some());
        assert_eq!(run(&["sh", "-c", check]).await, Ok(()));
    }

    #[tokio::test]
    async fn a_program_that_fails_or_hangs_or_is_missing_is_reported() {
        assert!(run(&["false"]).await.unwrap_err().contains("ended with"));
        assert!(run(&["sleep", "30"]).await.unwrap_err().contains("killed"));
        assert!(
            run(&["/nonexistent/x"])
                .await
                .unwrap_err()
                .contains("started")
        );
    }

    fn alarm(kind: &str) -> AlarmView {
        AlarmView {
            kind: kind.to_owned(),
            level: "high".to_owned(),
            state: "unacknowledged".to_owned(),
            about: String::new(),
            raised_s: 0.0,
            until_s: None,
            is_past: false,
            message: String::new(),
        }
    }

    /// An output for `stall` and `overpull` that runs `script`, and the horn it follows.
    fn followed(script: &str) -> (watch::Sender<Horn>, Common, Vec<String>) {
        let (horn, follow) = watch::channel(Horn::default());
        let common = Common {
            name: "caller".to_owned(),
            alarms: ["stall", "overpull"].map(str::to_owned).to_vec(),
            horn: follow,
            progress: Arc::default(),
            shell_alarms: Arc::default(),
            stop: CancellationToken::new(),
        };
        let command = ["sh", "-c", script].map(str::to_owned).to_vec();
        (horn, common, command)
    }

    /// Waits until `file` has so many lines, and gives them.
    async fn lines(file: &Path, count: usize) -> Vec<String> {
        for _ in 0..1_000 {
            let text = std::fs::read_to_string(file).unwrap_or_default();
            if text.lines().count() >= count {
                return text.lines().map(str::to_owned).collect();
            }
            tokio::time::sleep(Duration::from_millis(10)).await;
        }
        panic!("never {count} lines in {}", file.display());
    }

    #[tokio::test]
    async fn a_program_hears_of_every_change_of_what_sounds() {
        let folder = tempfile::tempdir().unwrap();
        let said = folder.path().join("said");
        let script = format!(
            "echo \"$KERFWATCH_ALARM $KERFWATCH_KINDS\" >> '{}'",
            said.display()
        );
        let (horn, common, command) = followed(&script);
        let stop = common.stop.clone();
        let output = tokio::spawn(follow(common, command, Duration::from_secs(5), Vec::new()));
        let overpull = Warning {
            at_s: 1.0,
            tension_n: 2.0,
            limit_n: 1.0,
        };
        let changes: [&dyn Fn(&mut Horn); 6] = [
            &|horn| horn.alarms = vec![alarm("stall")],
            // A kind that this output does not follow.
            &|horn| horn.alarms.push(alarm("sensor")),
            &|horn| (horn.overpull, horn.overpulls) = (Some(overpull), 1),
            // Again, while the first one stands.
            &|horn| horn.overpulls = 2,
            &|horn| horn.overpull = None,
            &|horn| horn.alarms.clear(),
        ];
        for (change, heard) in changes.into_iter().zip([1, 1, 2, 3, 4, 5]) {
            horn.send_modify(change);
            lines(&said, heard).await;
        }
        assert_eq!(
            lines(&said, 5).await,
            [
                "raised stall",
                "raised stall,overpull",
                "raised stall,overpull",
                "raised stall",
                "cleared "
            ]
        );
        stop.cancel();
        output.await.unwrap();
    }

    #[tokio::test]
    async fn a_program_that_failed_is_started_again_until_it_works() {
        let folder = tempfile::tempdir().unwrap();
        let said = folder.path().join("said");
        let script = format!(
            "echo \"$KERFWATCH_KINDS\" >> '{0}'; test $(wc -l < '{0}') -ge 2",
            said.display()
        );
        let (horn, common, command) = followed(&script);
        let (stop, alarms) = (common.stop.clone(), Arc::clone(&common.shell_alarms));
        let output = tokio::spawn(follow(common, command, Duration::from_secs(5), Vec::new()));
        horn.send_modify(|horn| horn.alarms = vec![alarm("stall")]);
        lines(&said, 1).await;
        // The core renews the horn all the time: no reason to start it before the pause is over.
        horn.send_modify(|_| {});
        assert_eq!(lines(&said, 2).await, ["stall", "stall"]);
        tokio::time::sleep(RETRY + Duration::from_millis(300)).await;
        assert_eq!(lines(&said, 2).await.len(), 2, "it worked");
        assert_eq!(alarms.views()[0].kind, "output");
        stop.cancel();
        output.await.unwrap();
    }
}
