//! How fast is it turning, and how evenly?
//!
//! Samples go in, in blocks of any size; a [`Frame`] comes out for every 50 ms, some seconds later,
//! when hindsight has settled it.
//!
//! | step | where |
//! |------|-------|
//! | loudness of a few bands, in decibels about their own mean, a thousand times a second | `ears` |
//! | spectra of that loudness in windows of several lengths, each line against the floor around it | `spectra` |
//! | evidence for every speed: do the lines stand where this firing pattern would put them? | `comb` |
//! | where a steady speed explains nothing any more, the same for speeds that change | [`Listener`] |
//! | which speeds follow one another: forward and backward probabilities with 3 s of hindsight | `track` |
//! | whether a second engine is heard in what the first one leaves | `company` |
//! | what each cycle's place in crank angle adds to the speed | `refine` |
//! | what bears witness that the rhythm is an engine's, and the verdict | [`witness`], `judge`, `verdict` |
//! | the pieces joined | [`Listener`] |
//! | short blips counted: a word said with the throttle | [`BlipWatch`] |
//!
//! Level is taken out in the first step, so no later one can mistake loud for near.

mod blips;
mod comb;
mod company;
pub mod constants;
mod ears;
pub mod evenness;
mod judge;
mod listener;
mod refine;
mod scan;
mod sections;
mod spectra;
mod tone;
mod track;
mod verdict;
pub mod witness;

use crate::error::{Result, require};

pub use blips::BlipWatch;
pub use listener::Listener;

pub mod settled;

/// Time between two frames of the stored trace, seconds.
pub const FRAME_S: f64 = 0.05;

/// Whether an engine was heard in a frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Heard {
    /// No engine: silence, a fan, speech, rain.
    No,
    /// Something like an engine, but the speed is not to be trusted.
    Doubtful,
    /// An engine, at the speed given.
    Yes,
}

/// Engine speed at one instant.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Frame {
    /// Time from the start of the sound, seconds.
    pub t_s: f64,
    /// Engine speed averaged over one cycle, rpm. Meaningless when `heard` is [`Heard::No`].
    pub rpm: f64,
    /// Posterior standard deviation of `rpm`, rpm.
    pub sd_rpm: f64,
    /// Whether an engine was heard.
    pub heard: Heard,
}

/// Refuses a sample rate that no listener can use.
fn require_rate(sample_rate_hz: f64) -> Result<()> {
    require(
        (8_000.0..=192_000.0).contains(&sample_rate_hz),
        "sample rate",
        sample_rate_hz,
        "8000 to 192000 Hz",
    )
}
