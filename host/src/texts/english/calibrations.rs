//! English words about a calibration of the tester.

use slotwise_core::calibration::event::CalibrationEvent;
use slotwise_core::calibration::limiters::Limiters;
use slotwise_core::record::RecordNumber;

use crate::report::numbers::change_percent;
use crate::report::trend::day;

/// What a record of a calibration says.
pub(super) fn calibrated(event: &CalibrationEvent) -> String {
    let stamp = event.now.stamp();
    let mut text = format!(
        "calibrated on {} at {:.0} °C, due again on {}",
        day(stamp.done),
        stamp.temperature.get(),
        day(stamp.until)
    );
    match event.largest_gain_change() {
        Some(change) => {
            text += &format!(
                ". Largest change of a channel's gain since the calibration before: {}",
                change_percent(change)
            );
        }
        None => text += ". No calibration stood before it",
    }
    text
}

/// What a record of the limiters says.
pub(super) fn limiters(limiters: &Limiters) -> String {
    let both = |currents: [slotwise_core::units::Amperes; 2]| {
        let [out, back] = currents.map(|current| current.get() * 1e3);
        format!("{out:.2} and {back:.2} mA")
    };
    format!(
        "limiters of the drive measured with it: {} to ground, {} to the clip (2.3 to 2.9 pass)",
        both(limiters.to_ground),
        both(limiters.to_clip)
    )
}

/// The calibration behind a test, for the head of a report.
pub(super) fn behind(record: RecordNumber, event: &CalibrationEvent) -> String {
    let stamp = event.now.stamp();
    format!(
        "done {} at {:.0} °C (record {}), good until {}",
        day(stamp.done),
        stamp.temperature.get(),
        record.get(),
        day(stamp.until)
    )
}
