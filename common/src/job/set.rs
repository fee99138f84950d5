//! What-if: changing one value of a job file's text, e.g. `cutter.contact_pressure=1.1 GPa`.
//!
//! *Input -> output*: job text and one assignment -> new job text, everything else untouched.
//! *Limits*: repeated sections are counted from 1 (`joint.2.coupling`). The new text is not yet
//! checked: read it with [`super::read_job`].

use toml::de::{DeTable, DeValue};

/// Sets `section.key=value` in `text`.
///
/// # Errors
/// A sentence that says what is wrong with the assignment or with the text.
///
/// ```
/// use kerfwatch::job::apply_set;
/// let job = "[tool]\nmass = \"60 kg\" # with jars\n";
/// assert_eq!(apply_set(job, "tool.mass=75 kg")?, "[tool]\nmass = \"75 kg\" # with jars\n");
/// # Ok::<(), String>(())
/// ```
pub fn apply_set(text: &str, assignment: &str) -> Result<String, String> {
    let (path, value) = assignment.split_once('=').ok_or_else(|| {
        format!("\"{assignment}\" has no \"=\"; write e.g. cutter.contact_pressure=1.1 GPa")
    })?;
    let path: Vec<&str> = path.trim().split('.').map(str::trim).collect();
    let value = toml_value(value.trim())?;
    let is_word =
        |w: &&str| !w.is_empty() && w.chars().all(|c| c.is_ascii_alphanumeric() || c == '_');
    if !path.iter().all(is_word) {
        return Err(format!(
            "\"{}\" is not a key; write section.key, e.g. cutter.contact_pressure",
            path.join(".")
        ));
    }
    let document = DeTable::parse(text)
        .map_err(|error| format!("the job is not TOML: {}", error.message()))?;
    let changed = match place(document.get_ref(), &path)? {
        Place::Value(range) => replace(text, range, &value),
        Place::InsertAfter(at, key) => {
            // Behind the whole line, so that a comment there keeps its place.
            let end = text[at..].find('\n').map_or(text.len(), |n| at + n);
            replace(text, end..end, &format!("\n{key} = {value}"))
        }
        Place::NewSection(section, key) => {
            let line_end = if text.is_empty() || text.ends_with('\n') {
                ""
            } else {
                "\n"
            };
            format!("{text}{line_end}\n[{section}]\n{key} = {value}\n")
        }
        Place::Top(key) => format!("{key} = {value}\n{text}"),
    };
    DeTable::parse(&changed).map_err(|error| {
        format!(
            "\"{assignment}\" can't be written into this job: {}",
            error.message()
        )
    })?;
    Ok(changed)
}

enum Place {
    Value(std::ops::Range<usize>),
    InsertAfter(usize, String),
    NewSection(String, String),
    Top(String),
}

fn replace(text: &str, range: std::ops::Range<usize>, with: &str) -> String {
    format!("{}{with}{}", &text[..range.start], &text[range.end..])
}

/// Numbers, truth values and quoted texts stay; all else is quoted.
fn toml_value(value: &str) -> Result<String, String> {
    if value.is_empty() {
        return Err("nothing behind the \"=\"".to_owned());
    }
    let quoted = value.len() >= 2
        && ((value.starts_with('"') && value.ends_with('"'))
            || (value.starts_with('\'') && value.ends_with('\'')));
    if quoted || value == "true" || value == "false" || value.parse::<f64>().is_ok() {
        return Ok(value.to_owned());
    }
    Ok(toml::Value::String(value.to_owned()).to_string())
}

fn place(root: &DeTable<'_>, path: &[&str]) -> Result<Place, String> {
    let (&key, above) = path.split_last().ok_or("an empty key")?;
    let mut table = root;
    for (depth, &name) in above.iter().enumerate() {
        let here = above[..=depth].join(".");
        let Some(next) = (if name.bytes().all(|b| b.is_ascii_digit()) {
            return Err(format!("\"{here}\" is not a repeated section"));
        } else {
            table.get(name)
        }) else {
            if above.iter().any(|n| n.bytes().all(|b| b.is_ascii_digit())) {
                return Err(format!("there is no [[{here}]] in the job"));
            }
            return Ok(Place::NewSection(above.join("."), key.to_owned()));
        };
        table = match next.get_ref() {
            DeValue::Table(inner) => inner,
            DeValue::Array(entries) => {
                let number = above.get(depth + 1).or(Some(&key));
                let number: usize = number.and_then(|n| n.parse().ok()).ok_or_else(|| {
                    format!("\"{here}\" is repeated; write which, counted from 1: {here}.1.{key}")
                })?;
                let entry = number
                    .checked_sub(1)
                    .and_then(|index| entries.get(index))
                    .ok_or_else(|| {
                        format!("there are {} [[{here}]], no number {number}", entries.len())
                    })?;
                let inner = entry
                    .get_ref()
                    .as_table()
                    .ok_or_else(|| format!("\"{here}\" holds no sections"))?;
                let rest = &path[depth + 2..];
                return match rest {
                    [last] => Ok(in_table(inner, last, entry.span().start)),
                    _ => Err(format!("write {here}.{number}.key")),
                };
            }
            _ => return Err(format!("\"{here}\" is a value, not a section")),
        };
        if depth + 1 == above.len() {
            return Ok(in_table(table, key, next.span().start));
        }
    }
    Ok(match root.get(key) {
        Some(value) => Place::Value(value.span()),
        None => Place::Top(key.to_owned()),
    })
}

