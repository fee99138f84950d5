//! A program that is started when its alarms begin or end.
//!
//! It is started without a shell; `KERFWATCH_ALARM` is `raised` or `cleared`, `KERFWATCH_KINDS` holds
//! the kinds, `KERFWATCH_TENSION_N` and `KERFWATCH_LIMIT_N` the reading that raised an overpull.

use super::{Common, Horn};
use std::process::Stdio;
use std::time::Duration;
use tokio::process::Command;

pub(super) async fn follow(mut common: Common, command: Vec<String>, timeout: Duration) {
    let mut was = false;
    loop {
        tokio::select! {
            () = common.stop.cancelled() => return,
            changed = common.horn.changed() => if changed.is_err() { return },
        }
        let horn = common.horn.borrow_and_update().clone();
        let kinds = horn.sounding(&common.alarms).join(",");
        let is = !kinds.is_empty();
        if is == was {
            continue;
        }
        was = is;
        // One at a time: what changes while it runs is seen afterwards.
        match start(&command, &horn, is, &kinds, timeout).await {
            Ok(()) => common.working(),
            Err(what) => common.failing(&what),
        }
    }
}

async fn start(
    command: &[String],
    horn: &Horn,
    is: bool,
    kinds: &str,
    timeout: Duration,
) -> Result<(), String> {
    let (program, arguments) = command.split_first().ok_or("no program is named")?;
    let mut process = Command::new(program);
    process
        .args(arguments)
        .env("KERFWATCH_ALARM", if is { "raised" } else { "cleared" })
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

    async fn run(command: &[&str]) -> Result<(), String> {
        let command: Vec<String> = command.iter().map(|&part| part.to_owned()).collect();
        start(
            &command,
            &Horn::default(),
            true,
            "stall",
            Duration::from_millis(300),
        )
        .await
    }

    #[tokio::test]
    async fn a_program_learns_what_happened() {
        let check = "test \"$KERFWATCH_ALARM $KERFWATCH_KINDS\" = 'raised stall'";
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
}
