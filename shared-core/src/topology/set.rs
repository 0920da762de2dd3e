//! Sets of topologies, a bit each.

use serde::{Deserialize, Serialize};

use super::Topology;

/// A set of topologies.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct TopologySet(u64);

impl TopologySet {
    /// The empty set.
    pub const EMPTY: Self = Self(0);

    /// The set of these members.
    #[must_use]
    pub const fn of(members: &[Topology]) -> Self {
        let mut bits = 0;
        let mut index = 0;
        while index < members.len() {
            bits |= 1 << members[index] as u8;
            index += 1;
        }
        Self(bits)
    }

    /// Whether `member` is in the set.
    #[must_use]
    pub const fn contains(self, member: Topology) -> bool {
        self.0 & (1 << member as u8) != 0
    }

    /// The set with `member` in it.
    #[must_use]
    pub const fn with(self, member: Topology) -> Self {
        Self(self.0 | 1 << member as u8)
    }

    /// The members that are in both sets.
    #[must_use]
    pub const fn intersection(self, other: Self) -> Self {
        Self(self.0 & other.0)
    }

    /// The members that are in this set and not in `other`.
    #[must_use]
    pub const fn without(self, other: Self) -> Self {
        Self(self.0 & !other.0)
    }

    /// Number of members.
    #[must_use]
    pub const fn len(self) -> u32 {
        self.0.count_ones()
    }

    /// Whether there is no member.
    #[must_use]
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// The members, in bit order. Bits of a newer version are passed over.
    pub fn iter(self) -> impl Iterator<Item = Topology> {
        Topology::ALL
            .into_iter()
            .filter(move |&member| self.contains(member))
    }

    /// Whether metal counts as live until the set is told apart: a member energises the ground
    /// slot, and it is not as well that the supply is off. (Whatever has no voltage between its
    /// slots may be live as a whole; that is said of it, and it is no alarm by itself.)
    #[must_use]
    pub fn endangers(self) -> bool {
        self.may_energise_ground() && !self.contains(Topology::SupplyOff)
    }

    /// Whether any member energises the ground slot.
    #[must_use]
    pub fn may_energise_ground(self) -> bool {
        self.iter().any(Topology::energises_ground)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_topology_has_its_own_bit_in_listing_order() {
        for (index, topology) in Topology::ALL.into_iter().enumerate() {
            assert_eq!(topology as usize, index);
        }
        assert_eq!(TopologySet::of(&Topology::ALL).len(), 45);
    }

    #[test]
    fn a_set_gives_back_what_was_put_in() {
        let set = TopologySet::of(&[Topology::Mirror, Topology::Sound]);
        assert!(set.contains(Topology::Sound) && set.contains(Topology::Mirror));
        assert!(!set.contains(Topology::OpenHot));
        assert!(set.iter().eq([Topology::Sound, Topology::Mirror]));
        assert!(set.may_energise_ground());
        let rest = set.without(TopologySet::of(&[Topology::Mirror]));
        assert!(rest.iter().eq([Topology::Sound]));
        assert!(!rest.may_energise_ground());
        assert!(set.endangers() && !TopologySet::of(&Topology::ALL).endangers());
    }
}
