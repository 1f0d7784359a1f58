//! The garage: machines, what was left on each, the jobs done.

use std::str::FromStr;

use bellmouth_core::engine::layout::{Layout, layout};
use bellmouth_logbook::{
    Build, Cooling, Details, Id, Job, LEFT_TURNS, Left, Machine, NewJob, NewMachine, ScrewKind,
};

use crate::Refusal;
use crate::workshop::{Workshop, now_ms};

/// The machines of a workshop.
pub struct Garage {
    /// The machine worked on last first.
    pub machines: Vec<bellmouth_logbook::Summary>,
    /// Deleted machines that can still be restored.
    pub deleted: Vec<Machine>,
    /// Whether any of it is the demonstration.
    pub has_demo: bool,
}

/// A machine with its history.
pub struct MachineHistory {
    /// The machine.
    pub machine: Machine,
    /// How it was equipped, oldest first.
    pub builds: Vec<Build>,
    /// Its jobs, newest first, each with where the screw was left.
    pub jobs: Vec<(Job, Option<f64>)>,
}

/// What a person enters of a machine.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct MachineForm {
    /// Key made by the page, so that sending twice enters one machine.
    pub id: String,
    /// What its owner calls it.
    pub name: String,
    /// Name of its engine layout; empty when not given.
    pub layout: String,
    /// `air`, `liquid` or empty.
    pub cooling: String,
    /// How many carburettors.
    pub carburettors: String,
    /// The maker's base setting, turns out; may be empty.
    pub base_turns: String,
}

impl Workshop {
    /// The machines.
    ///
    /// # Errors
    ///
    /// Only the logbook's own.
    pub fn garage(&self) -> Result<Garage, Refusal> {
        let logbook = self.logbook();
        Ok(Garage {
            machines: logbook.machines()?,
            deleted: logbook.deleted_machines()?,
            has_demo: logbook.has_demo()?,
        })
    }

    /// One machine with its builds and jobs.
    ///
    /// # Errors
    ///
    /// A machine that is not there.
    pub fn machine(&self, id: Id) -> Result<MachineHistory, Refusal> {
        let logbook = self.logbook();
        let mut jobs = Vec::new();
        for job in logbook.jobs(id)? {
            let facts = logbook.facts(job.id)?;
            let left = facts.get(LEFT_TURNS).and_then(|fact| fact.value.parse().ok());
            jobs.push((job, left));
        }
        Ok(MachineHistory { machine: logbook.machine(id)?, builds: logbook.builds(id)?, jobs })
    }

    /// Enters a machine with its first build; sending the same form again enters nothing twice.
    ///
    /// # Errors
    ///
    /// A sentence for a blank name, an unknown layout, a count or base setting that is none.
    pub fn enter_machine(&self, form: &MachineForm) -> Result<Id, Refusal> {
        let id = page_id(&form.id)?;
        let mut logbook = self.logbook();
        if logbook.machine(id).is_ok() {
            return Ok(id);
        }
        let details = details(form)?;
        let base_turns = match form.base_turns.trim() {
            "" => None,
            text => Some(turns_of(text, "base setting")?),
        };
        let created_ms = now_ms();
        let note = "as entered".to_string();
        let build = Build {
            id: Id::new(),
            machine: id,
            at_ms: created_ms,
            note,
            screw: ScrewKind::NotSaid,
            base_turns,
        };
        logbook.create_machine(&NewMachine { id, details, created_ms, demo: false, build })?;
        Ok(id)
    }

    /// Puts right what is known of a machine.
    ///
    /// # Errors
    ///
    /// As [`Workshop::enter_machine`], and when it was changed elsewhere meanwhile.
    pub fn amend_machine(&self, id: Id, seen_revision: i64, form: &MachineForm) -> Result<(), Refusal> {
        self.logbook().update_machine(id, seen_revision, &details(form)?)?;
        Ok(())
    }

    /// Takes a machine out of the garage; it can be put back for 30 days.
    ///
    /// # Errors
    ///
    /// A machine that is not there.
    pub fn delete_machine(&self, id: Id) -> Result<(), Refusal> {
        self.logbook().delete_machine(id, now_ms())?;
        Ok(())
    }

    /// Puts a deleted machine back.
    ///
    /// # Errors
    ///
    /// Deleted more than 30 days ago.
    pub fn restore_machine(&self, id: Id) -> Result<(), Refusal> {
        self.logbook().restore_machine(id, now_ms())?;
        Ok(())
    }

