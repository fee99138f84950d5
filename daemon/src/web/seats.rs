//! Room for those who ask, none for those who only hold a connection.
//!
//! Each connection takes one of [`SEATS`] seats: what the page may cost in file descriptors, so that whoever opens
//! hundreds of connections cannot keep the record from its next segment or a lost port from coming back. When all are
//! taken, whoever comes gets the seat of the one that has asked for nothing the longest; after these, of the one whose
//! answer has been in the making the longest. Streams keep theirs: they are fewer ([`STREAMS_MAX`]), so there is always
//! a seat to be had. The crew's request is the newest of all and takes milliseconds, so that a crowd clears away its
//! own.
//!
//! | a connection | ends |
//! |---|---|
//! | waits for its first or next request, or for the body of one | after [`super::PATIENCE`], or when crowded out |
//! | takes an answer | the same, from the last byte it took |
//! | has an answer in the making | when crowded out and nobody waits |
//! | follows the stream | by itself, or when it takes nothing ([`super::socket`]) |

use super::stream::STREAMS_MAX;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::task::{Context, Waker};
use tokio::time::Instant;

/// Connections at a time.
pub(crate) const SEATS: usize = 128;
const _: () = assert!(STREAMS_MAX + 16 < SEATS as u64);

/// In the order in which seats are taken away.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Doing {
    Waiting,
    Answering,
    Streaming,
}

#[derive(Debug)]
struct State {
    doing: Doing,
    since: Instant,
    is_given_up: bool,
    /// Of the connection, to tell it that its seat is gone.
    waker: Option<Waker>,
}

/// Of one connection.
#[derive(Debug)]
pub(crate) struct Seat(Mutex<State>);

/// What a connection that has nothing to read is to do.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum Verdict {
    /// Its seat is gone.
    Leave,
    /// Leave when nothing has come for the page's patience since then.
    WaitSince(Instant),
    /// Nothing is expected of the other end.
    Stay,
}

impl Seat {
    fn new() -> Self {
        Self(Mutex::new(State {
            doing: Doing::Waiting,
            since: Instant::now(),
            is_given_up: false,
            waker: None,
        }))
    }

    fn lock(&self) -> MutexGuard<'_, State> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn does(&self, doing: Doing) {
        let mut state = self.lock();
        (state.doing, state.since) = (doing, Instant::now());
    }

    /// The head of a request has come; the rest of it too, if `is_whole`.
    pub(crate) fn is_asked(&self, is_whole: bool) {
        self.does(match is_whole {
            true => Doing::Answering,
            false => Doing::Waiting,
        });
    }

    /// The answer is ready to be taken; that of a stream has only begun.
    pub(crate) fn has_answered(&self) {
        if self.lock().doing != Doing::Streaming {
            self.does(Doing::Waiting);
        }
    }

    /// The other end has taken something.
    pub(crate) fn moves(&self) {
        self.lock().since = Instant::now();
    }

    /// Follows the stream until what is returned is dropped.
    pub(crate) fn follows(self: Arc<Self>) -> Follows {
        self.does(Doing::Streaming);
        Follows(self)
    }

    pub(crate) fn is_given_up(&self) -> bool {
        self.lock().is_given_up
    }

    /// Asked by the connection itself, which is woken when the seat is taken away.
    pub(crate) fn verdict(&self, context: &Context<'_>) -> Verdict {
        let mut state = self.lock();
        match &mut state.waker {
            Some(waker) => waker.clone_from(context.waker()),
            none => *none = Some(context.waker().clone()),
        }
        match (state.is_given_up, state.doing) {
            (true, _) => Verdict::Leave,
            (false, Doing::Waiting) => Verdict::WaitSince(state.since),
            (false, _) => Verdict::Stay,
        }
    }

    /// The least goes first; `None`: may not be taken away.
    fn rank(&self) -> Option<(Doing, Instant)> {
        let state = self.lock();
        (state.doing != Doing::Streaming).then_some((state.doing, state.since))
    }

    fn give_up(&self) {
        let mut state = self.lock();
        state.is_given_up = true;
        if let Some(waker) = state.waker.take() {
            waker.wake();
        }
    }
}

