//! Frames on their way from an interrupt to the loop, ten at a time.
//!
//! Handed over one by one, a frame at rest costs more on its way than in the sums. So the interrupt
//! writes it where the sums read it: lead by lead into the [`Block`] in hand, which goes to the
//! loop when it is full. What else a frame may be keeps its order:
//!
//! - a block holds frames of one kind: good ones with nothing applied, good ones with their marks,
//!   or one fault. Another kind sends the block off and begins the next. So the first frame at rest
//!   after anything else begins a block, and a window that begins there is made of whole ones;
//! - [`Packer::flush`] sends off what there is, for a converter that falls silent;
//! - a window may begin within a block all the same (voltage appears). [`Packer::cut_at`] then ends one
//!   block early, and the next ones are whole in the window, too.
//!
//! A frame waits for nine others at most, 2.25 ms. Nothing that must be quick waits here: the
//! interlocks look at every frame in the interrupt. Without a free block frames are dropped, and
//! their count goes before the next one that fits.
//!
//! Blocks go around in two queues, full ones and free ones, so nobody copies them and each has one
//! owner at any time.

use heapless::spsc::{Consumer, Producer, Queue};
use slotwise_core::sample::{AdcCode, Frame, FrameFault};
use slotwise_core::slots::LEADS;
use slotwise_core::stimulus::Applied;
use slotwise_core::window::{BATCH, Codes};

/// Blocks, one of them in the interrupt's hand. The others hold 510 frames = 127 ms.
pub const BLOCKS: usize = 52;

/// Places of the queues: one stays empty.
const PLACES: usize = BLOCKS + 1;

/// What the frames of a block have in common.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    /// Good, and nothing was applied.
    Quiet,
    /// Good, each with its mark.
    Marked,
    /// One that did not come.
    Fault(FrameFault),
}

/// Up to ten frames of a kind.
#[derive(Clone, Debug)]
pub struct Block {
    codes: Codes,
    held: usize,
    kind: Kind,
    marks: [Applied; BATCH],
}

impl Block {
    const EMPTY: Self = Self {
        codes: [[0; BATCH]; LEADS],
        held: 0,
        kind: Kind::Quiet,
        marks: [Applied::Nothing; BATCH],
    };

    /// Ten good frames while nothing was applied, lead by lead.
    #[inline]
    #[must_use]
    pub fn quiet(&self) -> Option<&Codes> {
        (self.held == BATCH && self.kind == Kind::Quiet).then_some(&self.codes)
    }

    /// Whether the converter said that it had restarted.
    #[inline]
    #[must_use]
    pub fn tells_restart(&self) -> bool {
        self.kind == Kind::Fault(FrameFault::Restarted)
    }

    /// The frames one by one, in order.
    pub fn frames(&self) -> impl Iterator<Item = (Result<Frame, FrameFault>, Applied)> + '_ {
        (0..self.held.min(BATCH)).map(|place| {
            let applied = match self.kind {
                Kind::Quiet => Applied::Nothing,
                Kind::Marked | Kind::Fault(_) => self.marks[place],
            };
            let frame = match self.kind {
                Kind::Fault(fault) => Err(fault),
                Kind::Quiet | Kind::Marked => Ok(Frame {
                    // Stored from codes, so nothing is cut.
                    codes: core::array::from_fn(|lead| {
                        AdcCode::saturating(self.codes[lead][place])
                    }),
                }),
            };
            (frame, applied)
        })
    }

    /// Frames that were due when these were: lost ones are counted.
    fn due(&self) -> u32 {
        match self.kind {
            Kind::Fault(FrameFault::Lost(count)) => count,
            _ => self.held as u32,
        }
    }

    #[inline]
    const fn clear(&mut self) {
        self.held = 0;
        self.kind = Kind::Quiet;
    }

    #[inline]
    fn put(&mut self, frame: &Frame) {
        let place = self.held;
        if place < BATCH {
            for (lead, code) in self.codes.iter_mut().zip(frame.codes) {
                lead[place] = code.get();
            }
            self.held = place + 1;
        }
    }
}

/// Memory of the blocks and their ways.
pub struct Blocks {
    blocks: [Block; BLOCKS],
    full: Queue<&'static mut Block, PLACES>,
    free: Queue<&'static mut Block, PLACES>,
}

impl Default for Blocks {
    fn default() -> Self {
        Self::new()
    }
}

