//! The commented sample job that `kerfwatchd check --print-default` writes; a test reads it back.

/// A whole job file with a comment on every key. Well, names and figures are invented.
pub fn print_default_job() -> &'static str {
    SAMPLE
}

const SAMPLE: &str = r##"# A kerfwatch job. Well, names and figures are invented: replace them all.
# Every quantity is quoted with its unit, metric or field as you like: "2450 m", "8038 ft",
# "3-1/2 in", "9.4 kN", "1250 lbf", "80 ksi", "8.6 lb/gal", "45 deg". Ratios are plain numbers.
# A line that starts with "#" is off: such keys may be left out; the value shown is the default
# unless the comment says otherwise.

[job]
name = "sample cut"
well = "Sample-1 (invented)"
interval_top = "2000 m"         # of the cut, measured depth along hole
interval_bottom = "2019 m"
display = "metric"              # or "field"
#bin = "0.1 m"                  # length of one step of the groove estimate

# One [[survey]] for each station, down to below the interval. None at all: vertical.
[[survey]]
md = "0 m"
inc = "0 deg"
azi = "0 deg"
[[survey]]
md = "600 m"
inc = "0 deg"
azi = "40 deg"
[[survey]]
md = "1200 m"
inc = "25 deg"
azi = "42 deg"
[[survey]]
md = "2100 m"
inc = "26 deg"
azi = "42 deg"

[fluid]
density = "1030 kg/m3"          # what the line hangs in
wellhead_pressure = "5 bar"     # gauge
#temperature_gradient = "0.03 K/m"   # with vertical depth; no default

[line]
diameter = "0.108 in"
modulus = "200 GPa"
density = "7850 kg/m3"
breaking_load = "9380 N"        # from the wire certificate
#expansion = "11.7e-6 1/K"
#length_on_drum = "5000 m"      # no default
stuffing_box_friction = "100 N" # starting values, learned from free passes later
friction_up = 0.2
friction_down = 0.2

# Wheels the line bends over, from the stuffing box towards the drum.
[[line.sheave]]
name = "stuffing box wheel"
diameter = "16 in"
path = "0.3 m"                  # along the line from the stuffing box
#wrap = "180 deg"               # over which the line lies on the wheel
[[line.sheave]]
name = "hay pulley"
diameter = "16 in"
path = "12 m"

# Only with figures from your own wire tests: N = cycles (stress / s)^exponent.
#[line.bending_life]
#stress = "1500 MPa"
#cycles = 5000
#exponent = 5

[tool]
mass = "60 kg"                  # in air, all below the rope socket
#displaced_volume = "7.6 L"     # default: steel of the same mass
weak_point = "6000 N"
cutter_offset = "2.4 m"         # from the rope socket down to the middle of the wheels

[cutter]
wheels = 3                      # in line, in one groove
radius = "15 mm"
edge_angle = "40 deg"           # between the two flanks
reach = "9 mm"                  # below the inner surface of the pipe
radial_force = "3 kN"           # of one wheel
#radial_force_sd = "300 N"      # no default
#contact_pressure = "1.2 GPa"   # from a test cut; no default

# Or in one line above the first section: tubular = "3-1/2 in 9.2 lb/ft"
[tubular]
#size = "3-1/2 in 9.2 lb/ft"    # gives od, wall and coupling_od where they are left out
od = "88.9 mm"
wall = "6.45 mm"
#wall_tolerance = 0.125         # part of the wall that may be missing
yield = "552 MPa"
coupling_od = "108 mm"
coupling_length = "0.2 m"

# One [[joint]] for each coupling of the tally, in and next to the interval.
[[joint]]
coupling = "1998.2 m"
[[joint]]
coupling = "2007.7 m"
[[joint]]
coupling = "2017.2 m"
[[joint]]
coupling = "2026.7 m"

