//! A drawn population as a table.

use bellmouth_core::practice::{COLUMNS, Population, draw};

use crate::refusal::Refusal;

/// More machines are not drawn at once.
const MOST: usize = 100_000;

/// Draws machines and writes them as comma-separated values: the columns' names, then a row for each
/// machine, blank where it has no such part. Numbers are the shortest that read back the same.
///
/// # Errors
///
/// A misuse where the count means nothing.
pub fn table(population: Population, seed: u64, count: usize) -> Result<String, Refusal> {
    if !(1..=MOST).contains(&count) {
        return Err(Refusal::misused(
            format!("`--count` is {count}, but must be from 1 to {MOST}"),
            "give --count a value inside that range",
        ));
    }
    let machines = draw(population, seed, count)
        .map_err(|error| Refusal::ours(format!("the machines could not be drawn: {error}"), "report it"))?;
    let mut text = COLUMNS.join(",") + "\n";
    for machine in &machines {
        let cells = machine.row().iter().map(|&number| cell(number));
        text += &(cells.collect::<Vec<_>>().join(",") + "\n");
    }
    Ok(text)
}

fn cell(number: f64) -> String {
    if number.is_nan() { String::new() } else { number.to_string() }
}
