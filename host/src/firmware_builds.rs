//! Which builds of the firmware this program knows, and how a tester's compares with them.
//!
//! `host/firmware-builds.csv` lists released builds, oldest first; `firmware/rp2040/release.sh
//! --record` adds one. A build says nothing by itself about its age: one that is not listed was
//! made from other sources or by another compiler, and is said to be unknown, not old or new.

use std::cmp::Ordering;

use slotwise_core::link::FirmwareReport;
use slotwise_core::record::Version;
use slotwise_core::start::BuildId;

/// The list as the program carries it.
const LISTED: &str = include_str!("../firmware-builds.csv");

/// A released build.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Known {
    /// Its version.
    pub version: Version,
    /// Its build.
    pub build: BuildId,
}

/// A tester's firmware against what this program knows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Compared {
    /// The newest one known.
    Newest,
    /// This version, but it tells no build: a virtual tester, or an image never finished.
    SameVersion,
    /// An older one; by how many releases, if it is listed.
    Older(Option<usize>),
    /// Of a newer version.
    Newer,
    /// This version, in a build that is not listed.
    Unknown,
}

impl Compared {
    /// Its name for programs.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Newest | Self::SameVersion => "same",
            Self::Older(_) => "older",
            Self::Newer => "newer",
            Self::Unknown => "unknown",
        }
    }
}

/// The builds that this program knows, oldest first.
#[must_use]
pub fn known() -> Vec<Known> {
    read(LISTED)
}

/// Lines that are no entry are passed over; a test sees to it that there are none.
fn read(list: &str) -> Vec<Known> {
    list.lines().skip(1).filter_map(entry).collect()
}

fn entry(line: &str) -> Option<Known> {
    let mut fields = line.split(',');
    let version = version(fields.next()?)?;
    let digits = fields.next()?;
    let number = u64::from_str_radix(digits, 16).ok()?;
    (digits.len() == 16).then_some(Known {
        version,
        build: BuildId::of_image(number.to_be_bytes())?,
    })
}

fn version(text: &str) -> Option<Version> {
    let mut parts = text.split('.').map(|part| part.parse().ok());
    let mut next = || parts.next().flatten();
    Some(Version {
        major: next()?,
        minor: next()?,
        patch: next()?,
    })
}

/// Version of this program.
fn own() -> Version {
    // A version of this workspace has three numbers.
    version(env!("CARGO_PKG_VERSION")).unwrap_or(Version {
        major: 0,
        minor: 0,
        patch: 0,
    })
}

/// How the firmware of a tester compares. `told`: what it said of its build, if it knows the
/// question.
#[must_use]
pub fn compare(firmware: Version, told: Option<&FirmwareReport>) -> Compared {
    let build = told.map(|report| report.start.build);
    compare_with(&known(), own(), firmware, build)
}

fn compare_with(
    known: &[Known],
    own: Version,
    firmware: Version,
    told: Option<Option<BuildId>>,
) -> Compared {
    let place = told.flatten().and_then(|build| {
        let is_it = |known: &Known| (known.version, known.build) == (firmware, build);
        known.iter().rev().position(is_it)
    });
    match (place, firmware.cmp(&own), told) {
        (Some(0), _, _) => Compared::Newest,
        (Some(behind), _, _) => Compared::Older(Some(behind)),
        (None, Ordering::Greater, _) => Compared::Newer,
        // Every firmware that was released knows the question.
        (None, Ordering::Less, _) | (None, Ordering::Equal, None) => Compared::Older(None),
        (None, Ordering::Equal, Some(None)) => Compared::SameVersion,
        (None, Ordering::Equal, Some(Some(_))) => Compared::Unknown,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const fn at(minor: u8) -> Version {
        Version {
            major: 1,
            minor,
            patch: 0,
        }
    }

    #[test]
    fn the_list_that_is_carried_has_an_entry_in_every_line_and_none_twice() {
        let known = known();
        assert_eq!(known.len() + 1, LISTED.lines().count());
        for (place, one) in known.iter().enumerate() {
            assert!(
                known
                    .iter()
                    .skip(place + 1)
                    .all(|other| other.build != one.build)
            );
            assert!(one.version <= own());
        }
        assert!(known.is_sorted_by_key(|one| one.version));
    }

    #[test]
    fn what_is_no_entry_is_passed_over() {
        let list = "version,build,compiler\n\
                    1.0.0,00000000000000ff,rustc 1.95.0\n\
                    1.0.0,0000000000000000,zeros are no build\n\
                    1.0.0,ff,too short\n\
                    1.0,00000000000000fe,no version\n\
                    garbage\n";
        let build = BuildId([0, 0, 0, 0, 0, 0, 0, 0xff]);
        let version = at(0);
        assert_eq!(read(list), [Known { version, build }]);
    }

    #[test]
    fn old_new_and_unknown_are_told_apart() {
        let build = |number: u8| BuildId([number; 8]);
        let known = [(0, 1), (1, 2), (1, 3)].map(|(minor, number)| Known {
            version: at(minor),
            build: build(number),
        });
        let told = |minor, told| compare_with(&known, at(1), at(minor), told);
        assert_eq!(told(1, Some(Some(build(3)))), Compared::Newest);
        assert_eq!(told(1, Some(Some(build(2)))), Compared::Older(Some(1)));
        assert_eq!(told(0, Some(Some(build(1)))), Compared::Older(Some(2)));
        // A build under another version than it was released with is not that build.
        assert_eq!(told(1, Some(Some(build(1)))), Compared::Unknown);
        assert_eq!(told(1, Some(Some(build(9)))), Compared::Unknown);
        assert_eq!(told(0, Some(Some(build(9)))), Compared::Older(None));
        assert_eq!(told(2, Some(Some(build(9)))), Compared::Newer);
        assert_eq!(told(1, Some(None)), Compared::SameVersion);
        assert_eq!(told(1, None), Compared::Older(None));
        assert_eq!(told(2, None), Compared::Newer);
    }
}
