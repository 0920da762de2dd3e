//! The drive's estimator in a model of a house, from the integers of the sampling path.
//!
//! The model is made here, in `f64`, from its formulas; nothing of the code under test is used to
//! make it but the sequence of the tone. White noise of 2.2 mV a frame and lead (5.35 uV at the
//! converter); strings of +-0.3 % that the calibration knows; the line at 59.9 to 60.1 Hz with
//! 5 % THD, 80 V on narrow and -40 V on the others against the star; a neutral drop of up to 3 V
//! on the path, which steps with a load every two seconds on average, up to 1 V at a time.
//!
//! The converter is its filter: a frame is converted from three frame times of input, behind the
//! string's filter of 43 us.

mod accuracy;
mod doubt;
mod interlock;
mod model;
