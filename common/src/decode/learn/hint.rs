//! What a single column of numbers is, where neither a word nor a unit says it: weak signs, which a person has to confirm.
//!
//! *Input*: one column. *Output*: load or depth, and by what. *Limits*: where several columns are there they are told
//! apart from each other, not by this.

use super::line::Slot;

/// By what a proposal tells load from depth.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ToldBy {
    /// Words or units in its lines, or the form of the packet.
    Lines,
    /// A letter beside the number.
    Letter(String),
    /// So many digits behind the point: counters give millimetres or less, cells hardly tenths.
    Decimals(usize),
    /// Nothing.
    Nothing,
}

/// Letters of an instrument that is alone on its port. `L` is length too, but a counter that calls it so has decimals.
const LETTERS: [(&str, &str); 6] = [
    ("d", "depth"),
    ("z", "depth"),
    ("l", "load"),
    ("f", "load"),
    ("w", "load"),
    ("t", "load"),
];
/// From so many digits behind the point on it is a counter.
const DECIMALS_OF_DEPTH: usize = 3;

/// What `slot` is, most likely, and why.
pub(super) fn hint(slot: &Slot) -> (Option<&'static str>, ToldBy) {
    let has_depth_decimals = slot.decimals >= DECIMALS_OF_DEPTH;
    for word in [&slot.before, &slot.after].into_iter().flatten() {
        let known = LETTERS
            .iter()
            .find(|(letter, _)| word.eq_ignore_ascii_case(letter));
        // A letter for load beside the decimals of a counter: neither is sure.
        if let Some((_, name)) = known.filter(|(_, name)| *name == "depth" || !has_depth_decimals) {
            return (Some(name), ToldBy::Letter(word.clone()));
        }
        if known.is_some() {
            return (None, ToldBy::Nothing);
        }
    }
    match has_depth_decimals {
        true => (Some("depth"), ToldBy::Decimals(slot.decimals)),
        false => (None, ToldBy::Nothing),
    }
}
