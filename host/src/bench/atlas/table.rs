//! The classes of the atlas, as they are printed: members, what is read, what is in the set
//! of the verdict, and the check that would tell.

use slotwise_core::judge::judge;
use slotwise_core::limits::Limits;
use slotwise_core::topology::Topology;
use slotwise_core::verdict::Verdict;
use slotwise_virtual::atlas::{Atlas, Means};
use slotwise_virtual::means::Signature;

use super::{Taken, evidence, topology};
use crate::error::Error;

/// One wiring of a class.
#[derive(Clone, Debug)]
pub struct Member {
    /// Its stable name.
    pub name: &'static str,
    /// How it is wired.
    pub wired: &'static str,
    /// What the core calls it.
    pub topology: Topology,
    /// What every means reads there.
    pub signature: Signature,
}

/// Wirings that the slots alone cannot tell apart.
#[derive(Clone, Debug)]
pub struct Class {
    /// The wirings.
    pub members: Vec<Member>,
    /// What the tester says of the first of them by the slots alone.
    pub verdict: Verdict,
    /// The first means that would split the class, and the classes it would leave: indices of
    /// members.
    pub told_by: Option<(Means, Vec<Vec<usize>>)>,
    /// The classes that every means together leaves: indices of members.
    pub at_best: Vec<Vec<usize>>,
}

/// The whole atlas.
#[derive(Clone, Debug)]
pub struct Table {
    /// How many classes are left by each means and all before it.
    pub left_by: [(Means, usize); 6],
    /// The classes that the slots leave.
    pub classes: Vec<Class>,
}

/// The whole atlas, drawn and judged.
///
/// # Errors
/// [`Error::Bench`] when a wiring has no solution.
pub fn table() -> Result<Table, Error> {
    let atlas = Atlas::draw().map_err(|error| Error::Bench(error.to_string()))?;
    let left_by = core::array::from_fn(|last| {
        let means = &Means::ALL[..=last];
        (Means::ALL[last], atlas.classes(means).len())
    });
    let classes = atlas.classes(&[Means::Slots]);
    Ok(Table {
        left_by,
        classes: classes.iter().map(|class| of(&atlas, class)).collect(),
    })
}

fn of(atlas: &Atlas, class: &[usize]) -> Class {
    let members = class.iter().map(|&page| member(atlas, page)).collect();
    let within = |parts: Vec<Vec<usize>>| {
        let place = |page: usize| class.iter().position(|&other| other == page);
        let part = |part: Vec<usize>| part.into_iter().filter_map(place).collect();
        parts.into_iter().map(part).collect()
    };
    let told_by = atlas
        .next_to_tell(class)
        .map(|(means, _)| (means, within(atlas.split(class, &[means]))));
    let first = evidence(&atlas.pages[class[0]], Taken::default());
    Class {
        members,
        verdict: judge(&first, &Limits::DEFAULT),
        told_by,
        at_best: within(atlas.split(class, &Means::ALL)),
    }
}

fn member(atlas: &Atlas, page: usize) -> Member {
    let page = &atlas.pages[page];
    Member {
        name: &page.entry.name,
        wired: &page.entry.wired,
        topology: topology(page.entry),
        signature: page.survey.signature.clone(),
    }
}
