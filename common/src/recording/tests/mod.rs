//! Tests of the recording.

mod codecs;
mod damage;
mod disk;
mod histories;
mod roundtrip;
