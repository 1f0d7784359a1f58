//! What survives when the process or the power goes: what was acknowledged is there, and what is torn is
//! named and left alone.

#![allow(clippy::unwrap_used, reason = "a helper of a test fails by panicking")]

mod common;

use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Command, Stdio};

use bellmouth_logbook::*;
use common::*;

const CHILD_FILE: &str = "BELLMOUTH_TEST_LOGBOOK";

/// Saves readings for ever, and tells the key of each as soon as it was acknowledged.
fn save_until_killed(path: &Path) -> ! {
    let mut logbook = open(path);
    let job = logbook.machines().unwrap()[0].newest_job.as_ref().unwrap().id;
    let mut out = std::io::stdout();
    loop {
        let reading = reading(job, 1.5);
        logbook.save_reading(&reading).unwrap();
        writeln!(out, "saved {}", reading.id).unwrap();
        out.flush().unwrap();
    }
}

/// This test starts itself again as the process that is killed.
#[test]
fn a_reading_that_was_acknowledged_survives_the_kill() {
    if let Some(path) = std::env::var_os(CHILD_FILE) {
        save_until_killed(Path::new(&path));
    }
    let folder = Folder::new();
    let path = folder.join("logbook.sqlite");
    let (_, job) = machine_with_job(&mut open(&path), "the 750 twin", false);
    let mut acknowledged = Vec::new();
    for round in 0..8 {
        let mut child = Command::new(std::env::current_exe().unwrap())
            .args(["--exact", "a_reading_that_was_acknowledged_survives_the_kill", "--nocapture"])
            .env(CHILD_FILE, &path)
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines().map(|line| line.unwrap());
        let key = |line: String| line.strip_prefix("saved ").and_then(|id| id.parse::<Id>().ok());
        acknowledged.extend(lines.by_ref().filter_map(key).take(10 + 7 * round));
        // `kill` is the signal that cannot be caught (9).
        child.kill().unwrap();
        child.wait().unwrap();
        acknowledged.extend(lines.filter_map(key));
        let opened = Logbook::open(&path).expect("the killed process left no lock behind");
        assert!(opened.recovered.is_some_and(|found| found.left_bytes > 0), "{:?}", opened.recovered);
        let found: Vec<Id> =
            opened.logbook.readings(job).unwrap().iter().map(|entry| entry.reading.id).collect();
        let missing: Vec<&Id> = acknowledged.iter().filter(|id| !found.contains(id)).collect();
        assert!(missing.is_empty(), "round {round}: {} of {} are gone", missing.len(), acknowledged.len());
        assert!(found.len() <= acknowledged.len() + round + 1, "at most the one in flight is extra");
    }
    assert!(acknowledged.len() >= 8 * 10, "{}", acknowledged.len());
    assert_eq!(Logbook::open(&path).unwrap().recovered, None);
    assert_eq!(check(&path).unwrap().jobs, 1);
}

/// A file as it lies on the disk at one instant of use, and how long its -wal was after each reading.
struct InUse {
    main: Vec<u8>,
    wal: Vec<u8>,
    job: Id,
    lengths: Vec<usize>,
}

fn in_use(folder: &Folder, readings: usize) -> InUse {
    let (path, wal) = (folder.join("live.sqlite"), folder.join("live.sqlite-wal"));
    let (_, job) = machine_with_job(&mut open(&path), "the 750 twin", false);
    let mut logbook = open(&path);
    let mut lengths = Vec::new();
    for count in 0..readings {
        logbook.save_reading(&reading(job, 0.125 * (count % 40) as f64)).unwrap();
        lengths.push(fs::metadata(&wal).unwrap().len() as usize);
    }
    InUse { main: fs::read(&path).unwrap(), wal: fs::read(&wal).unwrap(), job, lengths }
}

/// A small generator with a fixed seed (xorshift, 64 bits).
fn draws(mut state: u64) -> impl FnMut(usize) -> usize {
    move |below| {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state % below as u64) as usize
    }
}

#[test]
fn a_write_ahead_file_cut_anywhere_keeps_what_was_whole_before_the_cut() {
    let folder = Folder::new();
    let live = in_use(&folder, 40);
    let mut draw = draws(0x0be1_100d_0000_0001);
    let mut cuts: Vec<usize> = (0..60).map(|_| draw(live.wal.len() + 1)).collect();
    cuts.extend([0, 1, 31, 32, 33, live.wal.len()]);
    for cut in cuts {
        let path = folder.join("cut.sqlite");
        fs::write(&path, &live.main).unwrap();
        fs::write(folder.join("cut.sqlite-wal"), &live.wal[..cut]).unwrap();
        let opened = Logbook::open(&path).unwrap();
        assert_eq!(opened.recovered, Some(Recovered { left_bytes: cut as u64 }));
        let found = opened.logbook.readings(live.job).unwrap().len();
        let whole = live.lengths.iter().filter(|&&length| length <= cut).count();
        assert_eq!(found, whole, "cut after {cut} of {} bytes", live.wal.len());
    }
}

