//! The testers of the office: when each was last heard of, and until when its calibration holds.

use axum::extract::State;
use axum::response::Html;
use maud::{Markup, html};
use slotwise_core::calibration::validity::Validity;
use slotwise_core::units::UnixSeconds;

use super::{Refusal, Shared, made, pages, shown};
use crate::archive::{KeptCalibration, TesterRow};
use crate::commands::now;
use crate::report::numbers::change_percent;
use crate::report::trend::day;
use crate::texts::Language;

pub(super) async fn page(State(office): Shared) -> Result<Html<String>, Refusal> {
    let language = office.language;
    let found = made(office, |office| Ok(office.open()?.testers()?)).await?;
    Ok(shown(pages::shell(
        language,
        language.office().testers,
        &list(language, &found, Some(now())),
    )))
}

fn list(language: &dyn Language, found: &[TesterRow], now: Option<UnixSeconds>) -> Markup {
    let words = language.office();
    let [_, newest, done, until, change, state] = words.tester_head;
    html! {
        @if found.is_empty() { p { (words.no_tester) } } @else {
            table class="list" {
                thead { tr { @for name in words.tester_head { th scope="col" { (name) } } } }
                tbody {
                    @for tester in found {
                        @let stamp = tester.calibration.map(|kept| kept.event.now.stamp());
                        tr {
                            td { (tester.tester) }
                            td data-name=(newest) {
                                (tester.clock.map_or_else(
                                    || language.visits().no_clock.to_owned(),
                                    day,
                                ))
                            }
                            td data-name=(done) { (stamp.map(|stamp| day(stamp.done)).unwrap_or_default()) }
                            td data-name=(until) { (stamp.map(|stamp| day(stamp.until)).unwrap_or_default()) }
                            td data-name=(change) {
                                (tester.calibration
                                    .and_then(|kept| kept.event.largest_gain_change())
                                    .map(change_percent)
                                    .unwrap_or_default())
                            }
                            td data-name=(state) { (standing(words.calibration_states, tester.calibration, now)) }
                        }
                    }
                }
            }
            p class="soft" { (words.tester_note) }
        }
    }
}

/// How the calibration stands today by this computer's clock.
fn standing(
    [holds, soon, over, unknown]: [&'static str; 4],
    calibration: Option<KeptCalibration>,
    now: Option<UnixSeconds>,
) -> &'static str {
    /// A month's notice is enough to plan a calibration.
    const NOTICE: u64 = 30 * 86_400;
    match calibration.map(|kept| kept.event.now.validity(now)) {
        Some(Validity::Holds(stamp)) => {
            let left = now.map_or(0, |now| stamp.until.get().saturating_sub(now.get()));
            if left <= NOTICE { soon } else { holds }
        }
        Some(Validity::Expired(_)) => over,
        Some(Validity::Missing | Validity::NoClock(_) | Validity::ClockBefore(_)) | None => unknown,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use slotwise_core::calibration::Calibration;
    use slotwise_core::calibration::event::CalibrationEvent;
    use slotwise_core::calibration::raw::NOMINAL;
    use slotwise_core::record::RecordNumber;

    #[test]
    fn a_calibration_is_due_a_month_before_it_ends_and_never_good_in_doubt() {
        const YEAR: u64 = 365 * 86_400;
        let done = 1_772_460_000;
        let kept = KeptCalibration {
            number: RecordNumber::new(2),
            event: CalibrationEvent {
                now: Calibration {
                    done: UnixSeconds::new(done),
                    ..NOMINAL
                },
                before: None,
            },
        };
        let names = ["holds", "soon", "over", "unknown"];
        let at = |now: u64| standing(names, Some(kept), Some(UnixSeconds::new(now)));
        assert_eq!(at(done + 1), "holds");
        assert_eq!(at(done + YEAR - 31 * 86_400), "holds");
        assert_eq!(at(done + YEAR - 29 * 86_400), "soon");
        assert_eq!(at(done + YEAR), "soon");
        assert_eq!(at(done + YEAR + 1), "over");
        assert_eq!(at(done - 1), "unknown");
        assert_eq!(standing(names, Some(kept), None), "unknown");
        assert_eq!(
            standing(names, None, Some(UnixSeconds::new(done))),
            "unknown"
        );
    }
}
