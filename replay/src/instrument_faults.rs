//! What was wrong with each instrument, in words, and how far that adds up to the counts of the whole run.

use crate::units_shown::{count, duration, times};
use kerfwatch::result::{ChannelFaults, Quality};

/// The instrument of a channel, as a crew calls it.
pub(crate) fn name(faults: &ChannelFaults) -> &'static str {
    match faults.channel.as_str() {
        "load" => "load cell",
        _ => "depth counter",
    }
}

/// "2 times, 15.2 s in all (303 readings set aside)"; `None` where it never was.
pub(crate) fn frozen(of: &ChannelFaults) -> Option<String> {
    (of.frozen_spells > 0).then(|| {
        format!(
            "{}, {} in all ({} readings set aside)",
            times(count(of.frozen_spells)),
            duration(of.frozen_s),
            count(of.frozen_readings)
        )
    })
}

/// "3 times, 21.0 s in all"; `None` where it never was silent.
pub(crate) fn silent(of: &ChannelFaults) -> Option<String> {
    (of.silences > 0).then(|| {
        let how_often = times(count(of.silences));
        format!("{how_often}, {} in all", duration(of.silent_s))
    })
}

/// One line for each instrument with a fault: "load cell: silent once, 2.1 s in all; frozen ...".
pub(crate) fn lines(quality: &Quality) -> Vec<String> {
    (quality.channels.iter())
        .filter_map(|of| {
            let number = |n: u64, one: &str, many: &str| {
                (n > 0).then(|| format!("{} {}", count(n), if n == 1 { one } else { many }))
            };
            let parts = [
                silent(of).map(|text| format!("silent {text}")),
                frozen(of).map(|text| format!("frozen {text}")),
                number(
                    of.out_of_range,
                    "reading out of range",
                    "readings out of range",
                ),
                number(of.spikes, "spike", "spikes"),
                number(of.duplicates, "frame twice", "frames twice"),
                number(of.reordered, "frame out of order", "frames out of order"),
                number(
                    of.missing,
                    "frame missing by its number",
                    "frames missing by their numbers",
                ),
                number(
                    of.port_losses,
                    "time its port was lost or could not be opened",
                    "times its port was lost or could not be opened",
                ),
            ];
            let parts: Vec<String> = parts.into_iter().flatten().collect();
            (!parts.is_empty()).then(|| format!("{}: {}", name(of), parts.join("; ")))
        })
        .collect()
}

/// Where the counts of the run are more than those of its instruments: what was set aside only when both were brought
/// on one timeline. `None` where they agree, or nothing is known of the instruments.
pub(crate) fn beyond_instruments(quality: &Quality) -> Option<String> {
    if quality.channels.is_empty() {
        return None;
    }
    let rest = |all: u64, of: fn(&ChannelFaults) -> u64| {
        all.saturating_sub(quality.channels.iter().map(of).sum())
    };
    let parts = [
        (rest(quality.spikes, |c| c.spikes), "spike", "spikes"),
        (
            rest(quality.out_of_range, |c| c.out_of_range),
            "reading out of range",
            "readings out of range",
        ),
    ];
    let parts: Vec<String> = (parts.into_iter())
        .filter(|(n, ..)| *n > 0)
        .map(|(n, one, many)| format!("{} {}", count(n), if n == 1 { one } else { many }))
        .collect();
    (!parts.is_empty()).then(|| {
        format!(
            "{} more than of the instruments: set aside when load and depth were brought on one timeline",
            parts.join(" and ")
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn quality() -> Quality {
        Quality {
            spikes: 3,
            out_of_range: 1,
            channels: vec![
                ChannelFaults {
                    channel: "load".into(),
                    silences: 1,
                    silent_s: 2.1,
                    frozen_spells: 2,
                    frozen_s: 15.2,
                    frozen_readings: 303,
                    spikes: 2,
                    ..ChannelFaults::default()
                },
                ChannelFaults {
                    channel: "depth".into(),
                    out_of_range: 1,
                    ..ChannelFaults::default()
                },
            ],
            ..Quality::default()
        }
    }

    #[test]
    fn each_instrument_with_a_fault_has_a_line() {
        assert_eq!(
            lines(&quality()),
            [
                "load cell: silent once, 2.1 s in all; frozen 2 times, 15.2 s in all (303 readings set aside); 2 spikes",
                "depth counter: 1 reading out of range"
            ]
        );
        assert!(lines(&Quality::default()).is_empty());
    }

    #[test]
    fn what_the_instruments_do_not_add_up_to_is_told() {
        let text = beyond_instruments(&quality()).unwrap();
        assert!(
            text.starts_with("1 spike more than of the instruments"),
            "{text}"
        );
        let mut sums = quality();
        sums.spikes = 2;
        assert_eq!(beyond_instruments(&sums), None);
        sums.channels.clear();
        assert_eq!(beyond_instruments(&sums), None);
    }
}
