use super::*;
use kerfwatch::input::MarkKind;
use kerfwatch::recording::RunReader;

fn console_run(arguments: &[&str]) -> (Exit, String, String) {
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let mut console = Console::new(&mut out, &mut err, false);
    let mut all = vec!["kerfwatch-replay"];
    all.extend_from_slice(arguments);
    let exit = crate::run_command_line(all, &mut console);
    let text = |b| String::from_utf8(b).unwrap();
    (exit, text(out), text(err))
}

struct Desk {
    dir: tempfile::TempDir,
}

impl Desk {
    fn new(samples: &str, marks: &str) -> Self {
        let dir = tempfile::tempdir().unwrap();
        let desk = Self { dir };
        std::fs::write(desk.path("job.toml"), kerfwatch::job::print_default_job()).unwrap();
        std::fs::write(desk.path("s.csv"), samples).unwrap();
        std::fs::write(desk.path("m.csv"), marks).unwrap();
        desk
    }

    fn path(&self, name: &str) -> String {
        self.dir.path().join(name).display().to_string()
    }

    fn import(&self, extra: &[&str]) -> (Exit, String, String) {
        let (job, samples, out) = (self.path("job.toml"), self.path("s.csv"), self.path("run"));
        let mut all = vec!["import", "--job", &job, &samples, "--out", &out];
        all.extend_from_slice(extra);
        console_run(&all)
    }

    fn inputs(&self) -> Vec<Input> {
        RunReader::open(self.path("run"))
            .unwrap()
            .inputs()
            .collect()
    }
}

const SAMPLES: &str = "time_s,load_n,depth_m\n0,2000,1200\n0.5,2001,\n1,,1200.1\n0.75,2002,\n";

#[test]
fn readings_keep_file_order_and_marks_are_merged_by_time() {
    let desk = Desk::new(SAMPLES, "time_s,mark\n0.5,cutter_out\n99,note:end\n");
    let marks = desk.path("m.csv");
    let (exit, out, err) = desk.import(&["--marks", &marks]);
    assert_eq!(exit, Exit::Well, "{err}");
    assert!(
        out.contains("5 readings from 4 of 4 rows, 2 marks"),
        "{out}"
    );
    assert!(err.contains("1 row is older than a row before it"), "{err}");
    let reading = |s: f64, channel, value| Input::Reading {
        channel,
        at: nanos(s).unwrap(),
        value,
    };
    let mark = |s: f64, kind| Input::Mark {
        at: nanos(s).unwrap(),
        mark: Mark {
            kind,
            author: String::new(),
        },
    };
    assert_eq!(
        desk.inputs(),
        [
            reading(0.0, ChannelId::Load, 2000.0),
            reading(0.0, ChannelId::Depth, 1200.0),
            mark(0.5, MarkKind::CutterOut),
            reading(0.5, ChannelId::Load, 2001.0),
            reading(1.0, ChannelId::Depth, 1200.1),
            reading(0.75, ChannelId::Load, 2002.0),
            mark(99.0, MarkKind::Note("end".into())),
        ]
    );
    let head = RunReader::open(desk.path("run")).unwrap();
    assert_eq!(
        head.head().unwrap().job,
        kerfwatch::job::print_default_job()
    );
    let (exit, out, _) = console_run(&["verify", &desk.path("run")]);
    assert_eq!(exit, Exit::Well, "{out}");
}

#[test]
fn rows_that_repeat_the_row_before_are_taken_once_and_told() {
    let doubled = "time_s,load_n,depth_m\n0,2000,1200\n0,2000,1200\n0.5,2000,\n0.5,2000,\n0.5,2000,\n0.5,,1200\n";
    let desk = Desk::new(doubled, "");
    let (exit, out, err) = desk.import(&[]);
    assert_eq!(exit, Exit::Well, "{err}");
    assert!(
        err.contains(
            "s.csv:3: 3 of 6 rows repeat the row before, time and values; each is taken once"
        ),
        "{err}"
    );
    assert!(out.contains("4 readings from 3 of 6 rows"), "{out}");
    assert_eq!(desk.inputs().len(), 4);
}

#[test]
fn marks_by_another_clock_are_told() {
    let desk = Desk::new(SAMPLES, "time_s,mark\n0.5,cutter_out\n36000,cutter_in\n");
    let marks = desk.path("m.csv");
    let (exit, _, err) = desk.import(&["--marks", &marks]);
    assert_eq!(exit, Exit::Well, "{err}");
    assert!(
        err.contains("m.csv: time_s: 1 of 2 marks lie outside"),
        "{err}"
    );
}

