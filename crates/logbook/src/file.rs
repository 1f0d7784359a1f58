//! Opening the file: whose it is, whether it is whole, and that only one has it.
//!
//! Nothing is written to a file before it is known to be ours, of a version we know, and whole. The
//! first bytes are read without SQLite, since SQLite would leave its own files beside a stranger's.

use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{ErrorKind, Read};
use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::config::DbConfig;
use rusqlite::{Connection, Transaction, TransactionBehavior};

use crate::backup;
use crate::error::{Error, Result, Trouble};
use crate::migrations::{self, APPLICATION_ID, MIGRATIONS};

/// The open logbook. It owns the file until it is closed or dropped.
///
/// It can be sent between threads, not shared: put it into a mutex, and call it off the threads that
/// serve, because a saving call returns only when the disk has it (some milliseconds).
#[derive(Debug)]
pub struct Logbook {
    pub(crate) connection: Connection,
    path: PathBuf,
    // Fields are dropped in this order: the lock outlives the connection.
    _lock: Lock,
}

/// The lock on the file beside, held for the life of the logbook; the system lets go of it however the
/// process ends.
#[derive(Debug)]
struct Lock(File);

impl Drop for Lock {
    fn drop(&mut self) {
        // Closing alone would not do: a process that is being started elsewhere in this one shares the open
        // file for an instant, and would keep the lock with it.
        let _ = self.0.unlock();
    }
}

/// A logbook that was opened, and what was met on the way.
#[derive(Debug)]
pub struct Opened {
    /// The logbook.
    pub logbook: Logbook,
    /// Whether the file was made just now.
    pub created: bool,
    /// What was found when the last use had not ended cleanly.
    pub recovered: Option<Recovered>,
    /// The copy kept beside the file before its tables were brought up to date.
    pub kept_copy: Option<PathBuf>,
}

/// The last use ended without closing (killed, power lost); the file was checked and is whole.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Recovered {
    /// Length of the write-ahead file that was taken in, bytes.
    pub left_bytes: u64,
}

impl Logbook {
    /// Opens the logbook at `path`, or makes one where there is no file or an empty one.
    ///
    /// The folder is made when missing, for this user alone; so is the file.
    ///
    /// # Errors
    ///
    /// [`Error::NotOurs`], [`Error::Newer`], [`Error::Corrupt`] (the file is left as it was),
    /// [`Error::InUse`], [`Error::Unwritable`], [`Error::DiskFull`].
    pub fn open(path: &Path) -> Result<Opened> {
        Logbook::open_as(path, MIGRATIONS)
    }

    /// Opens the file as the program does whose migrations are `list`.
    pub(crate) fn open_as(path: &Path, list: &[&str]) -> Result<Opened> {
        let path = settle(path)?;
        let lock = lock(&path)?;
        let left_bytes = length(&beside(&path, "-wal"));
        let created = match look(&path, left_bytes, list.len() as i64) {
            Ok(Seen::Nothing) => {
                create(&path, list)?;
                true
            }
            Ok(Seen::Logbook) => false,
            Err(refused) => {
                if matches!(refused, Error::NotOurs { .. }) {
                    // Nobody can hold a lock on a file that is refused, so that it need not stay.
                    let _ = fs::remove_file(beside(&path, ".lock"));
                }
                return Err(refused);
            }
        };
        for file in [path.clone(), beside(&path, "-wal"), beside(&path, "-shm")] {
            make_private(&file)?;
        }
        let connection = Connection::open(&path).map_err(|error| Trouble::from(error).at(&path))?;
        let mut logbook = Logbook { connection, path, _lock: lock };
        let (recovered, kept_copy) =
            logbook.prepare(left_bytes, list).map_err(|trouble| trouble.at(&logbook.path))?;
        Ok(Opened { logbook, created, recovered, kept_copy })
    }

