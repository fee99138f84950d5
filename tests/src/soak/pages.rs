//! Readers of the live stream: some quick, most slow, some that take nothing at all.

use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

/// Starts `count` readers that live as long as the process; how often one had to connect again.
pub fn start(page: SocketAddr, count: usize) -> Arc<AtomicU64> {
    let again = Arc::new(AtomicU64::new(0));
    for number in 0..count {
        let again = Arc::clone(&again);
        std::thread::spawn(move || {
            loop {
                let _ = read(page, number);
                again.fetch_add(1, Ordering::Relaxed);
                std::thread::sleep(Duration::from_secs(1));
            }
        });
    }
    again
}

fn read(page: SocketAddr, number: usize) -> std::io::Result<()> {
    let mut stream = TcpStream::connect(page)?;
    write!(
        stream,
        "GET /api/v1/stream HTTP/1.1\r\nHost: {page}\r\n\r\n"
    )?;
    // A third reads all, a third 100 bytes a second, a third nothing for a minute.
    let (bytes, pause) = match number % 3 {
        0 => (65_536, Duration::ZERO),
        1 => (100, Duration::from_secs(1)),
        _ => (1, Duration::from_secs(60)),
    };
    let mut buffer = vec![0; bytes];
    while stream.read(&mut buffer)? > 0 {
        std::thread::sleep(pause);
    }
    Ok(())
}
