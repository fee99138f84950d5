//! Labelled lines of a summary that fit a terminal: long sentences go on under their beginning.

/// Columns of a terminal that is not small.
const COLUMNS: usize = 100;
/// Where what is said begins.
const INDENT: usize = 12;

/// "Zero        from 0:58:18 on the load cell ...", in lines of 100 columns at most unless a word is longer.
pub(crate) fn labelled(label: &str, text: &str) -> String {
    let mut lines = vec![format!("{label:INDENT$}")];
    let mut length = INDENT;
    for word in text.split(' ') {
        let more = word.chars().count();
        let begins = length == INDENT;
        if !begins && length + 1 + more > COLUMNS {
            lines.push(" ".repeat(INDENT));
            length = INDENT;
        }
        if let Some(line) = lines.last_mut() {
            if length > INDENT {
                line.push(' ');
                length += 1;
            }
            line.push_str(word);
        }
        length += more;
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
