//! A queue of bytes that moves them in slices: a pull of the journal goes through one byte by byte
//! otherwise, and the core has some 200 cycles for each.

/// A queue of at most `N` bytes.
#[derive(Clone, Debug)]
pub struct ByteQueue<const N: usize> {
    bytes: [u8; N],
    /// Place of the first byte; below `N`.
    first: usize,
    /// Bytes held; at most `N`.
    held: usize,
}

impl<const N: usize> Default for ByteQueue<N> {
    fn default() -> Self {
        Self::new()
    }
}

impl<const N: usize> ByteQueue<N> {
    /// An empty queue.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            bytes: [0; N],
            first: 0,
            held: 0,
        }
    }

    /// Bytes that it still takes.
    #[must_use]
    pub const fn room(&self) -> usize {
        N - self.held
    }

    /// Whether nothing is in it.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.held == 0
    }

    /// Drops everything.
    pub const fn clear(&mut self) {
        self.first = 0;
        self.held = 0;
    }

    /// Takes as many of `from` as there is room for, and says how many.
    pub fn push(&mut self, from: &[u8]) -> usize {
        let count = from.len().min(self.room());
        let (now, later) = from.get(..count).unwrap_or_default().split_at(
            // Up to the end of the array, then from its start.
            count.min(N - self.end_before_wrap()),
        );
        let start = self.end_before_wrap();
        copy(self.bytes.get_mut(start..), now);
        copy(self.bytes.get_mut(..), later);
        self.held += count;
        count
    }

    /// Copies the first bytes without taking them, and says how many.
    pub fn peek(&self, into: &mut [u8]) -> usize {
        let count = into.len().min(self.held);
        let (now, later) = into
            .get_mut(..count)
            .unwrap_or_default()
            .split_at_mut(count.min(N - self.first));
        let length = now.len();
        copy(
            Some(now),
            self.bytes
                .get(self.first..self.first + length)
                .unwrap_or_default(),
        );
        let length = later.len();
        copy(Some(later), self.bytes.get(..length).unwrap_or_default());
        count
    }

    /// Drops the first bytes, at most `count`.
    pub const fn drop_first(&mut self, count: usize) {
        let count = if count < self.held { count } else { self.held };
        self.held -= count;
        self.first = if self.first + count >= N {
            self.first + count - N
        } else {
            self.first + count
        };
    }

    /// Takes the first bytes, and says how many.
    pub fn take(&mut self, into: &mut [u8]) -> usize {
        let count = self.peek(into);
        self.drop_first(count);
        count
    }

    /// Place where the next byte goes.
    const fn end_before_wrap(&self) -> usize {
        if self.first + self.held >= N {
            self.first + self.held - N
        } else {
            self.first + self.held
        }
    }
}

fn copy(into: Option<&mut [u8]>, from: &[u8]) {
    if let Some(into) = into.and_then(|into| into.get_mut(..from.len())) {
        into.copy_from_slice(from);
    }
}

#[cfg(test)]
mod tests {
    use std::collections::VecDeque;

    use super::ByteQueue;

    #[test]
    fn it_does_as_a_queue_of_bytes_does_wherever_it_stands() {
        let mut queue = ByteQueue::<7>::new();
        let mut model = VecDeque::new();
        let mut next = 0_u8;
        for step in 0..2000_usize {
            let count = step * 5 % 9;
            let from: Vec<u8> = (0..count).map(|i| next.wrapping_add(i as u8)).collect();
            let taken = queue.push(&from);
            assert_eq!(taken, count.min(7 - model.len()));
            model.extend(&from[..taken]);
            next = next.wrapping_add(taken as u8);
            assert_eq!(queue.room(), 7 - model.len());
            assert_eq!(queue.is_empty(), model.is_empty());

            let mut into = [0; 5];
            let wanted = step * 3 % 6;
            let seen = queue.peek(&mut into[..wanted]);
            let expected: Vec<u8> = model.iter().take(wanted).copied().collect();
            assert_eq!(into[..seen], expected);
            assert_eq!(queue.take(&mut into[..wanted]), seen);
            assert_eq!(into[..seen], expected);
            model.drain(..seen);
        }
    }

    #[test]
    fn more_is_never_dropped_than_is_there() {
        let mut queue = ByteQueue::<4>::new();
        assert_eq!(queue.push(b"abc"), 3);
        queue.drop_first(9);
        assert!(queue.is_empty());
        assert_eq!(queue.push(b"wxyz5"), 4);
        let mut into = [0; 9];
        assert_eq!(queue.take(&mut into), 4);
        assert_eq!(into[..4], *b"wxyz");
        queue.push(b"q");
        queue.clear();
        assert!(queue.is_empty() && queue.room() == 4);
    }
}
