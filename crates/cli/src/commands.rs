//! One module per command.

mod sweep;

use bellmouth_workshop::Refusal;
use clap::Subcommand;

/// What can be asked for.
#[derive(Subcommand)]
pub(crate) enum Command {
    /// Find the lean edge and the setting from a table of held positions
    Sweep(sweep::Typed),
}

/// Runs a command to its end.
pub(crate) fn run(command: Command) -> Result<(), Refusal> {
    match command {
        Command::Sweep(typed) => sweep::run(&typed),
    }
}
