//! One section of a job file: typed look-up of its keys, and a fault for each key nobody asked for.
//!
//! The set of known keys is the set of keys asked for, so that it can't drift from the reader.

use super::findings::nearest;
use super::quantity::{Dimension, parse_quantity, split_number};
use super::report::Report;
use super::usual::in_usual_unit;
use std::cell::RefCell;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// A section, present or not.
#[derive(Debug)]
pub(super) struct Section<'a> {
    /// As shown in messages, e.g. `line`, `joint 3`.
    pub(super) name: String,
    table: Option<&'a DeTable<'a>>,
    asked: RefCell<Vec<&'static str>>,
    report: &'a Report<'a>,
}

/// What a value looks like in a message.
pub(super) fn shown(value: &DeValue<'_>) -> String {
    match value {
        DeValue::String(text) => format!("\"{}\"", text.chars().take(60).collect::<String>()),
        DeValue::Integer(number) => number.as_str().to_owned(),
        DeValue::Float(number) => number.as_str().to_owned(),
        DeValue::Boolean(value) => value.to_string(),
        DeValue::Datetime(_) => "a date".to_owned(),
        DeValue::Array(_) => "a list".to_owned(),
        DeValue::Table(_) => "a section".to_owned(),
    }
}

/// A TOML number as f64; `Err` names what it is instead.
fn plain_number(value: &DeValue<'_>) -> Option<f64> {
    match value {
        DeValue::Integer(number) => match number.radix() {
            10 => number.as_str().replace('_', "").parse().ok(),
            radix => i64::from_str_radix(&number.as_str().replace('_', ""), radix)
                .ok()
                .map(|n| n as f64),
        },
        DeValue::Float(number) => number.as_str().replace('_', "").parse().ok(),
        _ => None,
    }
}

impl<'a> Section<'a> {
    pub(super) fn new(name: &str, table: Option<&'a DeTable<'a>>, report: &'a Report<'a>) -> Self {
        if let Some(table) = table {
            for (key, _) in table {
                report.place(name, key.get_ref(), key.span());
            }
        }
        Self {
            name: name.to_owned(),
            table,
            asked: RefCell::default(),
            report,
        }
    }

    pub(super) fn is_present(&self) -> bool {
        self.table.is_some()
    }

    /// The raw value; marks the key as known.
    pub(super) fn raw(&self, key: &'static str) -> Option<&'a Spanned<DeValue<'a>>> {
        self.asked.borrow_mut().push(key);
        self.table?.get(key)
    }

    pub(super) fn fault(&self, key: &str, found: impl Into<String>, write: impl Into<String>) {
        self.report.fault(&self.name, key, found, write);
    }

    pub(super) fn warn(&self, key: &str, found: impl Into<String>, write: impl Into<String>) {
        self.report.warn(&self.name, key, found, write);
    }

