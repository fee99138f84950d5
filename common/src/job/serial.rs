//! How a serial line is set: `baud`, `data_bits`, `parity`, `stop_bits`, of an instrument or an output.
//!
//! *Errors*: reported, never returned. On a `tcp:` port the device server has these settings to itself.

use super::section::Section;
use std::fmt;
use std::str::FromStr;

/// Baud without `baud`.
const BAUD: u32 = 9600;

/// Line speeds that instruments and device servers offer.
const USUAL_BAUDS: [u32; 21] = [
    110, 300, 600, 1200, 2400, 4800, 9600, 14_400, 19_200, 28_800, 38_400, 57_600, 76_800, 115_200,
    230_400, 250_000, 460_800, 500_000, 921_600, 1_000_000, 2_000_000,
];

/// Speed of a serial line and the form of its characters.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SerialLine {
    /// Line speed, default 9600.
    pub baud: u32,
    /// Form of a character, default 8N1.
    pub framing: Framing,
}

impl Default for SerialLine {
    fn default() -> Self {
        Self {
            baud: BAUD,
            framing: Framing::default(),
        }
    }
}

impl fmt::Display for SerialLine {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} baud {}", self.baud, self.framing)
    }
}

/// Bits of a character; as text `8N1`, `8E1`, `7E1`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Framing {
    /// 7 or 8.
    pub data_bits: u8,
    /// The bit behind them.
    pub parity: Parity,
    /// 1 or 2.
    pub stop_bits: u8,
}

impl Default for Framing {
    fn default() -> Self {
        Self {
            data_bits: 8,
            parity: Parity::None,
            stop_bits: 1,
        }
    }
}

/// Parity bit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Parity {
    /// No such bit.
    None,
    /// Makes the number of ones even.
    Even,
    /// Makes it odd.
    Odd,
}

impl Parity {
    const ALL: [Self; 3] = [Self::None, Self::Even, Self::Odd];

    /// As a job file writes it.
    pub fn word(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::Even => "even",
            Self::Odd => "odd",
        }
    }

    fn letter(self) -> char {
        match self {
            Self::None => 'N',
            Self::Even => 'E',
            Self::Odd => 'O',
        }
    }
}

impl Framing {
    /// Lines for the job file; none for what is the default.
    pub fn job_lines(self) -> String {
        let usual = Self::default();
        let mut lines = String::new();
        if self.data_bits != usual.data_bits {
            lines.push_str(&format!("data_bits = {}\n", self.data_bits));
        }
        if self.parity != usual.parity {
            lines.push_str(&format!("parity = \"{}\"\n", self.parity.word()));
        }
        if self.stop_bits != usual.stop_bits {
            lines.push_str(&format!("stop_bits = {}\n", self.stop_bits));
        }
        lines
    }
}

impl fmt::Display for Framing {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let parity = self.parity.letter();
        write!(f, "{}{parity}{}", self.data_bits, self.stop_bits)
    }
}

impl FromStr for Framing {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let wrong = || format!("`{text}` is none of 8N1, 8E1, 8O1, 8N2, 7E1, 7O1 and their like");
        let [data, parity, stop] = text.as_bytes() else {
            return Err(wrong());
        };
        let parity = char::from(parity.to_ascii_uppercase());
        let parity = Parity::ALL.into_iter().find(|one| one.letter() == parity);
        match (data, parity, stop) {
            (b'7' | b'8', Some(parity), b'1' | b'2') => Ok(Self {
                data_bits: data - b'0',
                parity,
                stop_bits: stop - b'0',
            }),
            _ => Err(wrong()),
        }
    }
}

/// What `section` says, else what `inherit` has.
pub(super) fn read(section: &Section<'_>, inherit: SerialLine) -> SerialLine {
    let or = inherit.framing;
    let bits = |key, low, high, or: u8| section.whole(key, low, high).map_or(or, |n| n as u8);
    let words = Parity::ALL.map(|parity| (parity.word(), parity));
    SerialLine {
        baud: baud(section).unwrap_or(inherit.baud),
        framing: Framing {
            data_bits: bits("data_bits", 7, 8, or.data_bits),
            parity: section.choice("parity", &words).unwrap_or(or.parity),
            stop_bits: bits("stop_bits", 1, 2, or.stop_bits),
        },
    }
}

fn baud(section: &Section<'_>) -> Option<u32> {
    // As data sheets and other programs write it: "9600 8E1", "9600,8,E,1".
    if let Some(text) = section
        .raw("baud")
        .and_then(|value| value.get_ref().as_str())
        && let Some(line) = in_one(text)
    {
        let Framing {
            data_bits,
            parity,
            stop_bits,
        } = line.framing;
        section.fault(
            "baud",
            format!("\"{text}\""),
            format!(
                "each in a line of its own: baud = {}, data_bits = {data_bits}, parity = \"{}\", stop_bits = {stop_bits}",
                line.baud,
                parity.word()
            ),
        );
        return None;
    }
    let baud = section.whole("baud", 50, 4_000_000)? as u32;
    if !USUAL_BAUDS.contains(&baud) {
        section.warn(
            "baud",
            format!("{baud}, which is not a usual line speed"),
            format!(
                "what the manual of the instrument says, perhaps {}",
                nearest_bauds(baud)
            ),
        );
    }
    Some(baud)
}

