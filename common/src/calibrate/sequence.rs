//! Frame numbers: duplicated, re-ordered and missing frames.
//!
//! *Input*: the frame number of each reading of a channel, in order of arrival. *Output*: what it
//! says. *Limits*: counters of any width from one decimal digit up; a step back of more than
//! [`WINDOW`], a step back to 0, and two steps back that follow each other are taken for a counter
//! that wrapped or an instrument that restarted.

/// Largest step back that still counts as re-ordering.
pub const WINDOW: u64 = 16;

/// What a frame number says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Order {
    /// In order; so many numbers were skipped.
    Next {
        /// Numbers skipped.
        missing: u64,
    },
    /// Same number as before.
    Duplicate,
    /// Older than what was already seen.
    Reordered,
    /// The counter started afresh.
    Restart,
}

/// Frame numbers of one channel.
#[derive(Debug, Clone, Default)]
pub struct Sequence {
    newest: Option<u64>,
    previous: Option<u64>,
}

impl Sequence {
    /// Takes the number of the next reading.
    pub fn push(&mut self, number: u64) -> Order {
        let order = self.order(number);
        if matches!(order, Order::Next { .. } | Order::Restart) {
            self.newest = Some(number);
        }
        self.previous = Some(number);
        order
    }

    /// The port was opened anew: whatever comes is right.
    pub fn restart(&mut self) {
        *self = Self::default();
    }

    fn order(&self, number: u64) -> Order {
        let Some(newest) = self.newest else {
            return Order::Next { missing: 0 };
        };
        match number.checked_sub(newest) {
            // A leap by more than a million is a restart elsewhere, not a million lost frames.
            Some(ahead @ 1..=1_000_000) => Order::Next { missing: ahead - 1 },
            Some(0) => Order::Duplicate,
            Some(_) => Order::Restart,
            None => {
                let follows = self
                    .previous
                    .is_some_and(|previous| previous < newest && number == previous + 1);
                if number == 0 || follows || newest - number > WINDOW {
                    Order::Restart
                } else if self.previous == Some(number) {
                    Order::Duplicate
                } else {
                    Order::Reordered
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn orders(numbers: &[u64]) -> Vec<Order> {
        let mut sequence = Sequence::default();
        numbers
            .iter()
            .map(|&number| sequence.push(number))
            .collect()
    }

    const NEXT: Order = Order::Next { missing: 0 };

    #[test]
    fn missing_duplicate_and_reordered_frames_are_told_apart() {
        assert_eq!(
            orders(&[7, 8, 8, 11, 10, 12]),
            [
                NEXT,
                NEXT,
                Order::Duplicate,
                Order::Next { missing: 2 },
                Order::Reordered,
                NEXT
            ]
        );
    }

    #[test]
    fn wrapped_or_restarted_counter_is_taken_up_at_once() {
        assert_eq!(
            orders(&[u64::from(u32::MAX), 0, 1])[1..],
            [Order::Restart, NEXT]
        );
        assert_eq!(orders(&[5000, 3, 4])[1..], [Order::Restart, NEXT]);
        assert_eq!(orders(&[8, 9, 0, 1])[1..], [NEXT, Order::Restart, NEXT]);
    }

    #[test]
    fn short_counter_that_skips_zero_costs_one_reading() {
        assert_eq!(
            orders(&[9, 1, 2, 3])[1..],
            [Order::Reordered, Order::Restart, NEXT]
        );
    }
}
