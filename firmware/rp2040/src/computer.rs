//! The chip's half of the tests of itself: the image in flash, memory that nothing uses yet, the
//! guard below the stack.
//!
//! The image's mark is filled in after linking (`tests/emulator/image-check.mjs`, called by
//! `build.sh`): where the image stands, how long it is, the check word over all of it but that
//! word, and which build it is. An image that was never marked has a length of 0 and fails.

use core::ptr;
use core::slice;

use cortex_m::register::msp;
use slotwise_core::self_test::SelfTestFailure;
use slotwise_core::start::BuildId;
use slotwise_firmware::self_test::march::{Words, march};
use slotwise_firmware::self_test::stack::{GUARD_BYTES, PAINT};
use slotwise_firmware::self_test::{Guard, image};

/// Flash as the processor sees it.
const FLASH: usize = 0x1000_0000;
const FLASH_BYTES: usize = 2 << 20;

/// Bytes below the stack pointer that the march itself may need.
const OWN_STACK: usize = 1024;

/// Filled in after linking.
#[repr(C)]
struct ImageMark {
    start: u32,
    length: u32,
    check_word: u32,
    build: [u8; 8],
}

#[unsafe(no_mangle)]
#[used]
static SLOTWISE_IMAGE_MARK: ImageMark = ImageMark {
    start: 0x1000_0000,
    length: 0,
    check_word: u32::MAX,
    build: [0; 8],
};

/// The mark, as the build left it.
fn image_mark() -> ImageMark {
    // SAFETY: a static of this program; volatile, because the build changes it after the compiler
    // has seen it.
    unsafe { (&raw const SLOTWISE_IMAGE_MARK).read_volatile() }
}

/// Which build this is.
pub(crate) fn build() -> Option<BuildId> {
    BuildId::of_image(image_mark().build)
}

unsafe extern "C" {
    /// Where the memory begins that the linker gave to nobody.
    static __sheap: u32;
}

/// The tests of the start that are the chip's. Call it before anything large stands on the
/// stack, with interrupts off; 60 ms.
#[inline(never)]
pub(crate) fn check_at_start() -> Result<(), SelfTestFailure> {
    let memory = check_memory();
    check_image().and(memory)
}

fn check_image() -> Result<(), SelfTestFailure> {
    let mark = &raw const SLOTWISE_IMAGE_MARK;
    let ImageMark {
        start,
        length,
        check_word,
        build: _,
    } = image_mark();
    let (start, length) = (start as usize, length as usize);
    let word = mark as usize + 2 * size_of::<u32>();
    let end = start.wrapping_add(length);
    let fits = start == FLASH && length <= FLASH_BYTES && word + 4 <= end;
    let parts: [&[u8]; 2] = if fits {
        // SAFETY: all of it lies in flash, which is mapped for reading and never written while
        // the program runs.
        unsafe { [flash(start, word), flash(word + 4, end)] }
    } else {
        [&[], &[]]
    };
    image::check(parts, check_word)
}

/// # Safety
/// `from..to` lies in flash.
unsafe fn flash(from: usize, to: usize) -> &'static [u8] {
    // SAFETY: as demanded.
    unsafe { slice::from_raw_parts(ptr::with_exposed_provenance(from), to - from) }
}

/// Memory between what the linker gave away and the stack.
struct Unused {
    from: *mut u32,
    count: usize,
}

impl Words for Unused {
    #[inline]
    fn count(&self) -> usize {
        self.count
    }

    fn address(&self, index: usize) -> u32 {
        self.from as u32 + 4 * index as u32
    }

    #[inline]
    fn read(&self, index: usize) -> u32 {
        // SAFETY: inside of memory that nothing else uses.
        unsafe { self.from.add(index).read_volatile() }
    }

    #[inline]
    fn write(&mut self, index: usize, value: u32) {
        // SAFETY: inside of memory that nothing else uses.
        unsafe { self.from.add(index).write_volatile(value) }
    }
}

/// Marches over the unused memory and paints it.
fn check_memory() -> Result<(), SelfTestFailure> {
    let from = (&raw const __sheap).cast_mut();
    let to = msp::read() as usize - OWN_STACK;
    let mut unused = Unused {
        from,
        count: to.saturating_sub(from as usize) / size_of::<u32>(),
    };
    let outcome = march(&mut unused);
    for index in 0..unused.count {
        unused.write(index, u32::from_ne_bytes([PAINT; 4]));
    }
    outcome
}

/// The guard at the low end of the stack's memory.
pub(crate) fn guard() -> Guard {
    let unused = Unused {
        from: (&raw const __sheap).cast_mut(),
        count: GUARD_BYTES as usize / size_of::<u32>(),
    };
    let painted = u32::from_ne_bytes([PAINT; 4]);
    let untouched = (0..unused.count).take_while(|&index| unused.read(index) == painted);
    Guard {
        untouched: untouched.count() as u32 * 4,
    }
}
