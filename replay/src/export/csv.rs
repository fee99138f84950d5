//! CSV: one table, header with units in the names, comma, point, LF.
//!
//! Numbers are written with the fewest digits that read back to the same `f64`: nothing is lost.
//! Missing values are empty cells. Quoting as in RFC 4180.

use super::{Export, Format};
use crate::failure::Failure;
use crate::table::{Table, Values, table};
use std::io::{self, Write};

/// The CSV format.
#[derive(Debug)]
pub struct Csv;

impl Format for Csv {
    fn write(&self, export: &Export<'_>, out: &mut dyn Write) -> Result<(), Failure> {
        write_table(&table(export.result, export.table), out)
            .map_err(|e| Failure::write("CSV file", e))
    }
}

/// Writes a table.
pub fn write_table(table: &Table, out: &mut dyn Write) -> io::Result<()> {
    let names: Vec<&str> = table.columns.iter().map(|c| c.name).collect();
    writeln!(out, "{}", names.join(","))?;
    for row in 0..table.rows() {
        for (i, column) in table.columns.iter().enumerate() {
            if i > 0 {
                out.write_all(b",")?;
            }
            match &column.values {
                Values::Real(v) => {
                    if let Some(x) = v[row] {
                        write!(out, "{x}")?;
                    }
                }
                Values::Whole(v) => write!(out, "{}", v[row])?,
                Values::Flag(v) => write!(out, "{}", v[row])?,
                Values::Word(v) => write_word(&v[row], out)?,
            }
        }
        out.write_all(b"\n")?;
    }
    Ok(())
}

fn write_word(word: &str, out: &mut dyn Write) -> io::Result<()> {
    if word.contains([',', '"', '\n', '\r']) {
        write!(out, "\"{}\"", word.replace('"', "\"\""))
    } else {
        out.write_all(word.as_bytes())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_with_commas_and_quotes_are_quoted() {
        let table = Table::default()
            .word(
                "kind",
                ["a,b".to_owned(), "say \"x\"".to_owned()].into_iter(),
            )
            .whole("n", [1, 2].into_iter());
        let mut out = Vec::new();
        write_table(&table, &mut out).unwrap();
        let text = String::from_utf8(out).unwrap();
        assert_eq!(text, "kind,n\n\"a,b\",1\n\"say \"\"x\"\"\",2\n");
    }
}
