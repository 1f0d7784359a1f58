//! One module per command.

mod idle;
mod listen;
mod logbook;
mod population;
mod serve;
mod sweep;

use bellmouth_workshop::Refusal;
use clap::Subcommand;

/// What can be asked for.
#[derive(Subcommand)]
pub(crate) enum Command {
    /// Open the bench in a browser.
    Serve(serve::Typed),
    /// Hear engine speed in a recording.
    Listen(listen::Listen),
    /// Find the lean edge and the setting from a table of held positions.
    Sweep(sweep::Typed),
    /// Back up, export, import or check the logbook.
    Logbook(logbook::Typed),
    /// Reckon where a machine idles at each position of its screw.
    Idle(idle::Typed),
    /// For development: draw machines with hidden innards, as a table.
    Population(population::Typed),
}

/// Prints an answer. Whoever reads it may have seen enough and gone, as `head` does: that is no fault.
pub(crate) fn print(answer: &str) {
    use std::io::Write;
    let _ = writeln!(std::io::stdout().lock(), "{answer}");
}

/// Runs a command to its end.
pub(crate) fn run(command: Command) -> Result<(), Refusal> {
    match command {
        Command::Serve(typed) => serve::run(&typed),
        Command::Listen(typed) => listen::run(typed),
        Command::Sweep(typed) => sweep::run(&typed),
        Command::Logbook(typed) => logbook::run(typed),
        Command::Idle(typed) => idle::run(typed),
        Command::Population(typed) => population::run(&typed),
    }
}
