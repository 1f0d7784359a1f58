//! Readings: what a held position of the screw gave. Never changed and never deleted; what is said of
//! one later (struck out, miscounted) is added beside it.

use bellmouth_core::idle::{Outcome, StallCause};
use bellmouth_core::quantity::TurnsOut;
use rusqlite::{Connection, OptionalExtension, Row, Transaction, params};

use crate::error::{Error, Result, Trouble};
use crate::exchange::{CorrectionRow, StrikeRow};
use crate::file::Logbook;
use crate::id::Id;
use crate::{Saved, job, word};

/// What gave the speed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Source {
    /// The page's microphone.
    Microphone,
    /// A recording that was sent.
    Recording,
    /// A tachometer, typed by hand.
    Tachometer,
}

const SOURCES: &[(Source, &str)] = &[
    (Source::Microphone, "microphone"),
    (Source::Recording, "recording"),
    (Source::Tachometer, "tachometer"),
];

impl Source {
    /// The word that stands for it in files and forms.
    pub fn word(self) -> &'static str {
        word::word(SOURCES, &self)
    }

    /// What a word stands for, if anything.
    pub fn of_word(word: &str) -> Option<Source> {
        word::value(SOURCES, word)
    }
}

const STALLS: &[(StallCause, &str)] = &[
    (StallCause::Lean, "stalled-lean"),
    (StallCause::Rich, "stalled-rich"),
    (StallCause::OutOfFuel, "stalled-out-of-fuel"),
    (StallCause::Unknown, "stalled-unknown"),
];

const RAN: &str = "ran";

/// The word that stands for an outcome in files: `ran`, `stalled-lean` and so on. The speeds stand beside it.
pub fn outcome_word(outcome: &Outcome) -> &'static str {
    match outcome {
        Outcome::Ran { .. } => RAN,
        Outcome::Stalled(cause) => word::word(STALLS, cause),
    }
}

/// The outcome of a word and the speeds beside it, rpm; only what ran has speeds.
pub fn outcome_of(word: &str, rpm: Option<f64>, se_rpm: Option<f64>) -> Option<Outcome> {
    match (word, rpm, se_rpm) {
        (RAN, Some(rpm), se_rpm) => Some(Outcome::Ran { rpm, se_rpm }),
        (stalled, None, None) => word::value(STALLS, stalled).map(Outcome::Stalled),
        _ => None,
    }
}

/// A reading as it was taken.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// Its key, made where it was taken.
    pub id: Id,
    /// To which job it belongs.
    pub job: Id,
    /// Where the screw stood, as counted then; 0 to 20.
    pub turns: TurnsOut,
    /// What the engine did.
    pub outcome: Outcome,
    /// How far the speed wandered, rpm (standard deviation), when known.
    pub spread_rpm: Option<f64>,
    /// What gave the speed.
    pub source: Source,
    /// When the hold began, UTC milliseconds.
    pub started_ms: i64,
    /// When it ended, UTC milliseconds.
    pub ended_ms: i64,
    /// When it began, seconds of the job.
    pub at_s: f64,
    /// Which block: the count goes up whenever the stop, the load or anything else was changed.
    pub block: u32,
    /// Whether this is the position the screw was found in.
    pub as_found: bool,
    /// Version of the program that computed the speed; it can be computed again.
    pub engine_version: String,
    /// Name of the sound it was computed from, when that was kept.
    pub clip: Option<String>,
}

/// That a reading was struck out, and why.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Struck {
    /// Why.
    pub reason: String,
    /// When, UTC milliseconds.
    pub at_ms: i64,
}

/// That the screw had stood elsewhere than was counted.
#[derive(Clone, Debug, PartialEq)]
pub struct Correction {
    /// Where it had stood.
    pub turns: TurnsOut,
    /// Why.
    pub reason: String,
    /// When it was said, UTC milliseconds.
    pub at_ms: i64,
}

/// A reading with what was said of it later.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// The reading as it was taken.
    pub reading: Reading,
    /// Set while it is struck out.
    pub struck: Option<Struck>,
    /// Corrections of its position, in the order they came.
    pub corrections: Vec<Correction>,
}

impl Entry {
    /// Where the screw stood, by the newest word on it.
    pub fn turns(&self) -> TurnsOut {
        self.corrections.last().map_or(self.reading.turns, |correction| correction.turns)
    }
}

