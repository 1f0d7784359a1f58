//! Every row, out and in: what an export reads and an import writes, with nothing left out.

use std::path::Path;

use bellmouth_core::quantity::TurnsOut;
use rusqlite::{Connection, OptionalExtension, Transaction};

use crate::backup::open_to_read;
use crate::build::{self, Build};
use crate::error::{Error, Trouble};
use crate::fact::{self, Fact};
use crate::file::Logbook;
use crate::id::Id;
use crate::job::{self, Job};
use crate::machine::{self, Machine};
use crate::reading::{self, Reading};

/// A row of one of the tables.
#[derive(Clone, Debug, PartialEq)]
pub enum Row {
    /// A machine, deleted or not.
    Machine(Machine),
    /// A build.
    Build(Build),
    /// A job.
    Job(Job),
    /// A fact, whether or not it still counts.
    Fact(Fact),
    /// A reading, struck or not.
    Reading(Reading),
    /// That a reading was struck out, or taken back.
    Strike(StrikeRow),
    /// That a reading was miscounted.
    Correction(CorrectionRow),
}

/// That a reading was struck out, or the strike taken back.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StrikeRow {
    /// Its key.
    pub id: Id,
    /// Which reading.
    pub reading: Id,
    /// Struck out (`true`), or taken back.
    pub struck: bool,
    /// Why.
    pub reason: String,
    /// When, UTC milliseconds.
    pub at_ms: i64,
}

/// That the screw had stood elsewhere than was counted.
#[derive(Clone, Debug, PartialEq)]
pub struct CorrectionRow {
    /// Its key.
    pub id: Id,
    /// Which reading.
    pub reading: Id,
    /// Where the screw had stood.
    pub turns: TurnsOut,
    /// Why.
    pub reason: String,
    /// When it was said, UTC milliseconds.
    pub at_ms: i64,
}

/// What became of the rows that were taken in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Taken {
    /// Rows that were new.
    pub new: u64,
    /// Rows that were there already, the same.
    pub already: u64,
}

/// Hands out every row of the logbook at `path`, as of one instant, in an order in which
/// [`Logbook::take_in`] takes them; works while a bench runs.
///
/// # Errors
///
/// What `each` refuses ends it; [`Error::NoFile`], [`Error::NotOurs`], [`Error::Newer`], [`Error::Corrupt`].
pub fn each_row<E: From<Error>>(path: &Path, mut each: impl FnMut(Row) -> Result<(), E>) -> Result<(), E> {
    let connection = open_to_read(path)?;
    let at = |error: rusqlite::Error| E::from(Trouble::from(error).at(path));
    // One reading transaction, so that no row belongs to one that came after its table was read.
    let instant = connection.unchecked_transaction().map_err(at)?;
    walk(
        &instant,
        "SELECT * FROM machine ORDER BY created_ms, id",
        machine::of_row,
        Row::Machine,
        at,
        &mut each,
    )?;
    walk(&instant, "SELECT * FROM build ORDER BY seq", build::of_row, Row::Build, at, &mut each)?;
    walk(&instant, "SELECT * FROM job ORDER BY rowid", job::of_row, Row::Job, at, &mut each)?;
    walk(&instant, "SELECT * FROM fact ORDER BY seq", fact::of_row, Row::Fact, at, &mut each)?;
    walk(&instant, "SELECT * FROM reading ORDER BY seq", reading::of_row, Row::Reading, at, &mut each)?;
    walk(&instant, "SELECT * FROM strike ORDER BY seq", strike_of_row, Row::Strike, at, &mut each)?;
    walk(&instant, "SELECT * FROM correction ORDER BY seq", correction_of_row, Row::Correction, at, &mut each)
}

