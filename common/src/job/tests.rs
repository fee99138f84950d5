//! Facts about reading a job file: what is accepted, and how each fault reads.

use super::*;
use proptest::prelude::*;

/// The least a job needs.
const LEAST: &str = r#"
[job]
interval_top = "1000 m"
interval_bottom = "1019 m"
[fluid]
density = "1000 kg/m3"
[line]
diameter = "0.108 in"
breaking_load = "9.38 kN"
[tool]
mass = "60 kg"
weak_point = "6 kN"
cutter_offset = "2.4 m"
[cutter]
wheels = 3
radius = "15 mm"
edge_angle = "40 deg"
reach = "9 mm"
radial_force = "3 kN"
[tubular]
od = "88.9 mm"
wall = "6.45 mm"
"#;

fn read(text: &str) -> Job {
    read_job(text, "job.toml")
        .unwrap_or_else(|f| panic!("{f}"))
        .job
}

fn faults(text: &str) -> Findings {
    match read_job(text, "job.toml") {
        Ok(_) => panic!("no fault found"),
        Err(findings) => findings,
    }
}

/// The sample with one line changed.
fn sample(from: &str, to: &str) -> String {
    let text = print_default_job();
    assert!(text.contains(from), "{from}");
    text.replacen(from, to, 1)
}

/// The one fault that a change of the sample gives, as text.
fn fault_of(from: &str, to: &str) -> String {
    let text = sample(from, to);
    let findings = faults(&text);
    assert_eq!(findings.list.len(), 1, "{findings}");
    let finding = &findings.list[0];
    assert!(finding.line > 1 && !finding.found.is_empty() && !finding.write.is_empty());
    findings.to_string()
}

fn warning_of(from: &str, to: &str) -> String {
    let text = sample(from, to);
    let read = read_job(&text, "job.toml").unwrap_or_else(|f| panic!("{f}"));
    assert_eq!(read.warnings.len(), 1, "{:?}", read.warnings);
    read.warnings[0].to_string()
}

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
fn a_fault_names_file_line_section_key_what_was_found_and_what_to_write() {
    let text = fault_of("breaking_load = \"9380 N\"", "breaking_load = 9380");
    assert_eq!(
        text.lines().next(),
        Some(
            "job.toml:42: [line] breaking_load: found 9380 without a unit; write a quoted force \
             with its unit: breaking_load = \"9380 N\" (units: N, kN, lbf, kgf)"
        )
    );
    assert!(text.contains("42 | breaking_load = 9380"), "{text}");
}

#[test]
fn all_faults_are_told_in_file_order() {
    let text = LEAST
        .replace("wheels = 3", "weels = 3")
        .replace("\"60 kg\"", "\"60 m\"")
        .replace("reach = \"9 mm\"", "reach = \"5 mm\"")
        .replace("[fluid]", "[fluids]");
    let findings = faults(&text);
    let lines: Vec<usize> = findings.list.iter().map(|f| f.line).collect();
    assert!(lines.is_sorted(), "{findings}");
    let text = findings.to_string();
    for part in [
        "\"wheels\" (the nearest known key)",
        "unit of mass",
        "\"fluid\" (the nearest known section)",
        "can't split this pipe",
    ] {
        let part = if part == "unit of mass" {
            "a mass is wanted"
        } else {
            part
        };
        assert!(text.contains(part), "{part} not in\n{text}");
    }
    let json = findings.as_json();
    assert_eq!(json.as_array().map(Vec::len), Some(findings.list.len()));
    assert!(json[0]["line"].is_u64() && json[0]["found"].is_string());
}

#[test]
fn a_missing_key_is_shown_at_its_section() {
    let findings = faults(&LEAST.replace("mass = \"60 kg\"\n", ""));
    let finding = &findings.list[0];
    assert_eq!(
        (finding.section.as_str(), finding.key.as_str()),
        ("tool", "mass")
    );
    assert_eq!(finding.source, "[tool]");
    assert!(
        finding.to_string().contains("mass = \"... kg\""),
        "{finding}"
    );
}

#[test]
fn text_that_is_not_toml_is_a_fault_with_its_line() {
    let findings = faults("[job]\nname = \"x\"\ninterval_top = 2000 m\n");
    assert_eq!(findings.list[0].line, 3);
    assert!(findings.to_string().contains("not TOML"), "{findings}");
    assert!(!faults("").list.is_empty());
    assert!(
        faults("[job]\nname=\"a\"\nname=\"b\"\n")
            .to_string()
            .contains("job.toml:3")
    );
}

