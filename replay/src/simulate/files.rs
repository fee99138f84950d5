//! What a run of the bench leaves in its folder.

use super::bench::Outcome;
use super::scenario::Scenario;
use std::fmt::Write as _;
use std::io::{self, BufWriter, Write};
use std::path::Path;

/// Writes `samples.csv`, `marks.csv`, `job.toml`, `truth.json`; `every`: step of the tool track
/// in steps of 0.05 s.
pub fn write_all(
    folder: &Path,
    scenario: &Scenario,
    outcome: &Outcome,
    every: usize,
) -> io::Result<()> {
    std::fs::create_dir_all(folder)?;
    let mut file = BufWriter::new(std::fs::File::create(folder.join("samples.csv"))?);
    writeln!(file, "time_s,load_n,depth_m")?;
    for row in &outcome.rows {
        write!(file, "{:.4},", row.time)?;
        if let Some(load) = row.load {
            write!(file, "{load:.1}")?;
        }
        write!(file, ",")?;
        if let Some(depth) = row.depth {
            write!(file, "{depth:.4}")?;
        }
        writeln!(file)?;
    }
    file.flush()?;
    if scenario.record.marks {
        let mut marks = String::from("time_s,mark\n");
        for (time, mark) in &outcome.marks {
            let _ = writeln!(marks, "{time:.2},{mark}");
        }
        std::fs::write(folder.join("marks.csv"), marks)?;
    }
    std::fs::write(folder.join("job.toml"), job(scenario, outcome))?;
    let unknowns = serde_json::to_value(&outcome.unknowns)?;
    let truth = outcome
        .recorder
        .json(&outcome.pipe, &unknowns, &scenario.name, every);
    let mut file = BufWriter::new(std::fs::File::create(folder.join("truth.json"))?);
    serde_json::to_writer(&mut file, &truth)?;
    file.flush()
}

/// The job file as the crew would have written it: nominal values only.
pub fn job(scenario: &Scenario, outcome: &Outcome) -> String {
    let (well, line, tool) = (&scenario.well, &scenario.line, &scenario.tool);
    let (cutter, pipe) = (&scenario.cutter, &scenario.pipe);
    let mut out = String::new();
    let mut put = |text: String| {
        out.push_str(&text);
        out.push('\n');
    };
    put("# Invented well, made by the bench well.".into());
    put("[job]".into());
    let title = if scenario.title.is_empty() {
        &scenario.name
    } else {
        &scenario.title
    };
    put(format!("name = {title:?}"));
    put(format!("well = {:?}", well.name));
    put(format!("interval_top = \"{} m\"", well.interval_top.0));
    put(format!(
        "interval_bottom = \"{} m\"",
        well.interval_bottom.0
    ));
    put("display = \"metric\"".into());
    put(format!("bin = \"{} m\"", well.bin.0));
    for station in &well.survey {
        put("\n[[survey]]".into());
        put(format!("md = \"{} m\"", station.md.0));
        put(format!("inc = \"{:.4} deg\"", station.inc.0.to_degrees()));
        put(format!("azi = \"{:.4} deg\"", station.azi.0.to_degrees()));
    }
    put("\n[fluid]".into());
    put(format!("density = \"{} kg/m3\"", well.fluid_density.0));
    put(format!(
        "wellhead_pressure = \"{} MPa\"",
        short(well.wellhead_pressure.0 / 1e6)
    ));
    put(format!(
        "temperature_gradient = \"{} K/m\"",
        short(well.temperature_gradient.0)
    ));
    put("\n[line]".into());
    put(format!(
        "diameter = \"{} mm\"",
        short(line.diameter.0 * 1e3)
    ));
    put(format!("modulus = \"{} GPa\"", short(line.modulus.0 / 1e9)));
    put(format!("density = \"{} kg/m3\"", line.density.0));
    put(format!("breaking_load = \"{} N\"", line.breaking_load.0));
    put(format!("expansion = \"{:e} 1/K\"", line.expansion.0));
    put(format!(
        "stuffing_box_friction = \"{} N\"",
        line.stuffing_box_friction.0
    ));
    put(format!("friction_up = {}", line.friction_up));
    put(format!("friction_down = {}", line.friction_down));
    for (name, diameter, path) in [
        ("stuffing box wheel", 0.406, 0.3),
        ("hay pulley", 0.406, 18.0),
    ] {
        put("\n[[line.sheave]]".into());
        put(format!(
            "name = {name:?}\ndiameter = \"{diameter} m\"\npath = \"{path} m\""
        ));
    }
    put("\n[tool]".into());
    put(format!("mass = \"{} kg\"", tool.mass.0));
    put(format!("weak_point = \"{} N\"", tool.weak_point.0));
    put(format!("cutter_offset = \"{} m\"", tool.cutter_offset.0));
    put("\n[cutter]".into());
    put(format!("wheels = {}", cutter.wheels));
    put(format!("radius = \"{} mm\"", short(cutter.radius.0 * 1e3)));
    put(format!(
        "edge_angle = \"{:.4} deg\"",
        cutter.edge_angle.0.to_degrees()
    ));
    put(format!("reach = \"{} mm\"", short(cutter.reach.0 * 1e3)));
    put(format!("radial_force = \"{} N\"", cutter.radial_force.0));
    if cutter.contact_pressure_known {
        put(format!(
            "contact_pressure = \"{} GPa\"",
            short(cutter.contact_pressure.0 / 1e9)
        ));
    }
    put("\n[tubular]".into());
    put(format!("od = \"{} mm\"", short(pipe.od.0 * 1e3)));
    put(format!("wall = \"{} mm\"", short(pipe.wall.0 * 1e3)));
    put(format!("wall_tolerance = {}", pipe.wall_tolerance));
    put(format!(
        "yield = \"{} MPa\"",
        short(pipe.yield_strength.0 / 1e6)
    ));
    put(format!(
        "coupling_od = \"{} mm\"",
        short(pipe.coupling_od.0 * 1e3)
    ));
    put(format!(
        "coupling_length = \"{} mm\"",
        short(pipe.coupling_length.0 * 1e3)
    ));
    let near = well.interval_top.0 - 12.0..well.interval_bottom.0 + 12.0;
    for centre in outcome
        .pipe
        .couplings
        .iter()
        .filter(|centre| near.contains(centre))
    {
        put(format!("\n[[joint]]\ncoupling = \"{centre:.2} m\""));
    }
    put("\n[depth]".into());
    let counts = if scenario.depth.relaxed {
        "relaxed"
    } else {
        "tensioned"
    };
    put(format!("counts = {counts:?}"));
    let alarm = &scenario.alarm;
    put("\n[alarm]".into());
    put(format!("tension_limit = \"{} N\"", alarm.tension_limit.0));
    put(format!("overpull = \"{} N\"", alarm.overpull.0));
    put(format!("slack = \"{} N\"", alarm.slack.0));
    put(format!("speed = \"{} m/s\"", alarm.speed.0));
    out
}

/// A number without the dust of unit conversion.
fn short(value: f64) -> f64 {
    (value * 1e6).round() / 1e6
}
