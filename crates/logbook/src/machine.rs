//! Machines, and what the garage shows of them.

use bellmouth_core::quantity::TurnsOut;
use rusqlite::{Connection, OptionalExtension, Row, Transaction, params};

use crate::build::Build;
use crate::error::{Error, Result, Trouble};
use crate::fact::LEFT_TURNS;
use crate::file::Logbook;
use crate::id::Id;
use crate::job::{self, Job};
use crate::{Saved, build, word};

/// How long a deleted machine can be restored, milliseconds: 30 days.
pub const UNDO_MS: i64 = 30 * DAY_MS;

const DAY_MS: i64 = 24 * 60 * 60 * 1000;

/// How an engine is cooled.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cooling {
    /// Not said.
    NotSaid,
    /// By air (or air and oil).
    Air,
    /// By liquid.
    Liquid,
}

const COOLINGS: &[(Cooling, &str)] =
    &[(Cooling::NotSaid, "not-said"), (Cooling::Air, "air"), (Cooling::Liquid, "liquid")];

impl Cooling {
    /// The word that stands for it in files and forms.
    pub fn word(self) -> &'static str {
        word::word(COOLINGS, &self)
    }

    /// What a word stands for, if anything.
    pub fn of_word(word: &str) -> Option<Cooling> {
        word::value(COOLINGS, word)
    }
}

/// What is known of a machine as such, and may be put right later.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Details {
    /// What its owner calls it.
    pub name: String,
    /// Name of its engine layout; empty when not given.
    pub layout: String,
    /// How it is cooled.
    pub cooling: Cooling,
    /// Number of carburettors, 1 to 12.
    pub carburettors: u32,
    /// Number of cylinders, 1 to 12, when given.
    pub cylinders: Option<u32>,
}

/// A machine to be entered, with its first build.
#[derive(Clone, Debug, PartialEq)]
pub struct NewMachine {
    /// Its key.
    pub id: Id,
    /// What is known of it.
    pub details: Details,
    /// When, UTC milliseconds.
    pub created_ms: i64,
    /// Whether it belongs to the demonstration.
    pub demo: bool,
    /// Its first build; the build's `machine` must be `id`.
    pub build: Build,
}

/// A machine.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Machine {
    /// Its key.
    pub id: Id,
    /// What is known of it.
    pub details: Details,
    /// When it was entered, UTC milliseconds.
    pub created_ms: i64,
    /// Whether it belongs to the demonstration.
    pub demo: bool,
    /// When it was deleted, if it was, UTC milliseconds.
    pub deleted_ms: Option<i64>,
    /// Goes up with every change of the above.
    pub revision: i64,
}

/// A machine with what the garage shows of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Summary {
    /// The machine.
    pub machine: Machine,
    /// How many jobs it has.
    pub jobs: u64,
    /// The job opened last, if any.
    pub newest_job: Option<Job>,
    /// Where the screw was last left, if it was said in any job.
    pub left: Option<Left>,
}

/// Where the screw was last left: the newest fact [`LEFT_TURNS`] of a machine's jobs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Left {
    /// In which job.
    pub job: Id,
    /// Turns out.
    pub turns: TurnsOut,
    /// When it was said, UTC milliseconds.
    pub at_ms: i64,
}

impl Logbook {
    /// Enters a machine and its first build.
    ///
    /// # Errors
    ///
    /// [`Error::Invalid`] for a blank name or a count outside 1 to 12; [`Error::IdReused`].
    pub fn create_machine(&mut self, new: &NewMachine) -> Result<Saved> {
        check(&new.details)?;
        if new.build.machine != new.id {
            return Err(Error::invalid("build", new.build.machine, "a build of the machine itself"));
        }
        self.write(|tx| {
            if let Some(known) = find(tx, new.id)? {
                let same = known.details == new.details
                    && known.created_ms == new.created_ms
                    && known.demo == new.demo
                    && build::find(tx, new.build.id)?.as_ref() == Some(&new.build);
                return if same {
                    Ok(Saved::Already { revision: known.revision })
                } else {
                    Err(Error::IdReused { what: "machine", id: new.id }.into())
                };
            }
            let machine = Machine {
                id: new.id,
                details: new.details.clone(),
                created_ms: new.created_ms,
                demo: new.demo,
                deleted_ms: None,
                revision: 1,
            };
            insert(tx, &machine)?;
            build::save(tx, &new.build)?;
            Ok(Saved::New { revision: 1 })
        })
    }

