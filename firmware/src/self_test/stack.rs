//! The stack's guard: memory below the deepest stack ever meant, painted at start. A stack that
//! has come that far is about to write over data that others use.

use slotwise_core::self_test::SelfTestFailure;

/// What a painted byte of unused memory holds.
pub const PAINT: u8 = 0xA5;

/// Length of the guard. One frame of the deepest functions (a record's buffer, 1.5 KiB) may step
/// over the guard's first bytes without touching them, so it is longer than that.
pub const GUARD_BYTES: u32 = 4096;

/// How much of the guard is untouched, counted from its low end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Guard {
    /// Bytes that still hold the paint.
    pub untouched: u32,
}

impl Guard {
    /// Nothing has come near.
    pub const WHOLE: Self = Self {
        untouched: GUARD_BYTES,
    };

    /// Looks at a guard's bytes, low end first.
    #[must_use]
    pub fn of(bytes: impl IntoIterator<Item = u8>) -> Self {
        let painted = bytes.into_iter().take_while(|&byte| byte == PAINT);
        Self {
            untouched: u32::try_from(painted.count()).unwrap_or(u32::MAX),
        }
    }

    /// # Errors
    /// [`SelfTestFailure::Stack`] if any byte of the guard was written.
    pub const fn check(self) -> Result<(), SelfTestFailure> {
        if self.untouched >= GUARD_BYTES {
            Ok(())
        } else {
            Err(SelfTestFailure::Stack {
                untouched: self.untouched,
                guard: GUARD_BYTES,
            })
        }
    }
}

#[cfg(test)]
mod tests {
    use super::{GUARD_BYTES, Guard, PAINT};
    use slotwise_core::self_test::SelfTestFailure;

    #[test]
    fn a_single_byte_written_anywhere_fails() {
        let mut bytes = vec![PAINT; GUARD_BYTES as usize];
        assert_eq!(Guard::of(bytes.iter().copied()).check(), Ok(()));
        for at in [0, 1, 2000, GUARD_BYTES as usize - 1] {
            bytes[at] = 0;
            assert_eq!(
                Guard::of(bytes.iter().copied()).check(),
                Err(SelfTestFailure::Stack {
                    untouched: at as u32,
                    guard: GUARD_BYTES
                })
            );
            bytes[at] = PAINT;
        }
    }
}
