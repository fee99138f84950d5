//! The built programs as processes.

use crate::http;
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::time::{Duration, Instant};

/// A program of this workspace, beside the test's own: built by `cargo test --workspace`, or here when it is missing.
/// One that is there is taken as it is, however old: a test of one package alone does not build it anew.
///
/// # Panics
/// When it cannot be built.
pub fn program(name: &str) -> PathBuf {
    let own = std::env::current_exe().expect("the test has a name");
    let folder = own.ancestors().nth(2).expect("it is two folders down");
    let program = folder.join(name);
    if !program.exists() {
        let mut build = Command::new(env!("CARGO"));
        build.args(["build", "-p", name]);
        if folder.ends_with("release") {
            build.arg("--release");
        }
        let built = build.status().expect("cargo runs");
        assert!(built.success() && program.exists(), "cargo build -p {name}");
    }
    program
}

/// Runs `kerfwatch-replay` with these arguments: exit code and standard output.
///
/// # Panics
/// When it cannot be started.
pub fn replay(arguments: &[&str]) -> (Option<i32>, Vec<u8>) {
    let output = Command::new(program("kerfwatch-replay"))
        .args(arguments)
        .stderr(Stdio::null())
        .output()
        .expect("kerfwatch-replay runs");
    (output.status.code(), output.stdout)
}

/// `kerfwatchd run` as a process.
#[derive(Debug)]
pub struct Daemon {
    /// The process.
    pub child: Child,
    /// Where its page is, once it is up.
    pub page: SocketAddr,
    /// What it said on standard error.
    pub log: PathBuf,
}

impl Daemon {
    /// Starts it on a job, or to go on with a run. Its log goes to the end of `daemon.log` beside the job.
    ///
    /// # Panics
    /// When it cannot be started.
    pub fn start(job: &Path, resume: Option<&Path>) -> Self {
        let page = TcpListener::bind("127.0.0.1:0")
            .and_then(|free| free.local_addr())
            .expect("a free port");
        let log = job.with_file_name("daemon.log");
        let file = std::fs::OpenOptions::new()
            .create(true)
            .append(true)
            .open(&log)
            .expect("a log file");
        let mut command = Command::new(program("kerfwatchd"));
        command.arg("run").arg(job);
        command.args(["--listen", &page.to_string(), "--quiet"]);
        if let Some(run) = resume {
            command.arg("--resume").arg(run);
        }
        let child = command
            .stdout(Stdio::null())
            .stderr(file)
            .spawn()
            .expect("kerfwatchd runs");
        Self { child, page, log }
    }

    /// Waits until its page answers.
    ///
    /// # Panics
    /// When it ends first, or after a minute.
    pub fn wait_until_up(&mut self) {
        let start = Instant::now();
        while TcpStream::connect(self.page).is_err() {
            let ended = self.child.try_wait().expect("a child can be asked");
            assert!(ended.is_none(), "ended: {ended:?}\n{}", self.said());
            assert!(start.elapsed() < Duration::from_secs(60), "not up");
            std::thread::sleep(Duration::from_millis(10));
        }
    }

    /// State of the daemon, from its page.
    pub fn health(&self) -> serde_json::Value {
        http::get(self.page, "/healthz").json()
    }

    /// Waits until its state is as wanted; panics with `what` after a minute.
    pub fn wait_for(&self, what: &str, wanted: impl Fn(&serde_json::Value) -> bool) {
        let start = Instant::now();
        loop {
            let health = self.health();
            if wanted(&health) {
                return;
            }
            assert!(
                start.elapsed() < Duration::from_secs(60),
                "never: {what}: {health}\n{}",
                self.said()
            );
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    /// Sends `TERM` and waits for the end.
    ///
    /// # Panics
    /// When the system refuses.
    pub fn terminate(mut self) -> ExitStatus {
        let id = rustix::process::Pid::from_child(&self.child);
        rustix::process::kill_process(id, rustix::process::Signal::TERM).expect("a signal");
        self.child.wait().expect("it ends")
    }

    /// Kills it outright.
    ///
    /// # Panics
    /// When the system refuses.
    pub fn kill(mut self) {
        self.child.kill().expect("a signal");
        self.child.wait().expect("it ends");
    }

    /// Its log so far.
    pub fn said(&self) -> String {
        std::fs::read_to_string(&self.log).unwrap_or_default()
    }
}

impl Drop for Daemon {
    fn drop(&mut self) {
        // A test that fails leaves nothing running; one that has ended is left alone.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// The only run folder below `runs`, once it is there: the page may answer a moment earlier.
///
/// # Panics
/// When there is none after ten seconds.
pub fn run_below(runs: &Path) -> PathBuf {
    let start = Instant::now();
    loop {
        let found = std::fs::read_dir(runs).into_iter().flatten().flatten();
        let mut folders = found.map(|entry| entry.path());
        if let Some(run) = folders.find(|folder| folder.join("run.toml").is_file()) {
            return run;
        }
        assert!(
            start.elapsed() < Duration::from_secs(10),
            "no run below {}",
            runs.display()
        );
        std::thread::sleep(Duration::from_millis(10));
    }
}
