//! Listens to a port at each likely line speed and proposes the job file lines that read it: for
//! `learn PORT`. What the bytes mean is worked out in [`kerfwatch::decode::learn`].
//!
//! Seven bits with parity are as long as eight without: read as 8N1, such an instrument shows its parity in the top
//! bit, so it is made out without listening again. 8E1 read as 8N1 comes through in part only; it has to be asked for.

use super::listen::{Heard, listen};
use super::{Clock, PortConfig};
use kerfwatch::decode::learn::{Proposal, propose, seven_bits};
use kerfwatch::job::{Framing, SerialLine};
use std::time::Duration;

/// Line speeds, the likeliest first.
pub const BAUDS: [u32; 8] = [9600, 19_200, 115_200, 38_400, 57_600, 4800, 2400, 1200];

/// What was learned.
#[derive(Debug, Clone)]
pub struct Learned {
    /// Speed and framing at which the bytes made sense.
    pub serial: SerialLine,
    /// What came at this speed.
    pub heard: Heard,
    /// How to read it, best first; empty when nothing made sense.
    pub proposals: Vec<Proposal>,
}

/// Listens at `baud`, or, if `None`, at each of [`BAUDS`] until the bytes make sense, for `time`
/// at each. Returns the speed that made most sense, even if that is none. `framing`: `None` for 8N1, or seven bits
/// with parity where the bytes show them.
pub async fn learn(
    address: &str,
    baud: Option<u32>,
    framing: Option<Framing>,
    time: Duration,
    clock: &Clock,
) -> Learned {
    let speeds: &[u32] = match &baud {
        // The speed of a network connection is not ours to choose.
        None if address.starts_with("tcp:") => &BAUDS[..1],
        None => &BAUDS,
        Some(one) => std::slice::from_ref(one),
    };
    let mut best: Option<Learned> = None;
    for &baud in speeds {
        let mut serial = SerialLine {
            baud,
            framing: framing.unwrap_or_default(),
        };
        let config = PortConfig {
            serial,
            ..PortConfig::new(0, address, baud, Clock::clone(clock))
        };
        let mut heard = listen(config, None, time, |_| {}).await;
        // What a device server passes on is not ours to take apart: it has to be set.
        if framing.is_none()
            && !address.starts_with("tcp:")
            && let Some((framing, bytes)) = seven_bits(&heard.beginning)
        {
            serial.framing = framing;
            heard.beginning = bytes;
        }
        let silent = !heard.opened || heard.bytes == 0;
        let proposals = propose(&heard.beginning);
        let share = proposals.first().map_or(0.0, |proposal| proposal.share);
        let better = best.as_ref().is_none_or(|best| {
            share > (best.proposals.first()).map_or(0.0, |proposal| proposal.share)
        });
        if better {
            best = Some(Learned {
                serial,
                heard,
                proposals,
            });
        }
        // A port that is silent at one speed is silent at all.
        if share > 0.9 || silent {
            break;
        }
    }
    best.unwrap_or(Learned {
        serial: SerialLine::default(),
        heard: Heard::default(),
        proposals: Vec::new(),
    })
}
