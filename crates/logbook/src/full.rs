//! A full disk, imitated by a limit on the file's pages: nothing that was saved is lost.

use std::path::Path;

use bellmouth_core::idle::{Outcome, StallCause};
use bellmouth_core::quantity::TurnsOut;

use crate::*;

fn limit_pages(logbook: &Logbook, pages: i64) {
    logbook
        .connection
        .pragma_update_and_check(None, "max_page_count", pages, |row| row.get::<_, i64>(0))
        .unwrap();
}

fn fill(logbook: &mut Logbook, path: &Path) {
    let (machine, build, job) = (Id::new(), Id::new(), Id::new());
    let details = Details {
        name: "the single".into(),
        layout: String::new(),
        cooling: Cooling::NotSaid,
        carburettors: 1,
        cylinders: None,
    };
    let screw = ScrewKind::NotSaid;
    let build_row = Build { id: build, machine, at_ms: 0, note: String::new(), screw, base_turns: None };
    let new = NewMachine { id: machine, details, created_ms: 0, demo: false, build: build_row };
    logbook.create_machine(&new).unwrap();
    let complaint = String::new();
    logbook.open_job(&NewJob { id: job, machine, build, opened_ms: 0, complaint, demo: false }).unwrap();
    let reading = || Reading {
        id: Id::new(),
        job,
        turns: TurnsOut(1.0),
        outcome: Outcome::Stalled(StallCause::Lean),
        spread_rpm: None,
        source: Source::Tachometer,
        started_ms: 0,
        ended_ms: 0,
        at_s: 0.0,
        block: 0,
        as_found: false,
        engine_version: "0.1.0".into(),
        clip: None,
    };
    limit_pages(logbook, 40);
    let mut saved = Vec::new();
    let refused = loop {
        let next = reading();
        match logbook.save_reading(&next) {
            Ok(_) => saved.push(next.id),
            Err(refused) => break refused,
        }
        assert!(saved.len() < 10_000, "the limit was never met");
    };
    assert_eq!(refused, Error::DiskFull { path: path.to_path_buf() });
    assert!(refused.remedy().contains("make room"));
    let keys = |logbook: &Logbook| -> Vec<Id> {
        logbook.readings(job).unwrap().iter().map(|entry| entry.reading.id).collect()
    };
    assert_eq!(keys(logbook), saved);
    assert_eq!(logbook.job(job).unwrap().revision, saved.len() as i64 + 1, "the refused one left no trace");
    // With room again, saving goes on.
    limit_pages(logbook, 1_000_000);
    let next = reading();
    logbook.save_reading(&next).unwrap();
    saved.push(next.id);
    assert_eq!(keys(logbook), saved);
}

#[test]
fn a_full_disk_is_named_and_costs_nothing_that_was_saved() {
    let folder = std::env::temp_dir().join(format!("bellmouth-{}", Id::new()));
    let path = folder.join("logbook.sqlite");
    let mut logbook = Logbook::open(&path).unwrap().logbook;
    let settled = logbook.path().to_path_buf();
    fill(&mut logbook, &settled);
    logbook.close().unwrap();
    check(&path).unwrap();
    std::fs::remove_dir_all(&folder).unwrap();
}
