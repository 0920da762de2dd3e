//! The checklist for panel, electrode and appliance: six questions, the answers to each as a
//! type of their own. The names of questions and answers are stored and never change.
//!
//! What is asked is the list of the trade for flame sensing (common practice, no source); what
//! an answer means rests on the NEC articles named in the texts (from memory).

use clap::ValueEnum;

use super::NoteFinding;
use crate::archive::Answers;

/// A question of the list.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Question {
    /// Where do neutral and ground meet?
    Joined,
    /// What is the grounding electrode?
    Electrode,
    /// Are all bonds tied to that one?
    Bonds,
    /// What carries the ground from the receptacle to the panel?
    GroundWire,
    /// What is the ground landed on in the appliance?
    Landing,
    /// Are inducer and control board on the same ground?
    Inducer,
}

impl Question {
    /// In the order that they are asked.
    pub const ALL: [Self; 6] = [
        Self::Joined,
        Self::Electrode,
        Self::Bonds,
        Self::GroundWire,
        Self::Landing,
        Self::Inducer,
    ];

    /// Its stored name, which is that of its option too.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Joined => "joined",
            Self::Electrode => "electrode",
            Self::Bonds => "bonds",
            Self::GroundWire => "ground-wire",
            Self::Landing => "landing",
            Self::Inducer => "inducer",
        }
    }

    /// The names of its answers, in order.
    #[must_use]
    pub fn answers(self) -> Vec<String> {
        match self {
            Self::Joined => names::<Joined>(),
            Self::Electrode => names::<Electrode>(),
            Self::Bonds => names::<Bonds>(),
            Self::GroundWire => names::<GroundWire>(),
            Self::Landing => names::<Landing>(),
            Self::Inducer => names::<Inducer>(),
        }
    }
}

/// Where neutral and ground meet.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Joined {
    /// At the panel of the service and nowhere else.
    PanelOnly,
    /// Also at the receptacle or in its box.
    Receptacle,
    /// Also in a subpanel.
    Subpanel,
    /// Also in the appliance.
    Appliance,
    /// Nowhere.
    Nowhere,
    /// Not looked at.
    NotLooked,
}

/// The grounding electrode.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Electrode {
    /// A driven rod.
    Rod,
    /// A metal water pipe, 10 ft or more of it in the earth, no plastic piece or meter unbridged.
    PipeBuried,
    /// A pipe with less than 10 ft in the earth, or with plastic in it, or a gas pipe.
    PipeOther,
    /// Another one, such as steel in concrete, a plate, a ring.
    Other,
    /// None is found.
    None,
    /// Not looked at.
    NotLooked,
}

/// How the bonds are tied.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Bonds {
    /// All to that one electrode.
    Together,
    /// At least one to another electrode that is not tied to it.
    Apart,
    /// Not looked at.
    NotLooked,
}

/// What carries the ground.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum GroundWire {
    /// A wire, all the way to the panel.
    Wire,
    /// A wire to a rod, and none to the panel.
    RodOnly,
    /// Conduit.
    Conduit,
    /// A pipe.
    Pipe,
    /// The jacket of a cable.
    CableJacket,
    /// Nothing.
    None,
    /// Not looked at.
    NotLooked,
}

/// What the ground is landed on in the appliance.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Landing {
    /// Bare metal.
    BareMetal,
    /// Paint.
    Paint,
    /// Not looked at.
    NotLooked,
}

/// The grounds of inducer and control board.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Inducer {
    /// The same.
    Same,
    /// Two.
    Apart,
    /// Not looked at.
    NotLooked,
}

/// Answers to the list; a question that was not put is `None`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Checklist {
    /// Where neutral and ground meet.
    pub joined: Option<Joined>,
    /// The electrode.
    pub electrode: Option<Electrode>,
    /// How the bonds are tied.
    pub bonds: Option<Bonds>,
    /// What carries the ground.
    pub ground_wire: Option<GroundWire>,
    /// What it is landed on.
    pub landing: Option<Landing>,
    /// Inducer and board.
    pub inducer: Option<Inducer>,
}

impl Checklist {
    /// The answers by name, to be kept.
    #[must_use]
    pub fn to_answers(self) -> Answers {
        let mut answers = Answers::new();
        let mut put = |question: Question, answer: Option<String>| {
            if let Some(answer) = answer {
                answers.insert(question.name().to_owned(), answer);
            }
        };
        put(Question::Joined, self.joined.map(|a| name(&a)));
        put(Question::Electrode, self.electrode.map(|a| name(&a)));
        put(Question::Bonds, self.bonds.map(|a| name(&a)));
        put(Question::GroundWire, self.ground_wire.map(|a| name(&a)));
        put(Question::Landing, self.landing.map(|a| name(&a)));
        put(Question::Inducer, self.inducer.map(|a| name(&a)));
        answers
    }

    /// Kept answers. One that this version does not know counts as not looked at.
    #[must_use]
    pub fn of_answers(answers: &Answers) -> Self {
        let get = |question: Question| answers.get(question.name()).map(String::as_str);
        Self {
            joined: get(Question::Joined).map(|a| value(a, Joined::NotLooked)),
            electrode: get(Question::Electrode).map(|a| value(a, Electrode::NotLooked)),
            bonds: get(Question::Bonds).map(|a| value(a, Bonds::NotLooked)),
            ground_wire: get(Question::GroundWire).map(|a| value(a, GroundWire::NotLooked)),
            landing: get(Question::Landing).map(|a| value(a, Landing::NotLooked)),
            inducer: get(Question::Inducer).map(|a| value(a, Inducer::NotLooked)),
        }
    }

