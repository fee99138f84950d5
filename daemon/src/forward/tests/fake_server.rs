//! A server on loopback that keeps what it takes and answers as a test tells it.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

/// What was asked.
#[derive(Debug, Clone)]
pub(super) struct Asked {
    pub(super) at: Instant,
    pub(super) target: String,
    pub(super) authorization: String,
    pub(super) body: String,
}

/// What to answer.
pub(super) enum Reply {
    /// Status, headers (each with its line end), text.
    Say(u16, &'static str, String),
    /// Nothing for so long.
    Silence(Duration),
    /// Closes the connection at once.
    HangUp,
}

pub(super) fn say(status: u16) -> Reply {
    Reply::Say(status, "", String::new())
}

/// Under way until the process ends.
pub(super) struct FakeServer {
    pub(super) address: SocketAddr,
    asked: Arc<Mutex<Vec<Asked>>>,
    taken: Arc<Mutex<Vec<String>>>,
}

impl FakeServer {
    /// `answer` is told the request and its number, from 0.
    pub(super) fn start(mut answer: impl FnMut(&Asked, usize) -> Reply + Send + 'static) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let address = listener.local_addr().unwrap();
        let (asked, taken) = (Arc::default(), Arc::default());
        let this = Self {
            address,
            asked: Arc::clone(&asked),
            taken: Arc::clone(&taken),
        };
        std::thread::spawn(move || {
            for (number, stream) in listener.incoming().flatten().enumerate() {
                let Some(request) = read(&stream) else {
                    continue;
                };
                let reply = answer(&request, number);
                if let Reply::Say(204, ..) = reply {
                    let lines = request.body.lines().map(str::to_owned);
                    taken.lock().unwrap().extend(lines);
                }
                asked.lock().unwrap().push(request);
                write(stream, reply);
            }
        });
        this
    }

    pub(super) fn url(&self) -> String {
        format!("http://{}", self.address)
    }

    /// Every line of every request that was taken, checks left out.
    pub(super) fn taken(&self) -> Vec<String> {
        let taken = self.taken.lock().unwrap();
        taken
            .iter()
            .filter(|line| !line.starts_with("forward_check"))
            .cloned()
            .collect()
    }

    /// All requests.
    pub(super) fn asked(&self) -> Vec<Asked> {
        self.asked.lock().unwrap().clone()
    }
}

fn read(stream: &TcpStream) -> Option<Asked> {
    let mut reader = BufReader::new(stream);
    let mut line = String::new();
    reader.read_line(&mut line).ok()?;
    let target = line.split_whitespace().nth(1)?.to_owned();
    let (mut authorization, mut length) = (String::new(), 0);
    loop {
        line.clear();
        reader.read_line(&mut line).ok()?;
        let Some((name, value)) = line.trim_end().split_once(':') else {
            break;
        };
        match name.to_ascii_lowercase().as_str() {
            "authorization" => value.trim().clone_into(&mut authorization),
            "content-length" => length = value.trim().parse().ok()?,
            _ => {}
        }
    }
    let mut body = vec![0; length];
    reader.read_exact(&mut body).ok()?;
    Some(Asked {
        at: Instant::now(),
        target,
        authorization,
        body: String::from_utf8(body).ok()?,
    })
}

fn write(mut stream: TcpStream, reply: Reply) {
    match reply {
        Reply::Say(status, headers, text) => {
            let length = if status == 204 {
                String::new()
            } else {
                format!("Content-Length: {}\r\n", text.len())
            };
            // A client that went away is its own affair.
            let _ = write!(
                stream,
                "HTTP/1.1 {status} X\r\n{length}{headers}Connection: close\r\n\r\n{text}"
            );
        }
        Reply::Silence(time) => {
            std::thread::spawn(move || {
                std::thread::sleep(time);
                drop(stream);
            });
        }
        Reply::HangUp => {}
    }
}
