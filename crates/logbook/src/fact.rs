//! Facts of a job: what was said, counted or chosen. Added, never changed; the newest of a name counts.

use std::collections::BTreeMap;

use bellmouth_core::quantity::TurnsOut;
use rusqlite::{Row, Transaction, params};

use crate::error::{Error, Result, Trouble};
use crate::file::Logbook;
use crate::id::Id;
use crate::{job, reading};

/// The one name known here: where the screw was left, turns out, as a plain number ("2.125").
/// Every other name is the caller's.
pub const LEFT_TURNS: &str = "left_turns";

/// A fact.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fact {
    /// Its key.
    pub id: Id,
    /// To which job it belongs.
    pub job: Id,
    /// What it is about.
    pub name: String,
    /// What was said; empty when it was taken back.
    pub value: String,
    /// When, UTC milliseconds.
    pub at_ms: i64,
}

impl Logbook {
    /// Adds facts to a job, all or none; gives the job's new revision.
    ///
    /// With `seen_revision`, a job that was changed since it was looked at is refused; without, the facts
    /// are added whatever else has come.
    ///
    /// # Errors
    ///
    /// [`Error::Stale`]; [`Error::NoSuch`] job; [`Error::Invalid`] for a blank name, or for
    /// [`LEFT_TURNS`] with a value that is neither turns nor empty.
    pub fn set_facts(
        &mut self,
        job: Id,
        seen_revision: Option<i64>,
        facts: &[(&str, &str)],
        at_ms: i64,
    ) -> Result<i64> {
        for (name, value) in facts {
            check(name, value)?;
        }
        self.write(|tx| {
            job::expect_revision(tx, job, seen_revision)?;
            for &(name, value) in facts {
                let (name, value) = (name.to_string(), value.to_string());
                insert(tx, &Fact { id: Id::new(), job, name, value, at_ms })?;
            }
            job::bump(tx, job)
        })
    }

    /// The facts of a job that count: the newest of each name.
    ///
    /// # Errors
    ///
    /// [`Error::NoSuch`] job.
    pub fn facts(&self, job: Id) -> Result<BTreeMap<String, Fact>> {
        let history = self.fact_history(job)?;
        Ok(history.into_iter().map(|fact| (fact.name.clone(), fact)).collect())
    }

    /// Every fact that was ever said of a job, in the order it came.
    ///
    /// # Errors
    ///
    /// [`Error::NoSuch`] job.
    pub fn fact_history(&self, job: Id) -> Result<Vec<Fact>> {
        self.read(|db| {
            job::expect(db, job)?;
            let mut statement = db.prepare_cached("SELECT * FROM fact WHERE job = ?1 ORDER BY seq")?;
            let rows = statement.query_map([job], of_row)?;
            Ok(rows.collect::<rusqlite::Result<_>>()?)
        })
    }
}

pub(crate) fn check(name: &str, value: &str) -> Result<()> {
    if name.trim().is_empty() {
        return Err(Error::invalid("fact", name, "a name that is not blank"));
    }
    if name == LEFT_TURNS && !value.is_empty() {
        reading::check_turns(LEFT_TURNS, TurnsOut(value.parse().unwrap_or(f64::NAN)))?;
    }
    Ok(())
}

pub(crate) fn insert(tx: &Transaction<'_>, fact: &Fact) -> std::result::Result<(), Trouble> {
    tx.prepare_cached("INSERT INTO fact (id, job, name, value, at_ms) VALUES (?1, ?2, ?3, ?4, ?5)")?
        .execute(params![fact.id, fact.job, fact.name, fact.value, fact.at_ms])?;
    Ok(())
}

pub(crate) fn of_row(row: &Row<'_>) -> rusqlite::Result<Fact> {
    Ok(Fact {
        id: row.get("id")?,
        job: row.get("job")?,
        name: row.get("name")?,
        value: row.get("value")?,
        at_ms: row.get("at_ms")?,
    })
}
