//! Sends every packet back as it came.
#![no_std]
#![no_main]

use slotwise_pipe::{PACKET, Port};

#[rp2040_hal::entry]
fn main() -> ! {
    let mut port = Port::start();
    let mut packet = [0; PACKET];
    let mut held = 0;
    loop {
        port.poll();
        if held == 0 {
            held = port.class.read_packet(&mut packet).unwrap_or(0);
        }
        if held > 0 && port.class.write_packet(&packet[..held]).is_ok() {
            held = 0;
        }
    }
}
