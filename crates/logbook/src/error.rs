//! Refusals: why the logbook did not do it, and what to do.

use std::fmt;
use std::path::{Path, PathBuf};

use rusqlite::ErrorCode;

use crate::id::Id;

/// The result of anything asked of the logbook.
pub type Result<T> = std::result::Result<T, Error>;

/// Why the logbook did not do what was asked.
///
/// The message (its `Display`) says what is wrong and where; [`Error::remedy`] what to do. After any
/// of them, what had been saved before is still saved.
#[derive(Clone, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum Error {
    /// The file is something else, and was not touched.
    NotOurs {
        /// The file.
        path: PathBuf,
        /// What it is, as far as can be seen.
        found: String,
    },
    /// The file was written by a newer Bellmouth, and was not touched.
    Newer {
        /// The file.
        path: PathBuf,
        /// The version of its tables.
        found: i64,
        /// The newest version known here.
        known: i64,
    },
    /// Another Bellmouth has the file open.
    InUse {
        /// The file.
        path: PathBuf,
    },
    /// There is no file to read.
    NoFile {
        /// The file.
        path: PathBuf,
    },
    /// The place cannot be written.
    Unwritable {
        /// The file or folder.
        path: PathBuf,
        /// What the system said.
        because: String,
    },
    /// The disk is full.
    DiskFull {
        /// The file.
        path: PathBuf,
    },
    /// The disk failed while reading or writing.
    DiskFailed {
        /// The file.
        path: PathBuf,
        /// What the system said.
        because: String,
    },
    /// The file is torn, and was not touched.
    Corrupt {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        found: String,
    },
    /// A file of that name exists, and is not overwritten.
    Exists {
        /// The file.
        path: PathBuf,
    },
    /// No such row.
    NoSuch {
        /// What was looked for: machine, build, job, reading.
        what: &'static str,
        /// Its key.
        id: Id,
    },
    /// Someone else changed it since it was looked at.
    Stale {
        /// What was to be changed: machine, job.
        what: &'static str,
        /// Its key.
        id: Id,
        /// The revision the caller had seen.
        expected: i64,
        /// The revision now.
        found: i64,
    },
    /// The key belongs to a row with other content.
    IdReused {
        /// What was to be saved: machine, build, job, reading.
        what: &'static str,
        /// Its key.
        id: Id,
    },
    /// A machine was deleted too long ago to be restored.
    TooLate {
        /// Its key.
        id: Id,
        /// How long ago, whole days.
        days: i64,
    },
    /// A value that cannot be kept.
    Invalid {
        /// Which one.
        field: &'static str,
        /// The value given.
        got: String,
        /// What is allowed, in words.
        allowed: &'static str,
    },
    /// Something nobody foresaw: a fault of ours.
    Unforeseen {
        /// The file.
        path: PathBuf,
        /// What the database said.
        because: String,
    },
}

impl Error {
    /// What to do about it.
    pub fn remedy(&self) -> String {
        match self {
            Error::NotOurs { .. } => {
                "give --logbook the name of a logbook; under a new name `bellmouth serve` makes one".into()
            }
            Error::Newer { .. } => {
                "use the newer Bellmouth, or the copy kept beside the file before it was changed".into()
            }
            Error::InUse { .. } => "use the page that is already open, or stop the other one first".into(),
            Error::NoFile { .. } => "check the name; `bellmouth serve` makes a new logbook".into(),
            Error::Unwritable { .. } => {
                "give a place that you may write, with --logbook where it is the logbook".into()
            }
            Error::DiskFull { .. } => {
                "make room on the disk, then save again; what was saved before is kept".into()
            }
            Error::DiskFailed { .. } => {
                "check the disk and its cable, then save again; what was saved before is kept".into()
            }
            Error::Corrupt { path, .. } => format!(
                "nothing was written to it; put it and its -wal aside, and start from the newest backup under the name {}",
                path.display()
            ),
            Error::Exists { .. } => "choose another name, or move the old file away".into(),
            Error::NoSuch { .. } => "reload the page; it may have been removed".into(),
            Error::Stale { .. } => "reload the page to see what was changed, then change it again".into(),
            Error::IdReused { .. } => "save it under a new key".into(),
            Error::TooLate { .. } => "enter the machine again, or open a backup".into(),
            Error::Invalid { allowed, .. } => format!("give {allowed}"),
            Error::Unforeseen { .. } => {
                "try again; if it comes back, run `bellmouth logbook check` and report it".into()
            }
        }
    }

    pub(crate) fn invalid(field: &'static str, got: impl fmt::Display, allowed: &'static str) -> Error {
        Error::Invalid { field, got: got.to_string(), allowed }
    }