#[test]
fn not_a_number_and_infinity_are_refused() {
    for value in ["nan", "inf", "-inf", "1e400", "\"nan\"", "\"inf\""] {
        let text = fault_of("friction_up = 0.2", &format!("friction_up = {value}"));
        assert!(text.contains("friction_up"), "{text}");
        let text = fault_of("mass = \"60 kg\"", &format!("mass = {value}"));
        assert!(text.contains("mass"), "{text}");
    }
}

#[test]
fn each_impossible_value_is_a_fault_in_plain_words() {
    let mut wrong = Vec::new();
    for (from, to, part) in [
        (
            "wall = \"6.45 mm\"",
            "wall = \"64.5 mm\"",
            "thicker than the radius",
        ),
        (
            "interval_bottom = \"2019 m\"",
            "interval_bottom = \"1990 m\"",
            "not below interval_top",
        ),
        (
            "md = \"2100 m\"",
            "md = \"1950 m\"",
            "below the last survey station",
        ),
        (
            "md = \"1200 m\"",
            "md = \"500 m\"",
            "not below the station before",
        ),
        (
            "coupling = \"2007.7 m\"",
            "coupling = \"1990 m\"",
            "not below the coupling before",
        ),
        ("coupling = \"2007.7 m\"", "coupling = \"1998.3 m\"", "only"),
        (
            "coupling = \"2026.7 m\"",
            "coupling = \"20267 m\"",
            "20267 m",
        ),
        (
            "reach = \"9 mm\"",
            "reach = \"6 mm\"",
            "can't split this pipe",
        ),
        (
            "reach = \"9 mm\"",
            "reach = \"90 mm\"",
            "more than the whole wheel",
        ),
        (
            "radius = \"15 mm\"",
            "radius = \"39 mm\"",
            "does not go into a pipe",
        ),
        (
            "breaking_load = \"9380 N\"",
            "breaking_load = \"938 N\"",
            "alone weigh",
        ),
        (
            "weak_point = \"6000 N\"",
            "weak_point = \"300 N\"",
            "the tool alone weighs",
        ),
        (
            "#tension_limit = \"3500 N\"",
            "tension_limit = \"9000 N\"",
            "above the weakest link",
        ),
        (
            "coupling_od = \"108 mm\"",
            "coupling_od = \"80 mm\"",
            "smaller than the pipe",
        ),
        (
            "#upper_stop = \"1990 m\"",
            "upper_stop = \"2010 m\"",
            "below the top of the interval",
        ),
        (
            "#lower_stop = \"2030 m\"",
            "lower_stop = \"2010 m\"",
            "above the bottom of the interval",
        ),
        (
            "#length_on_drum = \"5000 m\"",
            "length_on_drum = \"1500 m\"",
            "too short",
        ),
        (
            "#displaced_volume = \"7.6 L\"",
            "displaced_volume = \"76 L\"",
            "bears the whole tool",
        ),
        (
            "#radial_force_sd = \"300 N\"",
            "radial_force_sd = \"4 kN\"",
            "standard deviation",
        ),
        ("friction_up = 0.2", "friction_up = 2", "from 0 to 1"),
        (
            "tension_fraction = 0.5",
            "tension_fraction = -1",
            "from 0.05 to 1",
        ),
        (
            "edge_angle = \"40 deg\"",
            "edge_angle = \"200 deg\"",
            "a value from 5 deg",
        ),
        ("wheels = 3", "wheels = 2.5", "a whole number"),
        ("wheels = 3", "wheels = 0", "a whole number"),
        ("modulus = \"200 GPa\"", "modulus = \"200 MPa\"", "80 GPa"),
        ("diameter = \"0.108 in\"", "diameter = \"0.108 m\"", "1 mm"),
        ("#bin = \"0.1 m\"", "bin = \"30 m\"", "10 m"),
        (
            "port = \"serial:/dev/ttyUSB0\"",
            "port = \"COM3\"",
            "serial:/dev/ttyUSB0",
        ),
        (
            "(?P<load>[-+0-9.]+)'",
            "(?P<load>[-+0-9.]+'",
            "can't be used",
        ),
        (
            "(?P<load>[-+0-9.]+)'",
            "([-+0-9.]+)'",
            "without a part named load",
        ),
        (
            "protocol = \"modbus-rtu\"",
            "protocol = \"modbus\"",
            "\"pattern\" or \"modbus-rtu\"",
        ),
        ("poll = \"20 Hz\"", "poll = 20", "without a unit"),
        (
            "counts_per_turn = 1024",
            "counts_per_turn = 0",
            "counts of one turn",
        ),
        (
            "listen = \"127.0.0.1:8760\"",
            "listen = \"8760\"",
            "127.0.0.1:8760",
        ),
        ("sync = \"1 s\"", "sync = \"1 h\"", "60 s"),
        (
            "display = \"metric\"",
            "display = \"imperial\"",
            "\"metric\" or \"field\"",
        ),
        (
            "counts = \"tensioned\"",
            "counts = \"stretched\"",
            "\"tensioned\" or \"relaxed\"",
        ),
    ] {
        let findings = faults(&sample(from, to));
        let text = findings.to_string();
        if !text.contains(part) || findings.list.len() != 1 {
            wrong.push(format!("{to} should say \"{part}\" once:\n{text}"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n\n"));
}

#[test]
fn each_doubtful_value_is_a_warning() {
    for (from, to, part) in [
        (
            "md = \"2100 m\"",
            "md = \"2010 m\"",
            "below the last survey station",
        ),
        (
            "weak_point = \"6000 N\"",
            "weak_point = \"9500 N\"",
            "above the breaking load",
        ),
        (
            "reach = \"9 mm\"",
            "reach = \"16 mm\"",
            "more than the wheel radius",
        ),
        (
            "#contact_pressure = \"1.2 GPa\"",
            "contact_pressure = \"8 GPa\"",
            "0.8 to 1.7 GPa",
        ),
        (
            "diameter = \"16 in\"",
            "diameter = \"8 in\"",
            "times the line diameter",
        ),
        (
            "tension_fraction = 0.5",
            "tension_fraction = 0.9",
            "little time",
        ),
        (
            "#tension_limit = \"3500 N\"",
            "tension_limit = \"1000 N\"",
            "stand all the time",
        ),
        (
            "coupling = \"2017.2 m\"\n[[joint]]\n",
            "",
            "longer than a joint",
        ),
    ] {
        let text = warning_of(from, to);
        assert!(text.contains(part), "{to}: {text}");
    }
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
fn every_unknown_key_of_the_design_sections_is_refused() {
    for section in [
        "job", "fluid", "line", "tool", "cutter", "tubular", "alarm", "record", "page", "load",
        "depth",
    ] {
        let text = if LEAST.contains(&format!("[{section}]")) {
            LEAST.replace(
                &format!("[{section}]\n"),
                &format!("[{section}]\nsurprise = 1\n"),
            )
        } else {
            format!("{LEAST}[{section}]\nsurprise = 1\n")
        };
        let findings = faults(&text);
        assert_eq!(findings.list.len(), 1, "{findings}");
        assert!(findings.to_string().contains("unknown key"), "{findings}");
    }
}

/// Body of the fuzz target: reading any text ends in a job or in findings.
pub(crate) fn reading_never_panics(text: &str) {
    match read_job(text, "job.toml") {
        Ok(read) => assert!(read.job.info.interval_top.si().is_finite()),
        Err(findings) => assert!(!findings.list.is_empty() && !findings.to_string().is_empty()),
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_text_is_read_without_panic(text in "\\PC{0,200}") {
        reading_never_panics(&text);
    }

    #[test]
    fn any_cut_of_the_sample_is_read_without_panic(from in 0usize..7000, length in 0usize..40, with in "\\PC{0,6}") {
        let text: Vec<char> = print_default_job().chars().collect();
        let from = from.min(text.len());
        let to = (from + length).min(text.len());
        let cut: String = text[..from].iter().copied().chain(with.chars()).chain(text[to..].iter().copied()).collect();
        reading_never_panics(&cut);
    }

    #[test]
    fn any_value_for_any_key_is_read_without_panic(line in 0usize..200, value in "[-+\"'0-9a-z. %/\\[\\]{}=,]{0,12}") {
        let text: String = print_default_job().lines().enumerate().map(|(n, text)| {
            match text.split_once(" = ") {
                Some((key, _)) if n == line => format!("{} = {value}\n", key.trim_start_matches('#')),
                _ => format!("{text}\n"),
            }
        }).collect();
        reading_never_panics(&text);
    }

    #[test]
    fn any_quantity_text_is_parsed_without_panic(text in "\\PC{0,24}") {
        for dimension in Dimension::ALL {
            if let Ok(si) = parse_quantity(&text, dimension) {
                prop_assert!(si.is_finite());
            }
        }
    }
}
