//! Job files; each that is read must carry a pipeline.
#![no_main]

use kerfwatch::input::{ChannelId, Input};
use kerfwatch::job::fuzz;
use kerfwatch::pipeline::Pipeline;

libfuzzer_sys::fuzz_target!(|data: &[u8]| {
    let Some(job) = fuzz::job_text(data) else {
        return;
    };
    let mut pipeline = Pipeline::new(&job);
    let mut events = Vec::new();
    for n in 0..4 {
        let at = n * 100_000_000;
        for (channel, value) in [(ChannelId::Load, 3000.0), (ChannelId::Depth, 2010.0)] {
            pipeline.push(&Input::Reading { channel, at, value }, &mut events);
        }
        pipeline.push(&Input::Tick { at }, &mut events);
    }
});
