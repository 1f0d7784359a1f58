//! What a job's course was told, as the logbook keeps it: everything but the holds, which are readings.

use bellmouth_core::idle::{Course, Hold, Job, Told};
use bellmouth_core::quantity::TurnsOut;
use bellmouth_logbook::Entry;
use serde::{Deserialize, Serialize};

/// Something that happened beside the holds.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "told", rename_all = "kebab-case")]
pub(crate) enum Happened {
    /// The stop was set.
    Stop {
        /// What it idles at, rpm.
        rpm: f64,
    },
    /// A fan, a lamp, a load was changed.
    Changed,
    /// The screw stands at the setting.
    Left {
        /// Where.
        turns: f64,
        /// What it idles at there, rpm, where that was read.
        rpm: Option<f64>,
    },
    /// One of several screws was trimmed.
    Trimmed {
        /// Where it stands.
        turns: f64,
    },
    /// The plates are balanced.
    Balanced,
}

/// Something that happened, and when, UTC milliseconds.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Event {
    pub(crate) at_ms: i64,
    #[serde(flatten)]
    pub(crate) what: Happened,
}

impl From<Happened> for Told {
    fn from(what: Happened) -> Told {
        match what {
            Happened::Stop { rpm } => Told::Stop { rpm },
            Happened::Changed => Told::Changed,
            Happened::Left { turns, rpm } => Told::Left { turns: TurnsOut(turns), rpm },
            Happened::Trimmed { turns } => Told::Trimmed { turns: TurnsOut(turns) },
            Happened::Balanced => Told::Balanced,
        }
    }
}

/// A reading as the sweep takes it, at the place the newest word on it says.
pub(crate) fn hold_of(entry: &Entry) -> Hold {
    Hold {
        turns: entry.turns(),
        outcome: entry.reading.outcome,
        spread_rpm: entry.reading.spread_rpm,
        at_s: Some(entry.reading.at_s),
        block: entry.reading.block,
        as_found: entry.reading.as_found,
    }
}

/// The course of a job, told again from its beginning: events and the readings that count, in the order in
/// which they came.
pub(crate) fn course(job: Job, events: &[Event], readings: &[Entry]) -> Option<Course> {
    let mut course = Course::new(job).ok()?;
    let counted = readings.iter().filter(|entry| entry.struck.is_none());
    let mut story: Vec<(i64, Told)> =
        counted.map(|entry| (entry.reading.ended_ms, Told::Held(hold_of(entry)))).collect();
    story.extend(events.iter().map(|event| (event.at_ms, event.what.into())));
    // Stable: of one instant, the reading came first.
    story.sort_by_key(|(at_ms, _)| *at_ms);
    for (_, told) in story {
        // A reading struck since may have been what a later trim answered to: then it answers to nothing.
        let _ = course.tell(told);
    }
    Some(course)
}
