//! `learn`: listens to an unknown instrument and proposes the lines of the job file.

use super::{block_on, complain, live_clock, print};
use crate::cli::{LearnArgs, exit};
use crate::ports::address::Address;
use crate::ports::discover::serial_ports;
use std::path::Path;
use std::time::Duration;

pub(super) fn learn(args: &LearnArgs) -> u8 {
    if let Err(error) = Address::parse(&args.port) {
        complain(&error);
        for port in serial_ports(Path::new("/")) {
            complain(&format_args!("there is {}", port.address()));
        }
        return exit::BAD_INPUT;
    }
    let time = Duration::from_secs_f64(args.listen_s.clamp(0.1, 3600.0));
    let clock = live_clock();
    let learning = crate::ports::learn::learn(&args.port, args.baud, time, &clock);
    let learned = match block_on(learning) {
        Ok(learned) => learned,
        Err(code) => return code,
    };
    let Some(best) = learned.proposals.first() else {
        let what = if learned.heard.bytes == 0 {
            learned.heard.advice().unwrap_or_default()
        } else {
            let beginning: String = learned
                .heard
                .beginning
                .iter()
                .take(120)
                .flat_map(|byte| std::ascii::escape_default(*byte))
                .map(char::from)
                .collect();
            format!("bytes come, but neither lines nor packets were made out: {beginning}")
        };
        complain(&format_args!("{}: {what}", args.port));
        return exit::FAILED;
    };
    let share = best.share * 100.0;
    print(&format!(
        "# {} bytes at {} baud; this reads {share:.0} % of the frames\nport = \"{}\"\nbaud = {}\n{}",
        learned.heard.bytes,
        learned.baud,
        args.port,
        learned.baud,
        best.job_lines()
    ))
}