# Instruments. Both sections may be left out for import and recompute.
[load]
port = "serial:/dev/ttyUSB0"    # or "tcp:host:port"
baud = 9600
#data_bits = 8                  # or 7, e.g. an indicator set to 7E1: with parity = "even"
#parity = "none"                # or "even", "odd"
#stop_bits = 1                  # or 2
protocol = "pattern"            # or "modbus-rtu", "packet"
pattern = 'L (?P<load>[-+0-9.]+)'    # part named load (and depth, when both come on one port)
unit = "lbf"                    # of the raw reading; or the force of one count: span = "0.5 N"
#tare = 0                       # raw reading at no load, or with a unit
#mount = "deadline"             # the cell reads line tension; or "sheave" with the angle:
#angle = "90 deg"               # between the two line parts, 0: parallel; no default
#temperature_zero = "0 N"       # force the empty cell shows for each kelvin above the reference
#temperature_span = 0.0         # part by which a reading grows for each kelvin, or "0.02 %"
#temperature_reference = "20 degC"   # at which tare and span hold
#temperature = "35 degC"        # of the cell; not needed with a part of the pattern named temperature
#temperature_unit = "degC"      # in which that part is sent, or "degF", "K"
#stale_after = "2 s"            # silence that counts as a fault
#frozen_after = "10 s"          # unchanged reading while the line moves, or at rest where it never stood before; 0: never
#min = "-1050 lbf"              # readings outside are not believed; default: half the breaking load below nothing
#max = "3160 lbf"               # default: half as much again as the breaking load, which no line carries

[depth]
port = "serial:/dev/ttyUSB1"    # leave out when the [load] port carries both
baud = 9600
#parity = "none"                # Modbus devices often come set to "even" (8E1); data_bits, stop_bits as above
protocol = "modbus-rtu"
unit_address = 1
function = 3                    # 3 holding, 4 input registers
register = 0                    # zero-based
type = "i32"                    # i16, u16, i32, u32, f32
word_order = "high-first"       # or "low-first"
poll = "20 Hz"
circumference = "0.6096 m"      # of the measuring wheel; or unit = "ft", or span = "1 mm"
counts_per_turn = 1024
#wear = 0.0                     # fraction of circumference lost
#direction = "in"               # the raw value grows as line goes in; or "out"
#zero = "0 m"                   # depth shown when the scaled raw value is zero
counts = "tensioned"            # the wheel rolls on loaded line; "relaxed": unstretched length
#stale_after = "2 s"
#frozen_after = "20 s"          # unchanged depth while the load swings again and again; 0: never
#min = "-200 m"                 # readings outside are not believed; default from survey and interval
#max = "4000 m"

[alarm]
#tension_limit = "3500 N"       # instead of the fraction; no default
tension_fraction = 0.5          # of the weakest link at the present depth
overpull = "2 kN"               # pull above the expected pick-up weight; where each stroke takes more, half of it above theirs
#slack = "300 N"                # read, not used: the slack alarm comes when the tool does not go down with the line
speed = "2 m/s"
#upper_stop = "1990 m"          # of the wheels; no default
#lower_stop = "2030 m"
approaching = "2 s"             # warn this long before the tension limit
line_life = 0.8                 # of the bending life, where one is given

#[[alarm.output]]               # horn, relay or program; may be repeated
#name = "horn relay"
#kind = "modbus-coil"           # the coil is on while all is well; or "serial-line", "command"
#port = "serial:/dev/ttyUSB2"
#baud = 9600
#data_bits = 8
#parity = "none"
#stop_bits = 1
#unit_address = 1
#coil = 0
#heartbeat = "1 s"              # the relay must be set to drop out when nothing comes for longer
#alarms = ["overpull", "approaching", "sensor"]   # sensor: a dead instrument sees no overpull

[record]
folder = "runs"
sync = "1 s"                    # most that a power cut may lose

#[forward]                      # InfluxDB 2 write API
#url = "http://127.0.0.1:8086"
#org = "crew"
#bucket = "cuts"
#token_env = "INFLUX_TOKEN"     # or token_file = "..."
#rate = "1 Hz"

[page]
listen = "127.0.0.1:8760"
#token_env = "KERFWATCH_TOKEN"
"##;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::read_job;

    #[test]
    fn the_sample_job_reads_without_a_warning() {
        let read = read_job(print_default_job(), "sample.toml").unwrap_or_else(|f| panic!("{f}"));
        let warnings: Vec<String> = read.warnings.iter().map(ToString::to_string).collect();
        assert_eq!(warnings, Vec::<String>::new());
    }

    #[test]
    fn every_key_the_sample_has_switched_off_is_a_known_one() {
        let all: String = print_default_job()
            .lines()
            .map(|line| match line.strip_prefix('#') {
                Some(key) if !key.starts_with(' ') => format!("{key}\n"),
                _ => format!("{line}\n"),
            })
            .collect();
        let findings = match read_job(&all, "sample.toml") {
            Ok(_) => String::new(),
            Err(findings) => findings.to_string(),
        };
        assert!(!findings.contains("unknown"), "{findings}");
    }
}
