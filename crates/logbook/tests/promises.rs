//! What the logbook promises of its rows: resending is harmless, nothing is overwritten silently,
//! nothing measured is deleted.

#![allow(clippy::unwrap_used, reason = "a helper of a test fails by panicking")]

mod common;

use bellmouth_core::idle::{Outcome, StallCause};
use bellmouth_core::quantity::TurnsOut;
use bellmouth_logbook::*;
use common::*;

const DAY_MS: i64 = 86_400_000;

#[test]
fn every_field_of_a_reading_comes_back() {
    let folder = Folder::new();
    let path = folder.join("logbook.sqlite");
    let mut logbook = open(&path);
    let (_, job) = machine_with_job(&mut logbook, "the 750 twin", false);
    let plain = reading(job, 2.125);
    let mut saved = vec![
        Reading { clip: Some("hold-2.wav".into()), as_found: true, block: 3, at_s: -0.1, ..plain.clone() },
        Reading { id: Id::new(), outcome: Outcome::Ran { rpm: 0.1 + 0.2, se_rpm: None }, ..plain.clone() },
        Reading { id: Id::new(), source: Source::Tachometer, spread_rpm: None, ..plain.clone() },
        Reading { id: Id::new(), source: Source::Recording, ..plain.clone() },
    ];
    for cause in [StallCause::Lean, StallCause::Rich, StallCause::OutOfFuel, StallCause::Unknown] {
        saved.push(Reading { id: Id::new(), outcome: Outcome::Stalled(cause), ..plain.clone() });
    }
    for (count, reading) in saved.iter().enumerate() {
        let revision = count as i64 + 2;
        assert_eq!(logbook.save_reading(reading), Ok(Saved::New { revision }));
    }
    logbook.close().unwrap();
    let found: Vec<Reading> =
        open(&path).readings(job).unwrap().into_iter().map(|entry| entry.reading).collect();
    assert_eq!(found, saved);
}

#[test]
fn every_word_for_a_machine_comes_back() {
    let folder = Folder::new();
    let mut logbook = open(&folder.join("l"));
    for cooling in [Cooling::NotSaid, Cooling::Air, Cooling::Liquid] {
        for screw in [ScrewKind::NotSaid, ScrewKind::Fuel, ScrewKind::Air, ScrewKind::Other] {
            let mut new = twin("l'été; DROP TABLE machine --", false);
            new.details.cooling = cooling;
            new.build.screw = screw;
            new.details.cylinders = None;
            new.build.base_turns = None;
            logbook.create_machine(&new).unwrap();
            assert_eq!(logbook.machine(new.id).unwrap().details, new.details);
            assert_eq!(logbook.builds(new.id).unwrap(), [new.build]);
        }
    }
}

#[test]
fn a_resent_row_is_saved_once() {
    let folder = Folder::new();
    let mut logbook = open(&folder.join("l"));
    let (machine, job) = machine_with_job(&mut logbook, "the 750 twin", false);
    let reading = reading(job, 1.5);
    assert_eq!(logbook.save_reading(&reading), Ok(Saved::New { revision: 2 }));
    assert_eq!(logbook.save_reading(&reading), Ok(Saved::Already { revision: 2 }));
    assert_eq!(logbook.readings(job).unwrap().len(), 1);
    assert_eq!(logbook.create_machine(&machine), Ok(Saved::Already { revision: 1 }));
    assert_eq!(logbook.add_build(&machine.build), Ok(Saved::Already { revision: 1 }));
    let other = job_on(&machine, 9);
    assert_eq!(logbook.open_job(&other), Ok(Saved::New { revision: 1 }));
    logbook.close_job(other.id, None, 10).unwrap();
    assert_eq!(logbook.open_job(&other), Ok(Saved::Already { revision: 2 }));
    assert_eq!(logbook.job(other.id).unwrap().closed_ms, Some(10));
}

#[test]
fn a_key_is_not_given_to_two_rows() {
    let folder = Folder::new();
    let mut logbook = open(&folder.join("l"));
    let (machine, job) = machine_with_job(&mut logbook, "the 750 twin", false);
    let first = reading(job, 1.5);
    logbook.save_reading(&first).unwrap();
    let second = Reading { turns: TurnsOut(1.625), ..first.clone() };
    assert_eq!(logbook.save_reading(&second), Err(Error::IdReused { what: "reading", id: first.id }));
    assert_eq!(logbook.readings(job).unwrap()[0].reading, first);
    let mut renamed = machine.clone();
    renamed.details.name = "another".into();
    assert_eq!(logbook.create_machine(&renamed), Err(Error::IdReused { what: "machine", id: machine.id }));
    let build = Build { note: "other jets".into(), ..machine.build.clone() };
    assert_eq!(logbook.add_build(&build), Err(Error::IdReused { what: "build", id: build.id }));
    let job = NewJob { id: job, ..job_on(&machine, 77) };
    assert_eq!(logbook.open_job(&job), Err(Error::IdReused { what: "job", id: job.id }));
}

