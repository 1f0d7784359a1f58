//! The workshop: one logbook behind a lock, and the clock.

use std::path::Path;
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::{SystemTime, UNIX_EPOCH};

use bellmouth_logbook::{Logbook, Recovered};

use crate::Refusal;

/// One workshop: what every use case works on.
///
/// A method that returns `Ok` has its rows on the disk. Methods block while the disk writes: call
/// them off the async threads.
pub struct Workshop {
    logbook: Mutex<Logbook>,
}

impl Workshop {
    /// Opens the logbook of a workshop, or makes it; says what was recovered after an unclean end.
    ///
    /// # Errors
    ///
    /// A [`Refusal`] that names the file: not a logbook, newer than this program, open elsewhere, torn,
    /// not writable.
    pub fn open(path: &Path) -> Result<(Workshop, Option<Recovered>), Refusal> {
        let opened = Logbook::open(path)?;
        Ok((Workshop { logbook: Mutex::new(opened.logbook) }, opened.recovered))
    }

    /// Closes the logbook cleanly, so that the next start need not check it.
    ///
    /// # Errors
    ///
    /// What the disk said; nothing saved is lost by it.
    pub fn close(self) -> Result<(), Refusal> {
        let logbook = self.logbook.into_inner().unwrap_or_else(PoisonError::into_inner);
        Ok(logbook.close()?)
    }

    /// The logbook. A panic elsewhere leaves it usable: every write is a transaction.
    pub(crate) fn logbook(&self) -> MutexGuard<'_, Logbook> {
        self.logbook.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Now, UTC milliseconds.
pub(crate) fn now_ms() -> i64 {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    i64::try_from(since.as_millis()).unwrap_or(i64::MAX)
}
