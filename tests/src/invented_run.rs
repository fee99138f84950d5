//! A small invented run for tests of files and pages: a tool on a spring with Coulomb drag, stroked over
//! 9 m; four free strokes, then cutting with drag that falls. No truth for the estimator: for that
//! there is the bench well of `kerfwatch-replay simulate`.

use kerfwatch_replay::console::Console;
use kerfwatch_replay::failure::Exit;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

/// Universal time of run start: 2026-05-01T06:12:00Z.
pub const START_UTC: &str = "2026-05-01T06:12:00Z";
/// The same in seconds since 1970.
pub const START_UNIX_S: i64 = 1_777_615_920;

/// Job text for a well of that name.
pub fn job(well: &str) -> String {
    format!(
        r#"# Invented well.
[job]
name = "invented cut, 600 m"
well = "{well}"
interval_top = "600 m"
interval_bottom = "609 m"

[[survey]]
md = "0 m"
inc = "0 deg"
azi = "0 deg"

[fluid]
density = "1000 kg/m3"
wellhead_pressure = "0 bar"

[line]
diameter = "2.7432 mm"
modulus = "200 GPa"
density = "7850 kg/m3"
breaking_load = "9380 N"
stuffing_box_friction = "50 N"
friction_up = 0.2
friction_down = 0.2

[[line.sheave]]
name = "stuffing box wheel"
diameter = "16 in"
path = "0.3 m"

[[line.sheave]]
name = "hay pulley"
diameter = "16 in"
path = "5 m"

[tool]
mass = "100 kg"
weak_point = "6000 N"
cutter_offset = "2 m"

[cutter]
wheels = 3
radius = "12 mm"
edge_angle = "30 deg"
reach = "9 mm"
radial_force = "2 kN"

[tubular]
od = "73.0 mm"
wall = "5.51 mm"
yield = "552 MPa"
coupling_od = "88.9 mm"
coupling_length = "0.2 m"

[[joint]]
coupling = "595.6 m"

[[joint]]
coupling = "605.0 m"

[[joint]]
coupling = "614.4 m"

[alarm]
overpull = "1500 N"
slack = "500 N"
speed = "2 m/s"
"#
    )
}

/// Samples as CSV text, 20 rows a second.
pub fn samples() -> String {
    const STIFFNESS: f64 = 1970.0;
    const WEIGHT: f64 = 1093.0;
    const STEP: f64 = 0.05;
    let mut text = String::from("time_s,load_n,depth_m\n");
    let (mut t, mut line, mut tool) = (0.0_f64, 607.0_f64, 607.0_f64);
    let mut noise = 12_345_u32;
    let mut put = |t: f64, line: f64, tool: f64| {
        noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let jitter = f64::from(noise >> 16) / 65_536.0 - 0.5;
        let tension = WEIGHT + STIFFNESS * (tool - line) + 12.0 * jitter;
        let _ = writeln!(text, "{t:.2},{tension:.1},{line:.3}");
    };
    for stroke in 0..24 {
        let cutting = if stroke < 4 {
            0.0
        } else {
            900.0 / (1.0 + 0.25 * f64::from(stroke - 4))
        };
        let up = stroke % 2 == 0;
        let (end, pace) = if up { (597.5, -0.4) } else { (607.5, 0.4) };
        for _ in 0..40 {
            put(t, line, tool);
            t += STEP;
        }
        while (end - line) * pace > 0.0 {
            line += pace * STEP;
            let drag_up = (60.0 + cutting) / STIFFNESS;
            let drag_down = (60.0 + 0.6 * cutting) / STIFFNESS;
            tool = tool.clamp(line - drag_down, line + drag_up);
            put(t, line, tool);
            t += STEP;
        }
    }
    text
}

/// Runs the replay command line in this process: exit, stdout, stderr.
pub fn replay(arguments: &[&str]) -> (Exit, String, String) {
    let (mut out, mut err) = (Vec::new(), Vec::new());
    let mut console = Console::new(&mut out, &mut err, false);
    let all = std::iter::once("kerfwatch-replay").chain(arguments.iter().copied());
    let exit = kerfwatch_replay::run_command_line(all, &mut console);
    let text = |bytes: Vec<u8>| String::from_utf8_lossy(&bytes).into_owned();
    (exit, text(out), text(err))
}

/// Imports the invented run of a well into `folder/name`.
///
/// # Panics
/// When it cannot be imported.
pub fn import(folder: &Path, name: &str, well: &str) -> PathBuf {
    import_marked(folder, name, well, &["106.5,cutter_out"])
}

/// The same with other marks, `time_s,mark` each.
///
/// # Panics
/// When it cannot be imported.
pub fn import_marked(folder: &Path, name: &str, well: &str, marks: &[&str]) -> PathBuf {
    let path = |file: &str| folder.join(format!("{name}-{file}"));
    std::fs::write(path("job.toml"), job(well)).expect("job is written");
    std::fs::write(path("samples.csv"), samples()).expect("samples are written");
    let marks = format!("time_s,mark\n{}\n", marks.join("\n"));
    std::fs::write(path("marks.csv"), marks).expect("marks are written");
    let out = folder.join(name);
    let text = |path: PathBuf| path.display().to_string();
    let (exit, _, err) = replay(&[
        "import",
        "--job",
        &text(path("job.toml")),
        &text(path("samples.csv")),
        "--marks",
        &text(path("marks.csv")),
        "--start",
        START_UTC,
        "--out",
        &text(out.clone()),
    ]);
    assert_eq!(exit, Exit::Well, "{err}");
    out
}

/// The result of a run as JSON.
///
/// # Panics
/// When it cannot be recomputed.
pub fn recompute(run: &Path) -> serde_json::Value {
    let run = run.display().to_string();
    let (exit, out, err) = replay(&["recompute", &run, "--json", "-", "--quiet"]);
    assert_eq!(exit, Exit::Well, "{err}");
    serde_json::from_str(&out).expect("recompute prints JSON")
}
