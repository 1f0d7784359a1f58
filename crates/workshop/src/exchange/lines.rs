//! The lines of an exported logbook, and how each becomes a row again.
//!
//! They are types of their own, so that renaming a field of the logbook cannot change a file that was
//! written years ago. Times are UTC milliseconds.

use bellmouth_core::idle::Outcome;
use bellmouth_core::quantity::TurnsOut;
use bellmouth_logbook::{
    Build, Cooling, CorrectionRow, Details, Fact, Id, Job, Machine, Reading, Row, ScrewKind, Source,
    StrikeRow, outcome_of, outcome_word,
};
use serde::{Deserialize, Serialize};

/// A machine.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MachineLine {
    /// Its key.
    pub id: String,
    /// What its owner calls it.
    pub name: String,
    /// Name of its engine layout; empty when not given.
    pub layout: String,
    /// `not-said`, `air` or `liquid`.
    pub cooling: String,
    /// Number of carburettors.
    pub carburettors: u32,
    /// Number of cylinders, when given.
    pub cylinders: Option<u32>,
    /// When it was entered.
    pub created_ms: i64,
    /// Whether it belongs to the demonstration.
    pub demo: bool,
    /// When it was deleted, if it was.
    pub deleted_ms: Option<i64>,
    /// Goes up with every change.
    pub revision: i64,
}

impl MachineLine {
    pub(super) fn of(machine: Machine) -> MachineLine {
        MachineLine {
            id: machine.id.to_string(),
            name: machine.details.name,
            layout: machine.details.layout,
            cooling: machine.details.cooling.word().into(),
            carburettors: machine.details.carburettors,
            cylinders: machine.details.cylinders,
            created_ms: machine.created_ms,
            demo: machine.demo,
            deleted_ms: machine.deleted_ms,
            revision: machine.revision,
        }
    }

    pub(crate) fn row(self) -> Result<Row, String> {
        Ok(Row::Machine(Machine {
            id: key("id", &self.id)?,
            details: Details {
                name: self.name,
                layout: self.layout,
                cooling: word("cooling", &self.cooling, Cooling::of_word)?,
                carburettors: self.carburettors,
                cylinders: self.cylinders,
            },
            created_ms: self.created_ms,
            demo: self.demo,
            deleted_ms: self.deleted_ms,
            revision: self.revision,
        }))
    }
}

/// A build.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BuildLine {
    /// Its key.
    pub id: String,
    /// Whose it is.
    pub machine: String,
    /// From when.
    pub at_ms: i64,
    /// What it is, or what was changed.
    pub note: String,
    /// `not-said`, `fuel`, `air` or `other`.
    pub screw: String,
    /// The maker's base setting, turns out, when known.
    pub base_turns: Option<f64>,
}

impl BuildLine {
    pub(super) fn of(build: Build) -> BuildLine {
        BuildLine {
            id: build.id.to_string(),
            machine: build.machine.to_string(),
            at_ms: build.at_ms,
            note: build.note,
            screw: build.screw.word().into(),
            base_turns: build.base_turns,
        }
    }

    pub(crate) fn row(self) -> Result<Row, String> {
        Ok(Row::Build(Build {
            id: key("id", &self.id)?,
            machine: key("machine", &self.machine)?,
            at_ms: self.at_ms,
            note: self.note,
            screw: word("screw", &self.screw, ScrewKind::of_word)?,
            base_turns: self.base_turns,
        }))
    }
}

/// A job.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct JobLine {
    /// Its key.
    pub id: String,
    /// On which machine.
    pub machine: String,
    /// On which build.
    pub build: String,
    /// When it was opened.
    pub opened_ms: i64,
    /// When it was closed, if it is.
    pub closed_ms: Option<i64>,
    /// What the rider complains of.
    pub complaint: String,
    /// Whether it belongs to the demonstration.
    pub demo: bool,
    /// Goes up with every change.
    pub revision: i64,
}

impl JobLine {
    pub(super) fn of(job: Job) -> JobLine {
        JobLine {
            id: job.id.to_string(),
            machine: job.machine.to_string(),
            build: job.build.to_string(),
            opened_ms: job.opened_ms,
            closed_ms: job.closed_ms,
            complaint: job.complaint,
            demo: job.demo,
            revision: job.revision,
        }
    }

    pub(crate) fn row(self) -> Result<Row, String> {
        Ok(Row::Job(Job {
            id: key("id", &self.id)?,
            machine: key("machine", &self.machine)?,
            build: key("build", &self.build)?,
            opened_ms: self.opened_ms,
            closed_ms: self.closed_ms,
            complaint: self.complaint,
            demo: self.demo,
            revision: self.revision,
        }))
    }
}

/// A fact.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FactLine {
    /// Its key.
    pub id: String,
    /// To which job it belongs.
    pub job: String,
    /// What it is about.
    pub name: String,
    /// What was said.
    pub value: String,
    /// When.
    pub at_ms: i64,
}

impl FactLine {
    pub(super) fn of(fact: Fact) -> FactLine {
        FactLine {
            id: fact.id.to_string(),
            job: fact.job.to_string(),
            name: fact.name,
            value: fact.value,
            at_ms: fact.at_ms,
        }
    }