    /// Where the file is.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Closes the file and leaves the mark of a clean end. Dropping does the same, but cannot tell
    /// of a failure.
    ///
    /// # Errors
    ///
    /// [`Error::DiskFull`] or [`Error::DiskFailed`] when the mark cannot be written; nothing saved is lost.
    pub fn close(self) -> Result<()> {
        self.leave().map_err(|error| Trouble::from(error).at(&self.path))
    }

    fn prepare(
        &mut self,
        left_bytes: u64,
        list: &[&str],
    ) -> std::result::Result<(Option<Recovered>, Option<PathBuf>), Trouble> {
        // Until the file is known to be whole, closing must not fold the write-ahead file into it.
        self.connection.set_db_config(DbConfig::SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, true)?;
        self.connection.busy_timeout(Duration::from_secs(5))?;
        self.connection.set_prepared_statement_cache_capacity(64);
        let version = migrations::version(&self.connection)?;
        let known = list.len() as i64;
        if known < version {
            return Err(Error::Newer { path: self.path.clone(), found: version, known }.into());
        }
        let in_use: bool = self.connection.query_row("SELECT in_use FROM mark", [], |row| row.get(0))?;
        let unclean = in_use || left_bytes > 0;
        if unclean {
            backup::whole(&self.connection, "quick_check", &self.path)?;
        }
        self.connection.set_db_config(DbConfig::SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, false)?;
        let kept_copy = if version < known {
            let copy = free_name(&self.path, version);
            backup::copy(&self.connection, &self.path, &copy)?;
            Some(copy)
        } else {
            None
        };
        migrations::run(&mut self.connection, list)?;
        self.connection.pragma_update_and_check(None, "journal_mode", "WAL", |_| Ok(()))?;
        self.connection.pragma_update(None, "synchronous", "FULL")?;
        self.connection.pragma_update(None, "foreign_keys", true)?;
        // The mark goes into the file itself, so that a copy taken without its -wal is known for what it is.
        self.mark(true)?;
        Ok((unclean.then_some(Recovered { left_bytes }), kept_copy))
    }

    fn mark(&self, in_use: bool) -> rusqlite::Result<()> {
        self.connection.execute("UPDATE mark SET in_use = ?1", [in_use])?;
        self.connection.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(()))
    }

    fn leave(&self) -> rusqlite::Result<()> {
        // A refused file is left as it is.
        if self.connection.db_config(DbConfig::SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE)? {
            return Ok(());
        }
        self.mark(false)
    }

    /// Runs `work` in a transaction that is on the disk when this returns `Ok`.
    pub(crate) fn write<T>(
        &mut self,
        work: impl FnOnce(&Transaction<'_>) -> std::result::Result<T, Trouble>,
    ) -> Result<T> {
        let connection = &mut self.connection;
        let attempt = || {
            let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
            let answer = work(&transaction)?;
            transaction.commit()?;
            Ok(answer)
        };
        attempt().map_err(|trouble: Trouble| trouble.at(&self.path))
    }

    /// Runs `work`, which only reads.
    pub(crate) fn read<T>(
        &self,
        work: impl FnOnce(&Connection) -> std::result::Result<T, Trouble>,
    ) -> Result<T> {
        work(&self.connection).map_err(|trouble| trouble.at(&self.path))
    }
}

impl Drop for Logbook {
    fn drop(&mut self) {
        // A failure here costs a check at the next opening, and nothing else.
        let _ = self.leave();
    }
}

/// What stands under the logbook's name.
enum Seen {
    Nothing,
    Logbook,
}

