//! Requests to the page.
#![no_main]

use kerfwatchd::web::fuzz;

libfuzzer_sys::fuzz_target!(|data: &[u8]| {
    fuzz::request(data);
});
