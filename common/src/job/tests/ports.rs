//! Ports of instruments and outputs: what is read, refused, and said.

use super::*;

const LOAD: &str = "port = \"serial:/dev/ttyUSB0\"    # or \"tcp:host:port\"\nbaud = 9600";

fn output(keys: &str) -> String {
    // Before the next section, so that it stays below [alarm].
    let output =
        format!("[[alarm.output]]\nkind = \"serial-line\"\nport = \"/dev/horn\"\n{keys}\n[record]");
    print_default_job().replace("[record]", &output)
}

#[test]
fn a_serial_line_is_8n1_unless_the_job_says_otherwise() {
    let load = |text: &str| read(text).load.unwrap().channel.serial.to_string();
    assert_eq!(load(print_default_job()), "9600 baud 8N1");
    let said = format!("{LOAD}\ndata_bits = 7\nparity = \"even\"\nstop_bits = 2");
    assert_eq!(load(&sample(LOAD, &said)), "9600 baud 7E2");
    assert!(summary(&read(&sample(LOAD, &said))).contains("9600 baud 7E2"));

    let depth = sample(
        "protocol = \"modbus-rtu\"",
        "protocol = \"modbus-rtu\"\nparity = \"even\"",
    );
    let depth = read(&depth).depth.unwrap().channel;
    assert_eq!(depth.serial.to_string(), "9600 baud 8E1");
}

#[test]
fn an_output_has_the_same_keys() {
    let job = read(&output("baud = 4800\nparity = \"odd\"\ndata_bits = 7"));
    let OutputKind::SerialLine { line, .. } = &job.alarm.outputs[0].kind else {
        panic!("{:?}", job.alarm.outputs);
    };
    assert_eq!(line.port, "serial:/dev/horn");
    assert_eq!(line.serial.to_string(), "4800 baud 7O1");
}

#[test]
fn depth_on_the_port_of_load_has_its_line() {
    let job = read(&format!(
        "{LEAST}\n[load]\nport = \"/dev/ttyS0\"\nunit = \"N\"\nparity = \"even\"\npattern = '(?P<load>\\d+) (?P<depth>\\d+)'\n[depth]\nunit = \"ft\"\n"
    ));
    let (load, depth) = (job.load.unwrap().channel, job.depth.unwrap().channel);
    assert_eq!(depth.serial, load.serial);
    assert_eq!(load.serial.to_string(), "9600 baud 8E1");
}

#[test]
fn what_is_wrong_with_a_line_says_what_to_write() {
    for (keys, said) in [
        (
            "baud = \"9600 8E1\"",
            "baud = 9600, data_bits = 8, parity = \"even\", stop_bits = 1",
        ),
        ("baud = \"fast\"", "a whole number from 50 to 4000000"),
        ("parity = \"mark\"", "\"none\" or \"even\" or \"odd\""),
        ("data_bits = 9", "a whole number from 7 to 8"),
        ("stop_bits = 1.5", "a whole number from 1 to 2"),
    ] {
        let (_, port) = LOAD.split_once('\n').unwrap();
        let keys = if keys.starts_with("baud") {
            keys.to_owned()
        } else {
            format!("{port}\n{keys}")
        };
        let text = fault_of(port, &keys);
        assert!(text.contains(said), "{text}");
        let findings = faults(&output(keys.trim_start_matches("baud = 9600\n"))).to_string();
        assert!(findings.contains(said), "{findings}");
    }
    let seven = fault_of(
        "protocol = \"modbus-rtu\"",
        "protocol = \"modbus-rtu\"\ndata_bits = 7",
    );
    assert!(seven.contains("data_bits = 8"), "{seven}");
}

#[test]
fn the_form_of_characters_is_nothing_to_a_device_server() {
    let tcp = "port = \"tcp:host:4001\"\nbaud = 9600";
    let warning = warning_of(LOAD, &format!("{tcp}\nparity = \"even\""));
    assert!(warning.contains("device server"), "{warning}");
    assert!(
        read_job(&sample(LOAD, tcp), "job.toml")
            .unwrap()
            .warnings
            .is_empty()
    );
}

#[test]
fn what_is_not_spoken_is_refused_with_what_to_use_instead() {
    let port = "port = \"serial:/dev/ttyUSB0\"";
    for (from, to, said) in [
        (port, "port = \"udp:192.0.2.7:4001\"", "act as a TCP server"),
        (port, "port = \"modbus-tcp:192.0.2.7:502\"", "RTU over TCP"),
        (
            "protocol = \"modbus-rtu\"",
            "protocol = \"modbus-tcp\"",
            "RTU over TCP",
        ),
    ] {
        let text = fault_of(from, to);
        assert!(text.contains(said), "{text}");
    }
}
