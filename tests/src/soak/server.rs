//! A database that comes and goes: keeps what it took, and is down when told to.

use std::collections::BTreeMap;
use std::hash::{DefaultHasher, Hash, Hasher};
use std::io::{self, BufRead, BufReader, Read, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

#[derive(Debug, Default)]
struct Shared {
    is_down: AtomicBool,
    refused: AtomicU64,
    points: Mutex<Points>,
    /// Everything it took as it came, where somebody asked for it: hours of a soak are too much to keep.
    text: Mutex<Option<String>>,
}

/// Points of the line protocol. A point is told by measurement, tags, time and the names of its fields; sent again, its
/// values replace the former ones.
#[derive(Debug, Default, PartialEq, Eq)]
pub struct Points {
    /// A digest of the values, by time, by all else.
    series: BTreeMap<String, BTreeMap<i64, u64>>,
}

impl Points {
    /// Adds each point of a text.
    pub fn take(&mut self, text: &str) {
        for (series, at, values) in text.lines().filter_map(parts) {
            let mut digest = DefaultHasher::new();
            values.hash(&mut digest);
            let series = self.series.entry(series).or_default();
            series.insert(at, digest.finish());
        }
    }

    /// How many there are.
    pub fn len(&self) -> usize {
        self.series.values().map(BTreeMap::len).sum()
    }

    /// There is none.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// How many of each measurement.
    pub fn by_measurement(&self) -> BTreeMap<&str, usize> {
        self.count(|_, _, _| true)
    }

    /// How many of each measurement are not in `other`, or have other values there.
    pub fn not_in(&self, other: &Self) -> BTreeMap<&str, usize> {
        self.count(|series, at, digest| {
            let there = other.series.get(series).and_then(|points| points.get(&at));
            there != Some(&digest)
        })
    }

    fn count(&self, which: impl Fn(&str, i64, u64) -> bool) -> BTreeMap<&str, usize> {
        let mut counts = BTreeMap::new();
        for (series, points) in &self.series {
            let name = series.split(',').next().unwrap_or(series);
            let found = points
                .iter()
                .filter(|(at, value)| which(series, **at, **value));
            *counts.entry(name).or_default() += found.count();
        }
        counts.retain(|_, count| *count > 0);
        counts
    }
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

    /// Keeps from now on what it takes as text.
    pub fn keep_text(&self) {
        *self.text_kept() = Some(String::new());
    }

    /// The text kept so far.
    pub fn text(&self) -> String {
        self.text_kept().clone().unwrap_or_default()
    }

    fn text_kept(&self) -> MutexGuard<'_, Option<String>> {
        let text = &self.shared.text;
        text.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// What it holds; it is empty afterwards.
    pub fn take(&self) -> Points {
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
        points.take(&text);
        let mut kept = shared.text.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(kept) = kept.as_mut() {
            kept.push_str(&text);
        }
    }
    stream.write_all(b"HTTP/1.1 204 No Content\r\nConnection: close\r\n\r\n")
}

/// Measurement with tags and names of fields; time; the fields. `None` for what is no point of a run.
fn parts(point: &str) -> Option<(String, i64, &str)> {
    if point.starts_with("forward_check") {
        return None;
    }
    let mut escaped = false;
    let end = point.find(|c: char| {
        let is_end = c == ' ' && !escaped;
        escaped = c == '\\' && !escaped;
        is_end
    })?;
    let (series, rest) = point.split_at(end);
    let (fields, at) = rest.trim_start().rsplit_once(' ')?;
    // No text field of ours holds a comma.
    let names = fields.split(',').filter_map(|f| f.split('=').next());
    let names: Vec<&str> = names.collect();
    Some((
        format!("{series} {}", names.join(",")),
        at.parse().ok()?,
        fields,
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_point_is_named_by_series_fields_and_time() {
        assert_eq!(
            parts("line,well=a\\ b x=1,y=\"c d\" 17"),
            Some(("line,well=a\\ b x,y".to_owned(), 17, "x=1,y=\"c d\""))
        );
    }

    #[test]
    fn points_missing_or_of_another_value_are_counted() {
        let (mut sent, mut there) = (Points::default(), Points::default());
        sent.take("line,w=a x=1 1\nline,w=a y=2 1\nline,w=a x=3 2\nstroke,w=a n=1 1\n");
        there.take("line,w=a x=1 1\nline,w=a x=4 2\nstroke,w=a n=1 1\n");
        assert_eq!(sent.len(), 4);
        assert_eq!(sent.not_in(&there), BTreeMap::from([("line", 2)]));
        assert!(there.not_in(&there).is_empty());
    }
}
