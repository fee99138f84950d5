//! Ports that come, go and misbehave, made by `socat`. Needs `tests/peers/setup.sh` once.

use kerfwatch::decode::PortDecoder;
use kerfwatch::decode::packet::PacketDecoder;
use kerfwatch::decode::pattern::PatternDecoder;
use kerfwatch::input::ChannelId;
use kerfwatch::job::SerialLine;
use kerfwatch_tests::peers::{PtyPair, python, socat, wait_until};
use kerfwatch_tests::programs::program;
use kerfwatchd::ports::learn::learn;
use kerfwatchd::ports::listen::listen;
use kerfwatchd::ports::{Clock, PortChange, PortConfig, PortEvent, run_port};
use std::io::{BufRead, BufReader, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::time::{Duration, Instant};
use tokio::sync::mpsc;
use tokio_util::sync::{CancellationToken, DropGuard};

const LONG: Duration = Duration::from_secs(20);

fn clock() -> Clock {
    let start = Instant::now();
    Arc::new(move || start.elapsed().as_nanos() as i64)
}

/// A port under way with its events.
struct Running {
    events: mpsc::Receiver<PortEvent>,
    _stop: DropGuard,
}

impl Running {
    fn start(config: PortConfig) -> Self {
        let (sender, events) = mpsc::channel(64);
        let stop = CancellationToken::new();
        tokio::spawn(run_port(config, sender, stop.clone()));
        Self {
            events,
            _stop: stop.drop_guard(),
        }
    }

    fn serial(path: &Path) -> Self {
        let address = format!("serial:{}", path.display());
        Self::start(PortConfig::new(0, &address, 9600, clock()))
    }

    async fn next(&mut self) -> PortEvent {
        let event = tokio::time::timeout(LONG, self.events.recv()).await;
        event
            .expect("nothing happened for 20 s")
            .expect("the port ended")
    }

    async fn opened(&mut self) {
        let change = self.next().await.change;
        assert_eq!(change, PortChange::Opened);
    }

    async fn closed(&mut self) -> String {
        match self.next().await.change {
            PortChange::Closed(reason) => reason,
            other => panic!("{other:?}"),
        }
    }

    /// Bytes up to `end`.
    async fn bytes_until(&mut self, end: &[u8]) -> Vec<u8> {
        let mut all = Vec::new();
        while !all.ends_with(end) {
            match self.next().await.change {
                PortChange::Received(bytes) => all.extend_from_slice(&bytes),
                other => panic!("{other:?}"),
            }
        }
        all
    }
}

fn write(path: &Path, bytes: &[u8]) {
    let mut port = std::fs::OpenOptions::new().write(true).open(path).unwrap();
    port.write_all(bytes).unwrap();
}

#[tokio::test]
async fn bytes_arrive_unchanged_with_times_that_never_fall() {
    let folder = tempfile::tempdir().unwrap();
    let pair = PtyPair::new(folder.path(), "instrument", "port");
    let mut port = Running::serial(&pair.b);
    port.opened().await;
    let all: Vec<u8> = (0..=255).collect();
    let mut newest = 0;
    for _ in 0..5 {
        write(&pair.a, &all);
        let mut got = Vec::new();
        while got.len() < 256 {
            let event = port.next().await;
            assert!(event.at >= newest);
            newest = event.at;
            if let PortChange::Received(bytes) = event.change {
                got.extend_from_slice(&bytes);
            }
        }
        assert_eq!(got, all);
    }
}

#[tokio::test]
async fn unplugged_port_is_reported_once_and_opened_again_when_it_returns() {
    let folder = tempfile::tempdir().unwrap();
    let pair = PtyPair::new(folder.path(), "instrument", "port");
    let path = pair.b.clone();
    let mut port = Running::serial(&path);
    port.opened().await;
    write(&pair.a, b"12\n");
    port.bytes_until(b"12\n").await;
    // The names go with the adapter: a stale one would lead to whichever terminal gets the number next.
    std::fs::remove_file(&path).unwrap();
    std::fs::remove_file(folder.path().join("instrument")).unwrap();
    drop(pair);
    port.closed().await;
    // Tried again and again without a word and without spinning.
    tokio::time::sleep(Duration::from_millis(1500)).await;
    assert!(port.events.try_recv().is_err());
    let pair = PtyPair::new(folder.path(), "instrument", "port");
    port.opened().await;
    write(&pair.a, b"13\n");
    port.bytes_until(b"13\n").await;
}

#[tokio::test]
async fn adapter_that_returns_under_another_name_is_found_and_a_stranger_is_not_taken_for_it() {
    let folder = tempfile::tempdir().unwrap();
    let by_id = folder.path().join("by-id");
    std::fs::create_dir(&by_id).unwrap();
    let name = |pair: &PtyPair, name: &str| {
        let _ = std::fs::remove_file(by_id.join(name));
        let device = pair.b.canonicalize().unwrap();
        std::os::unix::fs::symlink(device, by_id.join(name)).unwrap();
    };
    let load = PtyPair::new(folder.path(), "load0", "ttyUSB0");
    name(&load, "usb-Invented_load");
    let address = format!("serial:{}", load.b.display());
    let mut port = Running::start(PortConfig {
        by_id: by_id.clone(),
        ..PortConfig::new(0, &address, 9600, clock())
    });
    port.opened().await;
    // As the system does: the name goes with the adapter (its device number is given out again).
    std::fs::remove_file(by_id.join("usb-Invented_load")).unwrap();
    drop(load);
    port.closed().await;
    for gone in ["load0", "ttyUSB0"] {
        let _ = std::fs::remove_file(folder.path().join(gone));
    }
    // The other instrument now has the old name, and the right one has a new name.
    let depth = PtyPair::new(folder.path(), "depth0", "ttyUSB0");
    name(&depth, "usb-Invented_depth");
    tokio::time::sleep(Duration::from_millis(500)).await;
    write(&depth.a, b"depth\n");
    let load = PtyPair::new(folder.path(), "load1", "ttyUSB1");
    name(&load, "usb-Invented_load");
    port.opened().await;
    write(&load.a, b"load\n");
    assert_eq!(port.bytes_until(b"\n").await, b"load\n");
}

#[tokio::test]
async fn tcp_port_that_goes_away_is_opened_again() {
    let folder = tempfile::tempdir().unwrap();
    let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let number = listener.local_addr().unwrap().port();
    drop(listener);
    let pty = folder.path().join("instrument");
    let listen_at = format!("TCP-LISTEN:{number},bind=127.0.0.1,reuseaddr");
    let device = format!("pty,raw,echo=0,link={}", pty.display());
    let address = format!("tcp:127.0.0.1:{number}");
    let mut port = Running::start(PortConfig::new(1, &address, 9600, clock()));
    port.closed().await;
    for text in [&b"1\n"[..], b"2\n"] {
        let server = socat(&[&listen_at, &device]);
        port.opened().await;
        wait_until("socat opens the instrument", || pty.exists());
        write(&pty, text);
        port.bytes_until(text).await;
        drop(server);
        port.closed().await;
        let _ = std::fs::remove_file(&pty);
    }
}

#[tokio::test]
async fn silent_tcp_connection_is_given_up_after_ten_seconds() {
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = format!("tcp:{}", listener.local_addr().unwrap());
    let mut port = Running::start(PortConfig::new(0, &address, 9600, clock()));
    let _held = listener.accept().await.unwrap();
    port.opened().await;
    let start = Instant::now();
    assert!(port.closed().await.contains("nothing came"));
    assert!(start.elapsed() > Duration::from_secs(9));
    port.opened().await;
}

#[tokio::test]
async fn port_that_cannot_be_opened_does_not_hold_up_the_other() {
    let folder = tempfile::tempdir().unwrap();
    let pair = PtyPair::new(folder.path(), "instrument", "port");
    let mut dead = Running::serial(Path::new("/dev/no-such-port"));
    let mut live = Running::serial(&pair.b);
    assert!(dead.closed().await.contains("is it plugged in?"));
    live.opened().await;
    for _ in 0..20 {
        write(&pair.a, b"7\n");
        live.bytes_until(b"7\n").await;
    }
}

#[tokio::test]
async fn packets_made_by_a_foreign_program_are_read() {
    let folder = tempfile::tempdir().unwrap();
    let pair = PtyPair::new(folder.path(), "instrument", "port");
    let mut port = Running::serial(&pair.b);
    port.opened().await;
    let sender = python("packet_sender.py", &[pair.a.to_str().unwrap()]);
    let mut decoder = PacketDecoder::new(&[ChannelId::Load, ChannelId::Depth]);
    let mut got = Vec::new();
    while got.len() < 100 {
        if let PortChange::Received(bytes) = port.next().await.change {
            decoder.push(0, &bytes, &mut |reading| got.push(reading));
        }
    }
    assert!(sender.finished_well());
    assert_eq!(decoder.counts().bad, 0);
    for (index, reading) in got.iter().enumerate() {
        let number = index / 2;
        let (load, depth) = (2000.5 + number as f64, 812.25 - number as f64 / 100.0);
        assert_eq!(reading.raw, if index % 2 == 0 { load } else { depth });
        assert_eq!(reading.seq, Some(number as u64));
        let time = (number % 2 == 0).then_some(number as f64 / 1e3);
        assert_eq!(reading.device_s, time);
    }
}

/// Writes a line every 20 ms until dropped.
fn speaking(path: &Path) -> DropGuard {
    let stop = CancellationToken::new();
    let (stopped, path) = (stop.clone(), path.to_owned());
    std::thread::spawn(move || {
        for number in 0_u32.. {
            if stopped.is_cancelled() {
                break;
            }
            let load = 2000 + number % 7;
            write(&path, format!("ST,GS,+{load:8}.5 lbf\r\n").as_bytes());
            std::thread::sleep(Duration::from_millis(20));
        }
    });
    stop.drop_guard()
}

#[tokio::test]
async fn unknown_instrument_is_learned_and_then_read_with_what_was_proposed() {
    let folder = tempfile::tempdir().unwrap();
    let pair = PtyPair::new(folder.path(), "instrument", "port");
    let _instrument = speaking(&pair.a);
    let address = format!("serial:{}", pair.b.display());
    let learned = learn(&address, None, None, Duration::from_secs(2), &clock()).await;
    assert_eq!(learned.serial, SerialLine::default());
    let pattern = learned.proposals[0].pattern.clone().unwrap();
    assert_eq!(learned.proposals[0].channels, [ChannelId::Load]);

    let decoder = PatternDecoder::new(&[(ChannelId::Load, &pattern)]).unwrap();
    let config = PortConfig::new(0, &address, 9600, clock());
    let decoder = Some(PortDecoder::Pattern(decoder));
    let heard = listen(config, decoder, Duration::from_secs(2), |_| {}).await;
    assert!(heard.readings > 10, "{heard:?}");
    assert_eq!(heard.advice(), None);
    assert!((2000.5..2007.5).contains(&heard.newest[0].raw));
}

#[tokio::test]
async fn listening_says_what_to_check_when_nothing_or_nonsense_comes() {
    let folder = tempfile::tempdir().unwrap();
    let pair = PtyPair::new(folder.path(), "instrument", "port");
    let address = format!("serial:{}", pair.b.display());
    let lines = || PatternDecoder::new(&[(ChannelId::Load, "^(?<load>[0-9]+)$")]).unwrap();
    let hear = |time| {
        let config = PortConfig::new(0, &address, 9600, clock());
        listen(config, Some(PortDecoder::Pattern(lines())), time, |_| {})
    };
    let silent = hear(Duration::from_millis(500)).await.advice().unwrap();
    assert!(silent.contains("check cable"), "{silent}");
    let _instrument = speaking(&pair.a);
    let nonsense = hear(Duration::from_secs(1)).await.advice().unwrap();
    assert!(
        nonsense.contains("does not match the pattern"),
        "{nonsense}"
    );

    let config = PortConfig::new(0, "serial:/dev/no-such-port", 9600, clock());
    let absent = listen(config, None, Duration::from_millis(300), |_| {}).await;
    assert!(absent.advice().unwrap().contains("cannot be opened"));
}

/// Through a pipe, as by a script: nobody could connect to ports that are told only at the end.
#[test]
fn bench_well_tells_its_ports_before_it_plays_on_them() {
    let scenario = concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/../fixtures/scenarios/vertical.toml"
    );
    let mut child = Command::new(program("kerfwatch-replay"))
        .args(["simulate", scenario, "--to-ports", "tcp"])
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("the program starts");
    let told = BufReader::new(child.stdout.take().expect("piped"));
    let ports: Vec<String> = told.lines().take(2).map(|line| line.unwrap()).collect();
    let address = ports[0].strip_prefix("load:  tcp:").expect("the load port");
    let mut line = String::new();
    let stream = TcpStream::connect(address).expect("it listens");
    BufReader::new(stream).read_line(&mut line).expect("a line");
    assert!(line.starts_with("L "), "{line}");
    assert!(ports[1].starts_with("depth: tcp:"), "{ports:?}");
    let _ = child.kill();
    let _ = child.wait();
}
