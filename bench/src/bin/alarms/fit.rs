//! A logistic model of second degree, fitted by Newton's steps with a ridge.

use std::collections::BTreeMap;

use bellmouth_core::sound::constants::FAR_OUT;
use bellmouth_core::sound::witness::{NAMES, WITNESSES};

/// Terms of the model: the odds at the mean, each witness, and the product of any two.
const TERMS: usize = 1 + WITNESSES + WITNESSES * (WITNESSES + 1) / 2;
/// Ridge on every term but the first, in units of rows of weight 1.
const RIDGE: f64 = 40.0;
/// What of its weight the group of engines at wrong speeds keeps: to tell those from right ones is the comb's
/// business, and an engine at twice its speed bears witness much like one that is right.
const WRONG: f64 = 0.2;
/// Weight of a group of rows: groups count alike, however many rows they have.
const GROUP: f64 = 400.0;

struct Row {
    engine: bool,
    group: String,
    /// Rows of one clip are left out together.
    fold: usize,
    live: bool,
    witnesses: [f64; WITNESSES],
    weight: f64,
}

/// Mean and spread of each witness, and the weights of the terms.
struct Model {
    scale: [(f64, f64); WITNESSES],
    weights: [f64; TERMS],
}

impl Model {
    fn terms(scale: &[(f64, f64); WITNESSES], witnesses: &[f64; WITNESSES]) -> [f64; TERMS] {
        let mut standard = [1.0; WITNESSES + 1];
        for ((standard, witness), (mean, spread)) in standard[1..].iter_mut().zip(witnesses).zip(scale) {
            *standard = ((witness - mean) / spread).clamp(-FAR_OUT, FAR_OUT);
        }
        // Row by row as the block of constants has them: a witness alone, then with each up to itself.
        let mut terms = [1.0; TERMS];
        let mut at = 1;
        for one in 1..=WITNESSES {
            for other in 0..=one {
                terms[at] = standard[one] * standard[other];
                at += 1;
            }
        }
        terms
    }

    fn log_odds(&self, witnesses: &[f64; WITNESSES]) -> f64 {
        let terms = Model::terms(&self.scale, witnesses);
        terms.iter().zip(&self.weights).map(|(term, weight)| term * weight).sum()
    }

    fn fitted(rows: &[&Row]) -> Model {
        let all: f64 = rows.iter().map(|row| row.weight).sum();
        let scale: [(f64, f64); WITNESSES] = std::array::from_fn(|i| {
            let mean = rows.iter().map(|row| row.weight * row.witnesses[i]).sum::<f64>() / all;
            let square = rows.iter().map(|row| row.weight * (row.witnesses[i] - mean).powi(2)).sum::<f64>();
            (mean, (square / all).sqrt().max(1e-6))
        });
        let terms: Vec<[f64; TERMS]> = rows.iter().map(|row| Model::terms(&scale, &row.witnesses)).collect();
        let mut weights = [0.0; TERMS];
        for _ in 0..25 {
            let mut slope = [0.0; TERMS];
            let mut bend = vec![[0.0; TERMS]; TERMS];
            for (row, terms) in rows.iter().zip(&terms) {
                let sum: f64 = terms.iter().zip(&weights).map(|(term, weight)| term * weight).sum();
                let p = 1.0 / (1.0 + (-sum).exp());
                let off = row.weight * (f64::from(u8::from(row.engine)) - p);
                let sharp = row.weight * (p * (1.0 - p)).max(1e-6);
                for i in 0..TERMS {
                    slope[i] += off * terms[i];
                    let share = sharp * terms[i];
                    bend[i][..=i].iter_mut().zip(terms).for_each(|(bend, term)| *bend += share * term);
                }
            }
            for i in 1..TERMS {
                slope[i] -= RIDGE * weights[i];
                bend[i][i] += RIDGE;
            }
            let step = solved(bend, slope);
            let longest = step.iter().fold(0.0_f64, |longest, x| longest.max(x.abs()));
            // A step may not leap: far from the optimum the bend says too little.
            let share = (2.0 / longest).min(1.0);
            weights.iter_mut().zip(&step).for_each(|(weight, step)| *weight += share * step);
            if longest < 1e-6 {
                break;
            }
        }
        Model { scale, weights }
    }
}

/// Solves a symmetric system, of which the lower half is given, by Cholesky's factors.
fn solved(mut a: Vec<[f64; TERMS]>, mut b: [f64; TERMS]) -> [f64; TERMS] {
    for i in 0..TERMS {
        for j in 0..=i {
            let sum: f64 = (0..j).map(|k| a[i][k] * a[j][k]).sum();
            a[i][j] = if i == j { (a[i][i] - sum).max(1e-12).sqrt() } else { (a[i][j] - sum) / a[j][j] };
        }
    }
    for i in 0..TERMS {
        let sum: f64 = (0..i).map(|k| a[i][k] * b[k]).sum();
        b[i] = (b[i] - sum) / a[i][i];
    }
    for i in (0..TERMS).rev() {
        let sum: f64 = (i + 1..TERMS).map(|k| a[k][i] * b[k]).sum();
        b[i] = (b[i] - sum) / a[i][i];
    }
    b
}

