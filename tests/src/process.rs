//! The program itself as a process, on pseudo terminals.

use crate::programs::program;
use kerfwatch::input::ChannelId;
use kerfwatch::job::{apply_set, print_default_job, read_job};
use kerfwatchd::demo::fixture::{line, with_plain_instruments};
use kerfwatchd::demo::terminal::Terminal;
use std::net::{SocketAddr, TcpListener};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// A daemon under way, or one that has ended and can be started again.
#[derive(Debug)]
pub struct Running {
    /// The process.
    pub child: Child,
    /// Load and depth instruments.
    pub ends: [Terminal; 2],
    /// Holds the job file and the runs.
    pub folder: tempfile::TempDir,
    /// Where the page answers.
    pub page: SocketAddr,
    environment: Vec<(String, String)>,
    arguments: Vec<String>,
}

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn job(folder: &Path, ends: &[Terminal; 2], page: SocketAddr, more: &str) {
    let mut text = with_plain_instruments(print_default_job()).expect("the sample job reads");
    for (key, value) in [
        ("load.port", format!("serial:{}", ends[0].path.display())),
        ("depth.port", format!("serial:{}", ends[1].path.display())),
        ("record.folder", folder.join("runs").display().to_string()),
        ("page.listen", page.to_string()),
    ] {
        text = apply_set(&text, &format!("{key}={value:?}")).expect("a value is set");
    }
    text.push_str(more);
    read_job(&text, "test job").unwrap_or_else(|findings| panic!("{findings}"));
    std::fs::write(folder.join("job.toml"), text).expect("a job file");
}

fn spawn(folder: &Path, environment: &[(String, String)], more: &[&str]) -> Child {
    Command::new(program("kerfwatchd"))
        .arg("run")
        .arg(folder.join("job.toml"))
        .args(more)
        .envs(environment.iter().map(|(name, value)| (name, value)))
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .expect("the program starts")
}

impl Running {
    /// Starts the daemon with the sample job.
    pub fn start(environment: &[(&str, &str)]) -> Self {
        Self::start_with(environment, &[])
    }

    /// Likewise, with more on its command line.
    pub fn start_with(environment: &[(&str, &str)], arguments: &[&str]) -> Self {
        Self::begin(environment, arguments, "")
    }

    /// Starts the daemon with the sample job and `more` at its end.
    pub fn start_job(more: &str) -> Self {
        Self::begin(&[], &[], more)
    }

    fn begin(environment: &[(&str, &str)], arguments: &[&str], more: &str) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let ends = [
            Terminal::open().expect("a pseudo terminal"),
            Terminal::open().expect("a pseudo terminal"),
        ];
        // Free a moment ago; a restart needs the same one.
        let page = TcpListener::bind("127.0.0.1:0")
            .and_then(|listener| listener.local_addr())
            .expect("a free port");
        job(folder.path(), &ends, page, more);
        let environment: Vec<(String, String)> = environment
            .iter()
            .map(|(name, value)| ((*name).to_owned(), (*value).to_owned()))
            .collect();
        Self {
            child: spawn(folder.path(), &environment, arguments),
            ends,
            folder,
            page,
            environment,
            arguments: arguments.iter().map(|&word| word.to_owned()).collect(),
        }
    }

    /// Starts it again by the same command line and `more`.
    pub fn start_again(&mut self, more: &[&str]) {
        let arguments: Vec<&str> = (self.arguments.iter().map(String::as_str))
            .chain(more.iter().copied())
            .collect();
        self.child = spawn(self.folder.path(), &self.environment, &arguments);
    }

    /// All runs, oldest first.
    pub fn runs(&self) -> Vec<PathBuf> {
        let Ok(runs) = std::fs::read_dir(self.folder.path().join("runs")) else {
            return Vec::new();
        };
        let mut runs: Vec<PathBuf> = runs.flatten().map(|entry| entry.path()).collect();
        runs.sort();
        runs
    }

    /// The one run so far.
    pub fn run_folder(&self) -> Option<PathBuf> {
        self.runs().pop()
    }

    /// Waits until `seen` holds; panics with `what` after twenty seconds.
    pub fn wait_for(&self, what: &str, mut seen: impl FnMut() -> bool) {
        let start = Instant::now();
        while !seen() {
            assert!(start.elapsed() < Duration::from_secs(20), "never: {what}");
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    /// Sends a reading as its instrument would.
    pub fn send(&mut self, channel: ChannelId, value: f64) {
        let frame = line(channel, 0, value);
        self.ends[usize::from(frame.port)]
            .write(&frame.bytes, || false)
            .expect("the terminal takes it");
    }

    /// Sends both readings every 20 ms for so long.
    pub fn send_for(&mut self, time: Duration, load_n: f64) {
        let start = Instant::now();
        let mut n = 0;
        while start.elapsed() < time {
            // Never the same twice: an unchanging instrument is a frozen one.
            n += 1;
            self.send(ChannelId::Load, load_n + f64::from(n % 7));
            self.send(ChannelId::Depth, 2010.0 + 0.001 * f64::from(n % 5));
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    /// Whether the page answers.
    pub fn is_up(&self) -> bool {
        std::net::TcpStream::connect(self.page).is_ok()
    }

    /// What the page shows now.
    pub fn snapshot(&self) -> serde_json::Value {
        crate::http::get(self.page, "/api/v1/snapshot").json()
    }

    /// A figure of the metrics, by the beginning of its line.
    pub fn metric(&self, name: &str) -> f64 {
        let text = crate::http::get(self.page, "/metrics").text();
        text.lines()
            .find_map(|line| line.strip_prefix(name)?.trim().parse().ok())
            .unwrap_or(f64::NAN)
    }

    /// States of the alarms of one kind, as shown.
    pub fn alarm_states(&self, kind: &str) -> Vec<String> {
        let snapshot = self.snapshot();
        let alarms = snapshot["alarms"].as_array().cloned().unwrap_or_default();
        alarms
            .iter()
            .filter(|alarm| alarm["kind"] == kind)
            .filter_map(|alarm| alarm["state"].as_str().map(str::to_owned))
            .collect()
    }

    /// Sends a signal, by the name that `kill` knows.
    pub fn signal(&self, name: &str) {
        let pid = self.child.id().to_string();
        let sent = Command::new("kill").args([name, &pid]).status();
        assert!(sent.is_ok_and(|status| status.success()), "kill {name}");
    }
}
