//! A job that is not the one on record, and runs of one chain with unlike jobs: every output says so.

use crate::console::Console;
use crate::failure::Exit;
use kerfwatch::job::{apply_set, print_default_job};

/// Runs made of the sample job with changes, in a folder of their own.
struct Desk {
    dir: tempfile::TempDir,
}

impl Desk {
    fn new(runs: &[(&str, &[&str])]) -> Self {
        let desk = Self {
            dir: tempfile::tempdir().unwrap(),
        };
        for (hour, (name, changes)) in runs.iter().enumerate() {
            let samples = desk.write(
                &format!("{name}.csv"),
                "time_s,load_n,depth_m\n0,2000,2010\n0.5,2001,2010.1\n1,2001,2010.2\n",
            );
            let job = desk.job(&format!("{name}.toml"), changes);
            let (out, start) = (desk.path(name), format!("2026-05-01T0{hour}:00:00Z"));
            let import = [
                "import", "--job", &job, &samples, "--out", &out, "--start", &start,
            ];
            assert_eq!(desk.replay(&import).0, Exit::Well);
        }
        desk
    }

    fn path(&self, name: &str) -> String {
        self.dir.path().join(name).display().to_string()
    }

    fn write(&self, name: &str, text: &str) -> String {
        std::fs::write(self.path(name), text).unwrap();
        self.path(name)
    }

    fn read(&self, name: &str) -> String {
        std::fs::read_to_string(self.path(name)).unwrap()
    }

    fn job(&self, name: &str, changes: &[&str]) -> String {
        let mut text = print_default_job().to_owned();
        for change in changes {
            text = apply_set(&text, change).unwrap();
        }
        self.write(name, &text)
    }

    fn replay(&self, arguments: &[&str]) -> (Exit, String, String) {
        let (mut out, mut err) = (Vec::new(), Vec::new());
        let mut console = Console::new(&mut out, &mut err, false);
        let all = ["kerfwatch-replay"].iter().chain(arguments).copied();
        let exit = crate::run_command_line(all, &mut console);
        let text = |b| String::from_utf8(b).unwrap();
        (exit, text(out), text(err))
    }
}

const CHANGED: &str = "cutter.wheels 8 (recorded: 3)";

#[test]
fn another_job_shows_in_every_output_and_the_one_on_record_in_none() {
    let desk = Desk::new(&[("run", &[])]);
    let run = desk.path("run");
    let other = desk.job("other.toml", &["cutter.wheels=8"]);
    let same = desk.job("same.toml", &["job.name=again"]);
    let page = desk.path("page.html");
    for (extra, what_if) in [(&other, true), (&same, false)] {
        let extra = ["--job", extra.as_str()];
        let told = |arguments: &[&str]| {
            let all: Vec<&str> = arguments.iter().chain(&extra).copied().collect();
            let (exit, out, err) = desk.replay(&all);
            assert_eq!(exit, Exit::Well, "{err}");
            out
        };
        let text = told(&["recompute", &run]);
        assert_eq!(text.starts_with("What-if: job file "), what_if, "{text}");
        assert_eq!(text.contains(CHANGED), what_if, "{text}");
        let json = told(&["recompute", &run, "--json", "-"]);
        assert_eq!(json.contains("\"what_if\": ["), what_if);
        let las = told(&["export", &run, "--format", "las", "--out", "-"]);
        assert_eq!(las.contains("\n WIF1."), what_if, "{las}");
        let points = told(&["export", &run, "--format", "line-protocol", "--out", "-"]);
        let tagged = points.lines().filter(|l| l.contains(",what_if=")).count();
        assert_eq!(tagged > 0, what_if, "{points}");
        assert!(tagged == 0 || tagged == points.lines().count(), "{points}");
        told(&["report", &run, "--out", &page]);
        let html = desk.read("page.html");
        assert_eq!(html.contains("What-if, not the result"), what_if);
        assert_eq!(html.contains("repeats this one only with"), what_if);
        assert_eq!(
            html.contains("Anyone with the run folder can repeat"),
            !what_if
        );
        let compared = told_of_compare(&desk, &run, &extra);
        assert_eq!(compared.contains(CHANGED), what_if, "{compared}");
    }
}

