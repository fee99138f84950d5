//! What was wrong with each instrument, and when it was silent or frozen.

use super::Source;
use crate::instrument_faults::{beyond_instruments, frozen, name, silent};
use crate::report::page::Page;
use crate::units_shown::{clock, count, duration};
use kerfwatch::input::ChannelId;
use kerfwatch::result::{ChannelFaults, FaultSpell};
use kerfwatch::time::seconds;

/// Rows that the list of spells has at most.
const SHOWN: usize = 30;

/// Counts of each instrument side by side; nothing where readings came calibrated.
pub(super) fn by_instrument(page: &mut Page, s: &Source<'_>) {
    let quality = &s.result().quality;
    let channels = &quality.channels;
    if channels.is_empty() {
        return;
    }
    let row = |what: &str, of: &dyn Fn(&ChannelFaults) -> String| {
        let cells = channels.iter().map(of);
        std::iter::once(what.to_owned()).chain(cells).collect()
    };
    let numbered = |what: &str, of: fn(&ChannelFaults) -> u64| {
        let any = channels.iter().any(|c| of(c) > 0);
        any.then(|| row(what, &|c| count(of(c))))
    };
    let words = |of: fn(&ChannelFaults) -> Option<String>| {
        move |c: &ChannelFaults| of(c).unwrap_or_else(|| "never".to_owned())
    };
    // What every instrument is judged by is always there, that it never happened too; the rest where it did.
    let mut rows: Vec<Vec<String>> = vec![
        row("Readings that came", &|c| count(c.readings)),
        row("Silent", &words(silent)),
        row(
            "Frozen: value unchanged while the other shows motion",
            &words(frozen),
        ),
        row("Readings out of range", &|c| count(c.out_of_range)),
        row("Single spikes set aside", &|c| count(c.spikes)),
    ];
    let more = [
        numbered("Frames sent twice", |c| c.duplicates),
        numbered("Frames out of order", |c| c.reordered),
        numbered("Frames missing by their numbers", |c| c.missing),
        numbered("Times its port was lost or could not be opened", |c| {
            c.port_losses
        }),
    ];
    rows.extend(more.into_iter().flatten());
    let head: Vec<&str> = (std::iter::once(""))
        .chain(channels.iter().map(name))
        .collect();
    page.small_heading("By instrument");
    page.table_of_words(&head, &rows);
    if let Some(more) = beyond_instruments(quality) {
        page.paragraph("note", &format!("Counted above: {more}."));
    }
}

/// One of the list.
struct Row {
    at_s: f64,
    lasted_s: f64,
    what: String,
}

/// When an instrument was silent or frozen, or nothing at all was recorded.
pub(super) fn spells(page: &mut Page, s: &Source<'_>) {
    let quality = &s.result().quality;
    let of = |what: String, spell: &FaultSpell| Row {
        at_s: spell.start_s,
        lasted_s: spell.end_s - spell.start_s,
        what,
    };
    let mut list: Vec<Row> = Vec::new();
    for channel in &quality.channels {
        let name = name(channel);
        let silent = channel.silent_at.iter();
        list.extend(silent.map(|spell| of(format!("{name} silent"), spell)));
        let frozen = channel.frozen_at.iter();
        list.extend(frozen.map(|spell| of(format!("{name} frozen"), spell)));
    }
    if quality.channels.is_empty() {
        list.extend(s.traces.silences.iter().map(|silence| Row {
            at_s: silence.from_s,
            lasted_s: silence.to_s - silence.from_s,
            what: match silence.channel {
                ChannelId::Load => "load cell silent".to_owned(),
                ChannelId::Depth => "depth counter silent".to_owned(),
            },
        }));
    }
    let nothing = s.verified.silences.iter();
    list.extend(nothing.map(|(at, length)| Row {
        at_s: seconds(*at),
        lasted_s: seconds(*length),
        what: "nothing recorded at all".to_owned(),
    }));
    if list.is_empty() {
        return;
    }
    list.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
    let rows: Vec<Vec<String>> = (list.iter().take(SHOWN))
        .map(|row| vec![clock(row.at_s), row.what.clone(), duration(row.lasted_s)])
        .collect();
    page.small_heading("Silent and frozen spells");
    page.table_of_words(&["Time", "What", "Lasted"], &rows);
    let mut notes = Vec::new();
    let told = |of: fn(&ChannelFaults) -> (u64, usize)| -> u64 {
        let all = quality.channels.iter().map(of);
        all.map(|(n, told)| n.saturating_sub(told as u64)).sum()
    };
    let more = list.len().saturating_sub(SHOWN) as u64
        + told(|c| (c.silences, c.silent_at.len()))
        + told(|c| (c.frozen_spells, c.frozen_at.len()));
    if more > 0 {
        notes.push(format!("Not listed: {} later ones.", count(more)));
    }
    if list.iter().any(|row| row.what.ends_with("frozen")) {
        notes.push(
            "Frozen: from the last change of the value on. It takes a while to be told from a line at rest; \
             readings until then were used, but not for the drag of a stroke in which the load hung."
                .to_owned(),
        );
    }
    if !s.verified.silences.is_empty() {
        notes.push(
            "Nothing recorded at all: neither instrument nor the watch itself, as while the program was down. \
             It is listed beside the silences of the instruments and not counted with them."
                .to_owned(),
        );
    }
    let listed = s.traces.silences.len() as u64;
    if quality.channels.is_empty() && listed != quality.gaps {
        notes.push(format!(
            "Counted above, {}, are the times without usable readings for more than 2 s in the timeline of both; \
             listed are times in which an instrument sent none.",
            count(quality.gaps)
        ));
    }
    if !notes.is_empty() {
        page.paragraph("note", &notes.join(" "));
    }
}
