//! When has the speed settled, and what is its mean?
//!
//! A [`HoldWatch`] is fed the frames of a trace and says when a held position has been read: after
//! settling, once the standard error of the mean is small enough. The error respects that
//! neighbouring readings resemble one another, and a limit cycle is never averaged away.

mod scatter;
mod stretches;
mod unsteady;
mod watch;

pub use stretches::settled_stretches;
pub use watch::HoldWatch;

/// The rules of a hold.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HoldRules {
    /// Time to let mixture and heat settle before measuring, seconds.
    pub settle_s: f64,
    /// Shortest time measured, seconds.
    pub shortest_s: f64,
    /// A hold is taken once the standard error is down to this, rpm.
    pub se_target_rpm: f64,
    /// Longest time measured, seconds; then it is taken with the error it has.
    pub longest_s: f64,
    /// Frames not heard or doubtful are left out; more than this in one piece, seconds, breaks the hold.
    pub gap_s: f64,
    /// Drift that spoils a hold once it is beyond doubt, rpm per minute.
    pub drift_limit_rpm_per_min: f64,
}

impl Default for HoldRules {
    fn default() -> Self {
        HoldRules {
            settle_s: 10.0,
            shortest_s: 10.0,
            se_target_rpm: 5.0,
            longest_s: 60.0,
            gap_s: 1.0,
            drift_limit_rpm_per_min: 10.0,
        }
    }
}

/// A held speed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HeldSpeed {
    /// Start of the stretch measured, seconds from the start of the sound.
    pub start_s: f64,
    /// Its end.
    pub end_s: f64,
    /// Mean speed, rpm.
    pub mean_rpm: f64,
    /// Standard error of the mean, rpm, autocorrelation respected.
    pub se_rpm: f64,
    /// Standard deviation of the frames' speeds, rpm.
    pub spread_rpm: f64,
}

/// Why a hold cannot be taken as it is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Unsteadiness {
    /// The speed stepped, as by a fan, a lamp or a hand; the hold starts anew behind the step.
    Stepped {
        /// By how much, rpm.
        by_rpm: f64,
    },
    /// The speed drifts; the hold starts anew.
    Drifting {
        /// How fast, rpm per minute.
        rpm_per_min: f64,
    },
    /// The speed swings regularly: a mean would hide it.
    Hunting {
        /// Period of the swing, seconds.
        period_s: f64,
        /// From lowest to highest, rpm.
        swing_rpm: f64,
    },
    /// Too much of the hold was not heard.
    HardToHear,
}

/// How far a hold has come.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum HoldState {
    /// No engine is heard.
    Waiting,
    /// The speed is left to settle.
    Settling {
        /// For how long it has, seconds.
        for_s: f64,
        /// How long it must, seconds.
        needed_s: f64,
    },
    /// The mean is forming.
    Measuring {
        /// For how long, seconds.
        for_s: f64,
        /// The mean so far, rpm.
        mean_rpm: f64,
        /// Its standard error, rpm; infinite while too short to tell.
        se_rpm: f64,
    },
    /// The hold is complete, and stays so until [`HoldWatch::restart`].
    Taken(HeldSpeed),
    /// The speed is not steady; watching goes on.
    Unsteady {
        /// Why.
        reason: Unsteadiness,
    },
}

#[cfg(test)]
mod tests;
