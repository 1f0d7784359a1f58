//! The logbook as a folder of text: one file of JSON lines for each table, and back.
//!
//! | file | a line is |
//! | --- | --- |
//! | `about.json` | the format's name and version (one object, not lines) |
//! | `machines.jsonl` | a machine, deleted ones included |
//! | `builds.jsonl` | a build of a machine |
//! | `jobs.jsonl` | a job on a build |
//! | `facts.jsonl` | a fact of a job, in the order they were said |
//! | `readings.jsonl` | a reading of a job as it was taken, struck ones included |
//! | `strikes.jsonl` | that a reading was struck out, or the strike taken back |
//! | `corrections.jsonl` | that a reading's turns were miscounted |
//!
//! The fields are those of the types in [`lines`]. Times are UTC milliseconds, keys are UUIDs.

pub mod lines;

use std::fs::{self, File, OpenOptions};
use std::io::{BufRead, BufReader, BufWriter, Write};
use std::path::{Path, PathBuf};

use bellmouth_logbook::{Logbook, Row};
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};

use crate::refusal::{Refusal, in_words};
use lines::{BuildLine, CorrectionLine, FactLine, JobLine, MachineLine, ReadingLine, StrikeLine};

const FORMAT: &str = "bellmouth-logbook";
const VERSION: u32 = 1;
const ABOUT: &str = "about.json";

/// The tables' files, in the order in which they are written and read.
const FILES: [&str; 7] = [
    "machines.jsonl",
    "builds.jsonl",
    "jobs.jsonl",
    "facts.jsonl",
    "readings.jsonl",
    "strikes.jsonl",
    "corrections.jsonl",
];

/// What stands in `about.json`.
#[derive(Debug, Serialize, Deserialize)]
struct About {
    format: String,
    version: u32,
}

/// What was exported.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Exported {
    /// The folder.
    pub folder: PathBuf,
    /// Rows of all tables together.
    pub rows: u64,
}

/// What was imported.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Imported {
    /// The logbook.
    pub logbook: PathBuf,
    /// Rows that were new.
    pub new: u64,
    /// Rows that were there already, the same.
    pub already: u64,
}

/// Writes the logbook at `from` into the new folder `folder`, whole or not at all; works while a bench runs.
///
/// # Errors
///
/// A refusal when the folder exists or cannot be written, or the logbook cannot be read.
pub fn export(from: &Path, folder: &Path) -> Result<Exported, Refusal> {
    if folder.exists() {
        return Err(Refusal::misused(
            format!("{} exists already", folder.display()),
            "choose another name, or move the old folder away",
        ));
    }
    let mut part = folder.as_os_str().to_owned();
    part.push(".part");
    let part = PathBuf::from(part);
    make_folder(&part).map_err(|error| unwritable(folder, &error))?;
    let exported = write_tables(from, &part).and_then(|rows| {
        fs::rename(&part, folder).map(|()| rows).map_err(|error| unwritable(folder, &error))
    });
    if exported.is_err() {
        let _ = fs::remove_dir_all(&part);
    }
    Ok(Exported { folder: folder.to_path_buf(), rows: exported? })
}

/// Takes the folder of an export into the logbook at `to`, which is made if it does not exist; all or nothing.
/// What is there already, the same, is passed over.
///
/// # Errors
///
/// A refusal naming the file and line that cannot be read, or the row that contradicts one that is there.
pub fn import(to: &Path, folder: &Path) -> Result<Imported, Refusal> {
    check_about(&folder.join(ABOUT))?;
    let rows = read_table(folder, 0, |line: MachineLine| line.row())
        .chain(read_table(folder, 1, |line: BuildLine| line.row()))
        .chain(read_table(folder, 2, |line: JobLine| line.row()))
        .chain(read_table(folder, 3, |line: FactLine| line.row()))
        .chain(read_table(folder, 4, |line: ReadingLine| line.row()))
        .chain(read_table(folder, 5, |line: StrikeLine| line.row()))
        .chain(read_table(folder, 6, |line: CorrectionLine| line.row()));
    let mut logbook = Logbook::open(to)?.logbook;
    let taken = logbook.take_in(rows)?;
    let path = logbook.path().to_path_buf();
    logbook.close()?;
    Ok(Imported { logbook: path, new: taken.new, already: taken.already })
}

