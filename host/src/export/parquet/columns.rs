//! The columns of a Parquet file, and rows on their way into them.

use std::collections::HashMap;
use std::sync::Arc;

use parquet::basic::{LogicalType, Repetition, TimeUnit, Type as Physical};
use parquet::data_type::{
    BoolType, ByteArray, ByteArrayType, DataType, FixedLenByteArray, FixedLenByteArrayType,
    FloatType, Int32Type, Int64Type,
};
use parquet::errors::ParquetError;
use parquet::file::writer::{SerializedColumnWriter, SerializedFileWriter};
use parquet::schema::types::{Type, TypePtr};
use slotwise_core::finding::FindingCode;
use slotwise_core::units::UnixSeconds;

use super::Held;
use super::tree::Part;
use crate::archive::{Cell, QUANTITIES, TestRow};
use crate::export::quantity_columns;
use crate::texts::codes;

/// What a column holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    Text,
    Digest,
    Whole,
    Small,
    Flag,
    Real,
    /// Milliseconds of UTC.
    Time,
}

/// Columns in front of the quantities; whether they may be NULL.
const FIXED: [(&str, Kind, bool); 17] = [
    ("tester", Kind::Text, false),
    ("record", Kind::Whole, false),
    ("sha256", Kind::Digest, false),
    ("boot", Kind::Whole, false),
    ("millis_since_boot", Kind::Whole, true),
    ("time_utc", Kind::Time, true),
    ("firmware", Kind::Text, false),
    ("site", Kind::Text, true),
    ("appliance", Kind::Text, true),
    ("outcome", Kind::Text, false),
    ("finding", Kind::Text, true),
    ("finding_number", Kind::Small, true),
    ("clip", Kind::Text, false),
    ("windows", Kind::Small, false),
    ("calibrated", Kind::Flag, false),
    ("calibration_done_utc", Kind::Time, true),
    ("calibration_until_utc", Kind::Time, true),
];

/// Every column: its name, what it holds, whether it may be NULL.
fn all() -> Vec<(String, Kind, bool)> {
    let fixed = FIXED.map(|(name, kind, optional)| (name.to_owned(), kind, optional));
    let quantities = QUANTITIES.iter().flat_map(|(name, unit)| {
        let [value, u, missing] = quantity_columns(name, unit);
        [
            (value, Kind::Real, true),
            (u, Kind::Real, true),
            (missing, Kind::Text, true),
        ]
    });
    fixed.into_iter().chain(quantities).collect()
}

/// The schema of a file.
///
/// # Panics
/// Never: the columns are constants, and a test builds them.
pub(super) fn schema() -> TypePtr {
    let fields = all()
        .into_iter()
        .map(|(name, kind, optional)| {
            let (physical, logical, length) = match kind {
                Kind::Text => (Physical::BYTE_ARRAY, Some(LogicalType::String), 0),
                Kind::Digest => (Physical::FIXED_LEN_BYTE_ARRAY, None, 32),
                Kind::Whole => (Physical::INT64, None, 0),
                Kind::Small => (Physical::INT32, None, 0),
                Kind::Flag => (Physical::BOOLEAN, None, 0),
                Kind::Real => (Physical::FLOAT, None, 0),
                Kind::Time => (
                    Physical::INT64,
                    Some(LogicalType::timestamp(true, TimeUnit::MILLIS)),
                    0,
                ),
            };
            let repetition = if optional {
                Repetition::OPTIONAL
            } else {
                Repetition::REQUIRED
            };
            Type::primitive_type_builder(&name, physical)
                .with_repetition(repetition)
                .with_logical_type(logical)
                .with_length(length)
                .build()
                .map(Arc::new)
        })
        .collect::<Result<Vec<_>, _>>()
        .expect("constants");
    Arc::new(
        Type::group_type_builder("slotwise_test")
            .with_fields(fields)
            .build()
            .expect("constants"),
    )
}

/// The time of a clock, where it is one that a calendar has.
pub(super) fn timestamp(clock: UnixSeconds) -> Option<jiff::Timestamp> {
    let seconds = i64::try_from(clock.get()).ok()?;
    jiff::Timestamp::from_second(seconds).ok()
}

/// Every text once: sites, reasons and versions come again and again.
#[derive(Debug, Default)]
pub(super) struct Texts {
    places: HashMap<String, usize>,
    texts: Vec<ByteArray>,
}

impl Texts {
    fn place(&mut self, text: &str) -> usize {
        if let Some(place) = self.places.get(text) {
            return *place;
        }
        let place = self.texts.len();
        self.texts.push(ByteArray::from(text));
        self.places.insert(text.to_owned(), place);
        place
    }
}

/// Values that are there, and for each row whether one is.
#[derive(Debug)]
struct Values<T> {
    values: Vec<T>,
    levels: Vec<i16>,
}

impl<T> Default for Values<T> {
    fn default() -> Self {
        Self {
            values: Vec::new(),
            levels: Vec::new(),
        }
    }
}

impl<T> Values<T> {
    fn push(&mut self, value: Option<T>) {
        self.levels.push(i16::from(value.is_some()));
        self.values.extend(value);
    }

    /// Writes the column, each value as `turn` makes it.
    fn write<D: DataType>(
        &self,
        to: &mut SerializedColumnWriter<'_>,
        optional: bool,
        turn: impl Fn(&T) -> D::T,
    ) -> Result<(), ParquetError> {
        let values: Vec<D::T> = self.values.iter().map(turn).collect();
        let levels = optional.then_some(&*self.levels);
        to.typed::<D>().write_batch(&values, levels, None)?;
        Ok(())
    }
}

