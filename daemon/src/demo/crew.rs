//! The demonstration's invented crew: acknowledges what has been on the screen for a while, as a
//! crew would, so that the next alarm is seen. Recorded like anybody's mark, with its author.

use crate::publish::Published;
use kerfwatch::input::{Mark, MarkKind};
use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::{Duration, Instant};
use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

/// Wall time until a crew member has read an alarm and pressed the button.
const READS: Duration = Duration::from_secs(5);
const LOOK: Duration = Duration::from_millis(500);

/// Acknowledges until `stop`.
pub(super) async fn acknowledge(
    published: Arc<Published>,
    marks: mpsc::Sender<Mark>,
    stop: CancellationToken,
) {
    let mut seen = BTreeMap::new();
    loop {
        tokio::select! {
            () = stop.cancelled() => return,
            () = tokio::time::sleep(LOOK) => {}
        }
        let snapshot = Arc::clone(&published.snapshot.borrow());
        let new: Vec<&str> = snapshot
            .alarms
            .iter()
            .filter(|alarm| alarm.state.contains("unacknowledged"))
            .map(|alarm| alarm.kind.as_str())
            .collect();
        seen.retain(|kind: &String, _| new.contains(&kind.as_str()));
        for kind in new {
            let since = *seen.entry(kind.to_owned()).or_insert_with(Instant::now);
            if since.elapsed() >= READS {
                seen.remove(kind);
                let mark = Mark {
                    kind: MarkKind::Acknowledge(kind.to_owned()),
                    author: "demonstration".to_owned(),
                };
                // The run is ending.
                if marks.send(mark).await.is_err() {
                    return;
                }
            }
        }
    }
}