    /// Opens a job on a machine as it is equipped now.
    ///
    /// # Errors
    ///
    /// A machine that is not there.
    pub fn open_job(&self, id: &str, machine: Id, complaint: &str) -> Result<Id, Refusal> {
        let id = page_id(id)?;
        let mut logbook = self.logbook();
        if logbook.job(id).is_ok() {
            return Ok(id);
        }
        let builds = logbook.builds(machine)?;
        let build = builds.last().map(|build| build.id).ok_or_else(|| {
            Refusal::ours("the machine has no build", "enter the machine again, and report this")
        })?;
        let complaint = complaint.trim().to_string();
        logbook.open_job(&NewJob { id, machine, build, opened_ms: now_ms(), complaint, demo: false })?;
        Ok(id)
    }

    /// Removes the demonstration, all of it, in one step.
    ///
    /// # Errors
    ///
    /// Only the logbook's own.
    pub fn remove_demo(&self) -> Result<(), Refusal> {
        self.logbook().remove_demo()?;
        Ok(())
    }
}

/// Where a machine's screw was last left, as a person reads it.
pub fn left_words(left: &Left) -> String {
    format!("left at {} turns out", left.turns)
}

/// The layout row of a machine, when one was given.
pub fn layout_of(machine: &Machine) -> Option<&'static Layout> {
    layout(&machine.details.layout)
}

/// Reads a key that a page made.
///
/// # Errors
///
/// A sentence when it is no UUID.
pub fn page_id(text: &str) -> Result<Id, Refusal> {
    Ok(Id::from_str(text)?)
}

/// A new key for a page to send with its form.
pub fn new_id() -> Id {
    Id::new()
}

/// A key that follows from a job and its revision: the same page, sent twice, has the same one.
pub(crate) fn derived_id(job: Id, revision: i64) -> Id {
    let name = format!("{job} {revision}");
    let uuid = uuid::Uuid::new_v5(&uuid::Uuid::NAMESPACE_OID, name.as_bytes());
    Id::from_str(&uuid.to_string()).expect("a version 5 UUID is a key because only the nil one is not")
}

/// Reads a screw position a person typed: 0 to 8 turns out, decimal point or comma.
///
/// # Errors
///
/// A sentence with the value.
pub fn turns_of(text: &str, what: &str) -> Result<f64, Refusal> {
    number_of(text, what, "turns out from lightly seated, such as 1.75", 0.0, 8.0)
}

/// Reads a number a person typed, between limits, decimal point or comma.
///
/// # Errors
///
/// A sentence with the value, what it is of, and what is allowed.
pub fn number_of(text: &str, what: &str, meaning: &str, least: f64, most: f64) -> Result<f64, Refusal> {
    let value: f64 = text.trim().replace(',', ".").parse().unwrap_or(f64::NAN);
    if least <= value && value <= most {
        return Ok(value);
    }
    Err(Refusal::misused(
        format!("the {what} is \"{}\", but must be between {least} and {most}", text.trim()),
        format!("give {meaning}"),
    ))
}

fn details(form: &MachineForm) -> Result<Details, Refusal> {
    let name = form.name.trim();
    if name.is_empty() || 80 < name.chars().count() {
        return Err(Refusal::misused(
            format!("the machine's name is {} characters long", name.chars().count()),
            "give it 1 to 80 characters, such as \"the green 750 twin\"",
        ));
    }
    if !form.layout.is_empty() && layout(&form.layout).is_none() {
        return Err(Refusal::misused(
            format!("\"{}\" is no engine layout known here", form.layout),
            "choose one from the list, or leave it open",
        ));
    }
    let cooling = match form.cooling.as_str() {
        "air" => Cooling::Air,
        "liquid" => Cooling::Liquid,
        _ => Cooling::NotSaid,
    };
    let text = if form.carburettors.trim().is_empty() { "1" } else { &form.carburettors };
    let carburettors = number_of(text, "number of carburettors", "a whole number from 1 to 12", 1.0, 12.0)?;
    let cylinders = layout(&form.layout).map(|row| row.firing_deg.len() as u32);
    Ok(Details {
        name: name.into(),
        layout: form.layout.clone(),
        cooling,
        carburettors: carburettors as u32,
        cylinders,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn typed_numbers_are_read_with_point_or_comma_and_refused_with_their_value() {
        assert_eq!(turns_of(" 1,75 ", "count"), Ok(1.75));
        for bad in ["-1", "40", "NaN", "", "two", "1.7.5"] {
            let refused = turns_of(bad, "count").unwrap_err().to_string();
            assert!(
                refused.contains(&format!("\"{bad}\"")) && refused.contains("between 0 and 8"),
                "{refused}"
            );
        }
    }
}
