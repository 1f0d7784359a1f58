//! The fit: how long it takes, and how far it is from the truth beside two simple rivals on the same holds.
//!
//! The machines are of this file alone: torque best at an equivalence ratio of 1.12, misfire when lean.

use std::time::Instant;

use bellmouth_core::idle::{Hold, Outcome, Question, sweep};
use bellmouth_core::quantity::{Screw, TurnsOut};

/// A reproducible stream of numbers: 64-bit splitmix.
struct Dice(u64);

impl Dice {
    fn even(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.even()
    }

    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.even()).sum::<f64>() - 6.0
    }
}

struct Machine {
    best: f64,
    per_turn: f64,
    misfire: f64,
    level: f64,
    drift: f64,
}

impl Machine {
    fn drawn(dice: &mut Dice) -> Machine {
        Machine {
            best: dice.between(1.8, 3.4),
            per_turn: dice.between(0.15, 0.4),
            misfire: dice.between(0.72, 0.9),
            level: dice.between(900.0, 1300.0),
            drift: dice.between(-4.0, 6.0),
        }
    }

    fn speed(&self, turns: f64) -> f64 {
        let ratio = 1.12 * (self.per_turn * (1.0 - (-0.3 * (turns - self.best)).exp()) / 0.3).exp();
        let steep = if ratio < 1.12 { 2.2 } else { 0.7 };
        let torque = (1.0 - steep * (ratio - 1.12).powi(2)).max(0.01);
        self.level * (torque / (1.0 + (-(ratio - self.misfire) / 0.03).exp())).powf(0.85)
    }

    fn edge(&self) -> f64 {
        let at = |step: i32| f64::from(step) / 200.0;
        let best = (0..1200).map(|step| self.speed(at(step))).fold(0.0, f64::max);
        (0..1200).map(at).find(|turns| 0.99 * best <= self.speed(*turns)).unwrap_or(6.0)
    }
}

fn main() {
    println!(
        "time of one fit, ms (200 fits each; the rival is a dense grid over the same family, one knee, no stalls)"
    );
    println!(
        "{:>6} {:>10} {:>8} {:>8} {:>8} {:>12}",
        "holds", "errors", "min", "median", "max", "grid rival"
    );
    for count in [1, 5, 9, 14] {
        for stated in [true, false] {
            let mut times = Vec::new();
            let mut rival = Vec::new();
            for seed in 0..200 {
                let holds = held(&Machine::drawn(&mut Dice(seed)), count, stated, seed).0;
                let begun = Instant::now();
                let answer =
                    sweep(&holds, &Question::new(Screw::Fuel)).expect("running holds have an answer");
                times.push(1e3 * begun.elapsed().as_secs_f64());
                assert!((0.0..=6.0).contains(&answer.value.edge.best.0));
                let begun = Instant::now();
                assert!((0.0..=6.0).contains(&grid(&holds)));
                rival.push(1e3 * begun.elapsed().as_secs_f64());
            }
            let (least, middle, most) = spread(&mut times);
            let words = if stated { "stated" } else { "not stated" };
            println!(
                "{count:>6} {words:>10} {least:>8.2} {middle:>8.2} {most:>8.2} {:>12.2}",
                spread(&mut rival).1
            );
        }
    }
    println!(
        "\nerror of the edge, turns (300 machines, up to 9 holds where the fit asks for them, 5 rpm, hand 0.04 turn, drift)"
    );
    println!("{:>34} {:>8} {:>8} {:>8}", "", "median", "p90", "covers");
    let (mut ours, mut within, mut best, mut first, mut count) = (Vec::new(), 0, Vec::new(), Vec::new(), 0);
    for seed in 1000..1300 {
        let machine = Machine::drawn(&mut Dice(seed));
        let truth = machine.edge();
        let (holds, answer) = followed(&machine, seed);
        count += holds.len();
        within += i32::from(answer.0 <= truth && truth <= answer.2);
        ours.push((answer.1 - truth).abs());
        best.push((fastest(&holds) - truth).abs());
        first.push((leanest_within(&holds) - truth).abs());
    }
    let row = |words: &str, errors: &mut Vec<f64>, covers: String| {
        errors.sort_by(f64::total_cmp);
        println!("{words:>34} {:>8.3} {:>8.3} {covers:>8}", errors[150], errors[270]);
    };
    row("this fit", &mut ours, format!("{:.2}", f64::from(within) / 300.0));
    row("the fastest reading", &mut best, "–".into());
    row("leanest reading within 1 % of it", &mut first, "–".into());
    println!("holds taken on average: {:.1}", count as f64 / 300.0);
}