/// Fits, tries on what was left out, prints the constants.
pub fn fit(paths: &[String]) {
    let rows: Vec<Row> = weighed(paths.iter().flat_map(|path| read(path)).collect());
    let mut left_out = vec![0.0; rows.len()];
    for fold in 0..2 {
        let others: Vec<&Row> = rows.iter().filter(|row| row.fold != fold).collect();
        let model = Model::fitted(&others);
        for (row, odds) in rows.iter().zip(&mut left_out).filter(|(row, _)| row.fold == fold) {
            *odds = model.log_odds(&row.witnesses);
        }
    }
    table(&rows, &left_out);
    let model = Model::fitted(&rows.iter().collect::<Vec<_>>());
    println!("\n/// Logarithm of the odds where every witness is at its mean.");
    println!("pub const VERDICT_BIAS: f64 = {:.4};", model.weights[0]);
    println!("/// Mean and spread of each witness among those that the verdict was fitted to.");
    println!("pub const USUAL: [(f64, f64); {WITNESSES}] = [");
    model.scale.iter().for_each(|(mean, spread)| println!("    ({mean:.4}, {spread:.4}),"));
    println!(
        "];\n/// Weights of the verdict: for each witness of itself, and of its product with each up to itself."
    );
    println!("pub const WEIGHTS: [[f64; {}]; {WITNESSES}] = [", WITNESSES + 1);
    let mut at = 1;
    for (place, name) in NAMES.iter().enumerate() {
        let weights: Vec<String> =
            (0..=WITNESSES)
                .map(|other| {
                    if other <= place + 1 {
                        format!("{:.3}", model.weights[at + other])
                    } else {
                        "0.0".into()
                    }
                })
                .collect();
        println!("    // {name}\n    [{}],", weights.join(", "));
        at += place + 2;
    }
    println!("];");
}

fn read(path: &str) -> Vec<Row> {
    let text = std::fs::read_to_string(path).unwrap_or_else(|error| panic!("{path}: {error}"));
    text.lines()
        .skip(1)
        .map(|line| {
            let mut words = line.split(' ');
            let mut word = || words.next().unwrap_or_else(|| panic!("{path}: a row is too short: {line}"));
            let (label, group, clip, kind) = (word(), word(), word(), word());
            let hash = clip.bytes().fold(7_u64, |hash, byte| hash.wrapping_mul(31) ^ u64::from(byte));
            Row {
                engine: label == "1",
                group: group.to_owned(),
                fold: (hash % 2) as usize,
                live: kind == "live",
                witnesses: std::array::from_fn(|_| word().parse().expect("a number")),
                weight: 1.0,
            }
        })
        .collect()
}

/// Weighs rows so that every group counts alike.
fn weighed(mut rows: Vec<Row>) -> Vec<Row> {
    let mut counts: BTreeMap<String, f64> = BTreeMap::new();
    for row in &rows {
        *counts.entry(row.group.clone()).or_default() += 1.0;
    }
    for row in &mut rows {
        // A small group is not blown up, lest its few rows rule.
        row.weight = (GROUP / counts[&row.group]).min(2.0);
        row.weight *= if row.group == "wrong" { WRONG } else { 1.0 };
    }
    rows
}

/// Shares of each group above some thresholds, by rows that the model had not seen.
fn table(rows: &[Row], odds: &[f64]) {
    const AT: [f64; 7] = [0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0];
    println!("Rows left out of the fit: share above a threshold\n{:<30} {:>7} {:>8}", "", "rows", "highest");
    println!("{:<30} {:>7} {:>8} {}", "", "", "", AT.map(|at| format!("{at:>7.1}")).join(" "));
    let mut groups: BTreeMap<(bool, bool, &str), Vec<f64>> = BTreeMap::new();
    for (row, odds) in rows.iter().zip(odds) {
        groups.entry((row.engine, row.live, &row.group)).or_default().push(*odds);
        let all = if row.engine { "engines" } else { "no engine" };
        groups.entry((row.engine, row.live, all)).or_default().push(*odds);
    }
    for ((_, live, group), odds) in groups {
        let highest = odds.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let share = |at: f64| odds.iter().filter(|odds| at < **odds).count() as f64 / odds.len() as f64;
        let kind = if live { "live" } else { "stored" };
        println!(
            "{group:<23} {kind:<6} {:>7} {highest:>8.2} {}",
            odds.len(),
            AT.map(|at| format!("{:>7.4}", share(at))).join(" ")
        );
    }
}
