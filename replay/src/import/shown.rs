//! Bytes of somebody's file as they may stand in a message: on one line, escaped, not too long.

/// Characters shown.
const CHARS_MAX: usize = 40;

/// The beginning of `bytes`, without blanks around it; control characters and what is no UTF-8 are escaped.
///
/// Looks at the first hundred bytes only, however long the cell is.
pub(crate) fn shown(bytes: &[u8]) -> String {
    let start = bytes.trim_ascii_start();
    let looked = &start[..start.len().min(100)];
    let mut text = String::new();
    for chunk in looked.utf8_chunks() {
        for c in chunk.valid().chars() {
            if c.is_control() {
                text.extend(c.escape_default());
            } else {
                text.push(c);
            }
        }
        for byte in chunk.invalid() {
            text.push_str(&format!("\\x{byte:02x}"));
        }
    }
    let is_cut = start.trim_ascii_end().len() > looked.len();
    match text.char_indices().nth(CHARS_MAX) {
        Some((end, _)) => format!("{}...", &text[..end]),
        None if is_cut => format!("{text}..."),
        None => text.trim_end().to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::shown;

    #[test]
    fn text_stays_and_the_rest_is_escaped_and_cut() {
        assert_eq!(shown(b" load_kn "), "load_kn");
        assert_eq!(shown("Tiefe °".as_bytes()), "Tiefe °");
        assert_eq!(shown(b"\x1b[31mred\xff\xfe"), "\\u{1b}[31mred\\xff\\xfe");
        let long = shown(&[0x80; 4000]);
        assert!(
            long.ends_with("...") && long.chars().count() == 43,
            "{long}"
        );
        assert_eq!(shown(&[b'a'; 40]), "a".repeat(40));
    }
}
