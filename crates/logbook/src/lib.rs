//! The logbook: one SQLite file, and the only place where SQL is written.
//!
//! A [`Machine`] has [`Build`]s, which never change: a change of anything makes a new one. A [`Job`] is
//! done on a build, and collects [`Fact`]s (what was said or counted; the newest of a name counts) and
//! [`Reading`]s (what a held position of the screw gave; never deleted, only struck out).
//!
//! # Conventions
//!
//! - Times are UTC milliseconds, given by the caller: nothing here reads a clock, but for [`Id::new`].
//! - Keys are UUIDs as text, which a page can make before the server has heard of the row. Saving the
//!   same row twice is therefore harmless, and says so ([`Saved::Already`]).
//! - A method that returns `Ok` has its rows on the disk: the process may be killed the next instant.
//! - Whatever more than one page can change carries a revision. Giving the revision one has seen turns
//!   a silent overwriting into [`Error::Stale`].
//!
//! One [`Logbook`] owns the file while it is open; another process is refused. [`backup()`] and
//! [`check()`] need no ownership, and work while a bench runs.

mod backup;
mod build;
mod demo;
mod error;
mod exchange;
mod fact;
mod file;
#[cfg(test)]
mod full;
mod id;
mod job;
mod machine;
mod migrations;
mod reading;
mod word;

pub use backup::{Checked, backup, check};
pub use build::{Build, ScrewKind};
pub use demo::Removed;
pub use error::{Error, Result, in_words};
pub use exchange::{CorrectionRow, Row, StrikeRow, Taken, each_row};
pub use fact::{Fact, LEFT_TURNS};
pub use file::{Logbook, Opened, Recovered};
pub use id::Id;
pub use job::{Job, NewJob};
pub use machine::{Cooling, Details, Left, Machine, NewMachine, Summary, UNDO_MS};
pub use reading::{Correction, Entry, Reading, Source, Struck, outcome_of, outcome_word};

/// What became of a row that was sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Saved {
    /// It was new, and is on the disk.
    New {
        /// Revision of the machine or job after it.
        revision: i64,
    },
    /// The same row had been saved before; nothing was changed.
    Already {
        /// Revision of the machine or job now.
        revision: i64,
    },
}

impl Saved {
    /// Revision of the machine or job, whether or not the row was new.
    pub fn revision(self) -> i64 {
        match self {
            Saved::New { revision } | Saved::Already { revision } => revision,
        }
    }
}
