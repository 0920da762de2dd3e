//! Quantities that only the virtual world needs, beside those of the core's `units`.
//!
//! They hold doubles: the world must be finer than the 24-bit codes that are made from it
//! (1 part in 2^23), and single precision carries just that many bits.

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $symbol:literal) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
        pub struct $name(f64);

        impl $name {
            #[doc = concat!("A quantity of `value` ", $symbol, ".")]
            #[must_use]
            pub const fn new(value: f64) -> Self {
                Self(value)
            }

            #[doc = concat!("The value in ", $symbol, ".")]
            #[must_use]
            pub const fn get(self) -> f64 {
                self.0
            }
        }
    };
}

quantity!(
    /// A capacitance.
    Farads, "F"
);
quantity!(
    /// An inductance.
    Henries, "H"
);
quantity!(
    /// A length.
    Metres, "m"
);
quantity!(
    /// An area.
    SquareMetres, "m2"
);
quantity!(
    /// A resistivity, of metal or of soil.
    OhmMetres, "ohm m"
);

impl Farads {
    /// A capacitance of `value` pF.
    #[must_use]
    pub const fn from_pico(value: f64) -> Self {
        Self(value * 1e-12)
    }
}

impl Metres {
    /// A length of `value` feet of 0.3048 m.
    #[must_use]
    pub const fn from_feet(value: f64) -> Self {
        Self(value * 0.3048)
    }

    /// A length of `value` inches of 0.0254 m.
    #[must_use]
    pub const fn from_inches(value: f64) -> Self {
        Self(value * 0.0254)
    }

    /// The length in feet of 0.3048 m.
    #[must_use]
    pub const fn feet(self) -> f64 {
        self.0 / 0.3048
    }
}

impl SquareMetres {
    /// An area of `value` square millimetres.
    #[must_use]
    pub const fn from_square_millimetres(value: f64) -> Self {
        Self(value * 1e-6)
    }

    /// The area in circular mils, that of a circle of 0.001 inch.
    #[must_use]
    pub fn circular_mils(self) -> f64 {
        self.0 / (core::f64::consts::FRAC_PI_4 * 0.0254e-3 * 0.0254e-3)
    }
}
