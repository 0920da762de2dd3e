//! What calls what in the image: functions, branches and the addresses of functions that code
//! keeps beside itself, read off the ELF file.
//!
//! Thumb-1 as a Cortex-M0+ has it (Armv6-M ARM, A5 and A6): `BL` with 32 bits, `B` and `B<cond>`
//! with 16. A branch that leaves its function is a call that does not come back. An address of a
//! function in a literal pool counts as a call of it: that is how long branches and pointers to
//! functions come about. What this does not see is a pointer that stands in data (a table of a
//! trait object): every branch to a register is listed, so that none of them goes unnoticed.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Range;

use object::{Object, ObjectSection, ObjectSymbol, SymbolKind};

/// A branch, or an address of a function that a function keeps.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Reference {
    /// Where it stands.
    pub(crate) at: u32,
    /// Address of the function that it is to.
    pub(crate) to: u32,
}

/// A function.
#[derive(Clone, Debug)]
pub(crate) struct Function {
    /// Its names, readable.
    pub(crate) names: Vec<String>,
    /// Its bytes.
    pub(crate) range: Range<u32>,
    /// What it refers to outside of itself.
    pub(crate) to: Vec<Reference>,
    /// Branches to a register other than the return.
    pub(crate) to_registers: Vec<u32>,
}

impl Function {
    pub(crate) fn name(&self) -> &str {
        self.names.first().map_or("?", String::as_str)
    }
}

/// The image.
#[derive(Debug)]
pub(crate) struct Image {
    /// By address.
    pub(crate) functions: BTreeMap<u32, Function>,
    memory: Memory,
}

const LINK_REGISTER: u16 = 14;

impl Image {
    /// Reads an ELF file.
    pub(crate) fn read(bytes: &[u8]) -> Self {
        let file = object::File::parse(bytes).expect("an ELF file");
        let mut functions: BTreeMap<u32, Function> = BTreeMap::new();
        // Where code begins and where data in it does (ELF for the Arm Architecture, 5.5.5).
        let mut marks: BTreeMap<u32, bool> = BTreeMap::new();
        for symbol in file.symbols() {
            let Ok(name) = symbol.name() else { continue };
            let at = symbol.address() as u32;
            if name == "$t" || name.starts_with("$t.") {
                marks.insert(at, true);
            } else if name.starts_with("$d") {
                marks.entry(at).or_insert(false);
            } else if symbol.kind() == SymbolKind::Text && symbol.size() > 0 {
                let at = at & !1;
                let end = at + symbol.size() as u32;
                let function = functions.entry(at).or_insert_with(|| Function {
                    names: Vec::new(),
                    range: at..end,
                    to: Vec::new(),
                    to_registers: Vec::new(),
                });
                function.range.end = function.range.end.max(end);
                function
                    .names
                    .push(format!("{:#}", rustc_demangle::demangle(name)));
            }
        }
        let memory = Memory::of(&file);
        let starts: BTreeSet<u32> = functions.keys().copied().collect();
        for function in functions.values_mut() {
            scan(function, &memory, &marks, &starts);
        }
        Self { functions, memory }
    }

    /// The place in the sources that the panic called at `at` is handed, as `file:line`: the
    /// nearest literal loaded before the call that points at a `core::panic::Location` (a
    /// pointer to the file's name, its length, line and column). Debug information is less sure:
    /// calls of one panic from several places are one call, with none of their lines.
    pub(crate) fn panic_place(&self, at: u32) -> Option<String> {
        (1..=6).find_map(|back| {
            let at = at.checked_sub(2 * back)?;
            let half = u32::from(self.memory.half(at)?);
            // LDR (literal), encoding T1.
            if half & 0xF800 != 0x4800 {
                return None;
            }
            let literal = ((at + 4) & !3) + (half & 0xFF) * 4;
            let location = self.memory.word(literal)?;
            let name = self.memory.word(location)?;
            let length = self.memory.word(location + 4)?;
            let line = self.memory.word(location + 8)?;
            let name = self.memory.text(name, length)?;
            name.ends_with(".rs").then(|| format!("{name}:{line}"))
        })
    }

    /// The functions whose name `is`.
    pub(crate) fn named(&self, is: impl Fn(&str) -> bool) -> BTreeSet<u32> {
        let found = self.functions.iter();
        let found = found.filter(|(_, function)| function.names.iter().any(|name| is(name)));
        found.map(|(at, _)| *at).collect()
    }

    /// Everything that `roots` lead to, themselves included, without what only the `doors` lead
    /// to; and for each the one that led there.
    pub(crate) fn reached(
        &self,
        roots: &BTreeSet<u32>,
        doors: &BTreeSet<u32>,
    ) -> BTreeMap<u32, u32> {
        let mut from: BTreeMap<u32, u32> = roots.iter().map(|root| (*root, *root)).collect();
        let mut open: Vec<u32> = roots.iter().copied().collect();
        while let Some(at) = open.pop() {
            let Some(function) = self.functions.get(&at) else {
                continue;
            };
            for Reference { to, .. } in &function.to {
                if !doors.contains(to) && !from.contains_key(to) {
                    from.insert(*to, at);
                    open.push(*to);
                }
            }
        }
        from
    }

    /// The way to `at`, in names.
    pub(crate) fn way(&self, from: &BTreeMap<u32, u32>, mut at: u32) -> String {
        let mut names = Vec::new();
        loop {
            names.push(self.functions.get(&at).map_or("?", Function::name));
            match from.get(&at) {
                Some(before) if *before != at => at = *before,
                _ => break,
            }
        }
        names.reverse();
        names.join(" -> ")
    }
}

