//! Lines that say by a word which quantity they carry: `L 1604.0 N` and `D 1491.66 m` in turn on one port.
//!
//! *Input*: lines of one shape. *Output*: shapes again, one for each label, or all in one where the words that differ
//! are no labels (`ST` and `US` of a weighing indicator). *Limits*: labels take turns, and their units, their names or
//! numbers far apart set them off; others pass for status words.

use super::FRAMES_MIN;
use super::line::Shape;

/// Most labels of one port.
const LABELS_MAX: usize = 6;

/// Letters that stand for load and depth where both are there, the likeliest first. A single letter says nothing: `L`
/// is load beside `D` and length beside `T`.
const LETTERS: [(&str, &str); 8] = [
    ("l", "d"),
    ("t", "d"),
    ("f", "d"),
    ("w", "d"),
    ("t", "l"),
    ("f", "l"),
    ("w", "l"),
    ("t", "z"),
];

/// One shape for each label in `lines`, which have the same shape.
pub(super) fn split(lines: Vec<Shape>) -> Vec<Shape> {
    let places = lines.first().map_or(0, Shape::places);
    for place in 0..places {
        let labelled = by_word(&lines, place);
        if labelled.len() > 1 && take_turns(&lines, place, &labelled) && set_off(&labelled) {
            return labelled;
        }
    }
    merged(lines.iter()).into_iter().collect()
}

/// The shapes that carry load and depth, each in lines of its own: places in `shapes`, load first. Two orders where
/// nothing but the numbers sets them off.
pub(super) fn load_and_depth(shapes: &[Shape]) -> Vec<(usize, usize)> {
    let place = |name| shapes.iter().position(|shape| shape.tells_only(name));
    let labelled: Vec<usize> = (0..shapes.len())
        .filter(|&index| shapes[index].label.is_some())
        .collect();
    match (place("load"), place("depth")) {
        (Some(load), Some(depth)) => vec![(load, depth)],
        // One shape that tells both needs no other.
        _ if shapes.iter().any(Shape::tells_both) => Vec::new(),
        (load, depth) => {
            if let Some(pair) = lettered(shapes).filter(|_| load.is_none() && depth.is_none()) {
                return vec![pair];
            }
            match (load, depth, &labelled[..]) {
                (Some(load), None, &[one, two]) if load == one || load == two => {
                    vec![(load, one + two - load)]
                }
                (None, Some(depth), &[one, two]) if depth == one || depth == two => {
                    vec![(one + two - depth, depth)]
                }
                (None, None, &[one, two]) => vec![(one, two), (two, one)],
                _ => Vec::new(),
            }
        }
    }
}

/// `lines` by the word at `place`, in order of appearance; empty where there are too many of them.
fn by_word(lines: &[Shape], place: usize) -> Vec<Shape> {
    let mut words: Vec<&str> = Vec::new();
    for line in lines {
        match line.word(place) {
            Some(word) if words.contains(&word) => {}
            Some(word) if words.len() < LABELS_MAX => words.push(word),
            _ => return Vec::new(),
        }
    }
    (words.into_iter())
        .filter_map(|word| {
            let mut shape = merged(lines.iter().filter(|line| line.word(place) == Some(word)))?;
            shape.label = Some(word.to_owned());
            (shape.lines >= FRAMES_MIN).then_some(shape)
        })
        .collect()
}

fn merged<'l>(mut lines: impl Iterator<Item = &'l Shape>) -> Option<Shape> {
    let mut shape = lines.next()?.clone();
    lines.for_each(|line| shape.merge(line));
    Some(shape)
}

/// A status stays for many lines; two quantities are sent in turn.
fn take_turns(lines: &[Shape], place: usize, labelled: &[Shape]) -> bool {
    let turns = (lines.windows(2))
        .filter(|pair| pair[0].word(place) != pair[1].word(place))
        .count();
    let fewest = labelled.iter().map(|shape| shape.lines).min();
    fewest.is_some_and(|fewest| turns >= fewest)
}

/// Whether `labelled` are different quantities.
fn set_off(labelled: &[Shape]) -> bool {
    let tells = |name| labelled.iter().any(|shape| shape.tells_only(name));
    let by_name = tells("load") && tells("depth");
    by_name || lettered(labelled).is_some() || far_apart(labelled)
}

/// The pair of [`LETTERS`] among the labels.
fn lettered(shapes: &[Shape]) -> Option<(usize, usize)> {
    let place = |letter: &str| {
        shapes.iter().position(|shape| {
            (shape.label.as_ref()).is_some_and(|label| label.eq_ignore_ascii_case(letter))
        })
    };
    (LETTERS.iter()).find_map(|(load, depth)| Some((place(load)?, place(depth)?)))
}

/// Numbers of two labels lie further from each other than either of them goes: those of `HI` and `LO` touch.
fn far_apart(labelled: &[Shape]) -> bool {
    let ranges: Vec<(f64, f64)> = (labelled.iter())
        .filter_map(|shape| {
            let slots = shape.slots();
            let numbers = &slots[shape.value_slot()?].numbers;
            let low = numbers.iter().copied().fold(f64::INFINITY, f64::min);
            Some((low, numbers.iter().copied().fold(low, f64::max)))
        })
        .collect();
    match ranges[..] {
        [(low, high), (other_low, other_high)] => {
            let gap = (low - other_high).max(other_low - high);
            gap > (high - low).max(other_high - other_low)
        }
        _ => false,
    }
}
