//! The first line of a CSV file: which column is which, or what to do about it.

use super::number::trim;
use super::shown::shown;
use crate::failure::Finding;

/// Where the three wanted columns are.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Columns {
    /// Position of each wanted column, in the order asked for.
    pub(crate) at: Vec<usize>,
    /// Cells in the header.
    pub(crate) count: usize,
}

/// Looks at the first bytes of a file: is it text in UTF-8 at all?
pub(crate) fn check_kind(file: &str, first: &[u8]) -> Result<(), Finding> {
    let (what, remedy) = if first.is_empty() {
        (
            "the file is empty",
            "check that the logger wrote it and that the copy is complete",
        )
    } else if first.starts_with(&[0x1f, 0x8b]) {
        (
            "the file is compressed (gzip)",
            "unpack it first: gunzip FILE.gz",
        )
    } else if first.starts_with(b"PK\x03\x04") {
        (
            "the file is a spreadsheet or zip archive",
            "save the sheet as CSV (comma separated, UTF-8)",
        )
    } else if first.starts_with(&[0xff, 0xfe]) || first.starts_with(&[0xfe, 0xff]) {
        (
            "the file is UTF-16 text",
            "save it as UTF-8, or: iconv -f UTF-16 -t UTF-8 FILE > NEW.csv",
        )
    } else if first.contains(&b'\r') && !first.contains(&b'\n') {
        (
            "its lines end with carriage returns only",
            "give it the line ends of this system: tr '\\r' '\\n' < FILE > NEW.csv",
        )
    } else if first.contains(&0) {
        (
            "the file is not text (it has zero bytes)",
            "export the record as CSV text, UTF-8",
        )
    } else if first
        .iter()
        .any(|b| b.is_ascii_control() && !b"\t\n\r\x0c".contains(b))
    {
        (
            "the file is not text (it has control characters)",
            "export the record as CSV text, UTF-8",
        )
    } else {
        return Ok(());
    };
    Err(Finding::new(file, what, remedy))
}

/// Finds the wanted columns in the header line (without line end). Any order, extra columns,
/// capitals, blanks and quotes are accepted. `row`: the line after it, to see how numbers are written.
pub(crate) fn find_columns(
    file: &str,
    line_number: u64,
    header: &[u8],
    wanted: &[&str],
    row: Option<&[u8]>,
) -> Result<Columns, Vec<Finding>> {
    let names = names(header, b',');
    if let Some(found) = separated_otherwise(header, wanted) {
        let (decimals, points) = if row.is_some_and(|row| row.contains(&b',')) {
            (", and decimals by a comma", " and points in numbers")
        } else {
            ("", "")
        };
        return Err(vec![
            Finding::new(
                file,
                format!("columns are separated by {found}{decimals}"),
                format!("write commas between columns{points}: {}", wanted.join(",")),
            )
            .at(line_number),
        ]);
    }
    let mut at = Vec::new();
    let mut findings = Vec::new();
    for want in wanted {
        let places: Vec<usize> = (0..names.len()).filter(|&i| names[i] == *want).collect();
        match places.as_slice() {
            [place] => at.push(*place),
            [] => findings.push(
                Finding::new(
                    file,
                    format!("this column is missing; found: {}", listed(&names)),
                    remedy_for(want, &names, wanted),
                )
                .at(line_number)
                .field(*want),
            ),
            _ => findings.push(
                Finding::new(
                    file,
                    format!("this column is there {} times", places.len()),
                    "keep one, rename the others",
                )
                .at(line_number)
                .field(*want),
            ),
        }
    }
    if findings.is_empty() {
        Ok(Columns {
            at,
            count: names.len(),
        })
    } else {
        Err(findings)
    }
}

fn names(header: &[u8], delimiter: u8) -> Vec<String> {
    header
        .split(|&b| b == delimiter)
        .map(|cell| String::from_utf8_lossy(trim(cell)).to_lowercase())
        .collect()
}

/// Names the delimiter when the header makes sense with another one than a comma.
fn separated_otherwise(header: &[u8], wanted: &[&str]) -> Option<&'static str> {
    [(b';', "semicolons"), (b'\t', "tabs"), (b'|', "bars")]
        .into_iter()
        .find(|&(delimiter, _)| {
            let names = names(header, delimiter);
            names.len() > 1 && wanted.iter().any(|want| names.iter().any(|n| n == want))
        })
        .map(|(_, name)| name)
}

fn listed(names: &[String]) -> String {
    let quoted = names.iter().map(|n| format!("`{}`", shown(n.as_bytes())));
    let mut text: Vec<String> = quoted.take(12).collect();
    if names.len() > 12 {
        text.push(format!("and {} more", names.len() - 12));
    }
    text.join(", ")
}

