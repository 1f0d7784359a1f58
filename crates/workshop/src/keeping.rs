//! Looking after the logbook: a copy of it, and whether it is whole. Both work while a bench runs.

use std::path::{Path, PathBuf};

use serde::Serialize;

use crate::refusal::Refusal;

/// What a check found in a logbook that is whole.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Checked {
    /// The logbook.
    pub logbook: PathBuf,
    /// Version of its tables.
    pub version: i64,
    /// Machines, the deleted ones included.
    pub machines: u64,
    /// Jobs.
    pub jobs: u64,
    /// Readings, the struck ones included.
    pub readings: u64,
}

/// What was backed up.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct BackedUp {
    /// The copy, which was checked.
    pub backup: PathBuf,
    /// Its length, bytes.
    pub bytes: u64,
    /// Readings in it, the struck ones included.
    pub readings: u64,
}

/// Reads every page of the logbook.
///
/// # Errors
///
/// A refusal that says what is damaged, or why it cannot be read.
pub fn check(logbook: &Path) -> Result<Checked, Refusal> {
    let found = bellmouth_logbook::check(logbook)?;
    Ok(Checked {
        logbook: logbook.to_path_buf(),
        version: found.version,
        machines: found.machines,
        jobs: found.jobs,
        readings: found.readings,
    })
}

/// Copies the logbook to a new file, and checks the copy.
///
/// # Errors
///
/// A refusal when there is such a file, it cannot be written, or the logbook cannot be read or is damaged.
pub fn backup(logbook: &Path, to: &Path) -> Result<BackedUp, Refusal> {
    bellmouth_logbook::backup(logbook, to)?;
    let found = bellmouth_logbook::check(to)?;
    let bytes = std::fs::metadata(to).map_or(0, |about| about.len());
    Ok(BackedUp { backup: to.to_path_buf(), bytes, readings: found.readings })
}
