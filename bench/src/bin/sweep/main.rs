//! The sweep held to account: how far from the truth, in how many holds, with how many stalls, beside the
//! habits it would replace; and how long it takes to answer.
//!
//! ```text
//! sweep [--machines N] [--first-seed S] [--drawn-from D]
//! ```
//!
//! The machines are those of the committed populations, `N` of each; with `--drawn-from`, others drawn from
//! that seed. Every sweep has a seed of its own, counted from `S`.

mod habits;
mod machines;
mod ours;
mod person;
mod score;
mod speed;

use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Instant;

use machines::Subject;
use person::{Hand, Person};
use score::{Outcome, Table};

/// What was typed.
struct Asked {
    machines: usize,
    first_seed: u64,
    drawn_from: Option<u64>,
}

fn asked() -> Result<Asked, String> {
    let mut asked = Asked { machines: 1000, first_seed: 1, drawn_from: None };
    let mut words = std::env::args().skip(1);
    while let Some(word) = words.next() {
        let value = words.next().ok_or(format!("{word} needs a number after it"))?;
        let number: u64 = value.parse().map_err(|_| format!("{word} {value}: not a whole number"))?;
        match word.as_str() {
            "--machines" => asked.machines = number as usize,
            "--first-seed" => asked.first_seed = number,
            "--drawn-from" => asked.drawn_from = Some(number),
            _ => return Err(format!("{word} is not known: --machines, --first-seed, --drawn-from are")),
        }
    }
    Ok(asked)
}

/// A way to look for the setting, and whether the hand errs meanwhile.
struct Method {
    name: &'static str,
    hand: Hand,
    run: fn(&Subject, &mut Person) -> Outcome,
}

const METHODS: [Method; 6] = [
    Method { name: "the sweep", hand: Hand::Exact, run: ours::sweep },
    Method { name: "the sweep, hand errs", hand: Hand::AddsUp, run: ours::sweep },
    Method { name: "every eighth, fastest", hand: Hand::Exact, run: habits::every_eighth_fastest },
    Method { name: "every eighth, within 1 %", hand: Hand::Exact, run: habits::every_eighth_within },
    Method { name: "golden section", hand: Hand::Exact, run: habits::golden_section },
    Method { name: "out until no difference", hand: Hand::Exact, run: habits::until_no_difference },
];

fn main() -> Result<(), String> {
    let asked = asked()?;
    for name in ["network", "alien"] {
        let subjects = machines::population(name, asked.machines, asked.drawn_from)?;
        println!(
            "\n{name}: {} machines, sweeps from seed {}; {}",
            subjects.len(),
            asked.first_seed,
            machines::described(&subjects)
        );
        println!("{}", Table::HEAD);
        for method in &METHODS {
            let begun = Instant::now();
            let outcomes = swept(&subjects, method, asked.first_seed);
            let took_s = begun.elapsed().as_secs_f64();
            Table::print(method.name, &outcomes);
            if method.name.starts_with("the sweep") {
                Table::print_parts(&outcomes);
                println!("    {} sweeps in {took_s:.0} s on {} threads", outcomes.len(), threads());
            }
        }
    }
    println!();
    speed::print();
    Ok(())
}

fn threads() -> usize {
    std::thread::available_parallelism().map_or(1, std::num::NonZero::get)
}

/// Every machine swept by a method, in the order of the machines.
fn swept(subjects: &[Subject], method: &Method, first_seed: u64) -> Vec<Outcome> {
    let next = AtomicUsize::new(0);
    let done = Mutex::new(Vec::with_capacity(subjects.len()));
    std::thread::scope(|scope| {
        for _ in 0..threads() {
            scope.spawn(|| {
                loop {
                    let index = next.fetch_add(1, Ordering::Relaxed);
                    let Some(subject) = subjects.get(index) else { break };
                    let Some(mut person) = Person::at(subject, method.hand, first_seed + index as u64) else {
                        continue;
                    };
                    let outcome = (method.run)(subject, &mut person);
                    done.lock().expect("no thread fails").push((index, outcome));
                }
            });
        }
    });
    let mut done = done.into_inner().expect("no thread fails");
    done.sort_by_key(|(index, _)| *index);
    done.into_iter().map(|(_, outcome)| outcome).collect()
}