#[test]
fn a_change_on_top_of_an_unseen_change_is_refused() {
    let folder = Folder::new();
    let mut logbook = open(&folder.join("l"));
    let (machine, job) = machine_with_job(&mut logbook, "the 750 twin", false);
    assert_eq!(logbook.set_facts(job, Some(1), &[("gate_choke", "shut")], 5), Ok(2));
    let stale = Error::Stale { what: "job", id: job, expected: 1, found: 2 };
    assert_eq!(logbook.set_facts(job, Some(1), &[("gate_choke", "open")], 6), Err(stale.clone()));
    assert_eq!(logbook.close_job(job, Some(1), 7), Err(stale));
    assert_eq!(logbook.facts(job).unwrap()["gate_choke"].value, "shut");
    assert_eq!(logbook.job(job).unwrap().closed_ms, None);
    // A reading is a change that was not seen, too.
    logbook.save_reading(&reading(job, 1.0)).unwrap();
    assert!(logbook.set_facts(job, Some(2), &[("block", "2")], 8).is_err());
    assert_eq!(logbook.set_facts(job, None, &[("block", "2")], 8), Ok(4));

    assert_eq!(logbook.rename_machine(machine.id, 1, "the old twin"), Ok(2));
    let stale = Error::Stale { what: "machine", id: machine.id, expected: 1, found: 2 };
    assert_eq!(logbook.update_machine(machine.id, 1, &machine.details), Err(stale));
    assert_eq!(logbook.machine(machine.id).unwrap().details.name, "the old twin");
}

#[test]
fn the_newest_fact_counts_and_the_older_ones_stay() {
    let folder = Folder::new();
    let mut logbook = open(&folder.join("l"));
    let (_, job) = machine_with_job(&mut logbook, "the 750 twin", false);
    logbook.set_facts(job, None, &[("position", "1.5"), ("paused", "no")], 500).unwrap();
    // A page's clock may be behind; what came later counts all the same.
    logbook.set_facts(job, None, &[("position", "1.625")], 400).unwrap();
    let facts = logbook.facts(job).unwrap();
    let values: Vec<(&str, &str)> =
        facts.iter().map(|(name, fact)| (name.as_str(), fact.value.as_str())).collect();
    assert_eq!(values, [("paused", "no"), ("position", "1.625")]);
    let history: Vec<String> =
        logbook.fact_history(job).unwrap().into_iter().map(|fact| fact.value).collect();
    assert_eq!(history, ["1.5", "no", "1.625"]);
}

#[test]
fn a_refused_fact_takes_its_companions_with_it() {
    let folder = Folder::new();
    let mut logbook = open(&folder.join("l"));
    let (_, job) = machine_with_job(&mut logbook, "the 750 twin", false);
    for bad in [(LEFT_TURNS, "two"), (LEFT_TURNS, "NaN"), (LEFT_TURNS, "-1"), ("  ", "1")] {
        let refused = logbook.set_facts(job, None, &[("position", "1"), bad], 5);
        assert!(matches!(refused, Err(Error::Invalid { .. })), "{bad:?}: {refused:?}");
    }
    assert!(logbook.facts(job).unwrap().is_empty());
    assert_eq!(logbook.job(job).unwrap().revision, 1);
}

#[test]
fn a_struck_reading_stays_and_can_be_taken_back() {
    let folder = Folder::new();
    let mut logbook = open(&folder.join("l"));
    let (_, job) = machine_with_job(&mut logbook, "the 750 twin", false);
    let taken = reading(job, 1.5);
    logbook.save_reading(&taken).unwrap();
    assert_eq!(logbook.strike_reading(taken.id, "the fan came on", 30), Ok(3));
    assert_eq!(logbook.strike_reading(taken.id, "the fan came on", 31), Ok(3));
    let struck = Some(Struck { reason: "the fan came on".into(), at_ms: 30 });
    assert_eq!(
        logbook.readings(job).unwrap(),
        [Entry { reading: taken.clone(), struck, corrections: vec![] }]
    );
    assert_eq!(logbook.unstrike_reading(taken.id, 32), Ok(4));
    assert_eq!(logbook.unstrike_reading(taken.id, 33), Ok(4));
    assert_eq!(logbook.reading(taken.id).unwrap().struck, None);
}

