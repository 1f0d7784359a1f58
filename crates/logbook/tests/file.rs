//! What the logbook promises of its file: whose it is, that one process has it, that a stranger's file
//! is left as it was, and that a backup is whole.

#![allow(clippy::unwrap_used, reason = "a helper of a test fails by panicking")]

mod common;

use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::Path;

use bellmouth_logbook::*;
use common::*;
use rusqlite::Connection;

fn mode(path: &Path) -> u32 {
    fs::metadata(path).unwrap().permissions().mode() & 0o777
}

#[test]
fn the_file_and_its_companions_are_for_this_user_alone() {
    let folder = Folder::new();
    let home = folder.join("data");
    let path = home.join("bellmouth").join("logbook.sqlite");
    let mut logbook = open(&path);
    machine_with_job(&mut logbook, "the 750 twin", false);
    assert_eq!((mode(&home), mode(path.parent().unwrap())), (0o700, 0o700));
    for ending in ["", "-wal", "-shm", ".lock"] {
        let name = format!("{}{ending}", path.display());
        assert_eq!(mode(Path::new(&name)), 0o600, "{name}");
    }
    logbook.close().unwrap();
    fs::set_permissions(&path, fs::Permissions::from_mode(0o644)).unwrap();
    let _logbook = open(&path);
    assert_eq!(mode(&path), 0o600, "a file copied in by hand is closed to others");
}

#[test]
fn a_clean_end_leaves_one_file_and_no_check() {
    let folder = Folder::new();
    let path = folder.join("logbook.sqlite");
    let opened = Logbook::open(&path).unwrap();
    assert!(opened.created);
    assert_eq!(opened.recovered, None);
    drop(opened);
    assert_eq!(folder.names(), ["logbook.sqlite", "logbook.sqlite.lock"]);
    let opened = Logbook::open(&path).unwrap();
    assert!(!opened.created);
    assert_eq!((opened.recovered, opened.kept_copy), (None, None));
}

#[test]
fn what_a_check_leaves_beside_a_closed_file_counts_for_nothing() {
    let folder = Folder::new();
    let path = folder.join("logbook.sqlite");
    machine_with_job(&mut open(&path), "the 750 twin", false);
    let before = fs::read(&path).unwrap();
    check(&path).unwrap();
    assert_eq!(fs::read(&path).unwrap(), before);
    let opened = Logbook::open(&path).unwrap();
    assert_eq!(opened.recovered, None);
    drop(opened);
    assert_eq!(folder.names(), ["logbook.sqlite", "logbook.sqlite.lock"]);
}

#[test]
fn a_second_opening_is_refused_until_the_first_ends() {
    let folder = Folder::new();
    let path = folder.join("logbook.sqlite");
    let mut logbook = open(&path);
    let refused = Logbook::open(&path).unwrap_err();
    assert_eq!(refused, Error::InUse { path: logbook.path().to_path_buf() });
    std::os::unix::fs::symlink(&path, folder.join("other-name")).unwrap();
    assert!(matches!(Logbook::open(&folder.join("other-name")), Err(Error::InUse { .. })));
    machine_with_job(&mut logbook, "the 750 twin", false);
    drop(logbook);
    assert_eq!(open(&path).machines().unwrap().len(), 1);
}

#[test]
fn a_closed_logbook_is_free_even_while_other_processes_are_started() {
    let folder = Folder::new();
    let path = folder.join("logbook.sqlite");
    let done = std::sync::atomic::AtomicBool::new(false);
    std::thread::scope(|scope| {
        scope.spawn(|| {
            while !done.load(std::sync::atomic::Ordering::Relaxed) {
                std::process::Command::new("true").status().unwrap();
            }
        });
        let openings: Vec<Result<()>> = (0..60).map(|_| Logbook::open(&path).map(drop)).collect();
        done.store(true, std::sync::atomic::Ordering::Relaxed);
        assert!(openings.iter().all(Result::is_ok), "{:?}", openings.iter().find(|opening| opening.is_err()));
    });
}

