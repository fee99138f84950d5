//! Tables of samples and of marks.
#![no_main]

use kerfwatch_replay::import::fuzz;

libfuzzer_sys::fuzz_target!(|data: &[u8]| {
    fuzz::csv_text(data);
});
