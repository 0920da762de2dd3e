//! Host.
fn main() {}