/// `header`: a byte of the section's header line.
fn in_table(table: &DeTable<'_>, key: &str, header: usize) -> Place {
    match table.get(key) {
        Some(value) => Place::Value(value.span()),
        None => {
            // Behind the last plain value of this section, else behind its header.
            let last = table
                .iter()
                .filter(|(_, value)| {
                    !matches!(value.get_ref(), DeValue::Table(_) | DeValue::Array(_))
                })
                .map(|(_, value)| value.span().end)
                .max();
            Place::InsertAfter(last.unwrap_or(header), key.to_owned())
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job::{print_default_job, read_job};

    fn set(text: &str, assignment: &str) -> String {
        apply_set(text, assignment).unwrap_or_else(|e| panic!("{assignment}: {e}"))
    }

    #[test]
    fn a_value_is_replaced_and_its_comment_kept() {
        let text = set(
            "[line]\nfriction_up = 0.2 # start\n",
            "line.friction_up=0.3",
        );
        assert_eq!(text, "[line]\nfriction_up = 0.3 # start\n");
    }

    #[test]
    fn a_key_that_was_left_out_is_added_to_its_section() {
        let text = set(
            "[cutter]\nwheels = 3 # in line\n[tool]\n",
            "cutter.reach = 9 mm",
        );
        assert_eq!(
            text,
            "[cutter]\nwheels = 3 # in line\nreach = \"9 mm\"\n[tool]\n"
        );
        let text = set("[cutter]\n[tool]\n", "cutter.reach=9 mm");
        assert_eq!(text, "[cutter]\nreach = \"9 mm\"\n[tool]\n");
    }

    #[test]
    fn a_section_that_was_left_out_is_added() {
        assert_eq!(
            set("[a]\nb = 1", "line.bending_life.cycles=5000"),
            "[a]\nb = 1\n\n[line.bending_life]\ncycles = 5000\n"
        );
        assert_eq!(
            set("[a]\n", "tubular=7 in 23 lb/ft"),
            "tubular = \"7 in 23 lb/ft\"\n[a]\n"
        );
    }

    #[test]
    fn repeated_sections_are_counted_from_one() {
        let text = "[[joint]]\ncoupling = \"1 m\"\n[[joint]]\ncoupling = \"2 m\"\n";
        assert_eq!(
            set(text, "joint.2.coupling=3 m"),
            "[[joint]]\ncoupling = \"1 m\"\n[[joint]]\ncoupling = \"3 m\"\n"
        );
        assert!(
            apply_set(text, "joint.3.coupling=3 m")
                .expect_err("two only")
                .contains("there are 2")
        );
        assert!(
            apply_set(text, "joint.coupling=3 m")
                .expect_err("which")
                .contains("repeated")
        );
        assert!(apply_set(text, "joint.2=3 m").is_err());
        assert!(apply_set(text, "survey.1.inc=3 deg").is_err());
    }

    #[test]
    fn the_changed_job_reads_with_the_new_value() {
        let text = set(print_default_job(), "cutter.contact_pressure=1.1 GPa");
        let text = set(&text, "line.sheave.2.diameter=20 in");
        let job = read_job(&text, "job.toml")
            .unwrap_or_else(|f| panic!("{f}"))
            .job;
        assert_eq!(job.cutter.contact_pressure.map(|p| p.si()), Some(1.1e9));
        assert!((job.line.sheaves[1].diameter.si() - 0.508).abs() < 1e-12);
    }

    #[test]
    fn a_malformed_assignment_says_what_to_write() {
        for bad in [
            "cutter.reach",
            "=3",
            "cutter.reach=",
            "cutter..reach=3",
            "cutter.wheels.x=1",
            ".=.",
        ] {
            assert!(apply_set("[cutter]\nwheels = 3\n", bad).is_err(), "{bad}");
        }
    }
}
