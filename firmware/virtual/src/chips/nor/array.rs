//! The memory cells: programming clears bits, erasing sets a whole sector, and either can be
//! torn by a loss of power.
//!
//! A torn program has finished some bytes of its page; in the one that it was at, some of
//! the bits that had to be cleared are. A torn erase has set a share of the sector's bits
//! that grows with its progress, spread over the sector, as erase pulses act on all cells at
//! once.

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// Bytes of a page.
pub const PAGE: usize = 256;
/// Bytes of a sector.
pub const SECTOR: usize = 4096;

/// When the power fails.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PowerCut {
    /// After this many more bytes; an erase counts as 4096 of them.
    AfterBytes(u64),
    /// Before the program or erase after this many more whole ones.
    AfterOperations(u64),
}

/// The cells, and the power that drives them.
pub(super) struct Array {
    cells: Vec<u8>,
    cut: Option<PowerCut>,
    powered: bool,
    torn: ChaCha8Rng,
    /// Erases of each sector.
    wear: Vec<u32>,
}

impl Array {
    pub(super) fn new(cells: Vec<u8>) -> Self {
        Self {
            wear: vec![0; cells.len() / SECTOR],
            cells,
            cut: None,
            powered: true,
            torn: ChaCha8Rng::seed_from_u64(0x0F1A),
        }
    }

    pub(super) fn cells(&self) -> &[u8] {
        &self.cells
    }

    pub(super) const fn powered(&self) -> bool {
        self.powered
    }

    pub(super) fn most_erased(&self) -> u32 {
        self.wear.iter().copied().max().unwrap_or(0)
    }

    pub(super) const fn cut_power(&mut self, cut: PowerCut) {
        self.cut = Some(cut);
    }

    pub(super) const fn restore_power(&mut self) {
        self.cut = None;
        self.powered = true;
    }

    /// Programs `data` at `address`; each byte goes where `place` says. Returns how many
    /// bytes were finished.
    pub(super) fn program(&mut self, data: &[(usize, u8)]) -> usize {
        let granted = self.grant(data.len());
        for &(place, value) in &data[..granted] {
            self.cells[place] &= value;
        }
        if let Some(&(place, value)) = data.get(granted)
            && !self.powered
            && granted > 0
        {
            let spared: u8 = self.torn.random();
            self.cells[place] &= value | spared;
        }
        granted
    }

    /// Erases the sector that holds `address`. Returns whether it finished.
    pub(super) fn erase(&mut self, address: usize) -> bool {
        let sector = address / SECTOR;
        let granted = self.grant(SECTOR);
        let cells = &mut self.cells[sector * SECTOR..(sector + 1) * SECTOR];
        if granted == SECTOR {
            cells.fill(0xFF);
            self.wear[sector] += 1;
            return true;
        }
        let progress = granted as f64 / SECTOR as f64;
        for cell in cells {
            for bit in 0..8 {
                if self.torn.random_bool(progress) {
                    *cell |= 1 << bit;
                }
            }
        }
        false
    }

    /// How many of `wanted` bytes the power lasts for.
    fn grant(&mut self, wanted: usize) -> usize {
        let granted = match &mut self.cut {
            _ if !self.powered => return 0,
            None => return wanted,
            Some(PowerCut::AfterBytes(left)) => {
                let granted = wanted.min(usize::try_from(*left).unwrap_or(usize::MAX));
                *left -= granted as u64;
                granted
            }
            Some(PowerCut::AfterOperations(0)) => 0,
            Some(PowerCut::AfterOperations(left)) => {
                *left -= 1;
                wanted
            }
        };
        self.powered = granted == wanted;
        granted
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bytes(from: usize, values: &[u8]) -> Vec<(usize, u8)> {
        values
            .iter()
            .enumerate()
            .map(|(index, value)| (from + index, *value))
            .collect()
    }

    #[test]
    fn programming_only_clears_and_erasing_sets() {
        let mut array = Array::new(vec![0xFF; 2 * SECTOR]);
        array.program(&bytes(SECTOR, &[0xF0]));
        array.program(&bytes(SECTOR, &[0x3F]));
        assert_eq!(array.cells()[SECTOR], 0x30);
        assert!(array.erase(SECTOR + 5));
        assert!(array.cells().iter().all(|cell| *cell == 0xFF));
        assert_eq!(array.most_erased(), 1);
    }

    #[test]
    fn a_cut_after_bytes_finishes_those_and_tears_the_next() {
        let mut array = Array::new(vec![0xFF; SECTOR]);
        array.cut_power(PowerCut::AfterBytes(3));
        assert_eq!(array.program(&bytes(0, &[0; 8])), 3);
        assert!(!array.powered());
        assert_eq!(array.cells()[..3], [0; 3]);
        assert_eq!(array.cells()[4..8], [0xFF; 4]);
        assert_eq!(array.program(&bytes(100, &[0])), 0);
        array.restore_power();
        assert_eq!(array.program(&bytes(100, &[0])), 1);
    }

    #[test]
    fn a_cut_in_an_erase_leaves_a_mixture() {
        let mut array = Array::new(vec![0; SECTOR]);
        array.cut_power(PowerCut::AfterBytes(2048));
        assert!(!array.erase(0));
        let ones: u32 = array.cells().iter().map(|cell| cell.count_ones()).sum();
        let share = f64::from(ones) / (8.0 * SECTOR as f64);
        assert!((share - 0.5).abs() < 0.02, "{share}");
    }

    #[test]
    fn a_cut_after_operations_is_before_the_next() {
        let mut array = Array::new(vec![0xFF; SECTOR]);
        array.cut_power(PowerCut::AfterOperations(1));
        assert_eq!(array.program(&bytes(0, &[1, 2])), 2);
        assert!(array.powered());
        assert_eq!(array.program(&bytes(2, &[3, 4])), 0);
        assert!(!array.powered());
        assert_eq!(array.cells()[..4], [1, 2, 0xFF, 0xFF]);
    }
}