    /// A sub-section, e.g. `[line.bending_life]`.
    pub(super) fn sub(&self, key: &'static str) -> Section<'a> {
        let name = format!("{}.{key}", self.name);
        let table = self.raw(key).and_then(|value| {
            self.report.place(&name, "", value.span());
            let table = value.get_ref().as_table();
            if table.is_none() {
                self.fault(key, shown(value.get_ref()), format!("a section [{name}]"));
            }
            table
        });
        Section::new(&name, table, self.report)
    }

    /// A repeated sub-section, e.g. `[[line.sheave]]`.
    pub(super) fn list(&self, key: &'static str) -> Vec<Section<'a>> {
        let name = if self.name.is_empty() {
            key.to_owned()
        } else {
            format!("{}.{key}", self.name)
        };
        let Some(value) = self.raw(key) else {
            return Vec::new();
        };
        let entries: Vec<&'a Spanned<DeValue<'a>>> = match value.get_ref() {
            DeValue::Array(array) => array.iter().collect(),
            // A single [joint] instead of [[joint]] is clear enough.
            DeValue::Table(_) => vec![value],
            other => {
                self.fault(
                    key,
                    shown(other),
                    format!("one or more sections [[{name}]]"),
                );
                return Vec::new();
            }
        };
        let mut sections = Vec::new();
        for (position, entry) in entries.into_iter().enumerate() {
            let numbered = format!("{name} {}", position + 1);
            self.report.place(&numbered, "", entry.span());
            match entry.get_ref().as_table() {
                Some(table) => sections.push(Section::new(&numbered, Some(table), self.report)),
                None => self.report.fault(
                    &numbered,
                    "",
                    shown(entry.get_ref()),
                    format!("a section [[{name}]]"),
                ),
            }
        }
        sections
    }

    /// A quoted quantity; `None` when absent, NaN when it was there but wrong (and reported).
    pub(super) fn quantity(&self, key: &'static str, want: Dimension) -> Option<f64> {
        let value = self.raw(key)?.get_ref();
        if let DeValue::String(text) = value {
            return Some(parse_quantity(text, want).unwrap_or_else(|problem| {
                self.fault(key, problem, self.example(key, text, want));
                f64::NAN
            }));
        }
        match plain_number(value) {
            // Zero is zero in every unit.
            Some(0.0) => Some(0.0),
            Some(number) if number.is_finite() => {
                let text = shown(value);
                self.fault(
                    key,
                    format!("{text} without a unit"),
                    self.example(key, &text, want),
                );
                Some(f64::NAN)
            }
            _ => {
                self.fault(key, shown(value), self.example(key, "", want));
                Some(f64::NAN)
            }
        }
    }

    /// A quantity that must be there; NaN when it is not (and reported).
    pub(super) fn required(&self, key: &'static str, want: Dimension) -> f64 {
        self.quantity(key, want).unwrap_or_else(|| {
            self.fault(key, "nothing", self.example(key, "", want));
            f64::NAN
        })
    }

    /// A quantity with a default that is worth telling about.
    pub(super) fn assumed(&self, key: &'static str, want: Dimension, default: f64) -> f64 {
        self.quantity(key, want).unwrap_or_else(|| {
            self.warn(
                key,
                format!("nothing, so {} is assumed", want.show(default)),
                self.example(key, "", want),
            );
            default
        })
    }

    /// A plain number; also as text, also in percent ("12.5 %").
    pub(super) fn number(&self, key: &'static str) -> Option<f64> {
        self.number_or(key, || format!("a plain number, e.g. {key} = 0.2"))
    }

    fn number_or(&self, key: &'static str, write: impl Fn() -> String) -> Option<f64> {
        let value = self.raw(key)?.get_ref();
        let number = match value {
            DeValue::String(text) => match split_number(text.trim()) {
                Ok((number, rest)) => match rest.trim() {
                    "" => Some(number),
                    "%" | "percent" => Some(number / 100.0),
                    _ => None,
                },
                Err(_) => None,
            },
            other => plain_number(other),
        };
        match number {
            Some(number) if number.is_finite() => Some(number),
            _ => {
                self.fault(key, shown(value), write());
                Some(f64::NAN)
            }
        }
    }

    /// A ratio that may also be written in percent without saying so: 12.5 is 0.125.
    pub(super) fn ratio(&self, key: &'static str) -> Option<f64> {
        let value = self.number(key)?;
        if value <= 1.0 || value.is_nan() {
            return Some(value);
        }
        let part = value / 100.0;
        if part <= 1.0 {
            self.warn(
                key,
                format!("{value}, read as {value} %, which is {part}"),
                format!("{key} = {part} if that is meant"),
            );
        }
        Some(part)
    }

    /// A whole number within limits; `None` when absent or wrong (and reported).
    pub(super) fn whole(&self, key: &'static str, low: i64, high: i64) -> Option<i64> {
        let write = || format!("a whole number from {low} to {high}");
        let number = self.number_or(key, write)?;
        if number.is_nan() {
            return None;
        }
        if number.fract() == 0.0 && number >= low as f64 && number <= high as f64 {
            return Some(number as i64);
        }
        self.fault(key, format!("{number}"), write());
        None
    }

    /// A text; a bare number or truth value is taken as written.
    pub(super) fn text(&self, key: &'static str) -> Option<String> {
        let value = self.raw(key)?.get_ref();
        match value {
            DeValue::String(text) => Some(text.to_string()),
            DeValue::Integer(_) | DeValue::Float(_) => Some(shown(value)),
            other => {
                self.fault(key, shown(other), format!("a text, e.g. {key} = \"...\""));
                None
            }
        }
    }

    /// One of a few words; `None` when absent or wrong (and reported).
    pub(super) fn choice<T: Copy>(&self, key: &'static str, of: &[(&str, T)]) -> Option<T> {
        let text = self.text(key)?;
        let word = text.trim().to_ascii_lowercase().replace(['_', ' '], "-");
        if let Some((_, value)) = of.iter().find(|(name, _)| *name == word) {
            return Some(*value);
        }
        let list: Vec<String> = of.iter().map(|(name, _)| format!("\"{name}\"")).collect();
        self.fault(key, format!("\"{text}\""), list.join(" or "));
        None
    }

    /// Reports every key that nobody asked for.
    pub(super) fn finish(&self) {
        let Some(table) = self.table else { return };
        let asked = self.asked.borrow();
        for (key, _) in table {
            let word: &str = key.get_ref();
            if asked.contains(&word) {
                continue;
            }
            let near = nearest(word, asked.iter().copied());
            let what = if self.name.is_empty() {
                "section"
            } else {
                "key"
            };
            let write = match near {
                Some(near) => format!("\"{near}\" (the nearest known {what})"),
                None => {
                    let mut known = asked.clone();
                    known.sort_unstable();
                    known.dedup();
                    format!("one of the known {what}s: {}", known.join(", "))
                }
            };
            self.report.fault_at(
                key.span().start,
                &self.name,
                word,
                format!("an unknown {what}"),
                write,
                near,
            );
        }
    }

    /// `diameter = "0.108 in" (units: m, mm, ft, in)`, with the number that was found where it can be meant so.
    fn example(&self, key: &str, found: &str, want: Dimension) -> String {
        let units = want.units();
        let written =
            in_usual_unit(&self.name, key, found).unwrap_or_else(|| format!("... {}", units[0]));
        format!(
            "a quoted {} with its unit: {key} = \"{written}\" (units: {})",
            want.name(),
            units.join(", ")
        )
    }
}
