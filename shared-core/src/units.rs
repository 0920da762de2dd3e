//! Quantities with their unit in the type, so that no bare float crosses a public edge.
//!
//! Each is a plain newtype over `f32`: a reading of a mains tester carries at most five
//! significant digits, and `f32` carries seven. Arithmetic inside the core is done in
//! `f64`; the newtypes are what leaves and enters a module.
//!
//! Values are finite by construction where the core makes them. "Could not be measured" is
//! never a number here: see [`crate::evidence::Measured`].

use core::fmt;
use core::ops::{Add, Mul, Neg, Sub};
use serde::{Deserialize, Serialize};

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $symbol:literal) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd, Serialize, Deserialize)]
        #[cfg_attr(feature = "defmt", derive(defmt::Format))]
        pub struct $name(f32);

        impl $name {
            /// Zero of this quantity.
            pub const ZERO: Self = Self(0.0);

            #[doc = concat!("A quantity of `value` ", $symbol, ".")]
            #[must_use]
            pub const fn new(value: f32) -> Self {
                Self(value)
            }

            #[doc = concat!("The value in ", $symbol, ".")]
            #[must_use]
            pub const fn get(self) -> f32 {
                self.0
            }

            /// The same quantity without its sign.
            #[must_use]
            pub const fn abs(self) -> Self {
                Self(self.0.abs())
            }

            /// Rounds a computed `f64` to this quantity.
            #[must_use]
            pub const fn from_f64(value: f64) -> Self {
                Self(value as f32)
            }
        }

        impl Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self(self.0 + other.0)
            }
        }

        impl Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self(self.0 - other.0)
            }
        }

        impl Neg for $name {
            type Output = Self;
            fn neg(self) -> Self {
                Self(-self.0)
            }
        }

        impl Mul<f32> for $name {
            type Output = Self;
            fn mul(self, factor: f32) -> Self {
                Self(self.0 * factor)
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                fmt::Display::fmt(&self.0, f)?;
                f.write_str(concat!(" ", $symbol))
            }
        }
    };
}

quantity!(
    /// An electrical potential difference. AC values are RMS unless the name says otherwise.
    Volts, "V"
);
quantity!(
    /// A current. AC values are RMS unless the name says otherwise.
    Amperes, "A"
);
quantity!(
    /// A resistance.
    Ohms, "ohm"
);
quantity!(
    /// A frequency.
    Hertz, "Hz"
);
quantity!(
    /// An angle, positive when the quantity leads its reference.
    Radians, "rad"
);
quantity!(
    /// A dimensionless ratio; 1.0 is a hundred per cent.
    Ratio, "(ratio)"
);
quantity!(
    /// A temperature.
    Celsius, "degC"
);

/// Milliseconds since the tester started (this boot).
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Millis(u64);

impl Millis {
    /// A time `millis` milliseconds after the start.
    #[must_use]
    pub const fn new(millis: u64) -> Self {
        Self(millis)
    }

    /// Milliseconds since the start.
    #[must_use]
    pub const fn get(self) -> u64 {
        self.0
    }

    /// How long `self` is after `earlier`, in milliseconds; 0 if it is not after.
    #[must_use]
    pub const fn since(self, earlier: Self) -> u64 {
        self.0.saturating_sub(earlier.0)
    }
}

/// Seconds since 1970-01-01T00:00:00Z, from the battery-backed clock chip.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct UnixSeconds(u64);

impl UnixSeconds {
    /// An instant `seconds` seconds after the Unix epoch.
    #[must_use]
    pub const fn new(seconds: u64) -> Self {
        Self(seconds)
    }

    /// Seconds since the Unix epoch.
    #[must_use]
    pub const fn get(self) -> u64 {
        self.0
    }
}
