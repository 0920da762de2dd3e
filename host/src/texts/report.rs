//! Words of the report of a visit.

/// The words around the report of a visit in one language. `{...}` is filled in.
#[derive(Clone, Copy, Debug)]
pub struct VisitReportTexts {
    /// Title; the place follows.
    pub title: &'static str,
    /// At the foot of every sheet.
    pub foot: &'static str,
    /// Who hands it over.
    pub prepared_by: &'static str,
    /// Over what the gravest test said.
    pub answer: &'static str,
    /// Over the tests of the visit, if there are several.
    pub tests: &'static str,
    /// Which record that is.
    pub from_record: &'static str,
    /// Over the findings.
    pub found: &'static str,
    /// Over the receptacle's drawing.
    pub receptacle: &'static str,
    /// Below it.
    pub receptacle_caption: &'static str,
    /// Narrow, wide, ground slot.
    pub slots: [&'static str; 3],
    /// Between two things that a slot may be on.
    pub or: &'static str,
    /// Over what is not proven.
    pub not_proven: &'static str,
    /// How it is proven: polarity, earth path, separate ground.
    pub prove: [&'static str; 3],
    /// ... polarity, where the clip was on an independent earth.
    pub prove_on_earth: &'static str,
    /// Where nothing of it is left.
    pub all_proven: &'static str,
    /// Over one test.
    pub test: &'static str,
    /// Before a limit.
    pub limit: &'static str,
    /// Below a value against its limit.
    pub against_caption: &'static str,
    /// The share of a drop.
    pub hot_and_source: &'static str,
    /// The share of a drop.
    pub neutral: &'static str,
    /// Below the split of a drop.
    pub sag_caption: &'static str,
    /// Over a load-cycle watch.
    pub watch: &'static str,
    /// Of a watch's drawing.
    pub course: &'static str,
    /// Its time axis.
    pub seconds: &'static str,
    /// Line of the means.
    pub mean_of_second: &'static str,
    /// Mark of a load step.
    pub load_step: &'static str,
    /// Clip to wide slot.
    pub clip_course: &'static str,
    /// Over hand meter readings and answers.
    pub notes: &'static str,
    /// Columns: what was read or seen, weight, what it means.
    pub note_head: [&'static str; 3],
    /// Over the limits.
    pub limits: &'static str,
    /// Columns: what, limit, source.
    pub limits_head: [&'static str; 3],
    /// Names and sources of the limits in the order of the report.
    pub limit_rows: [(&'static str, &'static str); 8],
    /// Over where every number is from.
    pub trace: &'static str,
    /// Columns: record, made, what, SHA-256, chain.
    pub trace_head: [&'static str; 5],
    /// Below it.
    pub trace_caption: &'static str,
    /// A test's record.
    pub trace_test: &'static str,
    /// Before the state of the calibration.
    pub calibration: &'static str,
    /// Valid, not valid.
    pub calibrated: [&'static str; 2],
    /// Said where no record tells of the calibration.
    pub no_calibration_record: &'static str,
    /// Said where a record is missing or was changed.
    pub damaged: &'static str,
}