impl Blocks {
    /// All free.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            blocks: [const { Block::EMPTY }; BLOCKS],
            full: Queue::new(),
            free: Queue::new(),
        }
    }

    /// The interrupt's end and the loop's.
    pub fn split(&'static mut self) -> (Packer, Unpacker) {
        let [first, rest @ ..] = &mut self.blocks;
        let (to_loop, full) = self.full.split();
        let (mut back, free) = self.free.split();
        for block in rest {
            // There are as many places as blocks.
            let _ = back.enqueue(block);
        }
        let packer = Packer {
            block: first,
            full: to_loop,
            free,
            dropped: 0,
            most: BATCH,
        };
        (packer, Unpacker { full, free: back })
    }
}

/// The interrupt's end.
pub struct Packer {
    /// In hand, with room for a frame.
    block: &'static mut Block,
    full: Producer<'static, &'static mut Block>,
    free: Consumer<'static, &'static mut Block>,
    /// Frames dropped, not yet told.
    dropped: u32,
    /// Frames with which the block in hand goes.
    most: usize,
}

impl Packer {
    /// Takes a good frame while nothing is applied, if nothing else is to be thought of. False if
    /// it must go to [`Packer::push`].
    #[inline]
    pub fn takes_quiet(&mut self, frame: &Frame) -> bool {
        if self.block.kind != Kind::Quiet || self.dropped != 0 {
            return false;
        }
        self.block.put(frame);
        if self.block.held == self.most {
            self.send();
        }
        true
    }

    /// Takes what was delivered, and what was applied meanwhile.
    #[inline(never)]
    pub fn push(&mut self, delivered: &Result<Frame, FrameFault>, applied: Applied) {
        if self.dropped > 0 && !self.tell() {
            self.drop_frames(match delivered {
                Err(FrameFault::Lost(count)) => *count,
                _ => 1,
            });
            return;
        }
        let kind = match delivered {
            Ok(_) if applied == Applied::Nothing => Kind::Quiet,
            Ok(_) => Kind::Marked,
            Err(fault) => Kind::Fault(*fault),
        };
        if self.block.kind != kind && self.block.held > 0 {
            self.send();
            if self.dropped > 0 {
                // There was no block for those before it.
                self.push(delivered, applied);
                return;
            }
        }
        self.block.kind = kind;
        if let Some(mark) = self.block.marks.get_mut(self.block.held) {
            *mark = applied;
        }
        self.block.put(&delivered.unwrap_or_default());
        if self.block.held == self.most || delivered.is_err() {
            self.send();
        }
    }

    /// The block in hand, if it has not come so far, goes with `count` frames.
    pub fn cut_at(&mut self, count: usize) {
        if (1..BATCH).contains(&count) && self.block.held < count {
            self.most = count;
        }
    }

    /// Sends off what there is.
    pub fn flush(&mut self) {
        if self.block.held > 0 {
            self.send();
        }
    }

    /// The block in hand to the loop, and a free one into the hand; without one its frames are
    /// dropped.
    #[inline(never)]
    fn send(&mut self) {
        self.most = BATCH;
        let Some(next) = self.free.dequeue() else {
            self.drop_frames(self.block.due());
            self.block.clear();
            return;
        };
        // There are as many places as blocks.
        let _ = self.full.enqueue(core::mem::replace(&mut self.block, next));
    }

    /// Tells of the frames dropped, if there is a block for it. The one in hand is empty.
    #[cold]
    fn tell(&mut self) -> bool {
        if !self.free.ready() {
            return false;
        }
        self.block.kind = Kind::Fault(FrameFault::Lost(self.dropped));
        self.block.marks[0] = Applied::Nothing;
        self.block.put(&Frame::default());
        self.dropped = 0;
        self.send();
        true
    }

    #[cold]
    fn drop_frames(&mut self, count: u32) {
        self.dropped = self.dropped.saturating_add(count);
    }
}

/// The loop's end.
pub struct Unpacker {
    full: Consumer<'static, &'static mut Block>,
    free: Producer<'static, &'static mut Block>,
}

impl Unpacker {
    /// Whether a block waits.
    #[inline]
    #[must_use]
    pub fn is_ready(&self) -> bool {
        self.full.ready()
    }

    /// Hands the oldest block to `take`; false if there is none.
    #[inline]
    pub fn next(&mut self, take: impl FnOnce(&Block)) -> bool {
        let Some(block) = self.full.dequeue() else {
            return false;
        };
        take(block);
        block.clear();
        // There are as many places as blocks.
        let _ = self.free.enqueue(block);
        true
    }
}

#[cfg(test)]
mod tests;
