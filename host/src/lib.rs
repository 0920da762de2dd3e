//! Host.