impl Logbook {
    /// Saves a reading. When this returns `Ok`, the reading is on the disk.
    ///
    /// Sending the same reading again is answered [`Saved::Already`] and changes nothing, so a page may
    /// repeat itself until it has an answer.
    ///
    /// # Errors
    ///
    /// [`Error::IdReused`] when another reading has this key; [`Error::NoSuch`] job; [`Error::Invalid`]
    /// for turns, speeds or times that are none.
    pub fn save_reading(&mut self, reading: &Reading) -> Result<Saved> {
        check(reading)?;
        self.write(|tx| {
            let revision = job::expect(tx, reading.job)?.revision;
            match find(tx, reading.id)? {
                Some(known) if known == *reading => Ok(Saved::Already { revision }),
                Some(_) => Err(Error::IdReused { what: "reading", id: reading.id }.into()),
                None => {
                    insert(tx, reading)?;
                    Ok(Saved::New { revision: job::bump(tx, reading.job)? })
                }
            }
        })
    }

    /// A job's readings in the order they came, the struck ones included.
    ///
    /// # Errors
    ///
    /// [`Error::NoSuch`] job.
    pub fn readings(&self, job: Id) -> Result<Vec<Entry>> {
        self.read(|db| {
            job::expect(db, job)?;
            let mut statement = db.prepare_cached("SELECT * FROM reading WHERE job = ?1 ORDER BY seq")?;
            let readings: Vec<Reading> =
                statement.query_map([job], of_row)?.collect::<rusqlite::Result<_>>()?;
            readings.into_iter().map(|reading| entry(db, reading)).collect()
        })
    }

    /// A reading.
    ///
    /// # Errors
    ///
    /// [`Error::NoSuch`].
    pub fn reading(&self, id: Id) -> Result<Entry> {
        self.read(|db| entry(db, expect(db, id)?))
    }

    /// Strikes a reading out; it stays, with the reason. Gives the job's revision.
    ///
    /// # Errors
    ///
    /// [`Error::NoSuch`] reading.
    pub fn strike_reading(&mut self, id: Id, reason: &str, at_ms: i64) -> Result<i64> {
        self.write(|tx| {
            let known = entry(tx, expect(tx, id)?)?;
            if known.struck.as_ref().is_some_and(|struck| struck.reason == reason) {
                return Ok(job::expect(tx, known.reading.job)?.revision);
            }
            let reason = reason.to_string();
            insert_strike(tx, &StrikeRow { id: Id::new(), reading: id, struck: true, reason, at_ms })?;
            job::bump(tx, known.reading.job)
        })
    }

    /// Takes a strike back. Gives the job's revision.
    ///
    /// # Errors
    ///
    /// [`Error::NoSuch`] reading.
    pub fn unstrike_reading(&mut self, id: Id, at_ms: i64) -> Result<i64> {
        self.write(|tx| {
            let known = entry(tx, expect(tx, id)?)?;
            if known.struck.is_none() {
                return Ok(job::expect(tx, known.reading.job)?.revision);
            }
            let reason = String::new();
            insert_strike(tx, &StrikeRow { id: Id::new(), reading: id, struck: false, reason, at_ms })?;
            job::bump(tx, known.reading.job)
        })
    }

    /// Notes that the screw had stood elsewhere than was counted; the first count stays readable.
    /// Gives the job's revision.
    ///
    /// # Errors
    ///
    /// [`Error::NoSuch`] reading; [`Error::Invalid`] for turns that are none.
    pub fn correct_turns(&mut self, id: Id, turns: TurnsOut, reason: &str, at_ms: i64) -> Result<i64> {
        check_turns("turns", turns)?;
        self.write(|tx| {
            let known = entry(tx, expect(tx, id)?)?;
            if known.corrections.last().is_some_and(|last| last.turns == turns && last.reason == reason) {
                return Ok(job::expect(tx, known.reading.job)?.revision);
            }
            let reason = reason.to_string();
            insert_correction(tx, &CorrectionRow { id: Id::new(), reading: id, turns, reason, at_ms })?;
            job::bump(tx, known.reading.job)
        })
    }
}

/// Refuses turns no screw has.
pub(crate) fn check_turns(field: &'static str, turns: TurnsOut) -> Result<()> {
    if (0.0..=20.0).contains(&turns.0) {
        Ok(())
    } else {
        Err(Error::invalid(field, turns.0, "turns out from lightly seated, 0 to 20"))
    }
}

