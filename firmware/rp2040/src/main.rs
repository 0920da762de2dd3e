//! The image for the RP2040: clocks, pins, interrupts, USB. All that is not the chip's is in
//! `slotwise-firmware`, all that judges is in `slotwise-core`.
//!
//! On the desktop this package is a stub that says how the image is built, so that checks of
//! the whole workspace need no microcontroller toolchain.
//!
//! | file | holds |
//! |---|---|
//! | `super_loop` | entry, the one loop |
//! | `board` | clocks and pins, one line a pin |
//! | `computer` | tests of image, memory and stack |
//! | `sampler` | the interrupts that read a frame |
//! | `frame_reader` | a frame of the converter by DMA |
//! | `acquisition` | frame queue and care for the converter |
//! | `full_bus` | the SPI bus of the flash, without pauses |
//! | `usb` | the serial port |
//! | `usb_bus` | the USB controller |
//! | `last_words` | why the chip started, what the run before left |
//! | `log` | the log for a debug probe |
//! | `log_channel` | the memory that a probe reads it from |
//! | `side_bus` | I2C of clock chip and display, with an end to every wait |
//! | `panic` | the safe state on any error |
#![cfg_attr(target_os = "none", no_std, no_main)]

#[cfg(target_os = "none")]
mod acquisition;
#[cfg(target_os = "none")]
mod board;
#[cfg(target_os = "none")]
mod computer;
#[cfg(target_os = "none")]
mod frame_reader;
#[cfg(target_os = "none")]
mod full_bus;
#[cfg(target_os = "none")]
mod last_words;
#[cfg(target_os = "none")]
mod log;
#[cfg(target_os = "none")]
mod log_channel;
#[cfg(target_os = "none")]
mod panic;
#[cfg(target_os = "none")]
mod sampler;
#[cfg(target_os = "none")]
mod side_bus;
#[cfg(target_os = "none")]
mod super_loop;
#[cfg(target_os = "none")]
mod usb;
#[cfg(target_os = "none")]
mod usb_bus;

#[cfg(not(target_os = "none"))]
fn main() {
    eprintln!(
        "This is the image for the RP2040; it does not run on a desktop.\n\
         Build it with firmware/rp2040/build.sh, which writes slotwise.uf2 for a board and\n\
         slotwise.elf for the emulator in tests/emulator."
    );
    std::process::exit(2);
}
