//! Virtual board.