    pub(crate) fn row(self) -> Result<Row, String> {
        Ok(Row::Fact(Fact {
            id: key("id", &self.id)?,
            job: key("job", &self.job)?,
            name: self.name,
            value: self.value,
            at_ms: self.at_ms,
        }))
    }
}

/// A reading as it was taken.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ReadingLine {
    /// Its key.
    pub id: String,
    /// To which job it belongs.
    pub job: String,
    /// Where the screw stood, turns out, as counted then.
    pub turns: f64,
    /// `ran`, `stalled-lean`, `stalled-rich`, `stalled-out-of-fuel` or `stalled-unknown`.
    pub outcome: String,
    /// Mean speed, if it ran.
    pub rpm: Option<f64>,
    /// Its standard error, when known.
    pub se_rpm: Option<f64>,
    /// How far the speed wandered, when known.
    pub spread_rpm: Option<f64>,
    /// `microphone`, `recording` or `tachometer`.
    pub source: String,
    /// When the hold began.
    pub started_ms: i64,
    /// When it ended.
    pub ended_ms: i64,
    /// When it began, seconds of the job.
    pub at_s: f64,
    /// Which block.
    pub block: u32,
    /// Whether this is the position the screw was found in.
    pub as_found: bool,
    /// Version of the program that computed the speed.
    pub engine_version: String,
    /// Name of the sound, when kept.
    pub clip: Option<String>,
}

impl ReadingLine {
    pub(super) fn of(reading: Reading) -> ReadingLine {
        let (rpm, se_rpm) = match reading.outcome {
            Outcome::Ran { rpm, se_rpm } => (Some(rpm), se_rpm),
            Outcome::Stalled(_) => (None, None),
        };
        ReadingLine {
            id: reading.id.to_string(),
            job: reading.job.to_string(),
            turns: reading.turns.0,
            outcome: outcome_word(&reading.outcome).into(),
            rpm,
            se_rpm,
            spread_rpm: reading.spread_rpm,
            source: reading.source.word().into(),
            started_ms: reading.started_ms,
            ended_ms: reading.ended_ms,
            at_s: reading.at_s,
            block: reading.block,
            as_found: reading.as_found,
            engine_version: reading.engine_version,
            clip: reading.clip,
        }
    }

    pub(crate) fn row(self) -> Result<Row, String> {
        Ok(Row::Reading(Reading {
            id: key("id", &self.id)?,
            job: key("job", &self.job)?,
            turns: TurnsOut(self.turns),
            outcome: word("outcome", &self.outcome, |word| outcome_of(word, self.rpm, self.se_rpm))?,
            spread_rpm: self.spread_rpm,
            source: word("source", &self.source, Source::of_word)?,
            started_ms: self.started_ms,
            ended_ms: self.ended_ms,
            at_s: self.at_s,
            block: self.block,
            as_found: self.as_found,
            engine_version: self.engine_version,
            clip: self.clip,
        }))
    }
}

/// That a reading was struck out, or the strike taken back.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StrikeLine {
    /// Its key.
    pub id: String,
    /// Which reading.
    pub reading: String,
    /// Struck out, or taken back.
    pub struck: bool,
    /// Why.
    pub reason: String,
    /// When.
    pub at_ms: i64,
}

impl StrikeLine {
    pub(super) fn of(strike: StrikeRow) -> StrikeLine {
        StrikeLine {
            id: strike.id.to_string(),
            reading: strike.reading.to_string(),
            struck: strike.struck,
            reason: strike.reason,
            at_ms: strike.at_ms,
        }
    }

    pub(crate) fn row(self) -> Result<Row, String> {
        Ok(Row::Strike(StrikeRow {
            id: key("id", &self.id)?,
            reading: key("reading", &self.reading)?,
            struck: self.struck,
            reason: self.reason,
            at_ms: self.at_ms,
        }))
    }
}

/// That the screw had stood elsewhere than was counted.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CorrectionLine {
    /// Its key.
    pub id: String,
    /// Which reading.
    pub reading: String,
    /// Where it had stood, turns out.
    pub turns: f64,
    /// Why.
    pub reason: String,
    /// When it was said.
    pub at_ms: i64,
}

impl CorrectionLine {
    pub(super) fn of(correction: CorrectionRow) -> CorrectionLine {
        CorrectionLine {
            id: correction.id.to_string(),
            reading: correction.reading.to_string(),
            turns: correction.turns.0,
            reason: correction.reason,
            at_ms: correction.at_ms,
        }
    }

    pub(crate) fn row(self) -> Result<Row, String> {
        Ok(Row::Correction(CorrectionRow {
            id: key("id", &self.id)?,
            reading: key("reading", &self.reading)?,
            turns: TurnsOut(self.turns),
            reason: self.reason,
            at_ms: self.at_ms,
        }))
    }
}

fn key(field: &str, text: &str) -> Result<Id, String> {
    text.parse().map_err(|_| format!("`{field}` is {text:?}, which is no UUID"))
}

fn word<T>(field: &str, text: &str, of_word: impl Fn(&str) -> Option<T>) -> Result<T, String> {
    of_word(text).ok_or_else(|| format!("`{field}` is {text:?}, which stands for nothing here"))
}
