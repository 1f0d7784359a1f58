//! One module per command.

use bellmouth_workshop::Refusal;
use clap::Subcommand;

mod listen;

/// What can be asked for.
#[derive(Subcommand)]
pub(crate) enum Command {
    Listen(listen::Listen),
}

/// Runs a command to its end.
pub(crate) fn run(command: Command) -> Result<(), Refusal> {
    match command {
        Command::Listen(typed) => listen::run(typed),
    }
}