    /// Puts right what is known of a machine; gives the new revision.
    ///
    /// # Errors
    ///
    /// [`Error::Stale`] unless `seen_revision` is the revision now; [`Error::NoSuch`]; [`Error::Invalid`].
    pub fn update_machine(&mut self, id: Id, seen_revision: i64, details: &Details) -> Result<i64> {
        check(details)?;
        self.write(|tx| {
            let machine = expect(tx, id)?;
            if machine.revision != seen_revision {
                let (expected, found) = (seen_revision, machine.revision);
                return Err(Error::Stale { what: "machine", id, expected, found }.into());
            }
            tx.prepare_cached(
                "UPDATE machine SET name = ?2, layout = ?3, cooling = ?4, carburettors = ?5, cylinders = ?6,
                 revision = revision + 1 WHERE id = ?1",
            )?
            .execute(params![
                id,
                details.name,
                details.layout,
                details.cooling.word(),
                details.carburettors,
                details.cylinders
            ])?;
            Ok(machine.revision + 1)
        })
    }

    /// Gives a machine another name, and touches nothing else; gives the new revision.
    ///
    /// # Errors
    ///
    /// As [`Logbook::update_machine`].
    pub fn rename_machine(&mut self, id: Id, seen_revision: i64, name: &str) -> Result<i64> {
        let details = Details { name: name.to_string(), ..self.machine(id)?.details };
        self.update_machine(id, seen_revision, &details)
    }

    /// A machine, deleted or not.
    ///
    /// # Errors
    ///
    /// [`Error::NoSuch`].
    pub fn machine(&self, id: Id) -> Result<Machine> {
        self.read(|db| expect(db, id))
    }

    /// Every machine that is not deleted, the one worked on last first.
    ///
    /// # Errors
    ///
    /// Only the file's own.
    pub fn machines(&self) -> Result<Vec<Summary>> {
        self.read(|db| {
            let mut summaries = Vec::new();
            for machine in all(db, "WHERE deleted_ms IS NULL ORDER BY created_ms, id")? {
                summaries.push(Summary {
                    jobs: job::count(db, machine.id)?,
                    newest_job: job::newest(db, machine.id)?,
                    left: left(db, machine.id)?,
                    machine,
                });
            }
            summaries.sort_by_key(|summary| {
                let opened = summary.newest_job.as_ref().map(|job| job.opened_ms);
                std::cmp::Reverse(opened.unwrap_or(summary.machine.created_ms))
            });
            Ok(summaries)
        })
    }

    /// Every deleted machine that is still kept, the one deleted last first.
    ///
    /// # Errors
    ///
    /// Only the file's own.
    pub fn deleted_machines(&self) -> Result<Vec<Machine>> {
        self.read(|db| all(db, "WHERE deleted_ms IS NOT NULL ORDER BY deleted_ms DESC, id"))
    }

    /// Takes a machine out of the list, with its jobs; undone by [`Logbook::restore_machine`].
    /// Deleting it again changes nothing. Gives the revision.
    ///
    /// # Errors
    ///
    /// [`Error::NoSuch`].
    pub fn delete_machine(&mut self, id: Id, at_ms: i64) -> Result<i64> {
        self.write(|tx| {
            let machine = expect(tx, id)?;
            if machine.deleted_ms.is_some() { Ok(machine.revision) } else { set_deleted(tx, id, Some(at_ms)) }
        })
    }

    /// Puts a deleted machine back into the list. Gives the revision.
    ///
    /// # Errors
    ///
    /// [`Error::TooLate`] later than [`UNDO_MS`] after it was deleted; [`Error::NoSuch`].
    pub fn restore_machine(&mut self, id: Id, at_ms: i64) -> Result<i64> {
        self.write(|tx| {
            let machine = expect(tx, id)?;
            match machine.deleted_ms {
                None => Ok(machine.revision),
                Some(deleted_ms) if deleted_ms.saturating_add(UNDO_MS) < at_ms => {
                    Err(Error::TooLate { id, days: (at_ms - deleted_ms) / DAY_MS }.into())
                }
                Some(_) => set_deleted(tx, id, None),
            }
        })
    }

    /// Removes for good every machine deleted longer ago than [`UNDO_MS`], with all its jobs and
    /// readings; gives how many machines.
    ///
    /// # Errors
    ///
    /// Only the file's own.
    pub fn purge_deleted(&mut self, at_ms: i64) -> Result<u64> {
        self.write(|tx| {
            let mut gone = 0;
            for machine in all(tx, "WHERE deleted_ms IS NOT NULL")? {
                if machine.deleted_ms.is_some_and(|deleted_ms| deleted_ms.saturating_add(UNDO_MS) < at_ms) {
                    remove(tx, machine.id)?;
                    gone += 1;
                }
            }
            Ok(gone)
        })
    }
}

