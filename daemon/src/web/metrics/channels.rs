//! What was wrong with each instrument, and what still is.

use super::families::Families;
use kerfwatch::snapshot::ChannelView;

/// Counters of a channel: name, help, value.
type Counter = (&'static str, &'static str, fn(&ChannelView) -> u64);

const COUNTERS: [Counter; 11] = [
    (
        "readings",
        "Readings of an instrument, good or doubtful.",
        |c| c.readings,
    ),
    (
        "bad_frames",
        "Frames of an instrument's port that did not decode.",
        |c| c.bad_frames,
    ),
    (
        "partial_frames",
        "Half frames at the opening or loss of a port.",
        |c| c.partial_frames,
    ),
    (
        "gaps",
        "Silences longer than the instrument's limit.",
        |c| c.gaps,
    ),
    (
        "out_of_range",
        "Readings out of range or not finite.",
        |c| c.out_of_range,
    ),
    (
        "frozen",
        "Readings that did not change though they should have.",
        |c| c.frozen,
    ),
    ("spikes", "Single readings set aside as spikes.", |c| {
        c.spikes
    }),
    (
        "duplicates",
        "Readings with the frame number of the one before.",
        |c| c.duplicates,
    ),
    (
        "reordered",
        "Readings with an older frame number than the one before.",
        |c| c.reordered,
    ),
    ("missing", "Frame numbers that were skipped.", |c| c.missing),
    (
        "port_losses",
        "Times the instrument's port was lost.",
        |c| c.port_losses,
    ),
];

const FAULTS: [&str; 7] = [
    "closed", "stale", "frames", "range", "frozen", "leaps", "leapt",
];

pub(super) fn of_channels(page: &mut Families, channels: &[ChannelView]) {
    for (word, help, value) in COUNTERS {
        let name = format!("kerfwatch_channel_{word}");
        page.family(&name, "counter", "", help);
        let total = format!("{name}_total");
        for channel in channels {
            let labels = [("channel", &*channel.name)];
            page.sample(&total, &labels, value(channel) as f64);
        }
    }
    let name = "kerfwatch_channel_bad_frames_by_kind";
    page.family(name, "counter", "", "The same by kind of fault.");
    for channel in channels {
        for (kind, count) in &channel.bad_kinds {
            let labels = [("channel", &*channel.name), ("fault", kind)];
            page.sample(&format!("{name}_total"), &labels, *count as f64);
        }
    }
    let name = "kerfwatch_channel_rate_hertz";
    page.family(
        name,
        "gauge",
        "hertz",
        "Readings per second of an instrument.",
    );
    for channel in channels {
        page.sample(name, &[("channel", &channel.name)], channel.rate_hz);
    }
    let name = "kerfwatch_channel_age_seconds";
    page.family(name, "gauge", "seconds", "Age of the newest good reading.");
    for channel in channels {
        if let Some(age) = channel.age_s {
            page.sample(name, &[("channel", &channel.name)], age);
        }
    }
    let name = "kerfwatch_channel_fault";
    page.family(
        name,
        "gauge",
        "",
        "1 while an instrument has this fault, else 0.",
    );
    for channel in channels {
        for fault in FAULTS {
            let labels = [("channel", &*channel.name), ("fault", fault)];
            page.sample(name, &labels, f64::from(u8::from(channel.fault == fault)));
        }
    }
}
