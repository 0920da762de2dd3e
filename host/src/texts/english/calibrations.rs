//! English words about a calibration of the tester.

use slotwise_core::calibration::event::CalibrationEvent;
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