/// Reads the file's first bytes (SQLite's "database header", 100 bytes) and refuses what is not ours.
fn look(path: &Path, left_bytes: u64, known: i64) -> Result<Seen> {
    let not_ours = |found: &str| Error::NotOurs { path: path.to_path_buf(), found: found.into() };
    let torn = |found: String| Error::Corrupt { path: path.to_path_buf(), found };
    let bytes = match fs::metadata(path) {
        Ok(about) if about.is_dir() => return Err(not_ours("a folder")),
        Ok(about) if !about.is_file() => return Err(not_ours("no ordinary file")),
        Ok(about) => about.len(),
        Err(error) if error.kind() == ErrorKind::NotFound => 0,
        Err(error) => return Err(Error::unwritable(path, &error)),
    };
    if bytes == 0 {
        // A write-ahead file would be replayed into whatever is made here.
        return if left_bytes == 0 {
            Ok(Seen::Nothing)
        } else {
            Err(torn(format!("it is gone or empty, but its -wal of {left_bytes} bytes is still there")))
        };
    }
    let mut head = [0; 100];
    let read = File::open(path).and_then(|mut file| file.read_exact(&mut head));
    match read {
        Err(error) if error.kind() == ErrorKind::UnexpectedEof => return Err(not_ours("not an SQLite file")),
        Err(error) => return Err(Error::unwritable(path, &error)),
        Ok(()) => {}
    }
    if !head.starts_with(b"SQLite format 3\0") {
        return Err(not_ours("not an SQLite file"));
    }
    let word =
        |at: usize| i64::from(u32::from_be_bytes([head[at], head[at + 1], head[at + 2], head[at + 3]]));
    if word(68) != APPLICATION_ID {
        return Err(not_ours("an SQLite file of another program"));
    }
    let version = word(60);
    if known < version {
        return Err(Error::Newer { path: path.to_path_buf(), found: version, known });
    }
    // Without a write-ahead file nothing can make up for missing pages. (A page size of 1 means 65 536.)
    let page = match u64::from(u16::from_be_bytes([head[16], head[17]])) {
        1 => 65_536,
        size => size,
    };
    let promised = page * word(28) as u64;
    if left_bytes == 0 && bytes < promised {
        return Err(torn(format!("it ends after {bytes} of {promised} bytes")));
    }
    Ok(Seen::Logbook)
}

/// Makes a new logbook under another name and moves it into place, so that a half-made one is never met.
fn create(path: &Path, list: &[&str]) -> Result<()> {
    let making = beside(path, ".making");
    let made = || -> std::result::Result<(), Trouble> {
        let mut connection = Connection::open(&making)?;
        connection.pragma_update(None, "application_id", APPLICATION_ID)?;
        migrations::run(&mut connection, list)?;
        connection.close().map_err(|(_, error)| error)?;
        Ok(())
    };
    // Left from a making that was cut short; nobody else makes one while the lock is held.
    let _ = fs::remove_file(&making);
    new_private_file(&making)?;
    made().map_err(|trouble| trouble.at(path))?;
    put_in_place(&making, path)
}

/// Renames a finished file and makes the new name last.
pub(crate) fn put_in_place(from: &Path, to: &Path) -> Result<()> {
    let rename = || {
        File::open(from)?.sync_all()?;
        fs::rename(from, to)?;
        sync_folder(to)
    };
    rename().map_err(|error| Error::unwritable(to, &error))
}

#[cfg(unix)]
fn sync_folder(of: &Path) -> std::io::Result<()> {
    File::open(of.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new(".")))?
        .sync_all()
}

#[cfg(not(unix))]
fn sync_folder(_of: &Path) -> std::io::Result<()> {
    Ok(())
}

/// The one name of the file, however it was written, with its folder in existence.
fn settle(path: &Path) -> Result<PathBuf> {
    if let Ok(settled) = path.canonicalize() {
        return Ok(settled);
    }
    let name = path
        .file_name()
        .ok_or_else(|| Error::NotOurs { path: path.to_path_buf(), found: "no file name".into() })?;
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let settled = make_folder(folder).and_then(|()| folder.canonicalize());
    Ok(settled.map_err(|error| Error::unwritable(folder, &error))?.join(name))
}

