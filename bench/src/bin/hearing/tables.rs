//! Tables of scores.

use std::collections::BTreeMap;

use bellmouth_core::practice::Dice;

use crate::Outcome;
use crate::score::{Score, median};

/// Mean over clips of a share, clips that have none left out.
fn mean(scores: &[&Score], share: impl Fn(&Score) -> f64) -> f64 {
    let values: Vec<f64> =
        scores.iter().map(|score| share(score)).filter(|share| share.is_finite()).collect();
    values.iter().sum::<f64>() / values.len() as f64
}

fn median_of(scores: &[&Score], value: impl Fn(&Score) -> f64) -> f64 {
    median(&mut scores.iter().map(|score| value(score)).filter(|value| value.is_finite()).collect::<Vec<_>>())
}

/// Share of frames heard whose truth lies within the stated spread.
fn calibration(scores: &[&Score]) -> f64 {
    let (inside, heard) =
        scores.iter().fold((0, 0), |sum, score| (sum.0 + score.inside.0, sum.1 + score.inside.1));
    inside as f64 / heard as f64
}

pub const COLUMNS: &str =
    "clips |  ≤1 %  ≤2 % | >10 % of heard | unheard doubt. | ≤2 % >10 % any | median  in 90 % | delay ms";

/// One row: the columns of [`COLUMNS`].
pub fn row(scores: &[&Score]) -> String {
    format!(
        "{:>5} | {:.3} {:.3} | {:.3}   {:.3}  |  {:.3}  {:.3} | {:.3} {:.3}     | {:>6.2}   {:>5}  | {:>6.0}",
        scores.len(),
        mean(scores, |s| s.within_1),
        mean(scores, |s| s.within_2),
        mean(scores, |s| s.gross),
        mean(scores, |s| s.gross_of_heard),
        mean(scores, |s| s.not_heard),
        mean(scores, |s| s.doubtful),
        mean(scores, |s| s.within_2_any),
        mean(scores, |s| s.gross_any),
        median_of(scores, |s| s.median_rpm),
        Some(calibration(scores))
            .filter(|share| *share > 0.0)
            .map_or("–".to_owned(), |share| format!("{share:.3}")),
        1e3 * mean(scores, |s| s.delay_s),
    )
}

/// A table of groups: without a word about speed, and beside it with one.
pub fn grouped(title: &str, outcomes: &[&Outcome], key: impl Fn(&Outcome) -> String) {
    let mut groups: Vec<(String, Vec<&Outcome>)> = Vec::new();
    for outcome in outcomes {
        let name = key(outcome);
        match groups.iter_mut().find(|group| group.0 == name) {
            Some(group) => group.1.push(outcome),
            None => groups.push((name, vec![outcome])),
        }
    }
    println!("\n{title}");
    println!("{:<20} {COLUMNS} | × time | speed said: ≤2 %  >10 %  unheard doubt. >10 % any", "");
    for (name, group) in groups {
        let plain: Vec<&Score> = group.iter().map(|outcome| &outcome.plain).collect();
        let told: Vec<&Score> = group.iter().map(|outcome| &outcome.told).collect();
        println!(
            "{name:<20} {} | {:>6.0} |             {:.3} {:.3}  {:.3}   {:.3}  {:.3}",
            row(&plain),
            group.iter().map(|outcome| outcome.times_real).sum::<f64>() / group.len() as f64,
            mean(&told, |s| s.within_2),
            mean(&told, |s| s.gross),
            mean(&told, |s| s.not_heard),
            mean(&told, |s| s.doubtful),
            mean(&told, |s| s.gross_any),
        );
    }
}

/// Headline figures with 90 % intervals by bootstrap over clips.
pub fn headline(name: &str, outcomes: &[&Outcome]) {
    if outcomes.is_empty() {
        return;
    }
    println!("\n{name}: {} clips, 90 % intervals by bootstrap over clips", outcomes.len());
    type Figure = fn(&[&Score]) -> f64;
    let figures: [(&str, Figure); 8] = [
        ("within 1 %", |s| mean(s, |s| s.within_1)),
        ("within 2 %", |s| mean(s, |s| s.within_2)),
        ("within 2 %, whatever the verdict", |s| mean(s, |s| s.within_2_any)),
        ("off by > 10 %", |s| mean(s, |s| s.gross)),
        ("off by > 10 %, whatever the verdict", |s| mean(s, |s| s.gross_any)),
        ("not heard or doubtful", |s| mean(s, |s| s.not_heard + s.doubtful)),
        ("median error, rpm", |s| median_of(s, |s| s.median_rpm)),
        ("truth within ±1.645 sd", calibration),
    ];
    println!("  {:<36} {:<26} speed said", "", "nothing said");
    for (words, figure) in figures {
        let both = [
            interval(&outcomes.iter().map(|o| &o.plain).collect::<Vec<_>>(), figure),
            interval(&outcomes.iter().map(|o| &o.told).collect::<Vec<_>>(), figure),
        ];
        println!("  {words:<36} {:<26} {}", both[0], both[1]);
    }
}

fn interval(scores: &[&Score], figure: fn(&[&Score]) -> f64) -> String {
    let mut dice = Dice::new(90);
    let mut drawn: Vec<f64> = (0..1000)
        .map(|_| {
            let again: Vec<&Score> = (0..scores.len()).map(|_| dice.one_of(scores)).collect();
            figure(&again)
        })
        .collect();
    drawn.sort_by(f64::total_cmp);
    format!("{:.3} ({:.3} to {:.3})", figure(scores), drawn[50], drawn[949])
}

/// Simple ratios that a wrong speed may have to the right one.
const RATIOS: [(&str, f64); 15] = [
    ("×1/6", 1.0 / 6.0),
    ("×1/4", 0.25),
    ("×1/3", 1.0 / 3.0),
    ("×1/2", 0.5),
    ("×3/5", 0.6),
    ("×2/3", 2.0 / 3.0),
    ("×3/4", 0.75),
    ("×4/5", 0.8),
    ("×5/4", 1.25),
    ("×4/3", 4.0 / 3.0),
    ("×3/2", 1.5),
    ("×2", 2.0),
    ("×3", 3.0),
    ("×4", 4.0),
    ("×6", 6.0),
];

/// The simple ratio within 3 %, or "other".
pub fn ratio_word(ratio: f64) -> &'static str {
    RATIOS.iter().find(|(_, simple)| (ratio / simple).ln().abs() < 0.03).map_or("other", |(word, _)| word)
}

/// How gross errors relate to the truth: frames by ratio.
pub fn histogram(title: &str, ratios: impl Iterator<Item = f64>) {
    let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
    let mut all = 0;
    for ratio in ratios {
        *counts.entry(ratio_word(ratio)).or_default() += 1;
        all += 1;
    }
    let mut counts: Vec<(&str, usize)> = counts.into_iter().collect();
    counts.sort_by_key(|&(_, count)| std::cmp::Reverse(count));
    let words: Vec<String> = counts.iter().map(|(word, count)| format!("{word} {count}")).collect();
    println!("{title} ({all} frames): {}", words.join(", "));
}