/// Says how to put a missing column right, looking at what is there instead.
fn remedy_for(want: &str, names: &[String], wanted: &[&str]) -> String {
    if names.iter().any(|n| n.parse::<f64>().is_ok()) {
        return format!(
            "the first line holds numbers: put the header line before it: {}",
            wanted.join(",")
        );
    }
    let stem = want.split('_').next().unwrap_or(want);
    let kin: &[&str] = match stem {
        "load" => &["load", "tension", "weight", "pull"],
        "depth" => &["depth", "dept", "length", "line"],
        "time" => &["time", "date", "second", "elapsed"],
        _ => &[stem],
    };
    let like = names
        .iter()
        .find(|n| kin.iter().any(|k| n.contains(k)) && !wanted.contains(&n.as_str()));
    let unit = match want {
        "load_n" => "line tension in newtons (1 lbf = 4.4482216 N)",
        "depth_m" => "line paid out in metres (1 ft = 0.3048 m)",
        "time_s" => "seconds from the start of the run",
        "mark" => "cutter_out, cutter_in, weight_check, reference_depth:1502.4 m or note:TEXT",
        _ => "see the help",
    };
    match like {
        Some(like) => {
            let like = shown(like.as_bytes());
            format!("if `{like}` is meant, rename it to `{want}` and give {unit}")
        }
        None => format!("add a column `{want}`: {unit}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const WANTED: [&str; 3] = ["time_s", "load_n", "depth_m"];

    fn find(header: &str) -> Result<Columns, Vec<Finding>> {
        find_columns("a.csv", 1, header.as_bytes(), &WANTED, None)
    }

    #[test]
    fn order_extras_capitals_and_quotes_are_accepted() {
        let columns = find("unit, Depth_M ,\"LOAD_N\",x,time_s").unwrap();
        assert_eq!(columns.at, [4, 2, 1]);
        assert_eq!(columns.count, 5);
    }

    #[test]
    fn missing_column_names_what_is_there_and_the_remedy() {
        let findings = find("time_s,tension_lbf,depth_m").unwrap_err();
        assert_eq!(
            findings[0].to_string(),
            "a.csv:1: load_n: this column is missing; found: `time_s`, `tension_lbf`, `depth_m`\n  \
             remedy: if `tension_lbf` is meant, rename it to `load_n` and give line tension in \
             newtons (1 lbf = 4.4482216 N)"
        );
    }

    #[test]
    fn semicolons_and_absent_headers_are_explained() {
        let findings = find("time_s;load_n;depth_m").unwrap_err();
        assert!(findings[0].problem.contains("semicolons"), "{findings:?}");
        assert!(findings[0].remedy.contains("time_s,load_n,depth_m"));
        let findings = find("0.0,2000.1,1200.0").unwrap_err();
        assert!(findings[0].remedy.contains("put the header line before it"));
        let findings = find("time_s,load_n,load_n").unwrap_err();
        assert_eq!(findings.len(), 2);
    }

    #[test]
    fn decimals_are_blamed_only_where_the_first_row_has_commas() {
        let found = |row: &str| {
            let header = b"time_s\tload_n\tdepth_m";
            let findings = find_columns("a.csv", 1, header, &WANTED, Some(row.as_bytes()));
            findings.unwrap_err()[0].to_string()
        };
        assert_eq!(
            found("0.5\t2000.5\t1200.0"),
            "a.csv:1: columns are separated by tabs\n  remedy: write commas between columns: time_s,load_n,depth_m"
        );
        assert_eq!(
            found("0,5\t2000,5\t1200,0"),
            "a.csv:1: columns are separated by tabs, and decimals by a comma\n  remedy: write commas between columns \
             and points in numbers: time_s,load_n,depth_m"
        );
    }

    #[test]
    fn files_that_are_not_text_are_named_for_what_they_are() {
        for (bytes, word) in [
            (&b""[..], "empty"),
            (&[0x1f, 0x8b, 8][..], "gzip"),
            (b"PK\x03\x04", "spreadsheet"),
            (&[0xff, 0xfe, b't', 0], "UTF-16"),
            (&[b't', 0, 1], "zero bytes"),
            (b"time_s,load_n,depth_m\r0,1,2\r", "carriage returns"),
            (b"\x89PNG\r\n\x1a\n", "control characters"),
        ] {
            let finding = check_kind("f", bytes).unwrap_err();
            assert!(finding.problem.contains(word), "{finding}");
        }
        assert!(check_kind("f", b"time_s").is_ok());
    }
}
