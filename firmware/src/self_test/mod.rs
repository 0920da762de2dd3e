//! What the tester tests of itself, at start and while it runs, and what a failed test does.
//!
//! After the measures of IEC 60730-1 Annex H, software class B (Table H.1, from memory: the
//! standard was not open when this was written). Class B is the class of a control whose failure
//! must not make the equipment unsafe; here that is a wrong answer and a current that is not let
//! go.
//!
//! | component (Table H.1, class B) | measure here | where |
//! |---|---|---|
//! | 1.1 CPU registers, stuck | none of its own: a stuck bit ends in a wrong check word, a fault or a starved watchdog. A test of single registers by the program that stands in them proves little on a two-stage core with a compiler in between | |
//! | 1.3 program counter, stuck | watchdog, fed only when every stage has run | [`flow`] |
//! | 2 interrupts, too often or not at all | frames counted in the interrupt against the crystal's microseconds | [`clocks`] |
//! | 3 clock, wrong frequency | converter's oscillator against the microcontroller's crystal | [`clocks`] |
//! | 4.1 invariable memory | CRC-32 over the image, at start. Not again: flash that changes while it runs is found at the next start | [`image`] |
//! | 4.2 variable memory, stuck | march over what nothing uses yet, at start; guard of the stack while it runs. Memory in use is not marched: it would have to stop the sampling | [`march`], [`stack`] |
//! | 4.3, 5 addressing, internal data path | the march finds two addresses that share a cell | [`march`] |
//! | 6 external communication | CRC-16 on every frame of the converter, both ways; settings read back at start and every minute; CRC-32 on every frame of the host's link | [`crate::adc`], [`running`] |
//! | 7 input and output plausibility | currents of the strings add up, reference resistor seen, drive flows: in the core's judgement, every window | `slotwise_core::judge` |
//! | 7.2.1 analog-digital converter | inputs shorted, mean and scatter, and both test voltages on every channel, at start | [`converter`] |
//! | 7.2.2 analog multiplexer | the same: the input switch is stepped through its four places and read back | [`converter`] |
//! | calibration present | in the core's judgement | `slotwise_core::judge` |
//!
//! **A failed test** is for the rest of the power-up: outputs open and stay open, every question
//! reads "unsure" on the lamps, a press tells number 56, a record says which test failed and what
//! it found, and no answer is given until a start in which every test passes
//! ([`crate::tester::Tester::fail`]).
//!
//! What these tests do not see: a fault of both clocks by the same share; a fault that comes
//! after the start in flash, memory in use, or a channel's gain (the strings' sum and the
//! reference resistor see most of the last).
//!
//! Pure state and small traits; what is the chip's stands behind [`Hardware`] and
//! [`march::Words`].

pub mod clocks;
pub mod converter;
pub mod flow;
pub mod image;
pub mod march;
pub mod running;
pub mod stack;

pub use clocks::Pace;
pub use flow::{Flow, Stage};
pub use running::{Hardware, Running};
pub use stack::Guard;
