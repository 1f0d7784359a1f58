//! What is told of a recording, as it leaves the program.

use bellmouth_core::sound::{Frame, Heard};
use serde::Serialize;

use super::ranking::Ranked;
use crate::firings::rounded;

/// What was heard in a recording.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Listening {
    /// Length of what was listened to, seconds.
    pub duration_s: f64,
    /// The engine as it was taken to be.
    pub engine: ListenedEngine,
    /// Layouts by how well they explain the sound, best first; only where the layout was not known.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub ranking: Vec<Ranked>,
    /// A point every 50 ms; times count from the start of the recording.
    pub trace: Vec<Point>,
    /// What it comes to.
    pub summary: Summary,
    /// What to keep in mind.
    pub caveats: Vec<Reservation>,
}

/// The engine as it was taken to be.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ListenedEngine {
    /// The layout's name; `None` where firing angles were given.
    pub name: Option<String>,
    /// Firing angles, crank degrees.
    pub firing_deg: Vec<f64>,
    /// Working cycle, crank degrees.
    pub cycle_deg: f64,
}

/// Speed at one instant.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Point {
    /// Seconds from the start of the recording.
    pub t_s: f64,
    /// Speed averaged over one cycle, rpm; `None` where no engine was heard for certain.
    pub rpm: Option<f64>,
    /// Standard deviation of that speed, rpm.
    pub sd_rpm: Option<f64>,
    /// Whether an engine was heard for certain.
    pub heard: bool,
}

/// A recording in a few numbers; `None` where they cannot be vouched for.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct Summary {
    /// Mean speed over the frames heard, rpm.
    pub rpm: Option<f64>,
    /// Standard error of that mean, the trace's memory respected, rpm.
    pub rpm_se: Option<f64>,
    /// Standard deviation of the speed over the frames heard, rpm.
    pub spread_rpm: Option<f64>,
    /// Cycle-to-cycle variation of a firing's strength (sound pressure), weak firings left out, percent.
    pub cycle_variation_pct: Option<f64>,
    /// Lower end of its interval, percent.
    pub cycle_variation_low_pct: Option<f64>,
    /// Upper end of its interval, percent.
    pub cycle_variation_high_pct: Option<f64>,
    /// Share of weak or missing firings at each firing position, percent.
    pub weak_firings_pct: Option<Vec<f64>>,
    /// Lower ends of their intervals, percent.
    pub weak_firings_low_pct: Option<Vec<f64>>,
    /// Upper ends of their intervals, percent.
    pub weak_firings_high_pct: Option<Vec<f64>>,
    /// Mean energy of a firing at the microphone for each firing position, the strongest 1; `None` with one
    /// cylinder, too.
    pub strength_by_cylinder: Option<Vec<f64>>,
    /// Lower ends of their intervals.
    pub strength_low_by_cylinder: Option<Vec<f64>>,
    /// Upper ends of their intervals.
    pub strength_high_by_cylinder: Option<Vec<f64>>,
    /// Probability with which each of these intervals of single firings holds what the engine does.
    pub evenness_coverage: Option<f64>,
}

/// A caveat as it leaves the program.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Reservation {
    /// A stable name in kebab case.
    pub name: String,
    /// The sentence.
    pub says: String,
}

impl Reservation {
    pub(super) fn new(name: &str, says: impl Into<String>) -> Reservation {
        Reservation { name: name.to_owned(), says: says.into() }
    }
}

impl Point {
    /// A frame of a stretch that begins at `from_s` of its recording.
    pub(super) fn of(frame: &Frame, from_s: f64) -> Point {
        let heard = frame.heard == Heard::Yes;
        Point {
            t_s: rounded(frame.t_s + from_s, 1e3),
            rpm: heard.then(|| rounded(frame.rpm, 1e2)),
            sd_rpm: heard.then(|| rounded(frame.sd_rpm, 1e2)),
            heard,
        }
    }
}