#[test]
fn a_write_ahead_file_with_a_wrong_byte_gives_a_beginning_of_what_was_saved() {
    let folder = Folder::new();
    let live = in_use(&folder, 20);
    let mut draw = draws(0x0be1_100d_0000_0002);
    for _ in 0..40 {
        let at = draw(live.wal.len());
        let mut wal = live.wal.clone();
        wal[at] ^= 1 << draw(8);
        let path = folder.join("bad.sqlite");
        fs::write(&path, &live.main).unwrap();
        fs::write(folder.join("bad.sqlite-wal"), &wal).unwrap();
        let opened = Logbook::open(&path).unwrap();
        let found = opened.logbook.readings(live.job).unwrap().len();
        let untouched = live.lengths.iter().filter(|&&length| length <= at).count();
        // The header's own bytes may matter to nothing; all that lies whole before the bad byte is there, unless
        // it is the header itself.
        assert!(untouched <= found || at < 32, "byte {at}: {found} found, {untouched} before it");
        drop(opened);
        check(&path).unwrap();
    }
}

#[test]
fn a_torn_file_is_named_and_never_written() {
    let folder = Folder::new();
    let live = in_use(&folder, 20);
    let path = folder.join("torn.sqlite");
    let wal = folder.join("torn.sqlite-wal");
    let page = 4096;
    assert!(4 * page < live.main.len());
    for first in [page, 2 * page, 4 * page] {
        let mut main = live.main.clone();
        main[first..first + page].fill(0xa5);
        fs::write(&path, &main).unwrap();
        // Nothing in the write-ahead file makes up for the torn page.
        fs::write(&wal, &live.wal[..32]).unwrap();
        let refused = Logbook::open(&path).unwrap_err();
        assert!(matches!(refused, Error::Corrupt { .. }), "page at {first}: {refused:?}");
        assert!(refused.to_string().contains("torn.sqlite"), "{refused}");
        assert_eq!(fs::read(&path).unwrap(), main);
        assert_eq!(fs::read(&wal).unwrap(), &live.wal[..32]);
        assert!(matches!(check(&path), Err(Error::Corrupt { .. })));
        let copy = folder.join("copy.sqlite");
        assert!(matches!(backup(&path, &copy), Err(Error::Corrupt { .. })));
        assert!(!copy.exists(), "a damaged copy is no backup");
        assert_eq!(fs::read(&path).unwrap(), main);
    }
}

#[test]
fn a_shortened_file_is_named_even_after_a_clean_end() {
    let folder = Folder::new();
    let path = folder.join("logbook.sqlite");
    machine_with_job(&mut open(&path), "the 750 twin", false);
    let whole = fs::read(&path).unwrap();
    let mut draw = draws(0x0be1_100d_0000_0003);
    for _ in 0..20 {
        let cut = 100 + draw(whole.len() - 100);
        fs::write(&path, &whole[..cut]).unwrap();
        let refused = Logbook::open(&path).unwrap_err();
        assert!(matches!(refused, Error::Corrupt { .. }), "cut at {cut}: {refused:?}");
        assert_eq!(fs::read(&path).unwrap(), &whole[..cut]);
    }
}

#[test]
fn a_write_ahead_file_without_its_logbook_is_not_replayed_into_a_new_one() {
    let folder = Folder::new();
    let live = in_use(&folder, 3);
    let path = folder.join("gone.sqlite");
    fs::write(folder.join("gone.sqlite-wal"), &live.wal).unwrap();
    let refused = Logbook::open(&path).unwrap_err();
    assert!(matches!(refused, Error::Corrupt { .. }), "{refused:?}");
    assert_eq!(fs::read(folder.join("gone.sqlite-wal")).unwrap(), live.wal);
}

#[test]
fn a_copy_taken_without_its_write_ahead_file_is_known_for_what_it_is() {
    let folder = Folder::new();
    let live = in_use(&folder, 3);
    let path = folder.join("half.sqlite");
    fs::write(&path, &live.main).unwrap();
    assert_eq!(Logbook::open(&path).unwrap().recovered, Some(Recovered { left_bytes: 0 }));
}