#[test]
fn a_mark_shortly_before_the_first_sample_is_kept_and_told() {
    let desk = Desk::new(SAMPLES, "time_s,mark\n-5,cutter_out\n");
    let marks = desk.path("m.csv");
    let (exit, out, err) = desk.import(&["--marks", &marks]);
    assert_eq!(exit, Exit::Well, "{err}");
    assert!(
        err.contains("m.csv: time_s: 1 mark lies before the first sample, by up to 5.0 s"),
        "{err}"
    );
    assert!(out.contains(", 1 mark, "), "{out}");
}

#[test]
fn what_is_wrong_with_the_whole_table_is_told_with_the_import() {
    let rows: String = (0..40)
        .map(|i| format!("{},2.1,2010\n", i as f64 * 0.1))
        .collect();
    let desk = Desk::new(&format!("time_s,load_n,depth_m\n{rows}4.0,2.1,20"), "");
    let (exit, out, err) = desk.import(&["--strict"]);
    assert_eq!(exit, Exit::Well, "{err}");
    assert!(
        err.contains("s.csv: load_n: with the tool in the interval"),
        "{err}"
    );
    assert!(err.contains("remedy: if tensions are kilonewtons"), "{err}");
    assert!(
        err.contains("s.csv:42: the last line has no line end"),
        "{err}"
    );
    assert!(out.contains("82 readings from 41 of 41 rows"), "{out}");
    let (exit, _, err) = console_run(&["recompute", &desk.path("s.csv")]);
    assert_eq!(exit, Exit::BadInput);
    assert!(err.contains("is a file, and no run folder"), "{err}");
}

#[test]
fn existing_folders_are_not_touched_without_force() {
    let desk = Desk::new(SAMPLES, "");
    assert_eq!(desk.import(&[]).0, Exit::Well);
    let (exit, _, err) = desk.import(&[]);
    assert_eq!(exit, Exit::BadInput);
    assert!(err.contains("--out: exists already"), "{err}");
    assert_eq!(desk.import(&["--force"]).0, Exit::Well);
    let other = desk.path("other");
    std::fs::create_dir(&other).unwrap();
    let (job, samples) = (desk.path("job.toml"), desk.path("s.csv"));
    let (exit, _, err) = console_run(&[
        "import", "--job", &job, &samples, "--out", &other, "--force",
    ]);
    assert_eq!(exit, Exit::BadInput);
    assert!(err.contains("not a run folder"), "{err}");
}

#[test]
fn bad_rows_are_reported_and_strict_refuses_them_without_leaving_a_folder() {
    let desk = Desk::new("time_s,load_n,depth_m\n0,2000,1200\n1,abc,1200\n", "");
    let (exit, _, err) = desk.import(&["--strict"]);
    assert_eq!(exit, Exit::BadInput);
    assert!(err.contains("s.csv:3: load_n: `abc`"), "{err}");
    assert!(!Path::new(&desk.path("run")).exists());
    assert!(!Path::new(&desk.path("run.part")).exists());
    let (exit, _, err) = desk.import(&[]);
    assert_eq!(exit, Exit::Well);
    assert!(err.contains("1 tension that is no number"), "{err}");
    assert_eq!(desk.inputs().len(), 3);
}

#[test]
fn start_time_is_kept_and_checked() {
    let desk = Desk::new(SAMPLES, "");
    let (exit, _, err) = desk.import(&["--start", "yesterday"]);
    assert_eq!(exit, Exit::BadInput);
    assert!(err.contains("write a time with its zone"), "{err}");
    assert_eq!(
        desk.import(&["--start", "2026-05-01T08:00:00+02:00"]).0,
        Exit::Well
    );
    let reader = RunReader::open(desk.path("run")).unwrap();
    let head = reader.head().unwrap();
    assert_eq!(head.started_utc, "2026-05-01T06:00:00Z");
    assert_eq!(head.started_unix_ns, 1_777_615_200_000_000_000);
}

#[test]
fn missing_files_and_faulty_jobs_are_named() {
    let desk = Desk::new(SAMPLES, "");
    let (exit, _, err) = console_run(&["import", "--job", "none.toml", "x.csv", "--out", "y"]);
    assert_eq!(exit, Exit::BadInput);
    assert!(err.contains("none.toml: cannot be read"), "{err}");
    std::fs::write(desk.path("job.toml"), "[jobb]\nname = 1\n").unwrap();
    let (exit, _, err) = desk.import(&[]);
    assert_eq!(exit, Exit::BadInput);
    assert!(err.contains("job.toml:1"), "{err}");
}