#[test]
fn a_strangers_file_is_refused_and_left_as_it_was() {
    let folder = Folder::new();
    let path = folder.join("file");
    let stranger = Connection::open(folder.join("made")).unwrap();
    stranger.execute_batch("CREATE TABLE a (x); PRAGMA user_version = 1; INSERT INTO a VALUES (1)").unwrap();
    stranger.close().unwrap();
    let database = fs::read(folder.join("made")).unwrap();
    fs::remove_file(folder.join("made")).unwrap();
    let contents: [&[u8]; 5] =
        [&database, b"a shopping list", b"x", &[0; 8192], b"SQLite format 3\0 but no more than that"];
    for content in contents {
        fs::write(&path, content).unwrap();
        for refused in
            [Logbook::open(&path).map(drop), check(&path).map(drop), backup(&path, &folder.join("copy"))]
        {
            assert!(matches!(refused, Err(Error::NotOurs { .. })), "{refused:?}");
        }
        assert_eq!(fs::read(&path).unwrap(), content);
        assert_eq!(folder.names(), ["file"]);
    }
}

#[test]
fn a_folder_and_a_device_are_refused() {
    let folder = Folder::new();
    fs::create_dir(folder.join("logbook.sqlite")).unwrap();
    let path = folder.join("logbook.sqlite");
    let is_folder = |error: Error| error.to_string().ends_with("it is a folder");
    assert!(is_folder(Logbook::open(&path).unwrap_err()));
    assert!(is_folder(check(&path).unwrap_err()));
    assert!(Logbook::open(Path::new("/dev/null")).is_err());
}

#[test]
fn a_place_that_cannot_be_written_is_named() {
    let folder = Folder::new();
    fs::write(folder.join("a-file"), "text").unwrap();
    for path in [folder.join("a-file/logbook.sqlite"), "/proc/bellmouth/logbook.sqlite".into()] {
        let refused = Logbook::open(&path).unwrap_err();
        let Error::Unwritable { path: named, because } = &refused else { panic!("{refused:?}") };
        assert_eq!(named, path.parent().unwrap());
        assert!(!because.is_empty());
        assert!(refused.remedy().contains("--logbook"));
    }
    let missing = folder.join("none");
    assert_eq!(check(&missing), Err(Error::NoFile { path: missing.clone() }));
    assert_eq!(backup(&missing, &folder.join("copy")), Err(Error::NoFile { path: missing }));
}

#[test]
fn a_newer_file_is_refused_and_left_as_it_was() {
    let folder = Folder::new();
    let path = folder.join("logbook.sqlite");
    drop(open(&path));
    let newer = Connection::open(&path).unwrap();
    newer.execute_batch("PRAGMA journal_mode = DELETE; PRAGMA user_version = 99").unwrap();
    newer.close().unwrap();
    let before = fs::read(&path).unwrap();
    let refused = Logbook::open(&path).unwrap_err();
    assert!(matches!(refused, Error::Newer { found: 99, .. }), "{refused:?}");
    assert!(matches!(check(&path), Err(Error::Newer { found: 99, .. })));
    assert_eq!(fs::read(&path).unwrap(), before);
}

#[test]
fn a_newer_version_still_in_the_write_ahead_file_is_seen() {
    let folder = Folder::new();
    let path = folder.join("logbook.sqlite");
    drop(open(&path));
    let newer = Connection::open(&path).unwrap();
    newer.execute_batch("PRAGMA user_version = 99").unwrap();
    let copied = folder.join("copied.sqlite");
    fs::copy(&path, &copied).unwrap();
    fs::copy(folder.join("logbook.sqlite-wal"), folder.join("copied.sqlite-wal")).unwrap();
    let before = fs::read(&copied).unwrap();
    assert!(matches!(Logbook::open(&copied), Err(Error::Newer { found: 99, .. })));
    assert_eq!(fs::read(&copied).unwrap(), before);
}

#[test]
fn an_empty_file_becomes_a_logbook() {
    let folder = Folder::new();
    let path = folder.join("logbook.sqlite");
    fs::write(&path, "").unwrap();
    assert!(Logbook::open(&path).unwrap().created);
    assert_eq!(mode(&path), 0o600);
}

#[test]
fn a_making_that_was_cut_short_is_begun_anew() {
    let folder = Folder::new();
    let path = folder.join("logbook.sqlite");
    fs::write(folder.join("logbook.sqlite.making"), "SQLite form").unwrap();
    assert!(Logbook::open(&path).unwrap().created);
    assert_eq!(folder.names(), ["logbook.sqlite", "logbook.sqlite.lock"]);
}

