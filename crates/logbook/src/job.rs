//! Jobs: one stay of a machine on the bench.

use rusqlite::{Connection, OptionalExtension, Row, Transaction, params};

use crate::error::{Error, Result, Trouble};
use crate::file::Logbook;
use crate::id::Id;
use crate::{Saved, build, machine};

/// A job to be opened.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewJob {
    /// Its key.
    pub id: Id,
    /// On which machine.
    pub machine: Id,
    /// On which of the machine's builds.
    pub build: Id,
    /// When, UTC milliseconds.
    pub opened_ms: i64,
    /// What the rider complains of; may be empty.
    pub complaint: String,
    /// Whether it belongs to the demonstration; every job on a demonstration machine does.
    pub demo: bool,
}

/// A job.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Job {
    /// Its key.
    pub id: Id,
    /// On which machine.
    pub machine: Id,
    /// On which of the machine's builds.
    pub build: Id,
    /// When it was opened, UTC milliseconds.
    pub opened_ms: i64,
    /// When it was closed, if it is, UTC milliseconds.
    pub closed_ms: Option<i64>,
    /// What the rider complains of; may be empty.
    pub complaint: String,
    /// Whether it belongs to the demonstration.
    pub demo: bool,
    /// Goes up with every change: a fact, a reading, a strike, a correction, opening and closing.
    pub revision: i64,
}

impl Logbook {
    /// Opens a job.
    ///
    /// # Errors
    ///
    /// [`Error::NoSuch`] machine, or build of this machine; [`Error::IdReused`].
    pub fn open_job(&mut self, new: &NewJob) -> Result<Saved> {
        self.write(|tx| {
            let demo = machine::expect(tx, new.machine)?.demo || new.demo;
            let job = Job {
                id: new.id,
                machine: new.machine,
                build: new.build,
                opened_ms: new.opened_ms,
                closed_ms: None,
                complaint: new.complaint.clone(),
                demo,
                revision: 1,
            };
            if let Some(known) = find(tx, new.id)? {
                let (closed_ms, revision) = (known.closed_ms, known.revision);
                return if known == (Job { closed_ms, revision, ..job }) {
                    Ok(Saved::Already { revision })
                } else {
                    Err(Error::IdReused { what: "job", id: new.id }.into())
                };
            }
            expect_build(tx, new.machine, new.build)?;
            insert(tx, &job)?;
            Ok(Saved::New { revision: 1 })
        })
    }

    /// A job.
    ///
    /// # Errors
    ///
    /// [`Error::NoSuch`].
    pub fn job(&self, id: Id) -> Result<Job> {
        self.read(|db| expect(db, id))
    }

    /// A machine's jobs, the newest first.
    ///
    /// # Errors
    ///
    /// [`Error::NoSuch`] machine.
    pub fn jobs(&self, machine: Id) -> Result<Vec<Job>> {
        self.read(|db| {
            machine::expect(db, machine)?;
            of_machine(db, machine)
        })
    }

    /// Closes a job; gives the new revision. A closed job still takes facts and readings.
    ///
    /// # Errors
    ///
    /// [`Error::Stale`] when a revision is given and is not the one now; [`Error::NoSuch`].
    pub fn close_job(&mut self, id: Id, seen_revision: Option<i64>, at_ms: i64) -> Result<i64> {
        self.set_closed(id, seen_revision, Some(at_ms))
    }

    /// Opens a closed job again; gives the new revision.
    ///
    /// # Errors
    ///
    /// As [`Logbook::close_job`].
    pub fn reopen_job(&mut self, id: Id, seen_revision: Option<i64>) -> Result<i64> {
        self.set_closed(id, seen_revision, None)
    }

    fn set_closed(&mut self, id: Id, seen_revision: Option<i64>, closed_ms: Option<i64>) -> Result<i64> {
        self.write(|tx| {
            expect_revision(tx, id, seen_revision)?;
            tx.execute("UPDATE job SET closed_ms = ?2 WHERE id = ?1", params![id, closed_ms])?;
            bump(tx, id)
        })
    }
}

