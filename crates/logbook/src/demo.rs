//! The demonstration's rows, which leave in one step.

use rusqlite::Connection;

use crate::error::{Result, Trouble};
use crate::file::Logbook;
use crate::id::Id;
use crate::{job, machine};

/// What was removed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Removed {
    /// Machines.
    pub machines: u64,
    /// Jobs, those on the removed machines included.
    pub jobs: u64,
}

impl Logbook {
    /// Whether anything of the demonstration is in the file.
    ///
    /// # Errors
    ///
    /// Only the file's own.
    pub fn has_demo(&self) -> Result<bool> {
        self.read(|db| {
            let sql =
                "SELECT EXISTS (SELECT 1 FROM machine WHERE demo) OR EXISTS (SELECT 1 FROM job WHERE demo)";
            Ok(db.query_row(sql, [], |row| row.get(0))?)
        })
    }

    /// Removes everything of the demonstration, all or nothing, and leaves the rest alone.
    ///
    /// # Errors
    ///
    /// Only the file's own.
    pub fn remove_demo(&mut self) -> Result<Removed> {
        self.write(|tx| {
            let jobs = demo_ids(tx, "job")?;
            for &id in &jobs {
                job::remove(tx, id)?;
            }
            let machines = demo_ids(tx, "machine")?;
            for &id in &machines {
                machine::remove(tx, id)?;
            }
            Ok(Removed { machines: machines.len() as u64, jobs: jobs.len() as u64 })
        })
    }
}

fn demo_ids(db: &Connection, table: &str) -> std::result::Result<Vec<Id>, Trouble> {
    let mut statement = db.prepare(&format!("SELECT id FROM {table} WHERE demo"))?;
    let rows = statement.query_map([], |row| row.get(0))?;
    Ok(rows.collect::<rusqlite::Result<_>>()?)
}
