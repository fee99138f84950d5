//! A whole daemon in this process, on pseudo terminals, with hands on its instruments.

use kerfwatch::input::ChannelId;
use kerfwatch::job::read_job;
use kerfwatchd::clock::Hand;
use kerfwatchd::demo::fixture::{line, with_plain_instruments};
use kerfwatchd::demo::terminal::Terminal;
use kerfwatchd::disk::Brake;
use kerfwatchd::run::Clocking;
use kerfwatchd::web::PageConfig;
use kerfwatchd::{Config, Ended, RunError, Started};
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::sync::atomic::Ordering;
use std::thread::JoinHandle;
use std::time::{Duration, Instant};
use tokio::sync::oneshot;

/// How the daemon is set up.
#[derive(Debug, Clone)]
pub struct Setup {
    /// Token of the page.
    pub token: Option<String>,
    /// Patience of the page with slow readers.
    pub patience: Duration,
    /// Brakes the disk.
    pub brake: Brake,
    /// Drives the clock; `None`: the host does.
    pub hand: Option<Hand>,
    /// Address of the page; port 0 takes any free one.
    pub listen: String,
    /// Added at the end of the job file.
    pub more_job: String,
}

impl Default for Setup {
    fn default() -> Self {
        Self {
            token: None,
            patience: Duration::from_secs(10),
            brake: Brake::default(),
            hand: None,
            listen: "127.0.0.1:0".to_owned(),
            more_job: String::new(),
        }
    }
}

/// A running daemon.
#[derive(Debug)]
pub struct Rig {
    /// What it said when it was up.
    pub started: Started,
    /// Load and depth instruments.
    pub ends: [Terminal; 2],
    sent_bytes: u64,
    stop: Option<oneshot::Sender<()>>,
    thread: JoinHandle<Result<Ended, RunError>>,
}

impl Rig {
    /// Starts a daemon that records below `folder`.
    pub fn start(job_text: &str, folder: &Path, setup: Setup) -> Self {
        Self::begin(job_text, folder, setup, |_| None)
    }

    /// Starts a daemon with the sample job that goes on with the run which `earlier` makes of the job's text.
    pub fn go_on(setup: Setup, folder: &Path, earlier: impl FnOnce(&str) -> PathBuf) -> Self {
        let resume = |text: &str| Some(earlier(text));
        Self::begin(kerfwatch::job::print_default_job(), folder, setup, resume)
    }

    fn begin(
        job_text: &str,
        folder: &Path,
        setup: Setup,
        resume: impl FnOnce(&str) -> Option<PathBuf>,
    ) -> Self {
        let ends = [
            Terminal::open().expect("a pseudo terminal"),
            Terminal::open().expect("a pseudo terminal"),
        ];
        let mut text = with_plain_instruments(job_text).expect("the job reads");
        for (key, value) in [
            ("load.port", format!("serial:{}", ends[0].path.display())),
            ("depth.port", format!("serial:{}", ends[1].path.display())),
            ("record.folder", folder.display().to_string()),
        ] {
            text = kerfwatch::job::apply_set(&text, &format!("{key}={value:?}"))
                .expect("a value is set");
        }
        text.push_str(&setup.more_job);
        let job = read_job(&text, "test job")
            .unwrap_or_else(|findings| panic!("{findings}"))
            .job;
        let resume = resume(&text);
        let (up, is_up) = oneshot::channel();
        let (stop, stopped) = oneshot::channel::<()>();
        let config = Config {
            job,
            job_text: text,
            clock: match setup.hand {
                Some(hand) => Clocking::Driven { hand, speed: 100.0 },
                None => Clocking::Live,
            },
            page: Some(PageConfig {
                listen: setup.listen,
                token: setup.token,
                names: Vec::new(),
                patience: setup.patience,
            }),
            resume,
            before: None,
            notes: Vec::new(),
            brake: setup.brake,
            speak: false,
            started: Some(up),
        };
        let thread = std::thread::spawn(move || {
            tokio::runtime::Builder::new_current_thread()
                .enable_all()
                .build()
                .expect("a runtime")
                .block_on(kerfwatchd::run(config, async {
                    // A dropped sender ends the run as well.
                    let _ = stopped.await;
                }))
        });
        let started = is_up.blocking_recv();
        let Ok(started) = started else {
            panic!("the daemon does not start: {:?}", thread.join());
        };
        Self {
            started,
            ends,
            sent_bytes: 0,
            stop: Some(stop),
            thread,
        }
    }

    /// Where the page is.
    pub fn page(&self) -> SocketAddr {
        self.started.page.expect("a page was asked for")
    }

    /// Sends a reading as its instrument would.
    pub fn send(&mut self, channel: ChannelId, value: f64) {
        self.send_bytes(channel, &line(channel, 0, value).bytes);
    }

    /// Sends bytes that may mean nothing.
    pub fn send_bytes(&mut self, channel: ChannelId, bytes: &[u8]) {
        let port = line(channel, 0, 0.0).port;
        self.ends[usize::from(port)]
            .write(bytes, || false)
            .expect("the terminal takes it");
        self.sent_bytes += bytes.len() as u64;
    }

    /// Waits until all that was sent is received: what still waits in a terminal when its port closes never is.
    pub fn wait_until_received(&self) {
        self.wait_for("all bytes are received", |started| {
            let progress = &started.published.progress;
            progress.bytes_received.load(Ordering::Relaxed) >= self.sent_bytes
        });
    }

    /// Waits until both ports are open: what is sent before is lost, as from an instrument that was switched on first.
    pub fn wait_for_ports(&self) {
        self.wait_for("ports are open", |started| {
            started
                .published
                .progress
                .ports_opened
                .load(Ordering::Relaxed)
                == 2
        });
    }

    /// Waits until `seen` holds; panics with `what` after ten seconds.
    pub fn wait_for(&self, what: &str, seen: impl Fn(&Started) -> bool) {
        self.wait_for_mut(what, seen);
    }

    /// Likewise, for looks that change what they look with.
    pub fn wait_for_mut(&self, what: &str, mut seen: impl FnMut(&Started) -> bool) {
        let start = Instant::now();
        while !seen(&self.started) {
            assert!(start.elapsed() < Duration::from_secs(10), "never: {what}");
            std::thread::sleep(Duration::from_millis(10));
        }
    }

    /// Ends the run in order.
    pub fn stop(mut self) -> Result<Ended, RunError> {
        drop(self.stop.take());
        self.thread.join().expect("the run does not panic")
    }
}
