//! What is accepted, and what it means.

use super::*;

#[test]
fn the_least_job_reads_with_every_default() {
    let job = read(LEAST);
    assert_eq!(job.info.bin, Metres(0.1));
    assert_eq!(job.info.display, Display::Metric);
    assert_eq!(job.survey.len(), 1);
    assert_eq!(job.counts, Counts::Tensioned);
    assert_eq!((job.load, job.depth, job.forward), (None, None, None));
    assert_eq!(job.alarm.tension_fraction, 0.5);
    assert_eq!(job.tubular.wall_tolerance, 0.125);
    assert_eq!(job.line.expansion.si(), 11.7e-6);
    assert_eq!(job.line.sheaves.len(), 0);
    assert!((job.tool.displaced_volume.si() - 60.0 / 7850.0).abs() < 1e-15);
}

#[test]
fn calibration_without_a_port_is_accepted_for_import() {
    let job = read(&format!(
        "{LEAST}\n[load]\n[depth]\ncounts = \"relaxed\"\n[alarm]\n[record]\n[page]\n"
    ));
    assert_eq!((job.load, job.depth), (None, None));
    assert_eq!(job.counts, Counts::Relaxed);
}

#[test]
fn wall_tolerance_may_be_a_fraction_or_percent() {
    for text in ["0.125", "12.5", "\"12.5 %\"", "\"0.125\"", "\"12.5%\""] {
        let job = read(&format!("{LEAST}wall_tolerance = {text}\n"));
        assert!((job.tubular.wall_tolerance - 0.125).abs() < 1e-15, "{text}");
    }
}

#[test]
fn field_units_give_the_same_job() {
    let text = LEAST
        .replace("1000 m\"", "3280.839895013123 ft\"")
        .replace("88.9 mm", "3-1/2 in")
        .replace("1000 kg/m3", "1.0 sg");
    let (field, metric) = (read(&text), read(LEAST));
    assert!((field.info.interval_top.si() - metric.info.interval_top.si()).abs() < 1e-9);
    assert!((field.tubular.od.si() - 0.0889).abs() < 1e-15);
    assert_eq!(field.fluid, metric.fluid);
}

#[test]
fn windows_line_ends_and_a_byte_order_mark_are_accepted() {
    read(&format!("\u{feff}{}", LEAST.replace('\n', "\r\n")));
}

#[test]
fn a_survey_that_starts_below_the_wellhead_is_vertical_above() {
    let job = read(&format!(
        "{LEAST}[[survey]]\nmd = \"1100 m\"\ninc = \"2 deg\"\n"
    ));
    assert_eq!(job.survey.len(), 2);
    assert_eq!(job.survey[0].md.si(), 0.0);
}

#[test]
fn instruments_are_calibrated_in_the_unit_given() {
    let job = read(print_default_job());
    let load = job.load.expect("load");
    assert!((load.span.si() - 4.448_221_615_260_5).abs() < 1e-12);
    assert_eq!(load.mount, Mount::Deadline);
    let depth = job.depth.expect("depth");
    assert!((depth.metres_per_unit.si() - 0.6096 / 1024.0).abs() < 1e-15);
    assert!(matches!(
        depth.channel.protocol,
        Protocol::ModbusRtu(ModbusRegister {
            kind: RegisterKind::I32,
            unit: 1,
            function: 3,
            ..
        })
    ));
}

#[test]
fn depth_without_a_port_shares_the_port_whose_pattern_has_both() {
    let job = read(&format!(
        "{LEAST}\n[load]\nport = \"/dev/ttyS0\"\nunit = \"N\"\npattern = '(?P<load>\\d+) (?P<depth>\\d+)'\n[depth]\nunit = \"ft\"\n"
    ));
    let (load, depth) = (job.load.expect("load"), job.depth.expect("depth"));
    assert_eq!(load.channel.port, "serial:/dev/ttyS0");
    assert_eq!(depth.channel.port, load.channel.port);
    assert_eq!(depth.channel.protocol, load.channel.protocol);
    assert_eq!(depth.metres_per_unit.si(), 0.3048);
}

