//! The frame of a page: style, headings, tables. One file, no scripts, nothing loaded from elsewhere.

use super::svg::{DEFINITIONS, STYLE, escape};
use std::fmt::{Display, Write as _};

/// Greys and one accent; tables and figures do not break over pages when printed.
const PAGE_STYLE: &str = "
:root{color-scheme:light}
*{box-sizing:border-box}
body{margin:0 auto;padding:24px 28px 40px;max-width:900px;background:#fff;color:#1c1c1c;
font:14px/1.45 system-ui,-apple-system,'Segoe UI',Roboto,'Liberation Sans',sans-serif}
h1{font-size:24px;margin:0 0 2px}
h2{font-size:17px;margin:30px 0 8px;padding-top:10px;border-top:1px solid #ccc}
h3{font-size:14px;margin:14px 0 4px}
p{margin:6px 0 8px;max-width:46em}
.lead{font-size:15.5px;border-left:4px solid #0b5394;padding:6px 0 6px 12px;margin:14px 0}
.sub{color:#555;margin:0 0 12px}
.note{color:#555;font-size:12.5px}
.caution{border:1.5px solid #1c1c1c;padding:8px 12px;margin:14px 0}
table{border-collapse:collapse;margin:8px 0 10px;font-size:12.5px;width:100%}
th,td{padding:3px 7px;text-align:right;border-bottom:1px solid #ddd;vertical-align:top}
th{border-bottom:1.5px solid #777;font-weight:600;white-space:normal}
th:first-child,td:first-child,.left{text-align:left}
.words th,.words td{text-align:left}
td{font-variant-numeric:tabular-nums;white-space:nowrap}
table.facts td:last-child{white-space:normal}
table.facts{width:auto;min-width:55%}
table.facts td:last-child{text-align:left}
table.facts td:first-child{color:#555;white-space:nowrap}
tr.own td{font-weight:600;background:#f0f0f0}
figure{margin:10px 0 14px}
figcaption{color:#444;font-size:12.5px;margin-top:2px;max-width:60em}
.pair{display:grid;grid-template-columns:1fr 1fr;gap:14px}
.key{display:inline-block;width:26px;height:9px;margin:0 4px 0 10px;vertical-align:middle}
ul{margin:4px 0 8px;padding-left:20px;max-width:48em}
@page{size:A4;margin:14mm 13mm}
@media print{
body{padding:0;max-width:none;font-size:11.5px}
h1{font-size:20px}
h2{font-size:15px}
.lead{font-size:13px}
.note,figcaption,table{font-size:10.5px}
h2{break-after:avoid;margin-top:18px}
h3{break-after:avoid}
figure,tr,.caution,.lead,table.facts,table.short{break-inside:avoid}
.before{break-after:avoid}
thead{display:table-header-group}
p{orphans:3;widows:3}
}
@media screen and (max-width:640px){
body{padding:14px}
.pair{grid-template-columns:minmax(0,1fr)}
td,table.facts td:first-child{white-space:normal}
table.many,.many tbody,.many tr{display:block}
.many thead{display:none}
.many tr{border-bottom:1px solid #ccc;padding:4px 0}
.many td{display:inline-block;border:0;padding:1px 14px 1px 0;text-align:left}
.many td:first-child{display:block;font-weight:600}
.many td::before{content:attr(data-head) \" \";color:#555;font-weight:400}
.many td:empty{display:none}
.many tr.own{background:#f0f0f0}
.wide .plot{overflow-x:auto}
.wide svg{width:var(--width)}
.wide::before{content:\"swipe the plot sideways\";color:#555;font-size:12.5px}
}
";

/// Rows of a table that stays on one page.
const SHORT_ROWS: usize = 16;

/// Columns from which on a table is wider than a telephone.
const MANY_COLUMNS: usize = 4;
/// A plot drawn wider than this would have letters too small to read there.
const WIDE: f64 = 450.0;

/// Text for the page: markup escaped, a number not parted from its per cent sign.
fn set(text: &str) -> String {
    escape(text).replace(" %", "\u{a0}%")
}

/// Width that a plot is drawn for; nothing where it does not say.
fn width_of(svg: &str) -> f64 {
    let (_, rest) = svg.split_once("viewBox=\"0 0 ").unwrap_or_default();
    let number = rest.split(' ').next().unwrap_or_default();
    number.parse().unwrap_or(0.0)
}

/// A page under construction.
#[derive(Debug)]
pub(crate) struct Page {
    body: String,
}

impl Page {
    pub(crate) fn new(title: &str, subtitle: &str) -> Self {
        let body = format!(
            "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">\
             <meta name=\"viewport\" content=\"width=device-width,initial-scale=1\">\
             <title>{title}</title><style>{PAGE_STYLE}{STYLE}</style></head><body>{DEFINITIONS}\n\
             <header><h1>{title}</h1><p class=\"sub\">{subtitle}</p></header>\n<main>\n",
            title = escape(title),
            subtitle = escape(subtitle)
        );
        Self { body }
    }

    /// A section heading.
    pub(crate) fn heading(&mut self, text: &str) {
        let _ = writeln!(self.body, "<h2>{}</h2>", set(text));
    }

    /// A smaller heading.
    pub(crate) fn small_heading(&mut self, text: &str) {
        let _ = writeln!(self.body, "<h3>{}</h3>", set(text));
    }

    /// A paragraph; `class` may be empty.
    pub(crate) fn paragraph(&mut self, class: &str, text: &str) {
        let _ = writeln!(self.body, "<p class=\"{class}\">{}</p>", set(text));
    }

    /// Bullets.
    pub(crate) fn list(&mut self, items: impl IntoIterator<Item = impl Display>) {
        self.body.push_str("<ul>");
        for item in items {
            let _ = write!(self.body, "<li>{}</li>", set(&item.to_string()));
        }
        self.body.push_str("</ul>\n");
    }

    /// Names and values in two columns.
    pub(crate) fn facts(&mut self, facts: &[(&str, String)]) {
        self.body.push_str("<table class=\"facts\">");
        for (name, value) in facts {
            let _ = write!(
                self.body,
                "<tr><td>{}</td><td>{}</td></tr>",
                set(name),
                set(value)
            );
        }
        self.body.push_str("</table>\n");
    }

    /// A table; the first column is a name, the others are numbers. `strong` says which rows stand out.
    pub(crate) fn table(
        &mut self,
        head: &[&str],
        rows: &[Vec<String>],
        strong: impl Fn(usize) -> bool,
    ) {
        // A short table is not broken over pages. One of many columns is stacked where the screen is narrow: each
        // row a block, each cell with the name of its column.
        let many = head.len() >= MANY_COLUMNS;
        let class = match (rows.len() <= SHORT_ROWS, many) {
            (true, true) => " class=\"short many\"",
            (true, false) => " class=\"short\"",
            (false, true) => " class=\"many\"",
            (false, false) => "",
        };
        let _ = write!(self.body, "<table{class}><thead><tr>");
        for name in head {
            let _ = write!(self.body, "<th>{}</th>", set(name));
        }
        self.body.push_str("</tr></thead><tbody>");
        for (i, row) in rows.iter().enumerate() {
            let class = if strong(i) { " class=\"own\"" } else { "" };
            let _ = write!(self.body, "<tr{class}>");
            for (i, cell) in row.iter().enumerate() {
                let name = head.get(i).filter(|name| many && !name.is_empty());
                let name = name.map_or_else(String::new, |n| format!(" data-head=\"{}\"", set(n)));
                let _ = write!(self.body, "<td{name}>{}</td>", set(cell));
            }
            self.body.push_str("</tr>");
        }
        self.body.push_str("</tbody></table>\n");
    }

    /// A table of words: every column begins at its left.
    pub(crate) fn table_of_words(&mut self, head: &[&str], rows: &[Vec<String>]) {
        self.body.push_str("<div class=\"words\">");
        self.table(head, rows, |_| false);
        self.body.push_str("</div>\n");
    }

    /// A long list of short rows of words, in two halves side by side.
    pub(crate) fn columns_of_words(&mut self, head: &[&str], rows: &[Vec<String>]) {
        if rows.len() < 8 {
            return self.table_of_words(head, rows);
        }
        let (left, right) = rows.split_at(rows.len().div_ceil(2));
        self.body.push_str("<div class=\"pair\"><div>");
        self.table_of_words(head, left);
        self.body.push_str("</div><div>");
        self.table_of_words(head, right);
        self.body.push_str("</div></div>\n");
    }

    /// A figure with its caption. `svg` is ours, not text from outside.
    pub(crate) fn figure(&mut self, svg: &str, caption: &str) {
        let width = width_of(svg);
        let class = match width > WIDE {
            true => " class=\"wide\"",
            false => "",
        };
        let _ = writeln!(
            self.body,
            "<figure{class}><div class=\"plot\" style=\"--width:{width:.0}px\">{svg}</div><figcaption>{}</figcaption></figure>",
            set(caption)
        );
    }

    /// Two figures side by side.
    pub(crate) fn pair(&mut self, figures: &[(String, String)]) {
        self.body.push_str("<div class=\"pair\">");
        for (svg, caption) in figures {
            self.figure(svg, caption);
        }
        self.body.push_str("</div>\n");
    }

    /// The whole text.
    pub(crate) fn finish(self) -> String {
        self.body + "</main></body></html>\n"
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_table_of_many_columns_names_them_in_each_cell_for_narrow_screens() {
        let mut page = Page::new("title", "");
        let row: Vec<String> = ["1", "2", "3", "4"].map(str::to_owned).into();
        page.table(&["", "b", "c < d", "e"], &[row], |_| false);
        page.table(&["a", "b"], &[vec!["5".into(), "6".into()]], |_| false);
        let text = page.finish();
        let stacked = "<td>1</td><td data-head=\"b\">2</td><td data-head=\"c &lt; d\">3</td>";
        assert!(text.contains(stacked), "{text}");
        assert!(text.contains("<td>5</td><td>6</td>"), "{text}");
    }

    #[test]
    fn a_plot_wider_than_a_telephone_keeps_its_width_there() {
        let mut page = Page::new("title", "");
        page.figure("<svg viewBox=\"0 0 800 180\"></svg>", "wide");
        page.figure("<svg viewBox=\"0 0 400 220\"></svg>", "narrow");
        let text = page.finish();
        assert!(
            text.contains("<figure class=\"wide\"><div class=\"plot\" style=\"--width:800px\">")
        );
        assert!(text.contains("<figure><div class=\"plot\" style=\"--width:400px\">"));
    }
}
