//! The idle bench: what is known of a job, what to do next, and everything a person can do about it.
//!
//! State lives in the logbook, not here: [`BenchState`] is worked out afresh from facts and readings,
//! so a page that was closed, a link that broke or a process that was killed goes on where it was.

mod actions;
pub mod cautions;
mod clip;
mod clock;
mod course;
mod ear;
mod facts;
pub mod gate;
mod kept;
mod lead;
mod state;
mod table;

pub use actions::{CheckForm, Done, FoundForm, HoldForm, Seen, TachometerForm, speed_of};
pub use clock::{Clock, Heat, heat};
pub use ear::{Ear, LiveView, News, Taken};
pub use facts::{Armed, Facts, HeardFirings, Pause};
pub use lead::{Lead, Wish};
pub use state::{BenchState, Missing, Place, Stage};
pub use table::readings_csv;
