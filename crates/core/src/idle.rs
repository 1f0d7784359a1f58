//! Where should the mixture screw stand?
//!
//! Everything in this room is reckoned in richness; turns appear only at the surface.
//!
//! [`sweep`] answers a [`Question`] about some [`Hold`]s: a Bayesian fit of speed against richness
//! gives the lean edge with its interval, the setting by its rule, the next position and verdicts.

mod answer;
mod course;
mod data;
mod fit;
mod linear;
mod plan;
mod posterior;
mod question;
mod response;
mod roughness;
mod shape;
mod sweep;
mod verdict;
mod ways;

pub use course::{Course, End, Job, Step, Told};
pub use question::{Cooling, Question, Rule};
pub use response::{MixtureResponse, Span};
pub use sweep::{CurvePoint, Interval, Sweep, sweep};
pub use verdict::Verdict;

use crate::quantity::TurnsOut;

/// What a held position gave.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Outcome {
    /// The engine ran at a mean speed, known to a standard error.
    Ran {
        /// Mean speed, rpm.
        rpm: f64,
        /// Standard error of the mean, rpm, autocorrelation respected; `None` when not known.
        se_rpm: Option<f64>,
    },
    /// The engine died.
    Stalled(StallCause),
}

/// Why the engine died, as the person at it judges. Only lean and rich inform.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StallCause {
    /// Too little fuel.
    Lean,
    /// Too much fuel.
    Rich,
    /// The tank, tap or bowl ran dry.
    OutOfFuel,
    /// Not known.
    Unknown,
}

/// One held position of the screw.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hold {
    /// Where the screw stood, as counted.
    pub turns: TurnsOut,
    /// What it gave.
    pub outcome: Outcome,
    /// Standard deviation of the speed held, rpm: how roughly it ran; `None` where only the mean is known.
    pub spread_rpm: Option<f64>,
    /// When, seconds from the first hold; lets drift be fitted.
    pub at_s: Option<f64>,
    /// Which block: the count goes up whenever the stop, the load or anything else was changed.
    pub block: u32,
    /// Whether this is the position the screw was found in.
    pub as_found: bool,
}
