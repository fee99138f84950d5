//! What README shows a new user is true.
#![cfg(feature = "daemon")]

use kerfwatch::job::read_job;
use kerfwatch_replay::args::Arguments;
use kerfwatchd::cli::Cli;

fn readme() -> String {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../README.md");
    std::fs::read_to_string(path).unwrap()
}

#[test]
fn job_file_of_the_readme_is_a_whole_job() {
    let text = readme();
    let shown = text.split("```toml\n").nth(1).unwrap();
    let shown = shown.split("```").next().unwrap();
    if let Err(findings) = read_job(shown, "README.md") {
        panic!("{findings}");
    }
}

#[test]
fn every_command_of_the_readme_is_understood() {
    let text = readme();
    let mut seen = 0;
    // Commands in blocks stand at the start of a line, those in the table between backquotes.
    for line in text.lines() {
        let shown = line
            .trim_start_matches("| `")
            .split('`')
            .next()
            .unwrap_or("");
        let shown = shown
            .split(" #")
            .next()
            .unwrap_or("")
            .split(" >")
            .next()
            .unwrap_or("");
        let words: Vec<&str> = shown.split_whitespace().collect();
        let understood = match words.first() {
            Some(&"kerfwatchd") => clap_says::<Cli>(&words),
            Some(&"kerfwatch-replay") => clap_says::<Arguments>(&words),
            _ => continue,
        };
        seen += 1;
        assert!(understood.is_ok(), "{shown}: {}", understood.unwrap_err());
    }
    assert!(seen >= 12, "only {seen} commands found in README.md");
}

fn clap_says<P: clap::Parser>(words: &[&str]) -> Result<(), String> {
    P::try_parse_from(words)
        .map(|_| ())
        .map_err(|e| e.to_string())
}