pub(crate) fn check(details: &Details) -> Result<()> {
    if details.name.trim().is_empty() {
        return Err(Error::invalid(
            "name",
            &details.name,
            "a name that is not blank, such as \"the 750 twin\"",
        ));
    }
    for (field, count) in [("carburettors", Some(details.carburettors)), ("cylinders", details.cylinders)] {
        if let Some(count) = count.filter(|count| !(1..=12).contains(count)) {
            return Err(Error::invalid(field, count, "1 to 12"));
        }
    }
    Ok(())
}

pub(crate) fn insert(tx: &Transaction<'_>, machine: &Machine) -> std::result::Result<(), Trouble> {
    tx.prepare_cached(
        "INSERT INTO machine (id, name, layout, cooling, carburettors, cylinders, created_ms, demo, deleted_ms,
         revision) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
    )?
    .execute(params![
        machine.id,
        machine.details.name,
        machine.details.layout,
        machine.details.cooling.word(),
        machine.details.carburettors,
        machine.details.cylinders,
        machine.created_ms,
        machine.demo,
        machine.deleted_ms,
        machine.revision
    ])?;
    Ok(())
}

pub(crate) fn find(db: &Connection, id: Id) -> rusqlite::Result<Option<Machine>> {
    db.prepare_cached("SELECT * FROM machine WHERE id = ?1")?.query_row([id], of_row).optional()
}

pub(crate) fn expect(db: &Connection, id: Id) -> std::result::Result<Machine, Trouble> {
    find(db, id)?.ok_or_else(|| Error::NoSuch { what: "machine", id }.into())
}

/// Machines that a clause of ours selects and orders.
pub(crate) fn all(db: &Connection, clause: &str) -> std::result::Result<Vec<Machine>, Trouble> {
    let mut statement = db.prepare_cached(&format!("SELECT * FROM machine {clause}"))?;
    let rows = statement.query_map([], of_row)?;
    Ok(rows.collect::<rusqlite::Result<_>>()?)
}

fn set_deleted(tx: &Transaction<'_>, id: Id, at_ms: Option<i64>) -> std::result::Result<i64, Trouble> {
    let mut statement = tx.prepare_cached(
        "UPDATE machine SET deleted_ms = ?2, revision = revision + 1 WHERE id = ?1 RETURNING revision",
    )?;
    Ok(statement.query_row(params![id, at_ms], |row| row.get(0))?)
}

/// Removes a machine and all that belongs to it.
pub(crate) fn remove(tx: &Transaction<'_>, id: Id) -> std::result::Result<(), Trouble> {
    for job in job::of_machine(tx, id)? {
        job::remove(tx, job.id)?;
    }
    tx.execute("DELETE FROM build WHERE machine = ?1", [id])?;
    tx.execute("DELETE FROM machine WHERE id = ?1", [id])?;
    Ok(())
}

fn left(db: &Connection, machine: Id) -> rusqlite::Result<Option<Left>> {
    let mut statement = db.prepare_cached(
        "SELECT fact.job, fact.value, fact.at_ms FROM job JOIN fact ON fact.job = job.id
         WHERE job.machine = ?1 AND fact.name = ?2 ORDER BY fact.seq DESC LIMIT 1",
    )?;
    let found = statement
        .query_row(params![machine, LEFT_TURNS], |row| {
            Ok((row.get(0)?, row.get::<_, String>(1)?, row.get(2)?))
        })
        .optional()?;
    // An empty value takes the saying back.
    Ok(found.and_then(|(job, value, at_ms)| Some(Left { job, turns: TurnsOut(value.parse().ok()?), at_ms })))
}

pub(crate) fn of_row(row: &Row<'_>) -> rusqlite::Result<Machine> {
    Ok(Machine {
        id: row.get("id")?,
        details: Details {
            name: row.get("name")?,
            layout: row.get("layout")?,
            cooling: word::column(COOLINGS, row, "cooling")?,
            carburettors: row.get("carburettors")?,
            cylinders: row.get("cylinders")?,
        },
        created_ms: row.get("created_ms")?,
        demo: row.get("demo")?,
        deleted_ms: row.get("deleted_ms")?,
        revision: row.get("revision")?,
    })
}