pub(crate) fn check(reading: &Reading) -> Result<()> {
    check_turns("turns", reading.turns)?;
    let within = |field, value: f64, most: f64, allowed| {
        if 0.0 <= value && value <= most { Ok(()) } else { Err(Error::invalid(field, value, allowed)) }
    };
    let mut widths = vec![("spread_rpm", reading.spread_rpm)];
    if let Outcome::Ran { rpm, se_rpm } = reading.outcome {
        within("rpm", rpm, 30_000.0, "an engine speed, 0 to 30000 rpm")?;
        widths.push(("se_rpm", se_rpm));
    }
    for (field, width) in widths {
        within(field, width.unwrap_or(0.0), 30_000.0, "0 to 30000 rpm")?;
    }
    if !reading.at_s.is_finite() {
        return Err(Error::invalid("at_s", reading.at_s, "a number of seconds"));
    }
    if reading.ended_ms < reading.started_ms {
        return Err(Error::invalid("ended_ms", reading.ended_ms, "no earlier than started_ms"));
    }
    Ok(())
}

pub(crate) fn insert(tx: &Transaction<'_>, reading: &Reading) -> std::result::Result<(), Trouble> {
    let (rpm, se_rpm) = match reading.outcome {
        Outcome::Ran { rpm, se_rpm } => (Some(rpm), se_rpm),
        Outcome::Stalled(_) => (None, None),
    };
    tx.prepare_cached(
        "INSERT INTO reading (id, job, turns, outcome, rpm, se_rpm, spread_rpm, source, started_ms, ended_ms, at_s,
         block, as_found, engine_version, clip)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15)",
    )?
    .execute(params![
        reading.id,
        reading.job,
        reading.turns.0,
        outcome_word(&reading.outcome),
        rpm,
        se_rpm,
        reading.spread_rpm,
        reading.source.word(),
        reading.started_ms,
        reading.ended_ms,
        reading.at_s,
        reading.block,
        reading.as_found,
        reading.engine_version,
        reading.clip
    ])?;
    Ok(())
}

pub(crate) fn insert_strike(tx: &Transaction<'_>, row: &StrikeRow) -> std::result::Result<(), Trouble> {
    tx.prepare_cached("INSERT INTO strike (id, reading, struck, reason, at_ms) VALUES (?1, ?2, ?3, ?4, ?5)")?
        .execute(params![row.id, row.reading, row.struck, row.reason, row.at_ms])?;
    Ok(())
}

pub(crate) fn insert_correction(
    tx: &Transaction<'_>,
    row: &CorrectionRow,
) -> std::result::Result<(), Trouble> {
    tx.prepare_cached(
        "INSERT INTO correction (id, reading, turns, reason, at_ms) VALUES (?1, ?2, ?3, ?4, ?5)",
    )?
    .execute(params![row.id, row.reading, row.turns.0, row.reason, row.at_ms])?;
    Ok(())
}

pub(crate) fn find(db: &Connection, id: Id) -> rusqlite::Result<Option<Reading>> {
    db.prepare_cached("SELECT * FROM reading WHERE id = ?1")?.query_row([id], of_row).optional()
}

pub(crate) fn expect(db: &Connection, id: Id) -> std::result::Result<Reading, Trouble> {
    find(db, id)?.ok_or_else(|| Error::NoSuch { what: "reading", id }.into())
}

fn entry(db: &Connection, reading: Reading) -> std::result::Result<Entry, Trouble> {
    let struck = db
        .prepare_cached(
            "SELECT struck, reason, at_ms FROM strike WHERE reading = ?1 ORDER BY seq DESC LIMIT 1",
        )?
        .query_row([reading.id], |row| {
            let struck = Struck { reason: row.get(1)?, at_ms: row.get(2)? };
            Ok(row.get::<_, bool>(0)?.then_some(struck))
        })
        .optional()?
        .flatten();
    let mut statement =
        db.prepare_cached("SELECT turns, reason, at_ms FROM correction WHERE reading = ?1 ORDER BY seq")?;
    let corrections = statement
        .query_map([reading.id], |row| {
            Ok(Correction { turns: TurnsOut(row.get(0)?), reason: row.get(1)?, at_ms: row.get(2)? })
        })?
        .collect::<rusqlite::Result<_>>()?;
    Ok(Entry { reading, struck, corrections })
}

pub(crate) fn of_row(row: &Row<'_>) -> rusqlite::Result<Reading> {
    let outcome: String = row.get("outcome")?;
    let outcome = outcome_of(&outcome, row.get("rpm")?, row.get("se_rpm")?).ok_or_else(word::unknown)?;
    Ok(Reading {
        id: row.get("id")?,
        job: row.get("job")?,
        turns: TurnsOut(row.get("turns")?),
        outcome,
        spread_rpm: row.get("spread_rpm")?,
        source: word::column(SOURCES, row, "source")?,
        started_ms: row.get("started_ms")?,
        ended_ms: row.get("ended_ms")?,
        at_s: row.get("at_s")?,
        block: row.get("block")?,
        as_found: row.get("as_found")?,
        engine_version: row.get("engine_version")?,
        clip: row.get("clip")?,
    })
}
