//! Bytes from which a format is proposed.
#![no_main]

use kerfwatch::decode::fuzz;

libfuzzer_sys::fuzz_target!(|data: &[u8]| {
    fuzz::learned_bytes(data);
});
