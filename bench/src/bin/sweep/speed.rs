//! How long one answer takes: fit, verdicts, curve and the next position.

use std::time::Instant;

use bellmouth_core::idle::{Hold, Outcome, Question, sweep};
use bellmouth_core::practice::{Dice, Population, draw};
use bellmouth_core::quantity::{Screw, TurnsOut};

/// Machines timed.
const MACHINES: usize = 40;

/// How often each is timed: the least counts, for other work only ever adds.
const TIMES: usize = 5;

/// How long some work takes, s.
fn timed(mut work: impl FnMut()) -> f64 {
    let once = |_| {
        let begun = Instant::now();
        work();
        begun.elapsed().as_secs_f64()
    };
    (0..TIMES).map(once).fold(f64::INFINITY, f64::min)
}

pub(crate) fn print() {
    println!(
        "time of one answer, ms ({MACHINES} machines, the least of {TIMES} times each, {} processors)",
        crate::threads()
    );
    println!("{:>6} {:>12} {:>8} {:>8} {:>8}", "holds", "errors", "least", "median", "most");
    let machines = draw(Population::Network, 7, MACHINES).expect("machines can be drawn");
    for count in [1, 5, 9, 12] {
        for stated in [true, false] {
            let mut times: Vec<f64> = Vec::new();
            for (seed, machine) in machines.iter().enumerate() {
                let mut dice = Dice::new(seed as u64);
                let curve = machine.idle_curve().expect("a machine that was built has a curve");
                let Some(best) = curve.best().map(|best| best.turns) else { continue };
                let way = if machine.screw() == Screw::Fuel { 1.0 } else { -1.0 };
                let beside = [0.4, -0.35, 1.0, -0.1, 0.5, -0.25, 0.4, 1.5, 0.1, -0.5, 0.0, 0.8];
                let holds: Vec<Hold> = beside
                    .iter()
                    .take(count)
                    .enumerate()
                    .filter_map(|(index, beside)| {
                        let turns = (8.0 * (best + way * beside)).round().clamp(0.0, 48.0) / 8.0;
                        let rpm = machine.idle(turns).ok()?.operation()?.rpm + 6.0 * dice.normal();
                        let outcome = Outcome::Ran { rpm, se_rpm: stated.then_some(6.0) };
                        let at_s = Some(40.0 * index as f64);
                        Some(Hold {
                            turns: TurnsOut(turns),
                            outcome,
                            spread_rpm: None,
                            at_s,
                            block: 0,
                            as_found: index == 0,
                        })
                    })
                    .collect();
                let mut answered = false;
                let took_s = timed(|| answered = sweep(&holds, &Question::new(machine.screw())).is_ok());
                if answered {
                    times.push(1e3 * took_s);
                }
            }
            times.sort_by(f64::total_cmp);
            let words = if stated { "stated" } else { "not stated" };
            let (least, most) = (times[0], times[times.len() - 1]);
            println!("{count:>6} {words:>12} {least:>8.1} {:>8.1} {most:>8.1}", times[times.len() / 2]);
        }
    }
}
