//! The demonstration workshop: invented machines, entered in one step and removed in one step.
//!
//! The rows under `demo/` are an export of a logbook that `scripts/make-demo` filled by running this
//! program on sound it had synthesised; none is typed by hand.

use bellmouth_logbook::Row;
use serde::de::DeserializeOwned;

use crate::Refusal;
use crate::exchange::lines::{
    BuildLine, CorrectionLine, FactLine, JobLine, MachineLine, ReadingLine, StrikeLine,
};
use crate::workshop::Workshop;

impl Workshop {
    /// Enters the demonstration workshop; false when it is there already.
    ///
    /// # Errors
    ///
    /// The logbook's own.
    pub fn enter_demo(&self) -> Result<bool, Refusal> {
        let mut logbook = self.logbook();
        if logbook.has_demo()? {
            return Ok(false);
        }
        let rows = rows(include_str!("../demo/machines.jsonl"), MachineLine::row)
            .chain(rows(include_str!("../demo/builds.jsonl"), BuildLine::row))
            .chain(rows(include_str!("../demo/jobs.jsonl"), JobLine::row))
            .chain(rows(include_str!("../demo/facts.jsonl"), FactLine::row))
            .chain(rows(include_str!("../demo/readings.jsonl"), ReadingLine::row))
            .chain(rows(include_str!("../demo/strikes.jsonl"), StrikeLine::row))
            .chain(rows(include_str!("../demo/corrections.jsonl"), CorrectionLine::row));
        logbook.take_in(rows.map(|row| row.map(flagged)))?;
        Ok(true)
    }
}

/// Marks what belongs to the demonstration, so that it is shown as such and can be removed.
fn flagged(mut row: Row) -> Row {
    match &mut row {
        Row::Machine(machine) => machine.demo = true,
        Row::Job(job) => job.demo = true,
        _ => {}
    }
    row
}

fn rows<Line: DeserializeOwned>(
    text: &'static str,
    row: fn(Line) -> Result<Row, String>,
) -> impl Iterator<Item = Result<Row, Refusal>> {
    text.lines().map(move |line| {
        serde_json::from_str(line).map_err(|error| error.to_string()).and_then(row).map_err(|why| {
            Refusal::ours(
                format!("the demonstration is damaged: {why}"),
                "start without --demo, and report this",
            )
        })
    })
}
