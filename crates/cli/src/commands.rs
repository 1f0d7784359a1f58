//! One module per command.

mod logbook;

use bellmouth_workshop::Refusal;
use clap::Subcommand;

/// What can be asked for.
#[derive(Subcommand)]
pub(crate) enum Command {
    /// Back up, export, import or check the logbook.
    Logbook(logbook::Typed),
}

/// Runs a command to its end.
pub(crate) fn run(command: Command) -> Result<(), Refusal> {
    match command {
        Command::Logbook(typed) => logbook::run(typed),
    }
}