/// The loaded sections.
#[derive(Debug)]
struct Memory(Vec<(u32, Vec<u8>)>);

impl Memory {
    fn of(file: &object::File<'_>) -> Self {
        let sections = file.sections().filter(|section| section.address() != 0);
        Self(
            sections
                .filter_map(|section| {
                    Some((section.address() as u32, section.data().ok()?.to_vec()))
                })
                .collect(),
        )
    }

    fn bytes(&self, at: u32, count: u32) -> Option<&[u8]> {
        self.0.iter().find_map(|(from, bytes)| {
            let place = at.checked_sub(*from)? as usize;
            bytes.get(place..place.checked_add(count as usize)?)
        })
    }

    fn half(&self, at: u32) -> Option<u16> {
        let bytes = self.bytes(at, 2)?.try_into().ok()?;
        Some(u16::from_le_bytes(bytes))
    }

    fn text(&self, at: u32, length: u32) -> Option<&str> {
        std::str::from_utf8(self.bytes(at, length.min(512))?).ok()
    }

    fn word(&self, at: u32) -> Option<u32> {
        Some(u32::from(self.half(at)?) | u32::from(self.half(at + 2)?) << 16)
    }
}

fn scan(
    function: &mut Function,
    memory: &Memory,
    marks: &BTreeMap<u32, bool>,
    starts: &BTreeSet<u32>,
) {
    let range = function.range.clone();
    // The function that an address lies in begins at or before it.
    let owner = |to: u32| starts.range(..=to).next_back().copied();
    let mut at = range.start;
    while at < range.end {
        let is_code = marks.range(..=at).next_back().is_none_or(|(_, code)| *code);
        if !is_code {
            if at.is_multiple_of(4)
                && let Some(word) = memory.word(at)
                && word & 1 == 1
                && starts.contains(&(word & !1))
                && !range.contains(&word)
            {
                function.to.push(Reference { at, to: word & !1 });
            }
            at += 2;
            continue;
        }
        let Some(half) = memory.half(at) else { break };
        let long = matches!(half >> 11, 0b11101..=0b11111);
        let target = if long {
            let low = memory.half(at + 2).unwrap_or(0);
            branch_with_link(at, half, low)
        } else {
            branch(at, half)
        };
        if let Some(to) = target.filter(|to| !range.contains(to))
            && let Some(to) = owner(to)
        {
            function.to.push(Reference { at, to });
        }
        let is_to_register = half & 0xFF07 == 0x4700;
        if is_to_register && half >> 3 & 0xF != LINK_REGISTER {
            function.to_registers.push(at);
        }
        at += if long { 4 } else { 2 };
    }
}

/// `BL`, encoding T1: 25 bits of distance in halfwords, two of them turned by the sign.
pub(crate) fn branch_with_link(at: u32, high: u16, low: u16) -> Option<u32> {
    if high & 0xF800 != 0xF000 || low & 0xD000 != 0xD000 {
        return None;
    }
    let (high, low) = (u32::from(high), u32::from(low));
    let sign = high >> 10 & 1;
    let [j1, j2] = [low >> 13, low >> 11].map(|j| !(j ^ sign) & 1);
    let bits = sign << 24 | j1 << 23 | j2 << 22 | (high & 0x3FF) << 12 | (low & 0x7FF) << 1;
    Some(at.wrapping_add(4).wrapping_add(signed(bits, 25)))
}

/// The two halves of a `BL` at `at` to `to`: the inverse, to plant one.
pub(crate) fn call(at: u32, to: u32) -> [u16; 2] {
    let distance = to.wrapping_sub(at.wrapping_add(4));
    let sign = distance >> 24 & 1;
    let [j1, j2] = [distance >> 23, distance >> 22].map(|bit| !(bit ^ sign) & 1);
    [
        (0xF000 | sign << 10 | distance >> 12 & 0x3FF) as u16,
        (0xD000 | j1 << 13 | j2 << 11 | distance >> 1 & 0x7FF) as u16,
    ]
}

/// `B`, encodings T1 (with a condition) and T2.
fn branch(at: u32, half: u16) -> Option<u32> {
    let half = u32::from(half);
    let distance = if half & 0xF800 == 0xE000 {
        signed((half & 0x7FF) << 1, 12)
    } else if half & 0xF000 == 0xD000 && half >> 8 & 0xF < 14 {
        signed((half & 0xFF) << 1, 9)
    } else {
        return None;
    };
    Some(at.wrapping_add(4).wrapping_add(distance))
}

/// `bits` with a sign at the top of `width`.
const fn signed(bits: u32, width: u32) -> u32 {
    ((bits << (32 - width)) as i32 >> (32 - width)) as u32
}

#[cfg(test)]
mod tests {
    use super::{branch_with_link, call};

    #[test]
    fn a_call_leads_where_it_was_made_to() {
        // From a listing of llvm-objdump: `10000236: f7ff fffe  bl 0x10000236`.
        assert_eq!(
            branch_with_link(0x1000_0236, 0xF7FF, 0xFFFE),
            Some(0x1000_0236)
        );
        for to in [0x1000_0000, 0x1004_8F12, 0x10F0_0000, 0x0FFF_FFF0] {
            let [high, low] = call(0x1000_8000, to);
            assert_eq!(branch_with_link(0x1000_8000, high, low), Some(to), "{to:x}");
        }
    }
}
