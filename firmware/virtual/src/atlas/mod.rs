//! The atlas: which wirings of the enumeration each means can tell apart, and which it cannot.
//!
//! Two wirings are alike under a means when its two readings differ by less than a built tester
//! can be trusted with ([`alike`]). A class is what a chain of alike pairs holds together, so
//! "told apart" is never said of two wirings that a third one bridges.

mod alike;

pub use alike::{Band, Means, alike, band};

use crate::house::{Entry, HouseError, enumeration};
use crate::means::{Interlocks, Survey, survey_with};

/// Every wiring with what every means reads there.
#[derive(Clone, Debug)]
pub struct Atlas {
    /// The wirings.
    pub pages: Vec<Page>,
}

/// One wiring of the atlas.
#[derive(Clone, Debug)]
pub struct Page {
    /// The wiring.
    pub entry: &'static Entry,
    /// What is read there.
    pub survey: Survey,
}

impl Atlas {
    /// Takes every reading at every wiring of the enumeration.
    ///
    /// # Errors
    /// [`HouseError`] when a wiring's network has no solution.
    pub fn draw() -> Result<Self, HouseError> {
        Self::draw_with(Interlocks::Kept)
    }

    /// As [`Self::draw`], with or without interlocks.
    ///
    /// # Errors
    /// [`HouseError`] when a wiring's network has no solution.
    pub fn draw_with(interlocks: Interlocks) -> Result<Self, HouseError> {
        let pages = enumeration()
            .iter()
            .map(|entry| {
                let survey = survey_with(&entry.receptacle, interlocks)?;
                Ok(Page { entry, survey })
            })
            .collect::<Result<_, HouseError>>()?;
        Ok(Self { pages })
    }

    /// The classes that `means`, all together, leave: indices of pages, each class in order,
    /// classes by their first member.
    #[must_use]
    pub fn classes(&self, means: &[Means]) -> Vec<Vec<usize>> {
        let all: Vec<usize> = (0..self.pages.len()).collect();
        self.split(&all, means)
    }

    /// The classes into which `means` split these pages.
    #[must_use]
    pub fn split(&self, members: &[usize], means: &[Means]) -> Vec<Vec<usize>> {
        let mut waiting = members.to_vec();
        let mut classes = Vec::new();
        while let Some(&first) = waiting.first() {
            let mut class = vec![first];
            waiting.retain(|&page| page != first);
            let mut looked_at = 0;
            while looked_at < class.len() {
                let from = class[looked_at];
                let is_alike = |&page: &usize| means.iter().all(|&m| self.alike(from, page, m));
                let (joined, rest) = waiting.iter().partition::<Vec<usize>, _>(|p| is_alike(p));
                class.extend(joined);
                waiting = rest;
                looked_at += 1;
            }
            class.sort_unstable();
            classes.push(class);
        }
        classes
    }

    /// The first means, in their order, that would split these pages, and into how many
    /// classes.
    #[must_use]
    pub fn next_to_tell(&self, members: &[usize]) -> Option<(Means, usize)> {
        Means::ALL.into_iter().find_map(|means| {
            let parts = self.split(members, &[means]).len();
            (parts > 1).then_some((means, parts))
        })
    }

    fn alike(&self, one: usize, other: usize, means: Means) -> bool {
        let [one, other] = [one, other].map(|page| &self.pages[page].survey.signature);
        alike(one, other, means)
    }
}
