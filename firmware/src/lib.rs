//! Portable firmware.
#![no_std]