#[test]
fn a_miscount_is_corrected_beside_the_first_count() {
    let folder = Folder::new();
    let mut logbook = open(&folder.join("l"));
    let (_, job) = machine_with_job(&mut logbook, "the 750 twin", false);
    let taken = reading(job, 1.5);
    logbook.save_reading(&taken).unwrap();
    assert_eq!(logbook.correct_turns(taken.id, TurnsOut(2.5), "missed a turn", 30), Ok(3));
    assert_eq!(logbook.correct_turns(taken.id, TurnsOut(2.625), "and an eighth", 31), Ok(4));
    assert_eq!(logbook.correct_turns(taken.id, TurnsOut(2.625), "and an eighth", 32), Ok(4));
    let entry = logbook.reading(taken.id).unwrap();
    assert_eq!((entry.reading.turns, entry.turns()), (TurnsOut(1.5), TurnsOut(2.625)));
    assert_eq!(entry.corrections.len(), 2);
    // Sent again, it is still the reading that was taken.
    assert_eq!(logbook.save_reading(&taken), Ok(Saved::Already { revision: 4 }));
    assert!(logbook.correct_turns(taken.id, TurnsOut(f64::NAN), "", 33).is_err());
}

#[test]
fn no_number_that_is_none_is_kept() {
    let folder = Folder::new();
    let mut logbook = open(&folder.join("l"));
    let (_, job) = machine_with_job(&mut logbook, "the 750 twin", false);
    let good = reading(job, 1.5);
    let ran = |rpm, se_rpm| Outcome::Ran { rpm, se_rpm };
    let bad = [
        Reading { turns: TurnsOut(f64::NAN), ..good.clone() },
        Reading { turns: TurnsOut(-0.125), ..good.clone() },
        Reading { turns: TurnsOut(f64::INFINITY), ..good.clone() },
        Reading { outcome: ran(f64::NAN, None), ..good.clone() },
        Reading { outcome: ran(-1.0, None), ..good.clone() },
        Reading { outcome: ran(1000.0, Some(f64::NAN)), ..good.clone() },
        Reading { spread_rpm: Some(f64::NEG_INFINITY), ..good.clone() },
        Reading { at_s: f64::NAN, ..good.clone() },
        Reading { ended_ms: good.started_ms - 1, ..good.clone() },
    ];
    for reading in bad {
        let refused = logbook.save_reading(&reading);
        assert!(matches!(refused, Err(Error::Invalid { .. })), "{reading:?}: {refused:?}");
    }
    assert!(logbook.readings(job).unwrap().is_empty());
}

#[test]
fn what_is_not_there_is_named() {
    let folder = Folder::new();
    let mut logbook = open(&folder.join("l"));
    let (machine, job) = machine_with_job(&mut logbook, "the 750 twin", false);
    let other = twin("another", false);
    logbook.create_machine(&other).unwrap();
    let id = Id::new();
    let missing = |what| Error::NoSuch { what, id };
    assert_eq!(logbook.machine(id), Err(missing("machine")));
    assert_eq!(logbook.jobs(id), Err(missing("machine")));
    assert_eq!(logbook.job(id), Err(missing("job")));
    assert_eq!(logbook.readings(id), Err(missing("job")));
    assert_eq!(logbook.facts(id), Err(missing("job")));
    assert_eq!(logbook.set_facts(id, None, &[("a", "b")], 1), Err(missing("job")));
    assert_eq!(logbook.reading(id), Err(missing("reading")));
    assert_eq!(logbook.strike_reading(id, "", 1), Err(missing("reading")));
    assert_eq!(logbook.save_reading(&Reading { job: id, ..reading(job, 1.0) }), Err(missing("job")));
    let stray = NewJob { build: other.build.id, ..job_on(&machine, 3) };
    let refused = Error::NoSuch { what: "build of this machine", id: other.build.id };
    assert_eq!(logbook.open_job(&stray), Err(refused));
}

