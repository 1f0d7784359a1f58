//! Fits the net of the verdict to rows of witnesses, tries it on rows left out, prints the constants.

use std::collections::BTreeMap;

use bellmouth_core::sound::constants::POOL_MOST;
use bellmouth_core::sound::witness::WITNESSES;

use crate::net::{Net, Row};

/// Weight of the group of engines at wrong speeds, beside 1 of every other group: to tell those from right ones is
/// the comb's business, but what is heard wrong is no better than what is heard of nothing.
const WRONG: f64 = 3.0;
/// The same of engines made of recorded pulses: the nearest there is to a recording whose speed is known.
const RECORDED: f64 = 2.0;
/// Rows from which a group counts in full: a small one is not blown up, lest its few rows rule.
const FULL_ROWS: f64 = 300.0;

/// A row, and what is known of it beside its witnesses.
struct Told {
    row: Row,
    group: String,
    clip: String,
    /// Rows of one take are left out together.
    fold: usize,
    live: bool,
}

/// Fits, tries on what was left out, prints the constants.
pub fn fit(paths: &[String]) {
    let mut told: Vec<Told> = paths.iter().flat_map(|path| read(path)).collect();
    weigh(&mut told);
    let mut left_out = vec![0.0; told.len()];
    for fold in 0..2 {
        let others: Vec<&Row> = told.iter().filter(|told| told.fold != fold).map(|told| &told.row).collect();
        let net = Net::fitted(&others);
        for (told, odds) in told.iter().zip(&mut left_out).filter(|(told, _)| told.fold == fold) {
            *odds = net.log_odds(&told.row.witnesses);
        }
    }
    table(&told, &left_out);
    takes(&told, &left_out);
    print(&Net::fitted(&told.iter().map(|told| &told.row).collect::<Vec<_>>()));
}

/// The file of constants, as `sound/constants/fitted.rs` has it but for the breaks of its lines.
fn print(net: &Net) {
    println!(
        "//! The weights of the verdict, as `bench --bin alarms -- --fit` prints them: numbers without a meaning of their own.\n"
    );
    println!("/// Hidden units of the verdict.");
    println!("pub const HIDDEN: usize = {};", net.units().count());
    println!("/// Logarithm of the odds where no hidden unit speaks.");
    println!("pub const VERDICT_BIAS: f64 = {:.3};", net.bias());
    println!("/// Mean and spread of each witness among those that the verdict was fitted to.");
    println!("pub const USUAL: [(f64, f64); {WITNESSES}] = [");
    net.scale.iter().for_each(|(mean, spread)| println!("    ({mean:.4}, {spread:.4}),"));
    println!("];");
    println!("/// Weights of its hidden units: a threshold, each witness, and what the unit counts for.");
    println!(
        "#[allow(clippy::approx_constant, reason = \"fitted numbers are near to some constants by chance\")]"
    );
    println!("pub const UNITS: [[f64; {}]; HIDDEN] = [", WITNESSES + 2);
    for unit in net.units() {
        let weights: Vec<String> = unit.iter().map(|weight| format!("{weight:.3}")).collect();
        println!("    [{}],", weights.join(", "));
    }
    println!("];");
}

fn read(path: &str) -> Vec<Told> {
    let text = std::fs::read_to_string(path).unwrap_or_else(|error| panic!("{path}: {error}"));
    text.lines()
        .skip(1)
        .map(|line| {
            let mut words = line.split(' ');
            let mut word = || words.next().unwrap_or_else(|| panic!("{path}: a row is too short: {line}"));
            let (label, group, clip, kind, _t_s) = (word(), word(), word(), word(), word());
            // A take is the same whatever listened to it.
            let take = clip.split('~').next().unwrap_or(clip);
            let hash = take.bytes().fold(7_u32, |hash, byte| hash.wrapping_mul(31) ^ u32::from(byte));
            Told {
                group: group.to_owned(),
                clip: clip.to_owned(),
                fold: (hash.wrapping_mul(0x9E37_79B1) >> 31) as usize,
                live: kind == "live",
                row: Row {
                    engine: label == "1",
                    weight: 1.0,
                    witnesses: std::array::from_fn(|_| word().parse().expect("a number")),
                },
            }
        })
        .collect()
}

