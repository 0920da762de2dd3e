//! Sends full packets while the port is open, whatever comes: more than any tester can.
#![no_std]
#![no_main]

use slotwise_pipe::{PACKET, Port};

#[rp2040_hal::entry]
fn main() -> ! {
    let mut port = Port::start();
    let packet: [u8; PACKET] = core::array::from_fn(|place| place as u8);
    let mut taken = [0; PACKET];
    loop {
        port.poll();
        let _ = port.class.read_packet(&mut taken);
        if port.class.dtr() {
            let _ = port.class.write_packet(&packet);
        }
    }
}