fn write_tables(from: &Path, folder: &Path) -> Result<u64, Refusal> {
    let about = folder.join(ABOUT);
    let text = to_text(&About { format: FORMAT.into(), version: VERSION })?;
    fs::write(&about, text + "\n").map_err(|error| unwritable(&about, &error))?;
    let mut files = Vec::new();
    for name in FILES {
        let path = folder.join(name);
        let file = OpenOptions::new().write(true).create_new(true).open(&path);
        files.push((BufWriter::new(file.map_err(|error| unwritable(&path, &error))?), path));
    }
    let mut rows = 0;
    bellmouth_logbook::each_row(from, |row| {
        let (table, text) = match row {
            Row::Machine(machine) => (0, to_text(&MachineLine::of(machine))),
            Row::Build(build) => (1, to_text(&BuildLine::of(build))),
            Row::Job(job) => (2, to_text(&JobLine::of(job))),
            Row::Fact(fact) => (3, to_text(&FactLine::of(fact))),
            Row::Reading(reading) => (4, to_text(&ReadingLine::of(reading))),
            Row::Strike(strike) => (5, to_text(&StrikeLine::of(strike))),
            Row::Correction(correction) => (6, to_text(&CorrectionLine::of(correction))),
        };
        let (file, path) = &mut files[table];
        rows += 1;
        writeln!(file, "{}", text?).map_err(|error| unwritable(path, &error))
    })?;
    for (file, path) in files {
        let done = file.into_inner().map_err(std::io::IntoInnerError::into_error);
        done.and_then(|file| file.sync_all()).map_err(|error| unwritable(&path, &error))?;
    }
    Ok(rows)
}

fn check_about(path: &Path) -> Result<(), Refusal> {
    let choose = "give the folder that `bellmouth logbook export` made";
    let text = fs::read_to_string(path).map_err(|error| {
        let folder = path.parent().unwrap_or(path).display();
        let because = in_words(&error);
        Refusal::unanswerable(
            format!("{folder} is no export: its {ABOUT} cannot be read ({because})"),
            choose,
        )
    })?;
    let about: About = serde_json::from_str(&text).map_err(|error| {
        Refusal::unanswerable(format!("{}: {}", path.display(), broken(&text, &error)), choose)
    })?;
    if about.format != FORMAT {
        let message = format!("{}: the format is {:?}, not {FORMAT:?}", path.display(), about.format);
        return Err(Refusal::unanswerable(message, choose));
    }
    if VERSION < about.version {
        return Err(Refusal::unanswerable(
            format!(
                "{}: the format's version is {}, known here up to {VERSION}",
                path.display(),
                about.version
            ),
            "import it with the newer Bellmouth that exported it",
        ));
    }
    Ok(())
}

/// The rows of one table's file, read as they are asked for.
fn read_table<'a, Line: DeserializeOwned + 'a>(
    folder: &Path,
    table: usize,
    row: fn(Line) -> Result<Row, String>,
) -> Box<dyn Iterator<Item = Result<Row, Refusal>> + 'a> {
    let path = folder.join(FILES[table]);
    let remedy = "correct the line, or export again";
    let file = match File::open(&path) {
        Ok(file) => file,
        Err(error) => {
            let message = format!("{} cannot be read: {}", path.display(), in_words(&error));
            return Box::new(std::iter::once(Err(Refusal::unanswerable(message, "export again"))));
        }
    };
    Box::new(BufReader::new(file).lines().enumerate().map(move |(index, line)| {
        let read = line.map_err(|error| in_words(&error));
        read.and_then(|line| serde_json::from_str(&line).map_err(|error| broken(&line, &error)))
            .and_then(row)
            .map_err(|why| {
                Refusal::unanswerable(format!("{}, line {}: {why}", path.display(), index + 1), remedy)
            })
    }))
}

/// What is wrong with a text that should be one JSON object; the caller names the line.
fn broken(text: &str, error: &serde_json::Error) -> String {
    use serde_json::error::Category;
    let said = error.to_string();
    match error.classify() {
        Category::Eof => format!("it breaks off after {} characters", text.trim_end().chars().count()),
        Category::Data => said.split(" at line ").next().unwrap_or_default().to_owned(),
        Category::Syntax | Category::Io => format!("it is no JSON from column {} on", error.column()),
    }
}

fn to_text(line: &impl Serialize) -> Result<String, Refusal> {
    serde_json::to_string(line)
        .map_err(|error| Refusal::ours(format!("a row could not be written as JSON: {error}"), "report it"))
}

fn unwritable(path: &Path, error: &std::io::Error) -> Refusal {
    let message = format!("{} cannot be written: {}", path.display(), in_words(error));
    Refusal::unanswerable(message, "give a place that you may write, with room on its disk")
}

/// A folder for this user alone: what riders complain of is nobody else's business.
fn make_folder(path: &Path) -> std::io::Result<()> {
    let mut builder = fs::DirBuilder::new();
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut builder, 0o700);
    builder.create(path)
}
