//! Tests of the recording.

mod roundtrip;