fn reading(machine: &Machine, turns: f64, index: usize, stated: bool, dice: &mut Dice) -> Hold {
    let really = turns + 0.04 * dice.normal();
    let rpm = machine.speed(really) + machine.drift * index as f64 * 0.75 + 5.0 * dice.normal();
    let outcome = Outcome::Ran { rpm: rpm.max(100.0), se_rpm: stated.then_some(5.0) };
    Hold { turns: TurnsOut(turns), outcome, at_s: Some(45.0 * index as f64), block: 0, as_found: index == 0 }
}

fn held(machine: &Machine, count: usize, stated: bool, seed: u64) -> (Vec<Hold>, f64) {
    let mut dice = Dice(seed ^ 0xabcd);
    let edge = machine.edge();
    let places = [0.3, -0.3, 1.0, 0.0, 0.5, -0.2, 0.3, 1.5, 0.2, -0.4, 0.1, 0.8, 0.0, 2.0];
    let grid = |turns: f64| (turns.clamp(0.0, 4.5) * 8.0).round() / 8.0;
    let holds = places.iter().take(count).enumerate();
    (
        holds
            .map(|(index, beside)| reading(machine, grid(edge + beside), index, stated, &mut dice))
            .collect(),
        edge,
    )
}

fn followed(machine: &Machine, seed: u64) -> (Vec<Hold>, (f64, f64, f64)) {
    let mut dice = Dice(seed ^ 0x1234);
    let mut holds: Vec<Hold> = Vec::new();
    let mut next = ((machine.edge() + dice.between(-0.4, 1.0)).clamp(0.5, 4.0) * 8.0).round() / 8.0;
    loop {
        holds.push(reading(machine, next, holds.len(), true, &mut dice));
        let answer = sweep(&holds, &Question::new(Screw::Fuel)).expect("running holds have an answer").value;
        match answer.next {
            Some(to) if holds.len() < 9 => next = to.0,
            _ => return (holds, (answer.edge.low.0, answer.edge.best.0, answer.edge.high.0)),
        }
    }
}

fn speeds(holds: &[Hold]) -> impl Iterator<Item = (f64, f64)> {
    holds.iter().filter_map(|hold| match hold.outcome {
        Outcome::Ran { rpm, .. } => Some((hold.turns.0, rpm)),
        Outcome::Stalled(_) => None,
    })
}

fn fastest(holds: &[Hold]) -> f64 {
    speeds(holds).max_by(|a, b| a.1.total_cmp(&b.1)).map_or(0.0, |held| held.0)
}

fn leanest_within(holds: &[Hold]) -> f64 {
    let best = speeds(holds).map(|held| held.1).fold(0.0, f64::max);
    speeds(holds).filter(|held| 0.99 * best <= held.1).map(|held| held.0).fold(6.0, f64::min)
}

/// The rival for time: least squares over a dense grid of one knee: edge, width, lean slope, droop.
fn grid(holds: &[Hold]) -> f64 {
    let held: Vec<(f64, f64)> = speeds(holds).collect();
    let mut best = (f64::INFINITY, 0.0);
    for edge in (0..97).map(|step| f64::from(step) / 16.0) {
        for width in [0.05, 0.1, 0.2, 0.4] {
            for slope in (0..16).map(|step| 0.02 * f64::from(step)) {
                for droop in [0.0, 0.01, 0.02, 0.04] {
                    let shape = |turns: f64| {
                        let lean = width * (1.0 + ((edge - turns) / width).exp()).ln();
                        1.0 - slope * lean - droop * (turns - edge - 0.5).max(0.0)
                    };
                    let level =
                        held.iter().map(|h| h.1 / shape(h.0).max(0.1)).sum::<f64>() / held.len() as f64;
                    let off: f64 = held.iter().map(|h| (h.1 - level * shape(h.0)).powi(2)).sum();
                    if off < best.0 {
                        best = (off, edge);
                    }
                }
            }
        }
    }
    best.1
}

fn spread(values: &mut [f64]) -> (f64, f64, f64) {
    values.sort_by(f64::total_cmp);
    (values[0], values[values.len() / 2], values[values.len() - 1])
}
