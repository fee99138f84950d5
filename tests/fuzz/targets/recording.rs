//! Segments of a run folder: any bytes, valid blocks with any content, payloads.
#![no_main]

use kerfwatch::recording::{fuzz_blocks, fuzz_payload, fuzz_segment};

libfuzzer_sys::fuzz_target!(|data: &[u8]| {
    let Some((way, rest)) = data.split_first() else {
        return;
    };
    match way % 3 {
        0 => fuzz_segment(rest),
        1 => fuzz_blocks(rest),
        _ => fuzz_payload(rest),
    }
});
