//! `bellmouth population`: drawn machines as a table, for those who work on the program.

use std::io::Write;

use bellmouth_workshop::Refusal;
use bellmouth_workshop::population::table;
use clap::{Args, ValueEnum};

/// What was typed.
#[derive(Args)]
#[command(after_help = "Example:\n  bellmouth population alien --seed 7 --count 10 > alien.csv\n\n\
    A blank cell is a part that the machine does not have.")]
pub(crate) struct Typed {
    /// Machines of the model's own kind, or machines that break its assumptions
    #[arg(value_enum)]
    population: Population,
    /// Where chance begins: the same seed draws the same machines
    #[arg(long, value_name = "S", default_value_t = 20_261_125)]
    seed: u64,
    /// How many machines
    #[arg(long, value_name = "N", default_value_t = 1000)]
    count: usize,
}

#[derive(Clone, Copy, ValueEnum)]
enum Population {
    Network,
    Alien,
}

/// Draws and prints.
pub(crate) fn run(typed: &Typed) -> Result<(), Refusal> {
    let population = match typed.population {
        Population::Network => bellmouth_core::practice::Population::Network,
        Population::Alien => bellmouth_core::practice::Population::Alien,
    };
    let table = table(population, typed.seed, typed.count)?;
    // A reader that has gone away (a closed pipe) is no failure of ours.
    let _ = std::io::stdout().lock().write_all(table.as_bytes());
    Ok(())
}
