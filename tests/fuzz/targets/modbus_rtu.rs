//! Answers of polled devices.
#![no_main]

use kerfwatch::decode::fuzz;

libfuzzer_sys::fuzz_target!(|data: &[u8]| {
    fuzz::modbus_answers(data);
});
