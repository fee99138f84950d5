//! A database that comes and goes: keeps what it took, and is down when told to.

use std::collections::BTreeSet;
use std::io::{self, BufRead, BufReader, Read, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

#[derive(Debug, Default)]
struct Shared {
    is_down: AtomicBool,
    refused: AtomicU64,
    /// Measurement, tags and time of each point.
    points: Mutex<BTreeSet<String>>,
}

/// The server; lives as long as the process.
#[derive(Debug, Clone)]
pub struct Server {
    /// Where it listens.
    pub address: SocketAddr,
    shared: Arc<Shared>,
}

impl Server {
    /// Starts it.
    pub fn start() -> io::Result<Self> {
        let listener = TcpListener::bind("127.0.0.1:0")?;
        let server = Self {
            address: listener.local_addr()?,
            shared: Arc::default(),
        };
        let shared = Arc::clone(&server.shared);
        std::thread::spawn(move || {
            for (number, stream) in listener.incoming().flatten().enumerate() {
                // A connection that breaks off is the sender's to repeat.
                let _ = answer(&shared, stream, number);
            }
        });
        Ok(server)
    }

    /// Takes nothing from now on, or again.
    pub fn set_down(&self, is_down: bool) {
        self.shared.is_down.store(is_down, Ordering::SeqCst);
    }

    /// Requests that found it down.
    pub fn refused(&self) -> u64 {
        self.shared.refused.load(Ordering::SeqCst)
    }

    /// What it holds; it is empty afterwards.
    pub fn take(&self) -> BTreeSet<String> {
        let mut points = self
            .shared
            .points
            .lock()
            .unwrap_or_else(PoisonError::into_inner);
        std::mem::take(&mut *points)
    }
}

fn answer(shared: &Shared, mut stream: TcpStream, number: usize) -> io::Result<()> {
    stream.set_read_timeout(Some(Duration::from_secs(5)))?;
    if shared.is_down.load(Ordering::SeqCst) {
        shared.refused.fetch_add(1, Ordering::SeqCst);
        return match number % 3 {
            // Dies before, or in the middle of, its answer, or says that it is busy.
            0 => Ok(()),
            1 => stream.write_all(b"HTTP/1.1 2"),
            _ => stream.write_all(b"HTTP/1.1 503 Service Unavailable\r\nContent-Length: 0\r\nConnection: close\r\n\r\n"),
        };
    }
    let mut reader = BufReader::new(&stream);
    let mut length = 0;
    let mut line = String::new();
    while reader.read_line(&mut line)? > 2 {
        if let Some((name, value)) = line.split_once(':')
            && name.eq_ignore_ascii_case("content-length")
        {
            length = value.trim().parse().unwrap_or(0);
        }
        line.clear();
    }
    let mut body = vec![0; length];
    reader.read_exact(&mut body)?;
    {
        let mut points = shared.points.lock().unwrap_or_else(PoisonError::into_inner);
        let text = String::from_utf8_lossy(&body);
        for point in text.lines().filter(|l| !l.starts_with("forward_check")) {
            points.insert(identity(point));
        }
    }
    stream.write_all(b"HTTP/1.1 204 No Content\r\nConnection: close\r\n\r\n")
}

/// Measurement with tags, and time: what makes a point the same point. Between them stand the fields.
fn identity(point: &str) -> String {
    let mut escaped = false;
    let end = point.find(|c: char| {
        let is_end = c == ' ' && !escaped;
        escaped = c == '\\' && !escaped;
        is_end
    });
    let series = point.get(..end.unwrap_or(point.len())).unwrap_or(point);
    let time = point.rsplit(' ').next().unwrap_or("");
    format!("{series} {time}")
}

#[cfg(test)]
mod tests {
    use super::identity;

    #[test]
    fn a_point_is_named_by_series_and_time() {
        assert_eq!(
            identity("line,well=a\\ b x=1,y=\"c d\" 17"),
            "line,well=a\\ b 17"
        );
    }
}