fn told_of_compare(desk: &Desk, run: &str, extra: &[&str]) -> String {
    let all: Vec<&str> = (["compare", run, run].iter())
        .chain(extra)
        .copied()
        .collect();
    desk.replay(&all).1
}

#[test]
fn a_csv_table_of_a_what_if_is_warned_of() {
    let desk = Desk::new(&[("run", &[])]);
    let run = desk.path("run");
    let export = ["export", &run, "--format", "csv", "--out", "-"];
    assert!(!desk.replay(&export).2.contains("what-if"));
    let all: Vec<&str> = (export.iter())
        .chain(&["--set", "cutter.wheels=8"])
        .copied()
        .collect();
    let err = desk.replay(&all).2;
    assert!(err.contains("it is a what-if (cutter.wheels=8)"), "{err}");
}

#[test]
fn a_chain_names_what_its_runs_have_otherwise_than_the_job_used() {
    let desk = Desk::new(&[
        (
            "first",
            &[
                "cutter.wheels=2",
                "cutter.radial_force=2 kN",
                "tool.mass=80 kg",
            ],
        ),
        ("last", &[]),
    ]);
    let (first, last) = (desk.path("first"), desk.path("last"));
    let (exit, out, err) = desk.replay(&["chain", &first, &last]);
    assert_eq!(exit, Exit::Well, "{err}");
    let differ = "tool.mass 80 kg (used: ";
    assert!(err.contains(differ), "{err}");
    assert!(!err.contains("cutter."), "{err}");
    assert!(err.contains("which is used for all runs"), "{err}");
    assert_eq!(out.matches("its job is not used: ").count(), 1, "{out}");
    assert!(out.contains(differ), "{out}");
    // Two wheels of three, and depth cubed grows with the square of the force.
    let own = "cutter.radial_force 2 kN (last run: 3 kN), cutter.wheels 2 (last run: 3): one of its strokes counts 0.30 of the last run's";
    assert!(out.contains(own), "{out}");
    let (_, out, _) = desk.replay(&["chain", &first, &last, "--json", "-"]);
    let json: serde_json::Value = serde_json::from_str(&out).unwrap();
    let wheels = &json["chain"][0]["job_differs"][1];
    assert_eq!(wheels["key"], "cutter.wheels");
    assert_eq!(
        (&wheels["of_run"], &wheels["used"]),
        (&"2".into(), &"3".into())
    );
    assert!(json["chain"][1].get("job_differs").is_none());
    // Said by the user: nothing is left to be told but that.
    let sets = [
        "--set",
        "cutter.wheels=3",
        "--set",
        "cutter.radial_force=3 kN",
        "--set",
        "tool.mass=95 kg",
    ];
    let all: Vec<&str> = (["chain", &first, &last].iter())
        .chain(&sets)
        .copied()
        .collect();
    let (_, out, err) = desk.replay(&all);
    assert!(!err.contains("used for all runs"), "{err}");
    assert!(out.starts_with("What-if: cutter.wheels=3"), "{out}");
}

#[test]
fn a_chain_refuses_another_tubular_unless_told_which() {
    let desk = Desk::new(&[
        ("first", &["tubular.wall=5.51 mm"]),
        ("last", &["tubular.wall=7.01 mm"]),
    ]);
    let (first, last) = (desk.path("first"), desk.path("last"));
    let (exit, _, err) = desk.replay(&["chain", &first, &last]);
    assert_eq!(exit, Exit::BadInput);
    assert!(
        err.contains("tubular.wall 5.51 mm here, 7.01 mm there"),
        "{err}"
    );
    assert!(err.contains("--set"), "{err}");
    let said = ["chain", &first, &last, "--set", "tubular.wall=7.01 mm"];
    let (exit, out, err) = desk.replay(&said);
    assert_eq!(exit, Exit::Well, "{err}");
    assert!(out.starts_with("What-if: tubular.wall=7.01 mm"), "{out}");
}
