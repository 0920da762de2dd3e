//! LU factors of a sparse matrix of at most 128 unknowns.
//!
//! Kirchhoff's laws tie a node to its few neighbours only: of the sixty rows of a house each
//! has two to six entries. Which cells are occupied is a bit mask for each row and column; the
//! values stand in a full square, of which the empty cells are never touched.
//!
//! Pivots are chosen as Markowitz has it (fewest cells that an elimination can fill; Management
//! Science 3, 1957, from memory), among those of at least half the largest value of their
//! column. With partial pivoting that bound is the largest itself, so a step grows an error by
//! twice at most what it would there; what is lost is mended by the caller.
//!
//! Limits: more unknowns than bits are not taken; the caller has a dense matrix for those.

use super::{CircuitError, Phasor};

/// Most unknowns: the bits of a mask.
pub(super) const MOST: usize = u128::BITS as usize;

/// Least pivot against the largest of its column, squared: one half.
const LEAST_SQUARED: f64 = 0.25;

/// Columns that a search looks at before it takes the best it has seen; common practice.
const LOOKED_AT: usize = 3;

/// A square matrix under construction.
pub(super) struct Sparse {
    size: usize,
    values: Vec<Phasor>,
    rows: Vec<u128>,
    columns: Vec<u128>,
}

/// One elimination: where its pivot stands, the rows that it changed, and the other columns of
/// its own row.
#[derive(Clone, Copy, Debug)]
pub(super) struct Step {
    row: usize,
    column: usize,
    below: u128,
    beside: u128,
}

/// A pivot that may be taken.
#[derive(Clone, Copy, Debug)]
struct Candidate {
    /// Cells that its elimination can fill, at most.
    cost: u32,
    place: usize,
    row: usize,
}

/// A factored matrix: as many right sides as are wanted.
#[derive(Clone, Debug)]
pub(super) struct Factors {
    size: usize,
    /// Multipliers below the pivots, what is left of the rows beside them, and in a pivot's
    /// own place its inverse.
    values: Vec<Phasor>,
    steps: Vec<Step>,
}

/// The places of a mask's bits, lowest first.
fn bits(mut mask: u128) -> impl Iterator<Item = usize> {
    core::iter::from_fn(move || {
        (mask != 0).then(|| {
            let place = mask.trailing_zeros() as usize;
            mask &= mask - 1;
            place
        })
    })
}

impl Sparse {
    /// A matrix of nothing, `size` rows and columns; none beyond [`MOST`].
    pub(super) fn new(size: usize) -> Option<Self> {
        (size <= MOST).then(|| Self {
            size,
            values: vec![Phasor::new(0.0, 0.0); size * size],
            rows: vec![0; size],
            columns: vec![0; size],
        })
    }

    /// Adds to a cell.
    pub(super) fn add(&mut self, row: usize, column: usize, value: Phasor) {
        self.values[row * self.size + column] += value;
        self.rows[row] |= 1 << column;
        self.columns[column] |= 1 << row;
    }

    /// Factors it. Pivots are taken from `order` as long as they will do: each is the only one of
    /// its column, or half the largest there.
    pub(super) fn factor(mut self, order: &[Step]) -> Result<Factors, CircuitError> {
        let size = self.size;
        let mut counts = [self.rows.as_slice(), self.columns.as_slice()]
            .map(|masks| masks.iter().map(|mask| mask.count_ones()).collect());
        let mut steps = Vec::with_capacity(size);
        for step in order {
            let (row, column) = (step.row, step.column);
            let will_do = row < size
                && column < size
                && self.columns[column] >> row & 1 == 1
                && self.may_be_pivot(row, column);
            if !will_do {
                break;
            }
            steps.push(self.eliminate(row, column, &mut counts));
        }
        let taken = steps
            .iter()
            .fold(0_u128, |taken, step| taken | 1 << step.column);
        let mut waiting: Vec<usize> = (0..size)
            .filter(|column| taken >> column & 1 == 0)
            .collect();
        while !waiting.is_empty() {
            let (place, row) = self
                .pivot(&waiting, &counts)
                .ok_or(CircuitError::Singular)?;
            let column = waiting.swap_remove(place);
            steps.push(self.eliminate(row, column, &mut counts));
        }
        Ok(Factors {
            size,
            values: self.values,
            steps,
        })
    }