/// Takes the lock beside the file. It is a lock on an open file, so that it ends with the process.
fn lock(path: &Path) -> Result<Lock> {
    let beside = beside(path, ".lock");
    let mut options = OpenOptions::new();
    private(options.create(true).write(true).truncate(false));
    let file = options.open(&beside).map_err(|error| match error.kind() {
        // Its folder exists by now; some of the system's own take no files.
        ErrorKind::NotFound => {
            Error::Unwritable { path: path.to_path_buf(), because: "its folder takes no new files".into() }
        }
        _ => Error::unwritable(&beside, &error),
    })?;
    match file.try_lock() {
        Ok(()) => Ok(Lock(file)),
        Err(TryLockError::WouldBlock) => Err(Error::InUse { path: path.to_path_buf() }),
        Err(TryLockError::Error(error)) => Err(Error::unwritable(&beside, &error)),
    }
}

/// The name with something added to its end.
pub(crate) fn beside(path: &Path, ending: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(ending);
    name.into()
}

fn free_name(path: &Path, version: i64) -> PathBuf {
    let plain = beside(path, &format!(".version-{version}"));
    if !plain.exists() {
        return plain;
    }
    (2..).map(|count| beside(&plain, &format!("-{count}"))).find(|name| !name.exists()).unwrap_or(plain)
}

fn length(path: &Path) -> u64 {
    fs::metadata(path).map_or(0, |about| about.len())
}

/// Makes an empty file for this user alone, which must not exist.
pub(crate) fn new_private_file(path: &Path) -> Result<()> {
    let mut options = OpenOptions::new();
    private(options.create_new(true).write(true));
    match options.open(path) {
        Ok(_) => Ok(()),
        Err(error) if error.kind() == ErrorKind::AlreadyExists => {
            Err(Error::Exists { path: path.to_path_buf() })
        }
        Err(error) => Err(Error::unwritable(path, &error)),
    }
}

#[cfg(unix)]
fn private(options: &mut OpenOptions) {
    use std::os::unix::fs::OpenOptionsExt;
    options.mode(0o600);
}

#[cfg(not(unix))]
fn private(_options: &mut OpenOptions) {}

#[cfg(unix)]
fn make_private(path: &Path) -> Result<()> {
    use std::os::unix::fs::PermissionsExt;
    match fs::set_permissions(path, fs::Permissions::from_mode(0o600)) {
        Err(error) if error.kind() != ErrorKind::NotFound => Err(Error::unwritable(path, &error)),
        _ => Ok(()),
    }
}

#[cfg(not(unix))]
fn make_private(_path: &Path) -> Result<()> {
    Ok(())
}

#[cfg(unix)]
fn make_folder(path: &Path) -> std::io::Result<()> {
    use std::os::unix::fs::DirBuilderExt;
    fs::DirBuilder::new().recursive(true).mode(0o700).create(path)
}

#[cfg(not(unix))]
fn make_folder(path: &Path) -> std::io::Result<()> {
    fs::create_dir_all(path)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_commit_waits_for_the_disk_and_every_row_for_its_parent() {
        let path = std::env::temp_dir().join(format!("bellmouth-{}.sqlite", crate::Id::new()));
        let logbook = Logbook::open(&path).unwrap().logbook;
        let pragma = |name: &str| -> String {
            let value = logbook
                .connection
                .pragma_query_value(None, name, |row| row.get::<_, rusqlite::types::Value>(0));
            match value.unwrap() {
                rusqlite::types::Value::Text(text) => text,
                rusqlite::types::Value::Integer(number) => number.to_string(),
                other => panic!("{other:?}"),
            }
        };
        let settings = ["journal_mode", "synchronous", "foreign_keys", "application_id"].map(pragma);
        assert_eq!(settings, ["wal", "2", "1", "1111837773"]);
        drop(logbook);
        for ending in ["", ".lock"] {
            fs::remove_file(beside(&path, ending)).unwrap();
        }
    }
}
