//! What the tests of the logbook share: a folder of their own, and rows to put into it.

// Each test binary uses its own part of this.
#![allow(dead_code)]

use std::fs;
use std::path::{Path, PathBuf};

use bellmouth_core::idle::Outcome;
use bellmouth_core::quantity::TurnsOut;
use bellmouth_logbook::*;

/// A folder that is removed at the end of its test.
pub(crate) struct Folder(PathBuf);

impl Folder {
    pub(crate) fn new() -> Folder {
        let path = std::env::temp_dir().join(format!("bellmouth-{}", Id::new()));
        fs::create_dir(&path).unwrap();
        Folder(path)
    }

    pub(crate) fn join(&self, name: &str) -> PathBuf {
        self.0.join(name)
    }

    pub(crate) fn names(&self) -> Vec<String> {
        let entries = fs::read_dir(&self.0).unwrap();
        let mut names: Vec<String> =
            entries.map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

/// The logbook at a path, opened.
pub(crate) fn open(path: &Path) -> Logbook {
    Logbook::open(path).unwrap().logbook
}

/// A twin, not yet entered.
pub(crate) fn twin(name: &str, demo: bool) -> NewMachine {
    let (id, build) = (Id::new(), Id::new());
    NewMachine {
        id,
        details: Details {
            name: name.into(),
            layout: "twin-360".into(),
            cooling: Cooling::Air,
            carburettors: 2,
            cylinders: Some(2),
        },
        created_ms: 1_000,
        demo,
        build: Build {
            id: build,
            machine: id,
            at_ms: 1_000,
            note: "as bought".into(),
            screw: ScrewKind::Fuel,
            base_turns: Some(1.5),
        },
    }
}

/// A job on a machine's first build, not yet opened.
pub(crate) fn job_on(machine: &NewMachine, opened_ms: i64) -> NewJob {
    NewJob {
        id: Id::new(),
        machine: machine.id,
        build: machine.build.id,
        opened_ms,
        complaint: "stalls when warm".into(),
        demo: false,
    }
}

/// Enters a machine with one job; gives the job's key.
pub(crate) fn machine_with_job(logbook: &mut Logbook, name: &str, demo: bool) -> (NewMachine, Id) {
    let machine = twin(name, demo);
    let job = job_on(&machine, 2_000);
    logbook.create_machine(&machine).unwrap();
    logbook.open_job(&job).unwrap();
    (machine, job.id)
}

/// The reading of a position, not yet saved.
pub(crate) fn reading(job: Id, turns: f64) -> Reading {
    Reading {
        id: Id::new(),
        job,
        turns: TurnsOut(turns),
        outcome: Outcome::Ran { rpm: 1000.0 + 20.0 * turns, se_rpm: Some(1.25) },
        spread_rpm: Some(8.5),
        source: Source::Microphone,
        started_ms: 10_000,
        ended_ms: 25_000,
        at_s: 8.0,
        block: 1,
        as_found: false,
        engine_version: "0.1.0".into(),
        clip: None,
    }
}