/// While it lives, its connection follows the stream.
#[derive(Debug)]
pub(crate) struct Follows(Arc<Seat>);

impl Drop for Follows {
    fn drop(&mut self) {
        self.0.does(Doing::Waiting);
    }
}

/// All seats of the page.
#[derive(Debug, Default)]
pub(crate) struct Seats(Mutex<Vec<Arc<Seat>>>);

impl Seats {
    /// A seat, and whether another connection had to leave for it. `None`: all are taken by streams.
    pub(crate) fn take(&self) -> Option<(Arc<Seat>, bool)> {
        let mut taken = self.lock();
        let is_full = taken.len() >= SEATS;
        if is_full {
            let ranks = taken.iter().enumerate();
            let (_, first) = ranks
                .filter_map(|(n, seat)| Some((seat.rank()?, n)))
                .min()?;
            taken.swap_remove(first).give_up();
        }
        let seat = Arc::new(Seat::new());
        taken.push(Arc::clone(&seat));
        Some((seat, is_full))
    }

    /// The connection has ended.
    pub(crate) fn leave(&self, seat: &Arc<Seat>) {
        self.lock().retain(|other| !Arc::ptr_eq(other, seat));
    }

    fn lock(&self) -> MutexGuard<'_, Vec<Arc<Seat>>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn full(seats: &Seats) -> Vec<Arc<Seat>> {
        (0..SEATS)
            .map(|_| {
                let (seat, is_crowded) = seats.take().unwrap();
                assert!(!is_crowded);
                seat
            })
            .collect()
    }

    #[test]
    fn whoever_has_asked_for_nothing_the_longest_leaves_first() {
        let seats = Seats::default();
        let all = full(&seats);
        all[0].is_asked(true);
        all[1].is_asked(false);
        let _stream = Arc::clone(&all[2]).follows();
        all[2].has_answered();
        let newcomer = seats.take().unwrap();
        assert!(newcomer.1);
        let gone = |all: &[Arc<Seat>]| -> Vec<usize> {
            (0..all.len()).filter(|&n| all[n].is_given_up()).collect()
        };
        assert_eq!(gone(&all), [3]);
        // Newcomers that ask for nothing leave before the answer in the making, those that were here before first.
        for _ in 0..SEATS {
            seats.take().unwrap();
        }
        let rest: Vec<usize> = (1..SEATS).filter(|&n| n != 2).collect();
        assert_eq!(gone(&all), rest);
        assert!(newcomer.0.is_given_up());
    }

    #[test]
    fn a_stream_keeps_its_seat_and_one_that_has_ended_does_not() {
        let seats = Seats::default();
        let all = full(&seats);
        let mut streams: Vec<_> = all.iter().map(|seat| Arc::clone(seat).follows()).collect();
        assert!(seats.take().is_none());
        streams.pop();
        assert!(seats.take().is_some_and(|(_, is_crowded)| is_crowded));
        assert!(all[SEATS - 1].is_given_up());
    }

    #[test]
    fn a_seat_that_was_left_is_free() {
        let seats = Seats::default();
        let all = full(&seats);
        seats.leave(&all[5]);
        assert!(!seats.take().unwrap().1);
        assert!(seats.take().unwrap().1);
    }

    #[test]
    fn a_connection_waits_for_requests_only() {
        let seat = Arc::new(Seat::new());
        let context = Context::from_waker(Waker::noop());
        let waits = |seat: &Seat| matches!(seat.verdict(&context), Verdict::WaitSince(_));
        assert!(waits(&seat));
        seat.is_asked(true);
        assert_eq!(seat.verdict(&context), Verdict::Stay);
        seat.has_answered();
        assert!(waits(&seat));
        let follows = Arc::clone(&seat).follows();
        seat.has_answered();
        assert_eq!(seat.verdict(&context), Verdict::Stay);
        drop(follows);
        assert!(waits(&seat));
        seat.give_up();
        assert_eq!(seat.verdict(&context), Verdict::Leave);
    }
}