/// Refuses a job that is not there, or was changed since the caller saw it.
pub(crate) fn expect_revision(
    db: &Connection,
    id: Id,
    seen_revision: Option<i64>,
) -> std::result::Result<(), Trouble> {
    let found = expect(db, id)?.revision;
    match seen_revision {
        Some(expected) if expected != found => Err(Error::Stale { what: "job", id, expected, found }.into()),
        _ => Ok(()),
    }
}

/// Refuses a build that is not there, or not of this machine.
pub(crate) fn expect_build(db: &Connection, machine: Id, id: Id) -> std::result::Result<(), Trouble> {
    if build::find(db, id)?.is_some_and(|build| build.machine == machine) {
        Ok(())
    } else {
        Err(Error::NoSuch { what: "build of this machine", id }.into())
    }
}

/// Counts a change of a job; gives the new revision.
pub(crate) fn bump(tx: &Transaction<'_>, id: Id) -> std::result::Result<i64, Trouble> {
    let mut statement =
        tx.prepare_cached("UPDATE job SET revision = revision + 1 WHERE id = ?1 RETURNING revision")?;
    Ok(statement.query_row([id], |row| row.get(0))?)
}

pub(crate) fn insert(tx: &Transaction<'_>, job: &Job) -> std::result::Result<(), Trouble> {
    tx.prepare_cached(
        "INSERT INTO job (id, machine, build, opened_ms, closed_ms, complaint, demo, revision)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
    )?
    .execute(params![
        job.id,
        job.machine,
        job.build,
        job.opened_ms,
        job.closed_ms,
        job.complaint,
        job.demo,
        job.revision
    ])?;
    Ok(())
}

/// Removes a job and all that belongs to it.
pub(crate) fn remove(tx: &Transaction<'_>, id: Id) -> std::result::Result<(), Trouble> {
    tx.execute("DELETE FROM strike WHERE reading IN (SELECT id FROM reading WHERE job = ?1)", [id])?;
    tx.execute("DELETE FROM correction WHERE reading IN (SELECT id FROM reading WHERE job = ?1)", [id])?;
    tx.execute("DELETE FROM reading WHERE job = ?1", [id])?;
    tx.execute("DELETE FROM fact WHERE job = ?1", [id])?;
    tx.execute("DELETE FROM job WHERE id = ?1", [id])?;
    Ok(())
}

pub(crate) fn find(db: &Connection, id: Id) -> rusqlite::Result<Option<Job>> {
    db.prepare_cached("SELECT * FROM job WHERE id = ?1")?.query_row([id], of_row).optional()
}

pub(crate) fn expect(db: &Connection, id: Id) -> std::result::Result<Job, Trouble> {
    find(db, id)?.ok_or_else(|| Error::NoSuch { what: "job", id }.into())
}

pub(crate) fn count(db: &Connection, machine: Id) -> rusqlite::Result<u64> {
    let mut statement = db.prepare_cached("SELECT count(*) FROM job WHERE machine = ?1")?;
    statement.query_row([machine], |row| row.get::<_, i64>(0)).map(i64::unsigned_abs)
}

pub(crate) fn newest(db: &Connection, machine: Id) -> rusqlite::Result<Option<Job>> {
    db.prepare_cached("SELECT * FROM job WHERE machine = ?1 ORDER BY opened_ms DESC, rowid DESC LIMIT 1")?
        .query_row([machine], of_row)
        .optional()
}

pub(crate) fn of_machine(db: &Connection, machine: Id) -> std::result::Result<Vec<Job>, Trouble> {
    let mut statement =
        db.prepare_cached("SELECT * FROM job WHERE machine = ?1 ORDER BY opened_ms DESC, rowid DESC")?;
    let rows = statement.query_map([machine], of_row)?;
    Ok(rows.collect::<rusqlite::Result<_>>()?)
}

pub(crate) fn of_row(row: &Row<'_>) -> rusqlite::Result<Job> {
    Ok(Job {
        id: row.get("id")?,
        machine: row.get("machine")?,
        build: row.get("build")?,
        opened_ms: row.get("opened_ms")?,
        closed_ms: row.get("closed_ms")?,
        complaint: row.get("complaint")?,
        demo: row.get("demo")?,
        revision: row.get("revision")?,
    })
}
