//! Copies and checks, which work while the bench runs.
//!
//! Both read the file over a connection of their own, and see it as it stood at one instant; whoever
//! owns the file goes on saving meanwhile. Beside a file that nobody has open, SQLite may leave an empty
//! `-wal` and a `-shm`; they hold nothing, and the next opening and closing takes them away.

use std::fs;
use std::path::Path;
use std::time::Duration;

use rusqlite::backup::{Backup, StepResult};
use rusqlite::{Connection, OpenFlags};

use crate::error::{Error, Result, Trouble};
use crate::file::{beside, new_private_file, put_in_place};
use crate::migrations::{self, APPLICATION_ID, MIGRATIONS};

/// What a check counted in a file that is whole.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Checked {
    /// Version of the tables.
    pub version: i64,
    /// Machines, the deleted ones included.
    pub machines: u64,
    /// Jobs.
    pub jobs: u64,
    /// Readings, the struck ones included.
    pub readings: u64,
}

/// Copies the logbook at `from` to a new file `to`, whole or not at all.
///
/// # Errors
///
/// [`Error::Exists`] when there is a file `to`; [`Error::NoFile`], [`Error::NotOurs`], [`Error::Newer`]
/// and [`Error::Corrupt`] of `from`; [`Error::Unwritable`] and [`Error::DiskFull`] of `to`.
pub fn backup(from: &Path, to: &Path) -> Result<()> {
    let source = open_to_read(from)?;
    copy(&source, from, to).map_err(|trouble| trouble.at(from))
}

/// Reads every page and index of the logbook at `path`, and counts what is in it.
///
/// # Errors
///
/// [`Error::Corrupt`] says what is wrong; [`Error::NoFile`], [`Error::NotOurs`], [`Error::Newer`].
pub fn check(path: &Path) -> Result<Checked> {
    let connection = open_to_read(path)?;
    let count = |sql: &str| -> std::result::Result<u64, Trouble> {
        Ok(connection.query_row(sql, [], |row| row.get::<_, i64>(0))?.unsigned_abs())
    };
    let checked = || {
        whole(&connection, "integrity_check", path)?;
        Ok(Checked {
            version: migrations::version(&connection)?,
            machines: count("SELECT count(*) FROM machine")?,
            jobs: count("SELECT count(*) FROM job")?,
            readings: count("SELECT count(*) FROM reading")?,
        })
    };
    checked().map_err(|trouble: Trouble| trouble.at(path))
}

/// Refuses a file of which `pragma` (`quick_check` or `integrity_check`) has anything to say, or in which
/// a row belongs to a row that is not there.
pub(crate) fn whole(connection: &Connection, pragma: &str, path: &Path) -> std::result::Result<(), Trouble> {
    let said: String = connection.query_row(&format!("PRAGMA {pragma}(1)"), [], |row| row.get(0))?;
    if said != "ok" {
        return Err(Error::corrupt(path, &said).into());
    }
    let mut statement = connection.prepare("PRAGMA foreign_key_check")?;
    if let Some(row) = statement.query([])?.next()? {
        let (table, other): (String, String) = (row.get(0)?, row.get(2)?);
        let found = format!("a row of `{table}` belongs to a row of `{other}` that is not there");
        return Err(Error::Corrupt { path: path.to_path_buf(), found }.into());
    }
    Ok(())
}

/// Copies all pages of the file `from` as of one instant into a new private file, closed and marked so. A
/// damaged copy is no backup, and is not kept.
pub(crate) fn copy(source: &Connection, from: &Path, to: &Path) -> std::result::Result<(), Trouble> {
    if to.exists() {
        return Err(Error::Exists { path: to.to_path_buf() }.into());
    }
    let part = beside(to, ".part");
    // Its reader knows the name that was given, not the one it has until it is whole.
    new_private_file(&part).map_err(|refused| match refused {
        Error::Unwritable { because, .. } => Error::Unwritable { path: to.to_path_buf(), because },
        other => other,
    })?;
    let fill = || -> std::result::Result<(), Trouble> {
        let mut target = Connection::open(&part)?;
        let backup = Backup::new(source, &mut target)?;
        // All pages in one step: steps of fewer would begin anew whenever something is saved meanwhile.
        while backup.step(-1)? != StepResult::Done {
            std::thread::sleep(Duration::from_millis(20));
        }
        drop(backup);
        target.pragma_update_and_check(None, "journal_mode", "DELETE", |_| Ok(()))?;
        whole(&target, "integrity_check", from)?;
        target.execute("UPDATE mark SET in_use = 0", [])?;
        target.close().map_err(|(_, error)| error)?;
        Ok(())
    };
    let filled = fill().map_err(|trouble| trouble.at(to)).and_then(|()| {
        if to.exists() { Err(Error::Exists { path: to.to_path_buf() }) } else { put_in_place(&part, to) }
    });
    if filled.is_err() {
        let _ = fs::remove_file(&part);
    }
    Ok(filled?)
}

/// A connection that only reads. The file is looked at through SQLite alone: closing a second handle to it
/// would drop the locks that a logbook open in this process holds.
pub(crate) fn open_to_read(path: &Path) -> Result<Connection> {
    match fs::metadata(path) {
        Ok(about) if about.is_dir() => {
            return Err(Error::NotOurs { path: path.to_path_buf(), found: "a folder".into() });
        }
        Err(_) => return Err(Error::NoFile { path: path.to_path_buf() }),
        Ok(_) => {}
    }
    let opened = || -> std::result::Result<Connection, Trouble> {
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let connection = Connection::open_with_flags(path, flags)?;
        connection.busy_timeout(Duration::from_secs(5))?;
        let owner: i64 = connection.pragma_query_value(None, "application_id", |row| row.get(0))?;
        if owner != APPLICATION_ID {
            let found = "an SQLite file of another program".into();
            return Err(Error::NotOurs { path: path.to_path_buf(), found }.into());
        }
        let (found, known) = (migrations::version(&connection)?, MIGRATIONS.len() as i64);
        if known < found {
            return Err(Error::Newer { path: path.to_path_buf(), found, known }.into());
        }
        Ok(connection)
    };
    opened().map_err(|trouble| trouble.at(path))
}
