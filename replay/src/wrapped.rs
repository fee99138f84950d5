//! Labelled lines of a summary that fit a terminal: long sentences go on under their beginning.

/// Columns of a terminal that is not small.
const COLUMNS: usize = 100;
/// Where what is said begins.
const INDENT: usize = 12;

/// "Zero        from 0:58:18 on the load cell ...", in lines of 100 columns at most unless a word is longer.
pub(crate) fn labelled(label: &str, text: &str) -> String {
    wrapped(format!("{label:INDENT$}"), INDENT, text)
}

/// A sentence by itself, of which the lines after the first go in by two.
pub(crate) fn sentence(text: &str) -> String {
    wrapped(String::new(), 2, text)
}

fn wrapped(begin: String, indent: usize, text: &str) -> String {
    let mut length = begin.chars().count();
    let mut lines = vec![begin];
    let mut is_first = true;
    for word in text.split(' ') {
        let more = word.chars().count();
        if !is_first && length + 1 + more > COLUMNS {
            lines.push(" ".repeat(indent));
            length = indent;
            is_first = true;
        }
        if let Some(line) = lines.last_mut() {
            if !is_first {
                line.push(' ');
                length += 1;
            }
            line.push_str(word);
        }
        length += more;
        is_first = false;
    }
    lines.join("\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_sentences_go_on_under_their_beginning_and_lose_nothing() {
        let words = vec!["eighteen"; 30].join(" ");
        let text = labelled("Zero", &words);
        assert!(text.starts_with("Zero        eighteen eighteen"));
        assert!(
            text.lines().all(|line| line.chars().count() <= 100),
            "{text}"
        );
        assert!(
            text.lines()
                .skip(1)
                .all(|line| line.starts_with("            eighteen"))
        );
        assert_eq!(
            text.split_whitespace().filter(|w| *w == "eighteen").count(),
            30
        );
        assert_eq!(
            labelled("Data", "nothing wrong"),
            "Data        nothing wrong"
        );
    }
}