    fn may_be_pivot(&self, row: usize, column: usize) -> bool {
        let size_of = |row: usize| self.values[row * self.size + column].norm_sqr();
        let largest = bits(self.columns[column]).map(size_of).fold(0.0, f64::max);
        // Written so that a NaN is no pivot.
        size_of(row) > 0.0 && size_of(row) >= LEAST_SQUARED * largest
    }

    /// The next pivot: the place of its column among those that wait, and its row.
    fn pivot(&self, waiting: &[usize], counts: &[Vec<u32>; 2]) -> Option<(usize, usize)> {
        let [in_row, in_column] = counts;
        let mut best: Option<Candidate> = None;
        let mut looked_at = 0;
        let mut count = 0;
        while best.is_none() || looked_at < LOOKED_AT {
            // The next higher count of a column that there is.
            let Some(next) = waiting
                .iter()
                .map(|&column| in_column[column])
                .filter(|&there| there > count)
                .min()
            else {
                break;
            };
            count = next;
            let others = count - 1;
            if best.is_some_and(|best| best.cost <= others * others) {
                break;
            }
            for (place, &column) in waiting.iter().enumerate() {
                if in_column[column] != count {
                    continue;
                }
                let size_of = |row: usize| self.values[row * self.size + column].norm_sqr();
                let largest = bits(self.columns[column]).map(size_of).fold(0.0, f64::max);
                for row in bits(self.columns[column]) {
                    let size = size_of(row);
                    let cost = (in_row[row] - 1) * others;
                    // Written so that a NaN is no pivot.
                    if size > 0.0
                        && size >= LEAST_SQUARED * largest
                        && best.is_none_or(|best| cost < best.cost)
                    {
                        best = Some(Candidate { cost, place, row });
                    }
                }
                looked_at += 1;
                if best.is_some_and(|best| best.cost == 0 || looked_at >= LOOKED_AT) {
                    break;
                }
            }
        }
        best.map(|best| (best.place, best.row))
    }

    fn eliminate(&mut self, row: usize, column: usize, counts: &mut [Vec<u32>; 2]) -> Step {
        let size = self.size;
        let beside = self.rows[row] & !(1 << column);
        let below = self.columns[column] & !(1 << row);
        let inverse = self.values[row * size + column].inv();
        self.values[row * size + column] = inverse;
        let [in_row, in_column] = counts;
        for other in bits(below) {
            let factor = self.values[other * size + column] * inverse;
            self.values[other * size + column] = factor;
            for cell in bits(beside) {
                let change = factor * self.values[row * size + cell];
                self.values[other * size + cell] -= change;
            }
            let filled = beside & !self.rows[other];
            self.rows[other] = (self.rows[other] | beside) & !(1 << column);
            in_row[other] += filled.count_ones();
            in_row[other] -= 1;
            for cell in bits(filled) {
                self.columns[cell] |= 1 << other;
                in_column[cell] += 1;
            }
        }
        for cell in bits(beside) {
            self.columns[cell] &= !(1 << row);
            in_column[cell] -= 1;
        }
        Step {
            row,
            column,
            below,
            beside,
        }
    }
}

impl Factors {
    /// The pivots, in the order in which they were taken.
    pub(super) fn order(&self) -> &[Step] {
        &self.steps
    }

    /// The unknowns for one right side, which is used up.
    pub(super) fn solve(&self, mut right: Vec<Phasor>) -> Vec<Phasor> {
        let zero = Phasor::new(0.0, 0.0);
        for step in &self.steps {
            let pivot = right[step.row];
            if pivot == zero {
                continue;
            }
            for row in bits(step.below) {
                right[row] -= self.values[row * self.size + step.column] * pivot;
            }
        }
        let mut unknowns = vec![zero; self.size];
        for step in self.steps.iter().rev() {
            let own = &self.values[step.row * self.size..][..self.size];
            let known: Phasor = bits(step.beside)
                .map(|column| own[column] * unknowns[column])
                .sum();
            unknowns[step.column] = (right[step.row] - known) * own[step.column];
        }
        unknowns
    }
}
