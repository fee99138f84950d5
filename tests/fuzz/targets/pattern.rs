//! Lines of text instruments, and the text of patterns.
#![no_main]

use kerfwatch::decode::fuzz;

libfuzzer_sys::fuzz_target!(|data: &[u8]| {
    fuzz::pattern_lines(data);
    fuzz::pattern_text(data);
});
