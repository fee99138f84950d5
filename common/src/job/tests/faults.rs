//! What is refused or doubted, and in which words.

use super::*;

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
fn a_misspelt_section_is_told_once_and_a_missing_one_quotes_no_line() {
    let misspelt = faults(&LEAST.replace("[cutter]", "[cuter]"));
    assert_eq!(misspelt.list.len(), 1, "{misspelt}");
    assert_eq!(misspelt.list[0].nearest.as_deref(), Some("cutter"));
    let start = LEAST.find("[cutter]").unwrap();
    let end = LEAST.find("[tubular]").unwrap();
    let missing = faults(&format!("{}{}", &LEAST[..start], &LEAST[end..]));
    assert_eq!(missing.list.len(), 5, "{missing}");
    assert!(missing.list.iter().all(|f| f.source.is_empty()));
}

#[test]
fn text_that_is_not_toml_is_a_fault_with_its_line() {
    let findings = faults("[job]\nname = \"x\"\ninterval_top = 2000 m\n");
    assert_eq!(findings.list[0].line, 3);
    assert!(findings.to_string().contains("not TOML"), "{findings}");
    assert!(!faults("").list.is_empty());
}

#[test]
fn what_is_there_twice_is_named() {
    for (text, name) in [
        ("[job]\nname=\"a\"\nname=\"b\"\n", "name"),
        ("tubular = \"x\"\n[job]\n[tubular]\n", "tubular"),
        ("[job]\n[fluid]\n[job]\n", "job"),
    ] {
        let findings = faults(text);
        assert_eq!(findings.list[0].line, 3);
        let told = findings.to_string();
        assert!(
            told.contains(&format!("found `{name}` for the second time")),
            "{told}"
        );
    }
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
            "more than the pipe's",
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
            "[[survey]]\nmd = \"2100 m\"",
            "[[survey]]\nmd = \"2000 m\"\ninc = \"180 deg\"\nazi = \"0 deg\"\n\n[[survey]]\nmd = \"2050 m\"\n\
             inc = \"0 deg\"\nazi = \"0 deg\"\n\n[[survey]]\nmd = \"2100 m\"",
            "opposite to that before it",
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
            "#tension_limit = \"3500 N\"",
            "tension_limit = \"9000 N\"",
            "above the weakest link",
        ),
        (
            "overpull = \"2 kN\"",
            "overpull = \"20 kN\"",
            "the limit is reached first",
        ),
        (
            "coupling = \"2017.2 m\"\n[[joint]]\n",
            "",
            "longer than a joint",
        ),
        (
            "tension_fraction = 0.5",
            "tension_fraction = 50",
            "50, read as 50 %, which is 0.5",
        ),
        ("baud = 9600", "baud = 96000", "perhaps 9600 or 115200"),
        ("inc = \"26 deg\"", "inc = \"125 deg\"", "goes up"),
    ] {
        let text = warning_of(from, to);
        assert!(text.contains(part), "{to}: {text}");
    }
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

#[test]
fn a_pattern_is_judged_as_the_decoder_will_read_it() {
    // Digits are ASCII digits; classes of Unicode are refused here and not only when the port is opened.
    let text = fault_of("(?P<load>[-+0-9.]+)'", "\\pL(?P<load>[-+0-9.]+)'");
    assert!(text.contains("can't be used"), "{text}");
    let digits = sample("(?P<load>[-+0-9.]+)'", "\\s(?P<load>\\d+)\\w'");
    assert!(read_job(&digits, "job.toml").is_ok());
}

#[test]
fn the_effect_of_temperature_on_the_load_cell_is_read_and_checked() {
    let with = |keys: &str| {
        let text = print_default_job().replace("#tare = 0 ", &format!("{keys}\n#tare = 0 "));
        read_job(&text, "job.toml")
    };
    let read = with(
        "temperature_zero = \"0.5 N\"\ntemperature_span = \"0.02 %\"\ntemperature = \"95 degF\"",
    )
    .unwrap_or_else(|f| panic!("{f}"));
    assert!(read.warnings.is_empty(), "{:?}", read.warnings);
    let effect = read
        .job
        .load
        .and_then(|load| load.temperature)
        .expect("an effect");
    assert_eq!(effect.zero_per_kelvin.si(), 0.5);
    assert!((effect.span_per_kelvin - 0.0002).abs() < 1e-15);
    assert!((effect.constant_c.expect("a constant") - 35.0).abs() < 1e-9);
    assert_eq!(effect.reference_c, 20.0);
    // Coefficients without a temperature, and a temperature without coefficients, are worth a word.
    for keys in ["temperature_span = 0.0002", "temperature = \"35 degC\""] {
        let warnings = with(keys).unwrap_or_else(|f| panic!("{f}")).warnings;
        assert_eq!(warnings.len(), 1, "{warnings:?}");
    }
    for (keys, names) in [
        ("temperature = \"35 N\"", "temperature"),
        ("temperature = 35", "temperature"),
        ("temperature_span = 0.5", "temperature_span"),
        ("temperature_zero = \"5 kN\"", "temperature_zero"),
    ] {
        let findings = with(keys).expect_err(keys).to_string();
        assert!(findings.contains(names), "{findings}");
    }
}
