//! The smallest HTTP client that does: one request on one connection, as a test writes it down.

use std::io::{self, BufRead, BufReader, Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::time::Duration;

/// An answer.
#[derive(Debug, Clone)]
pub struct Answer {
    /// Status code.
    pub status: u16,
    /// Header lines, names in lower case.
    pub headers: Vec<(String, String)>,
    /// Body, chunks joined.
    pub body: Vec<u8>,
}

impl Answer {
    /// First header of this name.
    pub fn header(&self, name: &str) -> Option<&str> {
        self.headers
            .iter()
            .find(|(key, _)| key == name)
            .map(|(_, value)| value.as_str())
    }

    /// Body as text.
    pub fn text(&self) -> String {
        String::from_utf8_lossy(&self.body).into_owned()
    }

    /// Body as JSON; panics when it is none.
    pub fn json(&self) -> serde_json::Value {
        serde_json::from_slice(&self.body)
            .unwrap_or_else(|error| panic!("no JSON: {error}: {}", self.text()))
    }
}

/// `GET path`.
pub fn get(at: SocketAddr, path: &str) -> Answer {
    request(at, "GET", path, &[], None)
}

/// `POST path` with a JSON body.
pub fn post(at: SocketAddr, path: &str, headers: &[(&str, &str)], body: &str) -> Answer {
    request(at, "POST", path, headers, Some(body))
}

/// Any request. `Host` is the address unless given.
pub fn request(
    at: SocketAddr,
    method: &str,
    path: &str,
    headers: &[(&str, &str)],
    body: Option<&str>,
) -> Answer {
    try_request(at, method, path, headers, body).expect("the page answers")
}

/// The same where the other side may be down.
///
/// # Errors
/// It cannot be reached, or hangs up in the middle.
pub fn try_request(
    at: SocketAddr,
    method: &str,
    path: &str,
    headers: &[(&str, &str)],
    body: Option<&str>,
) -> io::Result<Answer> {
    let mut stream = TcpStream::connect(at)?;
    stream.set_read_timeout(Some(Duration::from_secs(60)))?;
    let mut text = format!("{method} {path} HTTP/1.1\r\nConnection: close\r\n");
    if !headers
        .iter()
        .any(|(name, _)| name.eq_ignore_ascii_case("host"))
    {
        text.push_str(&format!("Host: {at}\r\n"));
    }
    for (name, value) in headers {
        text.push_str(&format!("{name}: {value}\r\n"));
    }
    if let Some(body) = body {
        if !headers
            .iter()
            .any(|(name, _)| name.eq_ignore_ascii_case("content-type"))
        {
            text.push_str("Content-Type: application/json\r\n");
        }
        text.push_str(&format!("Content-Length: {}\r\n", body.len()));
    }
    text.push_str("\r\n");
    text.push_str(body.unwrap_or(""));
    stream.write_all(text.as_bytes())?;
    read_answer(stream)
}

/// Sends a GET and returns the open connection behind the header, for streams.
pub fn open_stream(at: SocketAddr, path: &str) -> BufReader<TcpStream> {
    let mut stream = TcpStream::connect(at).expect("the page answers");
    write!(stream, "GET {path} HTTP/1.1\r\nHost: {at}\r\n\r\n").expect("a request is sent");
    let mut reader = BufReader::new(stream);
    read_head(&mut reader).expect("a head");
    reader
}

fn read_head(reader: &mut impl BufRead) -> io::Result<(u16, Vec<(String, String)>)> {
    let mut line = String::new();
    reader.read_line(&mut line)?;
    let status = line
        .split_whitespace()
        .nth(1)
        .and_then(|code| code.parse().ok())
        .ok_or_else(|| io::Error::other(format!("no status line: {line:?}")))?;
    let mut headers = Vec::new();
    loop {
        line.clear();
        reader.read_line(&mut line)?;
        let Some((name, value)) = line.trim_end().split_once(':') else {
            return Ok((status, headers));
        };
        headers.push((name.to_ascii_lowercase(), value.trim().to_owned()));
    }
}

fn read_answer(stream: TcpStream) -> io::Result<Answer> {
    let mut reader = BufReader::new(stream);
    let (status, headers) = read_head(&mut reader)?;
    let chunked = headers
        .iter()
        .any(|(name, value)| name == "transfer-encoding" && value == "chunked");
    let mut body = Vec::new();
    if chunked {
        loop {
            let mut line = String::new();
            reader.read_line(&mut line)?;
            let length = usize::from_str_radix(line.trim(), 16).unwrap_or(0);
            if length == 0 {
                break;
            }
            let mut chunk = vec![0; length + 2];
            reader.read_exact(&mut chunk)?;
            chunk.truncate(length);
            body.extend(chunk);
        }
    } else {
        reader.read_to_end(&mut body)?;
    }
    Ok(Answer {
        status,
        headers,
        body,
    })
}
