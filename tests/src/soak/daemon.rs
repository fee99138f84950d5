//! The daemon as a process of its own: started, killed, gone on with, asked how it is.

use crate::http;
use std::ffi::OsString;
use std::fs;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// Variable that holds the page's token.
pub const TOKEN_ENV: &str = "KERFWATCH_SOAK_TOKEN";
const TOKEN: &str = "soak-0123456789abcdef";

/// How to start it.
#[derive(Debug, Clone)]
pub struct Program {
    /// The program.
    pub path: PathBuf,
    /// Job file.
    pub job: PathBuf,
    /// Where its page listens.
    pub page: SocketAddr,
    /// Where it records.
    pub runs: PathBuf,
    /// Log of all its lives.
    pub log: PathBuf,
    /// More environment.
    pub environment: Vec<(String, OsString)>,
}

/// One life of it.
#[derive(Debug)]
pub struct Daemon {
    child: Child,
    program: Program,
}

/// What `/healthz` says.
#[derive(Debug, Clone)]
pub struct Health {
    /// Newest input, run time, s.
    pub ingest_s: f64,
    /// On disk up to here, run time, s.
    pub recorded_s: f64,
    /// The whole answer.
    pub all: serde_json::Value,
}

impl Daemon {
    /// Starts a run, or goes on with `resume`.
    pub fn start(program: &Program, resume: Option<&Path>) -> anyhow::Result<Self> {
        let log = fs::File::options()
            .create(true)
            .append(true)
            .open(&program.log)?;
        let mut command = Command::new(&program.path);
        command.arg("run").arg("--quiet").arg(&program.job);
        if let Some(run) = resume {
            command.arg("--resume").arg(run);
        }
        let child = command
            .env(TOKEN_ENV, TOKEN)
            .envs(program.environment.iter().map(|(k, v)| (k, v)))
            .stdin(Stdio::null())
            .stdout(log.try_clone()?)
            .stderr(log)
            .spawn()?;
        Ok(Self {
            child,
            program: program.clone(),
        })
    }

    /// How it is; `None` while its page does not answer.
    pub fn health(&self) -> Option<Health> {
        let answer = http::try_request(self.program.page, "GET", "/healthz", &[], None).ok()?;
        let all: serde_json::Value = serde_json::from_slice(&answer.body).ok()?;
        Some(Health {
            ingest_s: all["ingest_s"].as_f64()?,
            recorded_s: all["recorded_s"].as_f64()?,
            all,
        })
    }

    /// Waits until it listens to `ports` ports.
    pub fn wait_until_up(&mut self, ports: u64) -> anyhow::Result<Health> {
        let start = Instant::now();
        loop {
            if let Some(health) = self.health()
                && health.all["ports_opened"].as_u64() >= Some(ports)
            {
                return Ok(health);
            }
            if let Some(status) = self.child.try_wait()? {
                anyhow::bail!(
                    "the daemon ended by itself with {status}: see {}",
                    self.program.log.display()
                );
            }
            anyhow::ensure!(
                start.elapsed() < Duration::from_secs(300),
                "the daemon does not come up"
            );
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    /// Says something on the page's interface; whether it was taken.
    pub fn post(&self, path: &str) -> bool {
        let token = format!("Bearer {TOKEN}");
        let headers = [("Authorization", token.as_str())];
        http::try_request(self.program.page, "POST", path, &headers, Some("{}"))
            .is_ok_and(|answer| answer.status == 202)
    }

    /// Resident memory now and at most, MiB. *Source*: proc(5), VmRSS and VmHWM in KiB.
    pub fn memory_mib(&self) -> Option<(f64, f64)> {
        let status = fs::read_to_string(format!("/proc/{}/status", self.child.id())).ok()?;
        let mib = |name: &str| {
            let line = status.lines().find_map(|line| line.strip_prefix(name))?;
            line.split_whitespace().next()?.parse::<f64>().ok()
        };
        Some((mib("VmRSS:")? / 1024.0, mib("VmHWM:")? / 1024.0))
    }

    /// `kill -9`.
    pub fn kill(mut self) -> anyhow::Result<()> {
        self.child.kill()?;
        self.child.wait()?;
        Ok(())
    }

    /// SIGTERM; it has to end well.
    pub fn end(mut self) -> anyhow::Result<()> {
        let pid = self.child.id().to_string();
        Command::new("kill").args(["-TERM", &pid]).status()?;
        let status = self.child.wait()?;
        anyhow::ensure!(status.success(), "the daemon ended with {status}");
        Ok(())
    }

    /// Whether it has ended by itself.
    pub fn has_died(&mut self) -> bool {
        !matches!(self.child.try_wait(), Ok(None))
    }
}

/// Sends on what a run still owes to its server.
pub fn forward(program: &Program, run: &Path) -> anyhow::Result<()> {
    let log = fs::File::options().append(true).open(&program.log)?;
    let status = Command::new(&program.path)
        .arg("forward")
        .arg(run)
        .stdout(log.try_clone()?)
        .stderr(log)
        .status()?;
    anyhow::ensure!(status.success(), "forwarding ended with {status}");
    Ok(())
}
