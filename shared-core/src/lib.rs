#![doc = include_str!("../README.md")]
#![cfg_attr(not(test), no_std)]

pub mod calibration;
pub mod drive;
pub mod earth_path;
pub mod evidence;
pub mod finding;
pub mod front_end;
pub mod judge;
pub mod lamps;
pub mod limiter_check;
pub mod limits;
pub mod link;
pub mod load_step;
pub mod measure;
pub mod record;
pub mod relay_check;
pub mod sample;
pub mod self_test;
pub mod slots;
mod sorting;
pub mod start;
pub mod stimulus;
pub mod topology;
pub mod units;
pub mod verdict;
pub mod watch;
pub mod window;