fn walk<T, E>(
    connection: &Connection,
    sql: &str,
    of_row: fn(&rusqlite::Row<'_>) -> rusqlite::Result<T>,
    wrap: fn(T) -> Row,
    at: impl Fn(rusqlite::Error) -> E,
    each: &mut impl FnMut(Row) -> Result<(), E>,
) -> Result<(), E> {
    let mut statement = connection.prepare(sql).map_err(&at)?;
    for row in statement.query_map([], of_row).map_err(&at)? {
        each(wrap(row.map_err(&at)?))?;
    }
    Ok(())
}

impl Logbook {
    /// Takes in rows of another logbook, all or none. A row that is here already, the same, is passed over;
    /// so taking in twice is harmless.
    ///
    /// # Errors
    ///
    /// What `rows` itself gives as an error ends it; [`Error::IdReused`] for a row whose key has other
    /// content here; [`Error::NoSuch`] for a row that belongs to one that is not there;
    /// [`Error::Invalid`].
    pub fn take_in<E: From<Error>>(
        &mut self,
        rows: impl IntoIterator<Item = Result<Row, E>>,
    ) -> Result<Taken, E> {
        let mut given = None;
        let taken = self.write(|tx| {
            let mut taken = Taken { new: 0, already: 0 };
            for row in rows {
                match row {
                    Ok(row) if take(tx, &row)? => taken.new += 1,
                    Ok(_) => taken.already += 1,
                    Err(error) => {
                        given = Some(error);
                        // Any refusal takes the transaction back; the caller gets the one it gave.
                        return Err(Error::invalid("row", "", "readable").into());
                    }
                }
            }
            Ok(taken)
        });
        match given {
            Some(error) => Err(error),
            None => Ok(taken?),
        }
    }
}

/// Whether the row was new.
fn take(tx: &Transaction<'_>, row: &Row) -> Result<bool, Trouble> {
    match row {
        Row::Machine(machine) => {
            machine::check(&machine.details)?;
            let known = machine::find(tx, machine.id)?;
            put("machine", machine.id, known, machine, || machine::insert(tx, machine))
        }
        Row::Build(build) => {
            machine::expect(tx, build.machine)?;
            build::save(tx, build)
        }
        Row::Job(job) => {
            machine::expect(tx, job.machine)?;
            job::expect_build(tx, job.machine, job.build)?;
            put("job", job.id, job::find(tx, job.id)?, job, || job::insert(tx, job))
        }
        Row::Fact(fact) => {
            fact::check(&fact.name, &fact.value)?;
            job::expect(tx, fact.job)?;
            let known = find(tx, "fact", fact.id, fact::of_row)?;
            put("fact", fact.id, known, fact, || fact::insert(tx, fact))
        }
        Row::Reading(reading) => {
            reading::check(reading)?;
            job::expect(tx, reading.job)?;
            let known = reading::find(tx, reading.id)?;
            put("reading", reading.id, known, reading, || reading::insert(tx, reading))
        }
        Row::Strike(strike) => {
            reading::expect(tx, strike.reading)?;
            let known = find(tx, "strike", strike.id, strike_of_row)?;
            put("strike", strike.id, known, strike, || reading::insert_strike(tx, strike))
        }
        Row::Correction(correction) => {
            reading::check_turns("turns", correction.turns)?;
            reading::expect(tx, correction.reading)?;
            let known = find(tx, "correction", correction.id, correction_of_row)?;
            put("correction", correction.id, known, correction, || reading::insert_correction(tx, correction))
        }
    }
}

fn put<T: PartialEq>(
    what: &'static str,
    id: Id,
    known: Option<T>,
    row: &T,
    insert: impl FnOnce() -> Result<(), Trouble>,
) -> Result<bool, Trouble> {
    match known {
        Some(known) if known == *row => Ok(false),
        Some(_) => Err(Error::IdReused { what, id }.into()),
        None => insert().map(|()| true),
    }
}

fn find<T>(
    db: &Connection,
    table: &str,
    id: Id,
    of_row: fn(&rusqlite::Row<'_>) -> rusqlite::Result<T>,
) -> rusqlite::Result<Option<T>> {
    db.prepare_cached(&format!("SELECT * FROM {table} WHERE id = ?1"))?.query_row([id], of_row).optional()
}

fn strike_of_row(row: &rusqlite::Row<'_>) -> rusqlite::Result<StrikeRow> {
    Ok(StrikeRow {
        id: row.get("id")?,
        reading: row.get("reading")?,
        struck: row.get("struck")?,
        reason: row.get("reason")?,
        at_ms: row.get("at_ms")?,
    })
}

fn correction_of_row(row: &rusqlite::Row<'_>) -> rusqlite::Result<CorrectionRow> {
    Ok(CorrectionRow {
        id: row.get("id")?,
        reading: row.get("reading")?,
        turns: TurnsOut(row.get("turns")?),
        reason: row.get("reason")?,
        at_ms: row.get("at_ms")?,
    })
}
