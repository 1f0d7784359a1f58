//! What goes out of a logbook as text comes back as it was, or not at all.

#![allow(clippy::unwrap_used, reason = "a helper of a test fails by panicking")]

use std::fs;
use std::path::{Path, PathBuf};

use bellmouth_core::idle::{Outcome, StallCause};
use bellmouth_core::quantity::TurnsOut;
use bellmouth_logbook::*;
use bellmouth_workshop::exchange::{export, import};

/// A folder that is removed at the end of its test.
struct Folder(PathBuf);

impl Folder {
    fn new() -> Folder {
        let path = std::env::temp_dir().join(format!("bellmouth-{}", Id::new()));
        fs::create_dir(&path).unwrap();
        Folder(path)
    }

    fn join(&self, name: &str) -> PathBuf {
        self.0.join(name)
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

/// Numbers with all their digits, from a fixed seed (xorshift, 64 bits).
fn numbers() -> impl FnMut(f64) -> f64 {
    let mut state: u64 = 0x0be1_100d_0000_0004;
    move |below| {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        below * (state >> 11) as f64 / (1u64 << 53) as f64
    }
}

/// A logbook in which every table and every kind of row is used.
fn filled(path: &Path) -> Logbook {
    let mut logbook = Logbook::open(path).unwrap().logbook;
    let mut number = numbers();
    for (count, cooling) in [Cooling::NotSaid, Cooling::Air, Cooling::Liquid].into_iter().enumerate() {
        let (machine, build) = (Id::new(), Id::new());
        let details = Details {
            name: format!("the \"{count}\"\n½ twin\u{2028}; ' --"),
            layout: if count == 0 { String::new() } else { "twin-360".into() },
            cooling,
            carburettors: 2,
            cylinders: (count > 0).then_some(2),
        };
        let first = Build {
            id: build,
            machine,
            at_ms: 5,
            note: "as bought".into(),
            screw: ScrewKind::Fuel,
            base_turns: Some(number(4.0)),
        };
        let changed = Build { id: Id::new(), screw: ScrewKind::Other, base_turns: None, ..first.clone() };
        let demo = count == 1;
        logbook
            .create_machine(&NewMachine { id: machine, details, created_ms: 5, demo, build: first })
            .unwrap();
        logbook.add_build(&changed).unwrap();
        let job = Id::new();
        let complaint = "pops on overrun".into();
        logbook.open_job(&NewJob { id: job, machine, build, opened_ms: -7, complaint, demo: false }).unwrap();
        logbook.set_facts(job, None, &[("screw", "fuel"), (LEFT_TURNS, "2.125")], 9).unwrap();
        logbook.set_facts(job, None, &[("screw", "")], 10).unwrap();
        for turn in 0..60 {
            let outcome = match turn % 6 {
                0 => Outcome::Stalled(StallCause::Lean),
                1 => Outcome::Stalled(StallCause::Unknown),
                2 => Outcome::Ran { rpm: number(2000.0), se_rpm: None },
                _ => Outcome::Ran { rpm: number(2000.0), se_rpm: Some(number(9.0)) },
            };
            let id = Id::new();
            let reading = Reading {
                id,
                job,
                turns: TurnsOut(number(6.0)),
                outcome,
                spread_rpm: (turn % 2 == 0).then(|| number(40.0)),
                source: [Source::Microphone, Source::Recording, Source::Tachometer][turn % 3],
                started_ms: turn as i64,
                ended_ms: turn as i64 + 1,
                at_s: number(900.0),
                block: turn as u32 / 20,
                as_found: turn == 0,
                engine_version: "0.1.0".into(),
                clip: (turn == 3).then(|| "three.wav".into()),
            };
            logbook.save_reading(&reading).unwrap();
            if turn % 10 == 0 {
                logbook.strike_reading(id, "dog", 11).unwrap();
                logbook.correct_turns(id, TurnsOut(number(6.0)), "missed one", 12).unwrap();
            }
            if turn % 20 == 0 {
                logbook.unstrike_reading(id, 13).unwrap();
            }
        }
        if count == 2 {
            logbook.close_job(job, None, 14).unwrap();
            logbook.delete_machine(machine, 15).unwrap();
        }
    }
    logbook
}

fn rows(path: &Path) -> Vec<Row> {
    let mut rows = Vec::new();
    each_row(path, |row| {
        rows.push(row);
        Ok::<_, Error>(())
    })
    .unwrap();
    rows
}

#[test]
fn what_was_exported_is_what_is_imported() {
    let folder = Folder::new();
    let (from, text, to) = (folder.join("a.sqlite"), folder.join("text"), folder.join("b.sqlite"));
    // The logbook stays open: an export works while a bench runs.
    let logbook = filled(&from);
    let exported = export(&from, &text).unwrap();
    let before = rows(&from);
    assert_eq!(exported.rows as usize, before.len());
    let kinds: std::collections::HashSet<_> = before.iter().map(std::mem::discriminant).collect();
    assert_eq!(kinds.len(), 7, "every kind of row is in the test");

    let imported = import(&to, &text).unwrap();
    assert_eq!((imported.new, imported.already), (exported.rows, 0));
    assert_eq!(rows(&to), before);
    let again = import(&to, &text).unwrap();
    assert_eq!((again.new, again.already), (0, exported.rows));
    let copy = Logbook::open(&to).unwrap().logbook;
    assert_eq!(copy.machines(), logbook.machines());
    assert_eq!(copy.deleted_machines(), logbook.deleted_machines());
    let second = folder.join("text-again");
    drop(copy);
    export(&to, &second).unwrap();
    for entry in fs::read_dir(&text).unwrap() {
        let name = entry.unwrap().file_name();
        assert_eq!(
            fs::read(text.join(&name)).unwrap(),
            fs::read(second.join(&name)).unwrap(),
            "{}",
            name.display()
        );
    }
}

#[test]
fn a_line_that_cannot_be_read_is_named_and_nothing_is_taken_in() {
    let folder = Folder::new();
    let (from, text, to) = (folder.join("a.sqlite"), folder.join("text"), folder.join("b.sqlite"));
    filled(&from).close().unwrap();
    export(&from, &text).unwrap();
    let path = text.join("readings.jsonl");
    let whole = fs::read_to_string(&path).unwrap();
    let spoiled = [
        ("\"microphone\"", "\"ear\"", "`source` is \"ear\""),
        ("\"block\":0", "\"block\":-1", "-1"),
        ("\"as_found\":", "\"as_lost\":", "as_lost"),
        ("\"ran\"", "\"stalled-rich\"", "`outcome` is \"stalled-rich\""),
    ];
    for (old, new, named) in spoiled {
        fs::write(&path, whole.replacen(old, new, 1)).unwrap();
        let line = whole.lines().position(|line| line.contains(old)).unwrap() + 1;
        let refused = import(&to, &text).unwrap_err();
        let place = format!("readings.jsonl, line {line}: ");
        assert!(refused.message.contains(&place) && refused.message.contains(named), "{refused}");
        assert!(rows(&to).is_empty());
    }
    fs::write(&path, &whole[..whole.len() / 2]).unwrap();
    assert!(import(&to, &text).is_err());
    fs::remove_file(&path).unwrap();
    assert!(import(&to, &text).unwrap_err().message.contains("readings.jsonl"));
    assert!(rows(&to).is_empty());
}

#[test]
fn a_row_that_contradicts_one_that_is_there_is_refused() {
    let folder = Folder::new();
    let (from, text) = (folder.join("a.sqlite"), folder.join("text"));
    filled(&from).close().unwrap();
    export(&from, &text).unwrap();
    let before = rows(&from);
    let path = text.join("facts.jsonl");
    let facts = fs::read_to_string(&path).unwrap();
    fs::write(&path, facts.replacen("\"fuel\"", "\"air\"", 1)).unwrap();
    let refused = import(&from, &text).unwrap_err();
    assert!(refused.message.starts_with("another fact was saved under the key"), "{refused}");
    assert_eq!(rows(&from), before);
    // A row that belongs to nothing is no better.
    fs::write(text.join("jobs.jsonl"), "").unwrap();
    let refused = import(&folder.join("b.sqlite"), &text).unwrap_err();
    assert!(refused.message.starts_with("there is no job"), "{refused}");
}

#[test]
fn only_an_export_is_imported_and_nothing_is_overwritten() {
    let folder = Folder::new();
    let (from, text) = (folder.join("a.sqlite"), folder.join("text"));
    filled(&from).close().unwrap();
    fs::create_dir(&text).unwrap();
    assert!(export(&from, &text).unwrap_err().message.ends_with("exists already"));
    assert!(import(&from, &text).unwrap_err().message.contains("about.json"));
    for about in
        ["", "{}", r#"{"format":"other","version":1}"#, r#"{"format":"bellmouth-logbook","version":2}"#]
    {
        fs::write(text.join("about.json"), about).unwrap();
        assert!(import(&from, &text).unwrap_err().message.contains("about.json"), "{about}");
    }
    let none = folder.join("none.sqlite");
    assert!(export(&none, &folder.join("new")).unwrap_err().message.contains("there is no logbook"));
    assert!(!folder.join("new").exists() && !folder.join("new.part").exists() && !none.exists());
}
