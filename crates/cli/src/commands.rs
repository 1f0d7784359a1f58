//! One module per command.

use bellmouth_workshop::Refusal;
use clap::Subcommand;

/// What can be asked for.
#[derive(Subcommand)]
pub(crate) enum Command {}

/// Runs a command to its end.
pub(crate) fn run(command: Command) -> Result<(), Refusal> {
    match command {}
}
