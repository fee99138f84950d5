//! Any text is read without panic.

use super::*;
use crate::job::fuzz::job_text;
use proptest::prelude::*;

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_text_is_read_without_panic(text in "\\PC{0,200}") {
        job_text(&[b"\0", text.as_bytes()].concat());
    }

    #[test]
    fn any_cut_of_the_sample_is_read_without_panic(from in 0usize..7000, length in 0usize..40, with in "\\PC{0,6}") {
        let text: Vec<char> = print_default_job().chars().collect();
        let from = from.min(text.len());
        let to = (from + length).min(text.len());
        let cut: String = text[..from].iter().copied().chain(with.chars()).chain(text[to..].iter().copied()).collect();
        job_text(&[b"\0", cut.as_bytes()].concat());
    }

    #[test]
    fn any_value_for_any_key_is_read_without_panic(line in 0usize..200, value in "[-+\"'0-9a-z. %/\\[\\]{}=,]{0,12}") {
        let text: String = print_default_job().lines().enumerate().map(|(n, text)| {
            match text.split_once(" = ") {
                Some((key, _)) if n == line => format!("{} = {value}\n", key.trim_start_matches('#')),
                _ => format!("{text}\n"),
            }
        }).collect();
        job_text(&[b"\0", text.as_bytes()].concat());
    }

    #[test]
    fn any_quantity_text_is_parsed_without_panic(text in "\\PC{0,24}") {
        for dimension in Dimension::ALL {
            if let Ok(si) = parse_quantity(&text, dimension) {
                prop_assert!(si.is_finite());
            }
        }
    }
}
