//! `bellmouth logbook`: look after the logbook.

use std::path::PathBuf;

use bellmouth_workshop::{Refusal, exchange, keeping, place};
use clap::{Args, Subcommand};
use serde_json::json;

/// What was typed after `logbook`.
#[derive(Args)]
#[command(after_help = "Example: bellmouth logbook backup /media/stick/logbook-friday.sqlite")]
pub(crate) struct Typed {
    #[command(subcommand)]
    task: Task,
    /// The logbook; by default the one in your data folder.
    #[arg(long, global = true, value_name = "FILE")]
    logbook: Option<PathBuf>,
    /// Print one JSON object.
    #[arg(long, global = true)]
    json: bool,
}

#[derive(Subcommand)]
enum Task {
    /// Copy the logbook to a new file, also while the bench runs.
    #[command(after_help = "Example: bellmouth logbook backup /media/stick/logbook-friday.sqlite")]
    Backup {
        /// The new file; one that exists is not overwritten.
        file: PathBuf,
    },
    /// Write everything into a new folder as JSON lines, also while the bench runs.
    #[command(after_help = "Example: bellmouth logbook export logbook-as-text")]
    Export {
        /// The new folder; one that exists is not overwritten.
        folder: PathBuf,
    },
    /// Take in a folder that was exported; what is there already is passed over.
    #[command(after_help = "Example: bellmouth logbook import logbook-as-text --logbook other.sqlite")]
    Import {
        /// The folder that `export` made.
        folder: PathBuf,
    },
    /// Read every page of the logbook and say whether it is whole.
    #[command(after_help = "Example: bellmouth logbook check")]
    Check,
}

/// Does the task and says what was done.
pub(crate) fn run(typed: Typed) -> Result<(), Refusal> {
    let logbook = match typed.logbook {
        Some(given) => given,
        None => place::default_logbook()?,
    };
    let (answer, words) = match typed.task {
        Task::Backup { file } => {
            let done = keeping::backup(&logbook, &file)?;
            let words = format!(
                "{} holds a whole copy of {}: {} readings, {} kB",
                done.backup.display(),
                logbook.display(),
                done.readings,
                done.bytes.div_ceil(1000)
            );
            (json!(done), words)
        }
        Task::Export { folder } => {
            let done = exchange::export(&logbook, &folder)?;
            (
                json!(done),
                format!("{} rows of {} are in {}", done.rows, logbook.display(), done.folder.display()),
            )
        }
        Task::Import { folder } => {
            let done = exchange::import(&logbook, &folder)?;
            let words = format!(
                "{} new rows are in {}; {} were there already",
                done.new,
                done.logbook.display(),
                done.already
            );
            (json!(done), words)
        }
        Task::Check => {
            let found = keeping::check(&logbook)?;
            let words = format!(
                "{} is whole: {} machines, {} jobs, {} readings",
                found.logbook.display(),
                found.machines,
                found.jobs,
                found.readings
            );
            (json!(found), words)
        }
    };
    super::print(&if typed.json { answer.to_string() } else { words });
    Ok(())
}
