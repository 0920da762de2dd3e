//! A watch from its first beat to its end.

use slotwise_core::limits::WatchLimits;
use slotwise_core::load_step::Beat;
use slotwise_core::slots::ClipTarget;
use slotwise_core::watch::{Page, StepWave, Watch};

/// The watch, its pages and its steps.
pub(crate) fn run(beats: &[Beat], clip: ClipTarget) -> (Watch, Vec<Page>, Vec<StepWave>) {
    let mut watch = Watch::new(clip);
    let (mut pages, mut steps) = (Vec::new(), Vec::new());
    for beat in beats {
        watch.push(beat, &WatchLimits::DEFAULT);
        pages.extend(watch.take_page());
        steps.extend(watch.take_step());
    }
    watch.finish();
    pages.extend(watch.take_page());
    steps.extend(watch.take_step());
    (watch, pages, steps)
}
