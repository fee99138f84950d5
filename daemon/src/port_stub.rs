//! TEMPORARY until the real ports land.
use kerfwatch::input::PortNumber;
use std::time::Instant;
use tokio::io::AsyncReadExt;
use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

#[derive(Debug)]
pub struct PortEvent {
    pub port: PortNumber,
    pub at: Instant,
    pub change: PortChange,
}
#[derive(Debug)]
pub enum PortChange {
    Received(Vec<u8>),
    Sent(Vec<u8>),
    Opened,
    Lost(String),
}

pub async fn pump(
    port: PortNumber,
    path: String,
    baud: u32,
    events: mpsc::Sender<PortEvent>,
    stop: CancellationToken,
) {
    let send = |change| {
        events.send(PortEvent {
            port,
            at: Instant::now(),
            change,
        })
    };
    let mut stream = match tokio_serial::SerialStream::open(&tokio_serial::new(&path, baud)) {
        Ok(s) => s,
        Err(e) => {
            let _ = send(PortChange::Lost(e.to_string())).await;
            return;
        }
    };
    let _ = send(PortChange::Opened).await;
    let mut buffer = [0u8; 4096];
    loop {
        let n =
            tokio::select! { () = stop.cancelled() => return, n = stream.read(&mut buffer) => n };
        match n {
            Ok(n) if n > 0 => {
                let _ = send(PortChange::Received(buffer[..n].to_vec())).await;
            }
            other => {
                let _ = send(PortChange::Lost(format!("{other:?}"))).await;
                return;
            }
        }
    }
}
