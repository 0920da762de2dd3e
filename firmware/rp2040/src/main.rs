//! RP2040 image.
fn main() {}