/// Weighs rows so that every group counts alike, and engines as much as what is none.
fn weigh(told: &mut [Told]) {
    let key = |told: &Told| (told.row.engine, told.live, told.group.clone());
    let mut counts: BTreeMap<_, f64> = BTreeMap::new();
    told.iter().for_each(|told| *counts.entry(key(told)).or_default() += 1.0);
    let mut sums = [0.0; 2];
    for told in &mut *told {
        let weight = match told.group.as_str() {
            "wrong" => WRONG,
            group if group.starts_with("pulses") => RECORDED,
            _ => 1.0,
        };
        told.row.weight = weight / counts[&key(told)].max(FULL_ROWS);
        sums[usize::from(told.row.engine)] += told.row.weight;
    }
    let half = 0.5 * told.len() as f64;
    for told in told {
        told.row.weight *= half / sums[usize::from(told.row.engine)];
    }
}

/// Shares of each group above some thresholds, by rows that the model had not seen.
fn table(told: &[Told], odds: &[f64]) {
    const AT: [f64; 7] = [0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0];
    eprintln!("Rows left out of the fit: share above a threshold\n{:<30} {:>7} {:>8}", "", "rows", "highest");
    eprintln!("{:<30} {:>7} {:>8} {}", "", "", "", AT.map(|at| format!("{at:>7.1}")).join(" "));
    let mut groups: BTreeMap<(bool, bool, &str), Vec<f64>> = BTreeMap::new();
    for (told, odds) in told.iter().zip(odds) {
        let engine = told.row.engine;
        groups.entry((engine, told.live, &told.group)).or_default().push(*odds);
        let all = if engine { "engines" } else { "no engine" };
        groups.entry((engine, told.live, all)).or_default().push(*odds);
    }
    for ((_, live, group), odds) in groups {
        let highest = odds.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let kind = if live { "live" } else { "stored" };
        eprintln!("{group:<23} {kind:<6} {:>7} {highest:>8.2} {}", odds.len(), shares(&odds, AT));
    }
}

/// The share of some values above each threshold.
fn shares<const N: usize>(values: &[f64], at: [f64; N]) -> String {
    let share = |at: f64| values.iter().filter(|value| at < **value).count() as f64 / values.len() as f64;
    at.map(|at| format!("{:>7.4}", share(at))).join(" ")
}

/// Shares of takes whose mean is above some thresholds, by nets that had not heard them: what a run of frames comes to.
fn takes(told: &[Told], odds: &[f64]) {
    const AT: [f64; 8] = [-1.0, -0.5, 0.0, 0.3, 0.6, 1.0, 1.5, 2.0];
    let mut takes: BTreeMap<(&str, &str, bool), (f64, f64)> = BTreeMap::new();
    for (told, odds) in told.iter().zip(odds).filter(|(told, _)| !told.live) {
        let take = takes.entry((&told.group, &told.clip, told.row.engine)).or_default();
        *take = (take.0 + odds.clamp(-POOL_MOST, POOL_MOST), take.1 + 1.0);
    }
    let mut groups: BTreeMap<(bool, &str), Vec<f64>> = BTreeMap::new();
    for ((group, _, engine), (sum, count)) in takes {
        if count < 20.0 {
            continue;
        }
        let kind = if engine { group.split('-').next().unwrap_or(group) } else { group };
        groups.entry((engine, kind)).or_default().push(sum / count);
        groups.entry((engine, if engine { "engines" } else { "no engine" })).or_default().push(sum / count);
    }
    eprintln!(
        "Takes: share of means above a threshold\n{:<30} {:>7} {}",
        "",
        "takes",
        AT.map(|at| format!("{at:>7.1}")).join(" ")
    );
    for ((_, group), means) in groups {
        eprintln!("{group:<30} {:>7} {}", means.len(), shares(&means, AT));
    }
}
