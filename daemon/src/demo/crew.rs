//! The demonstration's invented crew: acknowledges what has been on the screen for a while, as a
//! crew would, so that the next alarm is seen. Recorded like anybody's mark, with its author.

use crate::publish::Published;
use kerfwatch::alarm::AlarmKind;
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
        let new: Vec<String> = snapshot
            .alarms
            .iter()
            .filter(|alarm| alarm.state.contains("unacknowledged"))
            .map(|alarm| match alarm.about.as_str() {
                "" => alarm.kind.clone(),
                about => AlarmKind::name_of_one(&alarm.kind, about),
            })
            .collect();
        seen.retain(|name: &String, _| new.contains(name));
        for name in new {
            let since = *seen.entry(name.clone()).or_insert_with(Instant::now);
            if since.elapsed() >= READS {
                seen.remove(&name);
                let mark = Mark {
                    kind: MarkKind::Acknowledge(name),
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