/// One quantity.
#[derive(Debug, Default)]
struct Quantity {
    value: Values<f32>,
    u: Values<f32>,
    missing: Values<usize>,
}

/// Rows of one month that wait, column by column.
#[derive(Debug, Default)]
pub(super) struct Rows {
    tester: Values<usize>,
    record: Values<i64>,
    sha256: Values<[u8; 32]>,
    boot: Values<i64>,
    millis: Values<i64>,
    time: Values<i64>,
    firmware: Values<usize>,
    site: Values<usize>,
    appliance: Values<usize>,
    outcome: Values<usize>,
    finding: Values<usize>,
    finding_number: Values<i32>,
    clip: Values<usize>,
    windows: Values<i32>,
    calibrated: Values<bool>,
    calibration_done: Values<i64>,
    calibration_until: Values<i64>,
    quantities: [Quantity; QUANTITIES.len()],
}

impl Rows {
    pub(super) fn len(&self) -> usize {
        self.tester.levels.len()
    }

    pub(super) fn push(&mut self, row: &TestRow, held: Option<Held>, texts: &mut Texts) {
        let TestRow { made, test, .. } = row;
        let mut text = |text: &str| Some(texts.place(text));
        let place = row.place.as_ref();
        let time = |clock: UnixSeconds| timestamp(clock).map(jiff::Timestamp::as_millisecond);
        self.tester.push(text(&row.tester.to_string()));
        self.record.push(Some(i64::from(row.number.get())));
        self.sha256.push(Some(row.sha256));
        self.boot.push(Some(i64::from(made.boot)));
        // More than 292 million years since its start: no such time.
        self.millis.push(i64::try_from(made.millis).ok());
        self.time.push(made.clock.and_then(time));
        self.firmware.push(text(&made.firmware));
        self.site.push(place.and_then(|place| text(&place.site)));
        let appliance = place.and_then(|place| place.appliance.as_deref());
        self.appliance.push(appliance.and_then(&mut text));
        self.outcome.push(text(&test.outcome));
        self.finding
            .push(test.finding.as_deref().and_then(&mut text));
        self.finding_number
            .push(test.finding.as_deref().and_then(number));
        self.clip.push(text(&test.clip));
        self.windows.push(Some(i32::from(test.windows)));
        self.calibrated.push(Some(test.calibrated));
        self.calibration_done
            .push(held.and_then(|held| time(held.done)));
        self.calibration_until
            .push(held.and_then(|held| time(held.until)));
        for (quantity, cell) in self.quantities.iter_mut().zip(&test.cells) {
            let (value, u, missing) = match cell {
                Cell::Known { value, u } => (Some(*value), *u, None),
                Cell::Missing(reason) => (None, None, text(reason)),
            };
            quantity.value.push(value);
            quantity.u.push(u);
            quantity.missing.push(missing);
        }
    }

    /// Writes the rows as one row group, in the order of [`all`].
    pub(super) fn write(
        &self,
        writer: &mut SerializedFileWriter<Part>,
        texts: &Texts,
    ) -> Result<(), ParquetError> {
        let mut columns = vec![
            Column::Text(&self.tester),
            Column::Whole(&self.record),
            Column::Digest(&self.sha256),
            Column::Whole(&self.boot),
            Column::Whole(&self.millis),
            Column::Whole(&self.time),
            Column::Text(&self.firmware),
            Column::Text(&self.site),
            Column::Text(&self.appliance),
            Column::Text(&self.outcome),
            Column::Text(&self.finding),
            Column::Small(&self.finding_number),
            Column::Text(&self.clip),
            Column::Small(&self.windows),
            Column::Flag(&self.calibrated),
            Column::Whole(&self.calibration_done),
            Column::Whole(&self.calibration_until),
        ];
        for quantity in &self.quantities {
            columns.push(Column::Real(&quantity.value));
            columns.push(Column::Real(&quantity.u));
            columns.push(Column::Text(&quantity.missing));
        }
        let mut group = writer.next_row_group()?;
        for (column, (_, _, optional)) in columns.into_iter().zip(all()) {
            let Some(mut to) = group.next_column()? else {
                break;
            };
            column.write(&mut to, optional, texts)?;
            to.close()?;
        }
        group.close()?;
        Ok(())
    }
}

/// A column by the type of its values.
enum Column<'r> {
    Text(&'r Values<usize>),
    Digest(&'r Values<[u8; 32]>),
    Whole(&'r Values<i64>),
    Small(&'r Values<i32>),
    Flag(&'r Values<bool>),
    Real(&'r Values<f32>),
}

impl Column<'_> {
    fn write(
        &self,
        to: &mut SerializedColumnWriter<'_>,
        optional: bool,
        texts: &Texts,
    ) -> Result<(), ParquetError> {
        match self {
            Self::Text(values) => {
                let text = |place: &usize| texts.texts[*place].clone();
                values.write::<ByteArrayType>(to, optional, text)
            }
            Self::Digest(values) => {
                let bytes = |bytes: &[u8; 32]| FixedLenByteArray::from(bytes.to_vec());
                values.write::<FixedLenByteArrayType>(to, optional, bytes)
            }
            Self::Whole(values) => values.write::<Int64Type>(to, optional, |value| *value),
            Self::Small(values) => values.write::<Int32Type>(to, optional, |value| *value),
            Self::Flag(values) => values.write::<BoolType>(to, optional, |value| *value),
            Self::Real(values) => values.write::<FloatType>(to, optional, |value| *value),
        }
    }
}

/// The number of a finding, from its name in the archive.
fn number(name: &str) -> Option<i32> {
    FindingCode::ALL
        .iter()
        .find(|code| codes::finding(**code) == name)
        .map(|code| i32::from(code.number()))
}