#[test]
fn a_machine_shows_its_newest_job_and_where_its_screw_was_left() {
    let folder = Folder::new();
    let mut logbook = open(&folder.join("l"));
    let (first, old) = machine_with_job(&mut logbook, "the 750 twin", false);
    let (second, _) = machine_with_job(&mut logbook, "the single", false);
    let new = job_on(&first, 3_000);
    logbook.open_job(&new).unwrap();
    logbook.set_facts(old, None, &[(LEFT_TURNS, "2.125")], 2_500).unwrap();
    let machines = logbook.machines().unwrap();
    assert_eq!(machines.iter().map(|row| row.machine.id).collect::<Vec<_>>(), [first.id, second.id]);
    assert_eq!(machines[0].jobs, 2);
    assert_eq!(machines[0].newest_job.as_ref().unwrap().id, new.id);
    assert_eq!(machines[0].left, Some(Left { job: old, turns: TurnsOut(2.125), at_ms: 2_500 }));
    assert_eq!(machines[1].left, None);
    logbook.set_facts(new.id, None, &[(LEFT_TURNS, "1.75")], 3_500).unwrap();
    let left = logbook.machines().unwrap()[0].left.unwrap();
    assert_eq!((left.job, left.turns), (new.id, TurnsOut(1.75)));
    assert_eq!(logbook.jobs(first.id).unwrap().iter().map(|job| job.id).collect::<Vec<_>>(), [new.id, old]);
}

#[test]
fn deleting_is_undoable_for_30_days() {
    let folder = Folder::new();
    let mut logbook = open(&folder.join("l"));
    let (machine, job) = machine_with_job(&mut logbook, "the 750 twin", false);
    let (kept, _) = machine_with_job(&mut logbook, "the single", false);
    logbook.save_reading(&reading(job, 1.0)).unwrap();
    logbook.strike_reading(logbook.readings(job).unwrap()[0].reading.id, "dog", 9).unwrap();
    let before = (logbook.jobs(machine.id).unwrap(), logbook.readings(job).unwrap());

    logbook.delete_machine(machine.id, 0).unwrap();
    assert_eq!(logbook.machines().unwrap().len(), 1);
    assert_eq!(logbook.deleted_machines().unwrap()[0].id, machine.id);
    assert_eq!(logbook.purge_deleted(30 * DAY_MS), Ok(0));
    logbook.restore_machine(machine.id, 30 * DAY_MS).unwrap();
    assert_eq!(logbook.machines().unwrap().len(), 2);
    assert_eq!((logbook.jobs(machine.id).unwrap(), logbook.readings(job).unwrap()), before);

    logbook.delete_machine(machine.id, 0).unwrap();
    let late = 31 * DAY_MS;
    assert_eq!(logbook.restore_machine(machine.id, late), Err(Error::TooLate { id: machine.id, days: 31 }));
    assert_eq!(logbook.purge_deleted(late), Ok(1));
    assert_eq!(logbook.machine(machine.id), Err(Error::NoSuch { what: "machine", id: machine.id }));
    assert_eq!(logbook.machines().unwrap()[0].machine.id, kept.id);
}

#[test]
fn the_demonstration_leaves_in_one_step_and_takes_nothing_else() {
    let folder = Folder::new();
    let path = folder.join("l");
    let mut logbook = open(&path);
    let (machine, job) = machine_with_job(&mut logbook, "the 750 twin", false);
    logbook.save_reading(&reading(job, 1.0)).unwrap();
    assert_eq!(logbook.has_demo(), Ok(false));
    let (demo, demo_job) = machine_with_job(&mut logbook, "the demonstration twin", true);
    assert!(logbook.job(demo_job).unwrap().demo, "a job on a demonstration machine belongs to it");
    let shown = NewJob { demo: true, ..job_on(&machine, 4) };
    logbook.open_job(&shown).unwrap();
    for job in [demo_job, shown.id] {
        let taken = reading(job, 1.0);
        logbook.save_reading(&taken).unwrap();
        logbook.strike_reading(taken.id, "for show", 5).unwrap();
        logbook.correct_turns(taken.id, TurnsOut(1.125), "for show", 5).unwrap();
        logbook.set_facts(job, None, &[("position", "1")], 5).unwrap();
    }
    assert_eq!(logbook.has_demo(), Ok(true));
    assert_eq!(logbook.remove_demo(), Ok(Removed { machines: 1, jobs: 2 }));
    assert_eq!(logbook.has_demo(), Ok(false));
    assert!(logbook.machine(demo.id).is_err());
    assert_eq!(logbook.jobs(machine.id).unwrap().len(), 1);
    let checked = check(&path).unwrap();
    assert_eq!((checked.machines, checked.jobs, checked.readings), (1, 1, 1));
}
