//! Frames of our own binary packet.
#![no_main]

use kerfwatch::decode::fuzz;

libfuzzer_sys::fuzz_target!(|data: &[u8]| {
    fuzz::packet_frames(data);
});