    /// Answers `question` by name or by its number in the list, from 1. `false` if there is no
    /// such answer.
    pub fn answer(&mut self, question: Question, text: &str) -> bool {
        match question {
            Question::Joined => choose(&mut self.joined, text),
            Question::Electrode => choose(&mut self.electrode, text),
            Question::Bonds => choose(&mut self.bonds, text),
            Question::GroundWire => choose(&mut self.ground_wire, text),
            Question::Landing => choose(&mut self.landing, text),
            Question::Inducer => choose(&mut self.inducer, text),
        }
    }

    /// What the answers mean.
    #[must_use]
    pub fn findings(self) -> Vec<NoteFinding> {
        let joined = self.joined.map(|answer| match answer {
            Joined::PanelOnly => NoteFinding::JoinedAtPanelOnly,
            Joined::Receptacle => NoteFinding::JoinedAtReceptacle,
            Joined::Subpanel => NoteFinding::JoinedInSubpanel,
            Joined::Appliance => NoteFinding::JoinedInAppliance,
            Joined::Nowhere => NoteFinding::JoinedNowhere,
            Joined::NotLooked => NoteFinding::NotLooked(Question::Joined),
        });
        let electrode = self.electrode.map(|answer| match answer {
            Electrode::Rod => NoteFinding::ElectrodeRod,
            Electrode::PipeBuried => NoteFinding::ElectrodePipe,
            Electrode::PipeOther => NoteFinding::ElectrodePipeUnfit,
            Electrode::Other => NoteFinding::ElectrodeOther,
            Electrode::None => NoteFinding::NoElectrode,
            Electrode::NotLooked => NoteFinding::NotLooked(Question::Electrode),
        });
        let bonds = self.bonds.map(|answer| match answer {
            Bonds::Together => NoteFinding::BondsTogether,
            Bonds::Apart => NoteFinding::BondsApart,
            Bonds::NotLooked => NoteFinding::NotLooked(Question::Bonds),
        });
        let ground_wire = self.ground_wire.map(|answer| match answer {
            GroundWire::Wire => NoteFinding::WireAllTheWay,
            GroundWire::RodOnly => NoteFinding::RodOnly,
            GroundWire::Conduit | GroundWire::Pipe | GroundWire::CableJacket => {
                NoteFinding::NotAWire
            }
            GroundWire::None => NoteFinding::NoGroundWire,
            GroundWire::NotLooked => NoteFinding::NotLooked(Question::GroundWire),
        });
        let landing = self.landing.map(|answer| match answer {
            Landing::BareMetal => NoteFinding::BareMetal,
            Landing::Paint => NoteFinding::OnPaint,
            Landing::NotLooked => NoteFinding::NotLooked(Question::Landing),
        });
        let inducer = self.inducer.map(|answer| match answer {
            Inducer::Same => NoteFinding::InducerSame,
            Inducer::Apart => NoteFinding::InducerApart,
            Inducer::NotLooked => NoteFinding::NotLooked(Question::Inducer),
        });
        [joined, electrode, bonds, ground_wire, landing, inducer]
            .into_iter()
            .flatten()
            .collect()
    }
}

fn names<T: ValueEnum>() -> Vec<String> {
    T::value_variants().iter().map(name).collect()
}

fn name<T: ValueEnum>(answer: &T) -> String {
    answer
        .to_possible_value()
        .map(|value| value.get_name().to_owned())
        .unwrap_or_default()
}

fn value<T: ValueEnum>(text: &str, otherwise: T) -> T {
    T::from_str(text, false).unwrap_or(otherwise)
}

fn choose<T: ValueEnum + Clone>(place: &mut Option<T>, text: &str) -> bool {
    let by_number = text
        .parse::<usize>()
        .ok()
        .and_then(|number| T::value_variants().get(number.checked_sub(1)?))
        .cloned();
    match by_number.or_else(|| T::from_str(text, true).ok()) {
        Some(answer) => {
            *place = Some(answer);
            true
        }
        None => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stored_names_are_the_documented_ones() {
        let names: Vec<String> = Question::ALL
            .into_iter()
            .map(|question| format!("{}: {}", question.name(), question.answers().join(" ")))
            .collect();
        assert_eq!(
            names,
            [
                "joined: panel-only receptacle subpanel appliance nowhere not-looked",
                "electrode: rod pipe-buried pipe-other other none not-looked",
                "bonds: together apart not-looked",
                "ground-wire: wire rod-only conduit pipe cable-jacket none not-looked",
                "landing: bare-metal paint not-looked",
                "inducer: same apart not-looked",
            ]
        );
    }

    #[test]
    fn every_answer_comes_back_as_it_was_kept_and_means_one_thing() {
        for question in Question::ALL {
            for (index, answer) in question.answers().iter().enumerate() {
                let mut by_name = Checklist::default();
                let mut by_number = Checklist::default();
                assert!(by_name.answer(question, answer));
                assert!(by_number.answer(question, &(index + 1).to_string()));
                assert_eq!(by_name, by_number);
                assert_eq!(Checklist::of_answers(&by_name.to_answers()), by_name);
                assert_eq!(by_name.findings().len(), 1);
            }
            let mut none = Checklist::default();
            for wrong in ["", "0", "99", "maybe", "'; DROP TABLE note; --"] {
                assert!(!none.answer(question, wrong), "{wrong}");
            }
            assert_eq!(none, Checklist::default());
        }
    }

    #[test]
    fn an_answer_of_another_version_is_no_good_answer() {
        let mut answers = Answers::new();
        answers.insert("joined".to_owned(), "in-the-attic".to_owned());
        let found = Checklist::of_answers(&answers).findings();
        assert_eq!(found, [NoteFinding::NotLooked(Question::Joined)]);
    }
}
