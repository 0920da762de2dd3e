//! One archive into another, empty one, of whichever kind: how an office moves to a server, and how a
//! server's archive is backed up into a file.
//!
//! Records come in as they did the first time, source by source, so that of two that contradict each
//! other the same one is the first. Their columns are worked out anew from their bytes; what
//! `verify` finds wrong with the one it finds wrong with the other, save for columns that somebody changed.
//!
//! Not copied: sources that brought nothing new; an appliance without a test or a note; record and source
//! ids, which mean nothing outside of one archive.

use slotwise_core::record::{RecordNumber, TesterId};
use slotwise_core::units::UnixSeconds;

use super::{Archive, ArchiveError, Batch, Counts, NewNote, Place, SitesWanted, Wanted};
use crate::log_file::KeptRecord;

/// Every record and conflict in the order in which they came in.
pub(super) const SELECT_ARRIVALS: &str = "SELECT t.serial, c.number, c.source, s.name, s.imported_at, s.damages, c.bytes FROM \
     (SELECT tester, number, source, bytes FROM record UNION ALL \
      SELECT tester, number, source, bytes FROM conflict) c \
     JOIN tester t ON t.id = c.tester JOIN source s ON s.id = c.source \
     ORDER BY c.source, c.tester, c.number";

/// A record as it once came in.
#[derive(Debug)]
pub(super) struct Arrived {
    pub(super) tester: TesterId,
    pub(super) number: RecordNumber,
    /// Which source; they are handed over one after the other.
    pub(super) source: i64,
    /// Its name.
    pub(super) name: String,
    pub(super) at: UnixSeconds,
    pub(super) damages: usize,
    pub(super) bytes: Vec<u8>,
}

type Take<'t> = &'t mut dyn FnMut(Batch) -> Result<(), ArchiveError>;

/// Puts records that come sorted by source and tester together into batches.
pub(super) struct Arriving<'t> {
    take: Take<'t>,
    open: Option<(i64, Batch)>,
}

impl<'t> Arriving<'t> {
    pub(super) const fn new(take: Take<'t>) -> Self {
        Self { take, open: None }
    }

    pub(super) fn record(&mut self, arrived: Arrived) -> Result<(), ArchiveError> {
        let kept = KeptRecord {
            number: arrived.number,
            bytes: arrived.bytes,
            at_byte: 0,
        };
        match &mut self.open {
            Some((source, batch))
                if *source == arrived.source && batch.tester == arrived.tester =>
            {
                batch.records.push(kept);
                Ok(())
            }
            open => {
                let before = open.replace((
                    arrived.source,
                    Batch {
                        source: arrived.name,
                        tester: arrived.tester,
                        records: vec![kept],
                        damages: arrived.damages,
                        at: arrived.at,
                    },
                ));
                before.map_or(Ok(()), |(_, batch)| (self.take)(batch))
            }
        }
    }

    pub(super) fn finish(self) -> Result<(), ArchiveError> {
        self.open.map_or(Ok(()), |(_, batch)| (self.take)(batch))
    }
}

/// Tests in a row that were made at one place.
struct Placed {
    tester: TesterId,
    from: RecordNumber,
    to: RecordNumber,
    place: Place,
}

/// Copies everything of `from` into `to`.
///
/// # Errors
/// [`ArchiveError::NotEmpty`] if there is something in it already, else what either says. What was
/// copied before an error stays.
pub fn copy(from: &dyn Archive, to: &mut dyn Archive) -> Result<Counts, ArchiveError> {
    let there = to.counts()?;
    if there.records > 0 || there.sites > 0 {
        return Err(ArchiveError::NotEmpty {
            records: there.records,
            sites: there.sites,
        });
    }
    from.at_one_moment(&mut || {
        from.each_arrival(&mut |batch| to.import(&batch).map(|_| ()))?;
        let every = SitesWanted {
            most: u32::MAX,
            ..SitesWanted::default()
        };
        for site in from.sites(&every)? {
            to.site(&site.name)?;
        }
        let mut open: Option<Placed> = None;
        from.each_test(&Wanted::default(), &mut |row| {
            match (&mut open, row.place) {
                // A number without a place between two of one place is no test, or has none.
                (Some(placed), Some(place))
                    if placed.tester == row.tester
                        && placed.place == place
                        && placed.to.next() == row.number =>
                {
                    placed.to = row.number;
                    Ok(())
                }
                (_, place) => {
                    let next = place.map(|place| Placed {
                        tester: row.tester,
                        from: row.number,
                        to: row.number,
                        place,
                    });
                    let before = std::mem::replace(&mut open, next);
                    before.map_or(Ok(()), |placed| put(to, placed))
                }
            }
        })?;
        if let Some(placed) = open {
            put(to, placed)?;
        }
        for note in from.notes(None)? {
            let site = to.site(&note.place.site)?;
            let appliance = note
                .place
                .appliance
                .map(|name| to.appliance(site, &name))
                .transpose()?;
            to.add_note(&NewNote {
                site,
                appliance,
                at: note.at,
                readings: note.readings,
                answers: note.answers,
                remark: note.remark,
                photos: note.photos,
            })?;
        }
        Ok(())
    })?;
    to.counts()
}

fn put(to: &mut dyn Archive, placed: Placed) -> Result<(), ArchiveError> {
    let site = to.site(&placed.place.site)?;
    let appliance = placed
        .place
        .appliance
        .map(|name| to.appliance(site, &name))
        .transpose()?;
    to.place(placed.tester, placed.from, placed.to, site, appliance)
        .map(|_| ())
}