#[test]
fn a_sheave_cell_needs_its_angle() {
    let with =
        |keys: &str| format!("{LEAST}\n[load]\nport = \"tcp:cell:4001\"\nunit = \"kN\"\n{keys}\n");
    let job = read(&with("mount = \"sheave\"\nangle = \"90 deg\""));
    assert!(matches!(
        job.load.expect("load").mount,
        Mount::Sheave { .. }
    ));
    assert!(
        faults(&with("mount = \"sheave\""))
            .to_string()
            .contains("angle = \"90 deg\"")
    );
    assert!(
        faults(&with("mount = \"sheave\"\nangle = \"180 deg\""))
            .to_string()
            .contains("180 deg")
    );
    let read = read_job(&with("mount = \"sheave\"\nangle = \"155 deg\""), "job.toml")
        .expect("a warning only");
    assert!(
        read.warnings.iter().any(|w| w.key == "angle"),
        "{:?}",
        read.warnings
    );
}

#[test]
fn no_load_is_believed_that_the_line_cannot_carry_unless_the_job_says_so() {
    let section = |keys: &str| {
        let with = format!(
            "{LEAST}\n[load]\nport = \"tcp:localhost:1\"\nprotocol = \"pattern\"\npattern = '(?<load>\\d+)'\n{keys}"
        );
        let load = read(&with).load.unwrap();
        (load.channel.raw_min.round(), load.channel.raw_max.round())
    };
    // 9380 N; a dead cell of 5000 lbf reads 22 240 N.
    assert_eq!(section("unit = \"N\"\ntare = 100"), (-4590.0, 14_170.0));
    assert_eq!(section("unit = \"lbf\""), (-1054.0, 3163.0));
    // The cell has both parts of the line to carry, and here its readings fall as it does.
    let parallel = "mount = \"sheave\"\nangle = \"0 deg\"\n";
    assert_eq!(
        section(&format!("{parallel}unit = \"N\"")),
        (-9380.0, 28_140.0)
    );
    assert_eq!(
        section(&format!("{parallel}span = \"-1 N\"")),
        (-28_140.0, 9380.0)
    );
    assert_eq!(section("unit = \"N\"\nmax = \"30 kN\"").1, 30_000.0);
}

#[test]
fn a_pipe_may_be_named_by_size_and_weight_and_numbers_go_before_the_table() {
    let (head, _) = LEAST.split_once("[tubular]").expect("section");
    let inline = read(&format!(
        "tubular = \"5-1/2 in 17 lb/ft\"\n{}",
        head.replace("9 mm", "10 mm")
    ));
    assert!((inline.tubular.wall.si() - 7.72e-3).abs() < 1e-5);
    assert!((inline.tubular.coupling_od.si() - 0.1537).abs() < 1e-4);
    let own = read(&format!(
        "{}[tubular]\nsize = \"5-1/2 in 17 lb/ft\"\nwall = \"7.5 mm\"\n",
        head.replace("9 mm", "10 mm")
    ));
    assert_eq!(own.tubular.wall.si(), 7.5e-3);
    assert_eq!(own.tubular.od, inline.tubular.od);
    let text = faults(&format!("tubular = \"5-1/2 in 18 lb/ft\"\n{head}")).to_string();
    assert!(text.contains("15.5, 17, 20"), "{text}");
}

#[test]
fn bending_life_needs_all_of_its_figures() {
    let text = faults(&format!("{LEAST}[line.bending_life]\ncycles = 5000\n")).to_string();
    assert!(
        text.contains("stress") && text.contains("exponent"),
        "{text}"
    );
    let job = read(&format!(
        "{LEAST}[line.bending_life]\ncycles = 5000\nstress = \"1500 MPa\"\nexponent = 5\n"
    ));
    assert_eq!(job.line.bending_life.map(|l| l.cycles), Some(5000.0));
}

#[test]
fn the_wrap_of_a_sheave_is_half_a_turn_unless_given() {
    let text = print_default_job();
    let wraps = |text: &str| -> Vec<f64> {
        let job = read_job(text, "job.toml")
            .unwrap_or_else(|f| panic!("{f}"))
            .job;
        let degrees = job
            .line
            .sheaves
            .iter()
            .map(|sheave| sheave.wrap.si().to_degrees());
        degrees.map(f64::round).collect()
    };
    assert_eq!(wraps(text), [180.0, 180.0]);
    assert_eq!(
        wraps(&text.replace("#wrap = \"180 deg\"", "wrap = \"90 deg\"")),
        [90.0, 180.0]
    );
}
