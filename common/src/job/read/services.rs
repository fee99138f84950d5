//! Alarms, record, server and page.

use crate::job::outputs;
use crate::job::quantity::Dimension as D;
use crate::job::section::Section;
use crate::job::{AlarmLimits, Forward, Page, Record};
use crate::units::{Metres, MetresPerSecond, Newtons, Seconds};

pub(super) fn read_alarm(section: &Section<'_>) -> AlarmLimits {
    let alarm = AlarmLimits {
        tension_limit: section.quantity("tension_limit", D::Force).map(Newtons),
        tension_fraction: section.ratio("tension_fraction").unwrap_or(0.5),
        overpull: Newtons(section.quantity("overpull", D::Force).unwrap_or(2000.0)),
        slack: Newtons(section.quantity("slack", D::Force).unwrap_or(300.0)),
        speed: MetresPerSecond(section.quantity("speed", D::Speed).unwrap_or(2.0)),
        upper_stop: section.quantity("upper_stop", D::Length).map(Metres),
        lower_stop: section.quantity("lower_stop", D::Length).map(Metres),
        approaching: Seconds(section.quantity("approaching", D::Time).unwrap_or(2.0)),
        line_life: section.ratio("line_life").unwrap_or(0.8),
        outputs: outputs::read(section),
    };
    section.finish();
    alarm
}

pub(super) fn read_record(section: &Section<'_>) -> Record {
    let record = Record {
        folder: section.text("folder").unwrap_or_else(|| "runs".to_owned()),
        sync: Seconds(section.quantity("sync", D::Time).unwrap_or(1.0)),
    };
    section.finish();
    record
}

pub(super) fn read_forward(section: &Section<'_>) -> Option<Forward> {
    let needed = |key: &'static str, example: &str| {
        section.text(key).unwrap_or_else(|| {
            if section.is_present() {
                section.fault(key, "nothing", format!("{key} = \"{example}\""));
            }
            String::new()
        })
    };
    let forward = Forward {
        url: needed("url", "http://127.0.0.1:8086"),
        org: needed("org", "crew"),
        bucket: needed("bucket", "cuts"),
        token_env: section.text("token_env"),
        token_file: section.text("token_file"),
        rate_hz: section.quantity("rate", D::Frequency).unwrap_or(1.0),
    };
    section.finish();
    section.is_present().then_some(forward)
}

pub(super) fn read_page(section: &Section<'_>) -> Page {
    let page = Page {
        listen: section
            .text("listen")
            .unwrap_or_else(|| "127.0.0.1:8760".to_owned()),
        token_env: section.text("token_env"),
    };
    section.finish();
    page
}
