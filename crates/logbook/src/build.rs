//! Builds: a machine as it was equipped from some time on.

use bellmouth_core::quantity::TurnsOut;
use rusqlite::{Connection, OptionalExtension, Row, Transaction, params};

use crate::error::{Error, Result, Trouble};
use crate::file::Logbook;
use crate::id::Id;
use crate::{Saved, machine, reading, word};

/// What kind of mixture screw a build has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ScrewKind {
    /// Not said.
    NotSaid,
    /// A fuel screw: out is richer.
    Fuel,
    /// An air screw: out is leaner.
    Air,
    /// Neither: bypass air, two screws, none.
    Other,
}

const SCREWS: &[(ScrewKind, &str)] = &[
    (ScrewKind::NotSaid, "not-said"),
    (ScrewKind::Fuel, "fuel"),
    (ScrewKind::Air, "air"),
    (ScrewKind::Other, "other"),
];

impl ScrewKind {
    /// The word that stands for it in files and forms.
    pub fn word(self) -> &'static str {
        word::word(SCREWS, &self)
    }

    /// What a word stands for, if anything.
    pub fn of_word(word: &str) -> Option<ScrewKind> {
        word::value(SCREWS, word)
    }
}

/// A machine as it was equipped from some time on. Never changed: a change makes a new build.
#[derive(Clone, Debug, PartialEq)]
pub struct Build {
    /// Its key.
    pub id: Id,
    /// Whose it is.
    pub machine: Id,
    /// From when, UTC milliseconds.
    pub at_ms: i64,
    /// In words: what it is, or what was changed.
    pub note: String,
    /// What kind of mixture screw it has.
    pub screw: ScrewKind,
    /// The maker's base setting, turns out, when known.
    pub base_turns: Option<f64>,
}

impl Logbook {
    /// Adds a build: what was changed on the machine, from now on. Gives the machine's revision.
    ///
    /// # Errors
    ///
    /// [`Error::NoSuch`] machine; [`Error::IdReused`]; [`Error::Invalid`] for base turns that are none.
    pub fn add_build(&mut self, build: &Build) -> Result<Saved> {
        self.write(|tx| {
            let revision = machine::expect(tx, build.machine)?.revision;
            Ok(if save(tx, build)? { Saved::New { revision } } else { Saved::Already { revision } })
        })
    }

    /// A machine's builds in the order they came; the last is the present one.
    ///
    /// # Errors
    ///
    /// [`Error::NoSuch`] machine.
    pub fn builds(&self, machine: Id) -> Result<Vec<Build>> {
        self.read(|db| {
            machine::expect(db, machine)?;
            let mut statement = db.prepare_cached("SELECT * FROM build WHERE machine = ?1 ORDER BY seq")?;
            let rows = statement.query_map([machine], of_row)?;
            Ok(rows.collect::<rusqlite::Result<_>>()?)
        })
    }
}

/// Whether the build was new; another one under its key is refused.
pub(crate) fn save(tx: &Transaction<'_>, build: &Build) -> std::result::Result<bool, Trouble> {
    if let Some(turns) = build.base_turns {
        reading::check_turns("base_turns", TurnsOut(turns))?;
    }
    match find(tx, build.id)? {
        Some(known) if known == *build => return Ok(false),
        Some(_) => return Err(Error::IdReused { what: "build", id: build.id }.into()),
        None => {}
    }
    tx.prepare_cached(
        "INSERT INTO build (id, machine, at_ms, note, screw, base_turns) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
    )?
    .execute(params![
        build.id,
        build.machine,
        build.at_ms,
        build.note,
        build.screw.word(),
        build.base_turns
    ])?;
    Ok(true)
}

pub(crate) fn find(db: &Connection, id: Id) -> rusqlite::Result<Option<Build>> {
    db.prepare_cached("SELECT * FROM build WHERE id = ?1")?.query_row([id], of_row).optional()
}

pub(crate) fn of_row(row: &Row<'_>) -> rusqlite::Result<Build> {
    Ok(Build {
        id: row.get("id")?,
        machine: row.get("machine")?,
        at_ms: row.get("at_ms")?,
        note: row.get("note")?,
        screw: word::column(SCREWS, row, "screw")?,
        base_turns: row.get("base_turns")?,
    })
}