/// The usual line speed next to `baud`, and before it the one that a nought too many or too few would make of it.
fn nearest_bauds(baud: u32) -> String {
    let off = |usual: &u32| (f64::from(*usual) / f64::from(baud)).ln().abs();
    let nearest = (USUAL_BAUDS.iter()).min_by(|a, b| off(a).total_cmp(&off(b)));
    let slipped = [baud / 10, baud.saturating_mul(10)];
    let slipped = (USUAL_BAUDS.iter()).find(|usual| slipped.contains(usual));
    let words: Vec<String> = (slipped.into_iter().chain(nearest))
        .map(ToString::to_string)
        .collect();
    words.join(" or ")
}

fn in_one(text: &str) -> Option<SerialLine> {
    let text = text.trim();
    let end = text.find(|c: char| !c.is_ascii_digit())?;
    let (baud, rest) = text.split_at(end);
    let framing: String = rest.chars().filter(char::is_ascii_alphanumeric).collect();
    Some(SerialLine {
        baud: baud.parse().ok()?,
        framing: framing.parse().ok()?,
    })
}

/// What to do instead.
pub(super) const MODBUS_TCP: &str = "; Modbus TCP is not spoken: set the gateway to pass Modbus RTU on as it is (\"RTU over \
     TCP\", \"transparent\", \"raw\") and write protocol = \"modbus-rtu\", port = \"tcp:host:port\"";

/// Whether a port or protocol asks for Modbus TCP.
pub(super) fn is_modbus_tcp(text: &str) -> bool {
    let text = text.to_ascii_lowercase();
    (text.contains("modbus") && text.contains("tcp")) || text.starts_with("mbtcp")
}

/// `serial:/dev/...` or `tcp:host:port`, if `port` is one; else reported.
pub(super) fn port(section: &Section<'_>, port: &str) -> Option<String> {
    let port = port.trim();
    if let Some(device) = port.strip_prefix("serial:") {
        if device.starts_with('/') {
            return Some(port.to_owned());
        }
    } else if let Some(address) = port.strip_prefix("tcp:") {
        if let Some((host, number)) = address.rsplit_once(':')
            && !host.is_empty()
            && number.parse::<u16>().is_ok_and(|n| n > 0)
        {
            for key in ["data_bits", "parity", "stop_bits"] {
                if section.raw(key).is_some() {
                    section.warn(
                        key,
                        "a setting that does nothing on a tcp port",
                        "it into the settings of the device server, and leave it out here",
                    );
                }
            }
            return Some(port.to_owned());
        }
    } else if port.starts_with('/') {
        return Some(format!("serial:{port}"));
    }
    let mut write = "\"serial:/dev/ttyUSB0\" or \"tcp:host:port\"".to_owned();
    if port.to_ascii_lowercase().contains("udp") {
        write.push_str("; UDP is not read: set the device server to act as a TCP server");
    } else if is_modbus_tcp(port) {
        write.push_str(MODBUS_TCP);
    }
    section.fault("port", format!("\"{port}\""), write);
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_framing_reads_as_it_is_written() {
        for text in ["8N1", "8E1", "8O1", "8N2", "7E1", "7O2"] {
            assert_eq!(text.parse::<Framing>().unwrap().to_string(), text);
        }
        assert_eq!("7e1".parse(), "7E1".parse::<Framing>());
        for text in ["", "8", "8N", "9N1", "8M1", "8N3", "8N1.5", "8é1"] {
            assert!(text.parse::<Framing>().is_err(), "{text}");
        }
    }

    #[test]
    fn a_line_speed_that_nobody_offers_is_set_beside_those_next_to_it() {
        assert_eq!(nearest_bauds(96_000), "9600 or 115200");
        assert_eq!(nearest_bauds(1920), "19200 or 2400");
        assert_eq!(nearest_bauds(9601), "9600");
        assert!(USUAL_BAUDS.is_sorted() && USUAL_BAUDS.contains(&BAUD));
    }

    #[test]
    fn only_what_is_not_the_default_is_written() {
        let lines = |text: &str| text.parse::<Framing>().unwrap().job_lines();
        assert_eq!(lines("8N1"), "");
        assert_eq!(lines("7E1"), "data_bits = 7\nparity = \"even\"\n");
        assert_eq!(lines("8N2"), "stop_bits = 2\n");
    }

    #[test]
    fn settings_in_one_text_are_told_apart() {
        let line = |text| in_one(text).map(|line| line.to_string());
        for text in ["9600 8E1", "9600,8,e,1", "9600-8-E-1", " 9600/8E1 "] {
            assert_eq!(line(text).as_deref(), Some("9600 baud 8E1"), "{text}");
        }
        for text in ["9600", "fast", "9600 baud", "", "99999999999 8E1"] {
            assert_eq!(line(text), None, "{text}");
        }
    }
}
