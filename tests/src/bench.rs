//! The whole firmware on the virtual board, in a hand that carries it, with a host at its cable.

use slotwise_core::link::{
    FrameReader, Look, MAX_FRAME, Reply, ReplyEnvelope, Request, RequestEnvelope, Status, decode,
    encode,
};
use slotwise_core::record::{self, Record, RecordNumber};
use slotwise_virtual::board::{VirtualBoard, demo_identity, workshop_flash};
use slotwise_virtual::chips::adc::VirtualAdc;
use slotwise_virtual::chips::side_bus::SideParts;
use slotwise_virtual::computer::Computer;
use slotwise_virtual::front_end::{FrontEnd, Hand};
use slotwise_virtual::house::find;
use slotwise_virtual::serial::{FarEnd, line};
use slotwise_virtual::tester::{Specimen, Tolerance};

/// A board, the hand that carries it, and the far end of its cable.
pub struct Bench {
    /// The board.
    pub board: VirtualBoard,
    /// The hand.
    pub hand: Hand,
    /// The host's end of the cable.
    pub far: FarEnd,
    /// The tester.
    pub specimen: Specimen,
}

impl Bench {
    /// A tester drawn from this seed, calibrated, unplugged.
    ///
    /// # Panics
    /// If it cannot be made.
    #[must_use]
    pub fn new(seed: u64) -> Self {
        let specimen = Specimen::draw(seed, &Tolerance::USUAL);
        let contents = workshop_flash(&specimen).expect("the workshop calibrates it");
        Self::with_contents(specimen, contents)
    }

    /// A tester whose flash holds this.
    ///
    /// # Panics
    /// If it cannot be made.
    #[must_use]
    pub fn with_contents(specimen: Specimen, contents: Vec<u8>) -> Self {
        Self::broken(specimen, contents, |_, _| {})
    }

    /// The same with converter or microcontroller broken before they are used.
    ///
    /// # Panics
    /// If it cannot be made.
    #[must_use]
    pub fn broken(
        specimen: Specimen,
        contents: Vec<u8>,
        break_it: impl FnOnce(&VirtualAdc, &Computer),
    ) -> Self {
        Self::with_parts(specimen, contents, SideParts::default(), break_it)
    }

    /// The same with a clock chip or a display on its side bus.
    ///
    /// # Panics
    /// If it cannot be made.
    #[must_use]
    pub fn with_parts(
        specimen: Specimen,
        contents: Vec<u8>,
        parts: SideParts,
        break_it: impl FnOnce(&VirtualAdc, &Computer),
    ) -> Self {
        let (hand, source) = Hand::new(specimen.clone()).expect("the specimen's parts are some");
        let front_end = FrontEnd::new(specimen.clone(), Box::new(source));
        let (near, far) = line();
        let identity = demo_identity(None);
        let board = VirtualBoard::start_with(front_end, contents, near, identity, parts, break_it)
            .expect("the board starts");
        Self {
            board,
            hand,
            far,
            specimen,
        }
    }

    /// Plugs it into a receptacle of the bank.
    ///
    /// # Panics
    /// If there is none of this name.
    pub fn plug(&mut self, name: &str) {
        let named = find(name).expect("in the bank");
        self.hand.plug(&named.receptacle).expect("it is solved");
    }

    /// Pulls it out.
    ///
    /// # Panics
    /// If the specimen has no solution.
    pub fn unplug(&mut self) {
        self.hand.unplug().expect("it can be pulled out");
    }

    /// Asks and collects the replies, until one that is no record.
    ///
    /// # Panics
    /// If no answer comes within two seconds.
    pub fn ask(&mut self, request: Request) -> (Vec<Vec<u8>>, Answer) {
        self.far.set_open(true);
        self.board.run_for(2);
        let envelope = RequestEnvelope {
            sequence: 77,
            request,
        };
        let mut frame = [0; MAX_FRAME];
        let length = encode(&envelope, &mut frame).expect("a request fits");
        assert_eq!(self.far.write(&frame[..length]), length);
        let mut reader = FrameReader::new();
        let mut records = Vec::new();
        for _ in 0..2000 {
            self.board.run_for(1);
            for byte in self.far.read() {
                let Some(message) = reader.push(byte) else {
                    continue;
                };
                let message = message.expect("frames arrive whole");
                let reply: ReplyEnvelope = decode(message).expect("replies are understood");
                assert_eq!(reply.sequence, 77);
                match reply.reply {
                    Reply::Record { bytes, .. } => records.push(bytes.to_vec()),
                    Reply::Status(status) => return (records, Answer::Status(status)),
                    Reply::Look(look) => return (records, Answer::Look(Box::new(look))),
                    other => return (records, Answer::Other(format!("{other:?}"))),
                }
            }
        }
        panic!("no answer within two seconds");
    }

    /// Every record of the journal.
    ///
    /// # Panics
    /// If one does not decode.
    pub fn pull(&mut self) -> Vec<Record> {
        let (bytes, _) = self.ask(Request::Pull {
            from: RecordNumber::FIRST,
            limit: u16::MAX,
        });
        bytes
            .iter()
            .map(|bytes| record::decode(bytes).expect("records decode"))
            .collect()
    }

    /// What the tester sees now.
    ///
    /// # Panics
    /// If it does not answer.
    pub fn look(&mut self) -> Look {
        match self.ask(Request::Look) {
            (_, Answer::Look(look)) => *look,
            (_, other) => panic!("{other:?}"),
        }
    }

    /// The tester's state.
    ///
    /// # Panics
    /// If it does not answer.
    pub fn status(&mut self) -> Status {
        match self.ask(Request::Status) {
            (_, Answer::Status(status)) => status,
            (_, other) => panic!("{other:?}"),
        }
    }
}

/// How a request ended.
#[derive(Debug)]
pub enum Answer {
    /// With the state of the tester.
    Status(Status),
    /// With a look at what it sees.
    Look(Box<Look>),
    /// With this, in words.
    Other(String),
}
