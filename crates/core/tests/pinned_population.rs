//! The committed populations are what the seed draws.
//!
//! The tables are the machines that other checks are counted on. Where the drawing was changed on
//! purpose, they are written anew:
//!
//! ```text
//! cargo run --release -p bellmouth -- population network > crates/core/tests/data/population-network.csv
//! cargo run --release -p bellmouth -- population alien > crates/core/tests/data/population-alien.csv
//! ```

use bellmouth_core::practice::{COLUMNS, Hidden, Population, draw};

/// The seed that the command takes by itself.
const SEED: u64 = 20_261_125;

/// The cells of a committed table, a row for each machine.
fn committed(name: &str) -> Vec<Vec<String>> {
    let path = format!("{}/tests/data/population-{name}.csv", env!("CARGO_MANIFEST_DIR"));
    let mut reader = csv::Reader::from_path(&path).expect("the table is committed");
    assert_eq!(reader.headers().expect("a header").iter().collect::<Vec<_>>(), COLUMNS, "{path}");
    let rows = reader.records().map(|record| record.expect("a row").iter().map(str::to_owned).collect());
    rows.collect()
}

fn cell(number: f64) -> String {
    if number.is_nan() { String::new() } else { number.to_string() }
}

fn number(cell: &str) -> f64 {
    if cell.is_empty() { f64::NAN } else { cell.parse().expect("a number") }
}

#[test]
fn pinned_populations_are_the_committed_tables() {
    for (name, population) in [("network", Population::Network), ("alien", Population::Alien)] {
        let rows = committed(name);
        let drawn = draw(population, SEED, 1000).expect("machines can be drawn");
        assert_eq!(rows.len(), drawn.len(), "{name}");
        for (index, (row, machine)) in rows.iter().zip(&drawn).enumerate() {
            for ((column, committed), &number) in COLUMNS.iter().zip(row).zip(machine.row()) {
                assert_eq!(*committed, cell(number), "{name}, machine {index}, {column}");
            }
        }
        // What a row says is the machine: built from the table it idles as the drawn one does.
        for index in (0..drawn.len()).step_by(49) {
            let numbers: Vec<f64> = rows[index].iter().map(|cell| number(cell)).collect();
            let read = Hidden::from_row(&numbers).expect("a committed machine can be built");
            for turns in [1.0, 2.0, 3.0] {
                let (from_table, from_seed) = (read.idle(turns), drawn[index].idle(turns));
                assert_eq!(from_table, from_seed, "{name}, machine {index} at {turns} turns");
            }
        }
    }
}
