//! The end of a soak: all is read back, and each claim holds or fails.

use crate::faults::Soak;
use kerfwatch_tests::soak::account::Account;
use kerfwatch_tests::soak::daemon::forward;
use kerfwatch_tests::soak::instruments::NAMES;
use kerfwatch_tests::soak::proof::{self, Lines, Proof};
use kerfwatch_tests::soak::server::Server;
use std::fs;
use std::path::Path;
use std::process::Command;
use std::time::Duration;

/// Memory may grow by this over the second half, MiB, and be this much in all.
const GROWTH_MIB: f64 = 2.0;
const MEMORY_MIB: f64 = 25.0;

/// Ends all, reads back, prints the proof; whether it holds.
pub(crate) fn finish(
    mut soak: Soak,
    server: &Server,
    memory: &[f64],
    folder: &Path,
) -> anyhow::Result<bool> {
    let account = soak.instruments.fall_silent()?;
    std::thread::sleep(Duration::from_secs(1));
    soak.note_counts()?;
    if let Some(daemon) = soak.daemon.take() {
        daemon.end()?;
    }
    forward(&soak.program, &soak.run)?;
    let sent_live = server.take();
    let copy = folder.join("copy");
    let copied = Command::new("cp")
        .arg("-r")
        .arg(&soak.run)
        .arg(&copy)
        .status()?;
    anyhow::ensure!(copied.success(), "the run folder cannot be copied");
    fs::remove_file(copy.join("forward.toml"))?;
    forward(&soak.program, &copy)?;
    let sent_afterwards = server.take();
    let proof = proof::read(&soak.run, &account)?;

    println!("\nfaults:");
    for (fault, count) in &soak.faults {
        println!("  {count:4}  {}", fault.name());
    }
    println!(
        "  {:4}  requests that found the server down",
        server.refused()
    );
    println!(
        "clock steps: {} made, {} noticed",
        soak.clock.made, soak.clock.noticed
    );
    println!(
        "longest time to resume a run: {:.1} s",
        soak.longest_away.as_secs_f64()
    );
    let log = fs::read_to_string(&soak.program.log)?;
    println!(
        "panics in the daemon's log: {}",
        log.matches("panicked").count()
    );

    let mut all = Verdicts(true);
    all.judge(log.matches("panicked").count() == 0, "no panic");
    all.judge(
        soak.unsynced == 0,
        "after each kill, all was there that had been reported as synced",
    );
    lines(&proof, &mut all, soak.record_lost);
    all.judge(
        soak.clock.made == soak.clock.noticed,
        "every step of the clock was noticed, once",
    );
    alarms(&proof, &account, soak.false_alarms, &mut all);
    let missing = sent_afterwards.not_in(&sent_live);
    println!(
        "server: {} points in the run, {} sent by another forwarder afterwards",
        sent_live.len(),
        sent_afterwards.len()
    );
    for (measurement, count) in sent_afterwards.by_measurement() {
        let missing = missing.get(measurement).copied().unwrap_or(0);
        println!("  {count} of {measurement}, {missing} of these missing or other in the run");
    }
    all.judge(
        missing.is_empty() && !sent_live.is_empty(),
        "every point reached the server",
    );
    flat(memory, &mut all);
    Ok(all.0)
}

struct Verdicts(bool);

impl Verdicts {
    fn judge(&mut self, holds: bool, what: &str) {
        println!("{}: {what}", if holds { "HOLDS" } else { "FAILS" });
        self.0 &= holds;
    }
}

fn lines(proof: &Proof, all: &mut Verdicts, record_lost: u64) {
    println!(
        "record: {} inputs; inputs the daemon itself counted as lost: {record_lost}",
        proof.inputs
    );
    for damage in &proof.damage {
        println!("  {damage}");
    }
    for (
        name,
        Lines {
            sent,
            recorded,
            doubled,
            excused,
            lost,
        },
    ) in NAMES.iter().zip(&proof.lines)
    {
        println!(
            "{name}: {sent} lines sent, {recorded} recorded, {doubled} twice, {} lost {:?}",
            lost.1, lost.0
        );
        for (why, count) in excused {
            println!("  {count} not recorded: {why}");
        }
    }
    let lost: usize = proof.lines.iter().map(|lines| lines.lost.1).sum();
    let doubled: usize = proof.lines.iter().map(|lines| lines.doubled).sum();
    all.judge(
        lost == 0 && doubled == 0,
        "every synced line is in the record, once",
    );
}

fn alarms(proof: &Proof, account: &Account, false_alarms: u64, all: &mut Verdicts) {
    let mut after: Vec<f64> = account
        .overpulls
        .iter()
        .filter_map(|overpull| Some(overpull.seen_after?.as_secs_f64() * 1e3))
        .collect();
    after.sort_by(f64::total_cmp);
    let at = |part: f64| {
        after
            .get(((after.len().max(1) - 1) as f64 * part) as usize)
            .copied()
            .unwrap_or(f64::NAN)
    };
    println!(
        "overpulls: {} made, {} told (ms: p50 {:.1}, p99 {:.1}, most {:.1}), {} told without one; {} recorded, {} of these alarms in a replay of the record",
        account.overpulls.len(),
        after.len(),
        at(0.5),
        at(0.99),
        at(1.0),
        false_alarms,
        proof.overpulls_recorded,
        proof.overpulls_replayed,
    );
    all.judge(
        after.len() == account.overpulls.len() && false_alarms == 0,
        "every overpull was told within a second, and nothing else",
    );
    all.judge(
        proof.overpulls_replayed >= proof.overpulls_recorded,
        "every recorded overpull is an alarm of the replay",
    );
}

fn flat(memory: &[f64], all: &mut Verdicts) {
    let most = |part: &[f64]| part.iter().copied().fold(0.0, f64::max);
    let half = memory.len() / 2;
    let (before, after) = (most(&memory[..half]), most(&memory[half..]));
    println!("memory: at most {before:.1} MiB in the first half, {after:.1} MiB in the second");
    all.judge(
        after <= before + GROWTH_MIB || memory.len() < 4,
        "memory is flat",
    );
    all.judge(
        most(memory) <= MEMORY_MIB,
        "resident memory stays within 25 MiB",
    );
}
