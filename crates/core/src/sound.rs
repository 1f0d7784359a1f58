//! How fast is it turning, and how evenly?
//!
//! Samples go in, in blocks of any size; a [`Frame`] comes out for every 50 ms, some seconds later,
//! when hindsight has settled it.

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