#[test]
fn a_backup_made_while_saving_is_whole() {
    let folder = Folder::new();
    let (path, copy) = (folder.join("logbook.sqlite"), folder.join("backup.sqlite"));
    let mut logbook = open(&path);
    let (_, job) = machine_with_job(&mut logbook, "the 750 twin", false);
    let before = reading(job, 1.0);
    logbook.save_reading(&before).unwrap();
    std::thread::scope(|scope| {
        let copying = scope.spawn(|| backup(&path, &copy));
        for _ in 0..50 {
            logbook.save_reading(&reading(job, 2.0)).unwrap();
        }
        copying.join().unwrap().unwrap();
    });
    assert_eq!(mode(&copy), 0o600);
    let checked = check(&copy).unwrap();
    assert!((1..=51).contains(&checked.readings), "{checked:?}");
    assert_eq!(check(&path).unwrap().readings, 51);
    // Copying through a second handle must not have cost the first its lock or its readings.
    assert!(matches!(Logbook::open(&path), Err(Error::InUse { .. })));
    let opened = Logbook::open(&copy).unwrap();
    assert_eq!(opened.recovered, None, "a backup counts as cleanly closed");
    let mut copied = opened.logbook;
    assert_eq!(copied.readings(job).unwrap()[0].reading, before);
    assert_eq!(copied.save_reading(&before), Ok(Saved::Already { revision: checked.readings as i64 + 1 }));
    drop(logbook);
    assert_eq!(open(&path).readings(job).unwrap().len(), 51);
}

#[test]
fn a_backup_never_overwrites_and_leaves_nothing_half_done() {
    let folder = Folder::new();
    let path = folder.join("logbook.sqlite");
    let logbook = open(&path);
    let copy = folder.join("precious");
    fs::write(&copy, "precious").unwrap();
    assert_eq!(backup(logbook.path(), &copy), Err(Error::Exists { path: copy.clone() }));
    assert_eq!(fs::read(&copy).unwrap(), b"precious");
    let nowhere = folder.join("no-folder/copy");
    assert!(matches!(backup(logbook.path(), &nowhere), Err(Error::Unwritable { .. })));
    drop(logbook);
    assert_eq!(folder.names(), ["logbook.sqlite", "logbook.sqlite.lock", "precious"]);
}

#[test]
fn what_every_page_asks_is_answered_from_an_index() {
    let folder = Folder::new();
    let path = folder.join("logbook.sqlite");
    drop(open(&path));
    let database = Connection::open(&path).unwrap();
    for sql in [
        "SELECT * FROM job WHERE machine = ?1 ORDER BY opened_ms DESC, rowid DESC LIMIT 1",
        "SELECT count(*) FROM job WHERE machine = ?1",
        "SELECT * FROM fact WHERE job = ?1 ORDER BY seq",
        "SELECT * FROM reading WHERE job = ?1 ORDER BY seq",
        "SELECT * FROM reading WHERE id = ?1",
        "SELECT turns FROM correction WHERE reading = ?1 ORDER BY seq",
        "SELECT struck FROM strike WHERE reading = ?1 ORDER BY seq DESC LIMIT 1",
        "SELECT fact.job FROM job JOIN fact ON fact.job = job.id WHERE job.machine = ?1 AND fact.name = ?2",
    ] {
        let mut statement = database.prepare(&format!("EXPLAIN QUERY PLAN {sql}")).unwrap();
        let count = statement.parameter_count();
        let given = rusqlite::params_from_iter(std::iter::repeat_n("x", count));
        let plan: Vec<String> =
            statement.query_map(given, |row| row.get("detail")).unwrap().map(|step| step.unwrap()).collect();
        assert!(plan.iter().all(|step| !step.starts_with("SCAN")), "{sql}: {plan:?}");
    }
}

/// The file of version 1, as it was handed out; a later version must open it.
#[test]
fn pinned_the_tables_of_version_1_stay_as_they_were() {
    let folder = Folder::new();
    let path = folder.join("logbook.sqlite");
    let pinned = include_str!("schemas/1.sql");
    let old = Connection::open(&path).unwrap();
    old.execute_batch(pinned).unwrap();
    old.close().unwrap();
    let opened = Logbook::open(&path).unwrap();
    assert!(!opened.created);
    let machines = opened.logbook.machines().unwrap();
    assert_eq!(machines[0].machine.details.name, "the 750 twin");
    assert_eq!(machines[0].left.unwrap().turns.0, 2.125);
    let entries = opened.logbook.readings(machines[0].newest_job.as_ref().unwrap().id).unwrap();
    assert_eq!(entries.len(), 2);
    assert_eq!(entries[0].turns().0, 1.625);
    assert_eq!(entries[1].struck.as_ref().unwrap().reason, "the fan came on");
}
