//! Tests of the recording.

mod codecs;
mod damage;
mod disk;
mod following;
mod histories;
mod layout;
mod roundtrip;
mod sizes;
mod syncs;