    /// What a check of the pages said, as a sentence: where it met the first page that does not fit.
    pub(crate) fn corrupt(path: &Path, said: &str) -> Error {
        let first = said.lines().find(|line| !line.starts_with("***")).unwrap_or("no more is known");
        let found = match first.split_once(": ") {
            _ if first == "database disk image is malformed" => "its pages do not fit together".into(),
            // What follows names the library's own functions.
            Some((place, _)) if place.starts_with("Tree ") || place.starts_with("Page ") => {
                format!("a page cannot be read or does not belong there ({})", place.to_lowercase())
            }
            _ => format!("its pages do not fit together ({first})"),
        };
        Error::Corrupt { path: path.to_path_buf(), found }
    }

    pub(crate) fn unwritable(path: &Path, because: &std::io::Error) -> Error {
        if because.kind() == std::io::ErrorKind::StorageFull {
            return Error::DiskFull { path: path.to_path_buf() };
        }
        Error::Unwritable { path: path.to_path_buf(), because: in_words(because) }
    }
}

impl fmt::Display for Error {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Error::NotOurs { path, found } => write!(out, "{} is no logbook: it is {found}", path.display()),
            Error::Newer { path, found, known } => write!(
                out,
                "{} was written by a newer Bellmouth (tables of version {found}, known here up to {known})",
                path.display()
            ),
            Error::InUse { path } => write!(out, "{} is open in another Bellmouth", path.display()),
            Error::NoFile { path } => write!(out, "there is no logbook {}", path.display()),
            Error::Unwritable { path, because } => {
                write!(out, "{} cannot be written: {because}", path.display())
            }
            Error::DiskFull { path } => write!(out, "the disk that holds {} is full", path.display()),
            Error::DiskFailed { path, because } => {
                write!(out, "the disk that holds {} failed: {because}", path.display())
            }
            Error::Corrupt { path, found } => write!(out, "{} is damaged: {found}", path.display()),
            Error::Exists { path } => write!(out, "{} exists already", path.display()),
            Error::NoSuch { what, id } => write!(out, "there is no {what} {id}"),
            Error::Stale { what, id, expected, found } => write!(
                out,
                "{what} {id} was changed elsewhere meanwhile: revision {expected} was expected, {found} found"
            ),
            Error::IdReused { what, id } => write!(out, "another {what} was saved under the key {id}"),
            Error::TooLate { id, days } => {
                write!(out, "machine {id} was deleted {days} days ago, and can be restored for 30")
            }
            Error::Invalid { field, got, allowed } => {
                write!(out, "`{field}` is {got:?}, but must be {allowed}")
            }
            Error::Unforeseen { path, because } => {
                write!(out, "the logbook {} failed: {because}", path.display())
            }
        }
    }
}

impl std::error::Error for Error {}

/// What the system said, in words for a person: no numbers of its own.
pub fn in_words(error: &std::io::Error) -> String {
    use std::io::ErrorKind;
    match error.kind() {
        ErrorKind::NotFound => "there is no such file or folder".into(),
        ErrorKind::PermissionDenied => "permission is denied".into(),
        ErrorKind::IsADirectory => "it is a folder".into(),
        ErrorKind::NotADirectory | ErrorKind::AlreadyExists => {
            "a file stands where a folder is needed".into()
        }
        ErrorKind::InvalidData => "it holds bytes that are not text".into(),
        _ => {
            let text = error.to_string();
            text.split(" (os error").next().unwrap_or_default().to_lowercase()
        }
    }
}

/// An error on its way out of a transaction, before the file's name is known.
#[derive(Debug)]
pub(crate) enum Trouble {
    /// Already a refusal.
    Refused(Error),
    /// The database's own.
    Sqlite(rusqlite::Error),
}

impl From<Error> for Trouble {
    fn from(refused: Error) -> Trouble {
        Trouble::Refused(refused)
    }
}

impl From<rusqlite::Error> for Trouble {
    fn from(error: rusqlite::Error) -> Trouble {
        Trouble::Sqlite(error)
    }
}

impl Trouble {
    /// The refusal, now that the file is known.
    pub(crate) fn at(self, path: &Path) -> Error {
        let error = match self {
            Trouble::Refused(refused) => return refused,
            Trouble::Sqlite(error) => error,
        };
        let (path, because) = (path.to_path_buf(), error.to_string());
        match error.sqlite_error_code() {
            Some(ErrorCode::DiskFull) => Error::DiskFull { path },
            Some(ErrorCode::DatabaseCorrupt) => Error::corrupt(&path, &because),
            Some(ErrorCode::NotADatabase) => Error::NotOurs { path, found: "not an SQLite file".into() },
            Some(ErrorCode::ReadOnly | ErrorCode::CannotOpen | ErrorCode::PermissionDenied) => {
                Error::Unwritable { path, because }
            }
            Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => Error::InUse { path },
            Some(ErrorCode::SystemIoFailure) => Error::DiskFailed { path, because },
            _ => Error::Unforeseen { path, because },
        }
    }
}
