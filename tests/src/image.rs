//! What the image says of itself, worked out anew from its ELF file: which build it is.
//!
//! The file is read by the crate `object` and hashed by `sha2`, not by the script that writes the
//! mark (`tests/emulator/image-check.mjs`).

use std::fs;
use std::path::Path;

use object::{Object as _, ObjectSegment as _, ObjectSymbol as _};
use sha2::{Digest as _, Sha256};
use slotwise_core::start::BuildId;

const FLASH: u64 = 0x1000_0000;
/// Check word and build in the mark, behind start and length.
const CHECKED_FROM: usize = 8;
const BUILD_FROM: usize = 12;
const BUILD_TO: usize = 20;

/// An image.
#[derive(Clone, Debug)]
pub struct Image {
    /// Flash from its start to the image's end, gaps as FF.
    pub flash: Vec<u8>,
    /// Where its mark begins.
    mark: usize,
}

impl Image {
    /// Reads an ELF file.
    ///
    /// # Panics
    /// If it is no image of ours.
    #[must_use]
    pub fn read(elf: &Path) -> Self {
        let bytes = fs::read(elf).expect("the image is there");
        let file = object::read::elf::ElfFile32::<object::LittleEndian>::parse(&*bytes)
            .expect("an ELF file");
        let mut flash = Vec::new();
        for (segment, header) in file.segments().zip(loads(&file)) {
            let data = segment.data().expect("it is stored");
            if data.is_empty() {
                continue;
            }
            let from = place(u64::from(header));
            let to = from + data.len();
            if flash.len() < to {
                flash.resize(to, 0xff);
            }
            flash[from..to].copy_from_slice(data);
        }
        let mark = file
            .symbols()
            .find(|symbol| symbol.name() == Ok("SLOTWISE_IMAGE_MARK"))
            .expect("the image has a mark");
        let mark = place(mark.address());
        Self { flash, mark }
    }

    /// The build that stands in the mark.
    ///
    /// # Panics
    /// Never: a mark has one.
    #[must_use]
    pub fn marked_build(&self) -> Option<BuildId> {
        let bytes = &self.flash[self.mark + BUILD_FROM..self.mark + BUILD_TO];
        BuildId::of_image(bytes.try_into().expect("eight bytes"))
    }

    /// The build that the image's bytes make.
    ///
    /// # Panics
    /// Never: a digest has 32 bytes.
    #[must_use]
    pub fn build(&self) -> BuildId {
        let mut flash = self.flash.clone();
        flash[self.mark + CHECKED_FROM..self.mark + BUILD_TO].fill(0);
        let digest = Sha256::digest(&flash);
        BuildId(digest[..8].try_into().expect("eight bytes"))
    }
}

/// Physical addresses of the loaded segments, in the file's order.
fn loads<'f>(
    file: &'f object::read::elf::ElfFile32<'_, object::LittleEndian>,
) -> impl Iterator<Item = u32> + 'f {
    let headers = file.elf_program_headers();
    headers
        .iter()
        .filter(|header| header.p_type.get(object::LittleEndian) == object::elf::PT_LOAD)
        .map(|header| header.p_paddr.get(object::LittleEndian))
}

/// Distance from the start of flash.
fn place(address: u64) -> usize {
    let distance = address.checked_sub(FLASH).expect("in flash");
    usize::try_from(distance).expect("small")
}
