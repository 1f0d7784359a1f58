//! What came of many sweeps, as a table.

use crate::machines::Subject;
use crate::person::Person;

/// What came of one.
pub(crate) struct Outcome {
    /// Where it says the edge is, and where it is; `None` where nothing is fastest.
    error_turns: Option<f64>,
    edge_turns: Option<f64>,
    pub(crate) interval: Option<(f64, f64)>,
    pub(crate) enough: Option<bool>,
    pub(crate) verdict: Option<&'static str>,
    holds: usize,
    minutes: f64,
    stalls: usize,
    has_no_edge: bool,
    is_starved: bool,
    is_air_screw: bool,
}

impl Outcome {
    pub(crate) fn of(subject: &Subject, person: &Person, edge_turns: f64) -> Self {
        Outcome {
            error_turns: subject.edge_turns.map(|truth| (edge_turns - truth).abs()),
            edge_turns: subject.edge_turns,
            interval: None,
            enough: None,
            verdict: None,
            holds: person.holds,
            minutes: person.minutes(),
            stalls: person.stalls,
            has_no_edge: subject.has_no_edge(),
            is_starved: subject.is_starved(),
            is_air_screw: person.screw() == bellmouth_core::quantity::Screw::Air,
        }
    }

    fn covers(&self) -> Option<bool> {
        let ((low, high), truth) = self.interval.zip(self.edge_turns)?;
        Some(low - 1e-9 <= truth && truth <= high + 1e-9)
    }
}

/// The table.
pub(crate) struct Table;

impl Table {
    pub(crate) const HEAD: &str = "method                          sweeps  holds  minutes  median   p90   90 % interval covers   stalls in 20  said enough";

    pub(crate) fn print(name: &str, outcomes: &[Outcome]) {
        let all: Vec<&Outcome> = outcomes.iter().filter(|outcome| !outcome.is_starved).collect();
        Table::row(name, &all);
    }

    /// The same, by what kind of edge there is; and the machines judged by verdict.
    pub(crate) fn print_parts(outcomes: &[Outcome]) {
        let part = |of: &dyn Fn(&Outcome) -> bool| -> Vec<&Outcome> {
            outcomes.iter().filter(|outcome| !outcome.is_starved && of(outcome)).collect()
        };
        Table::row("  fuel screw, edge in reach", &part(&|o| !o.has_no_edge && !o.is_air_screw));
        Table::row("  air screw, edge in reach", &part(&|o| !o.has_no_edge && o.is_air_screw));
        Table::row("  no edge in reach", &part(&|o| o.has_no_edge));
        Table::row("  that said enough", &part(&|o| o.enough == Some(true)));
        let starved: Vec<&Outcome> = outcomes.iter().filter(|outcome| outcome.is_starved).collect();
        let told = starved.iter().filter(|outcome| outcome.verdict == Some("starved")).count();
        println!(
            "    fastest at the rich end: {} machines, the first verdict says starved on {told}",
            starved.len()
        );
    }

    fn row(name: &str, outcomes: &[&Outcome]) {
        let mut errors: Vec<f64> = outcomes.iter().filter_map(|outcome| outcome.error_turns).collect();
        if errors.is_empty() {
            return;
        }
        errors.sort_by(f64::total_cmp);
        let quantile = |share: f64| errors[((errors.len() - 1) as f64 * share).round() as usize];
        let count = outcomes.len() as f64;
        let mean = |of: &dyn Fn(&Outcome) -> f64| outcomes.iter().map(|o| of(o)).sum::<f64>() / count;
        let covers: Vec<bool> = outcomes.iter().filter_map(|outcome| outcome.covers()).collect();
        let covers = if covers.is_empty() {
            "–".to_owned()
        } else {
            let hits = covers.iter().filter(|&&hit| hit).count();
            let (low, high) = wilson(hits, covers.len());
            format!("{:.3} ({low:.3} to {high:.3})", hits as f64 / covers.len() as f64)
        };
        let enough: Vec<bool> = outcomes.iter().filter_map(|outcome| outcome.enough).collect();
        let enough = if enough.is_empty() {
            "–".to_owned()
        } else {
            format!("{:.2}", enough.iter().filter(|&&said| said).count() as f64 / enough.len() as f64)
        };
        println!(
            "{name:<31} {:>6}  {:>5.1}  {:>7.1}  {:>6.3} {:>5.2}   {covers:>22}   {:>12.2}  {enough:>11}",
            outcomes.len(),
            mean(&|o| o.holds as f64),
            mean(&|o| o.minutes),
            quantile(0.5),
            quantile(0.9),
            20.0 * mean(&|o| o.stalls as f64),
        );
    }
}

/// Wilson's 95 % interval of a share.
fn wilson(hits: usize, of: usize) -> (f64, f64) {
    let (n, p, z) = (of as f64, hits as f64 / of as f64, 1.96);
    let middle = (p + z * z / (2.0 * n)) / (1.0 + z * z / n);
    let half = z / (1.0 + z * z / n) * (p * (1.0 - p) / n + z * z / (4.0 * n * n)).sqrt();
    (middle - half, middle + half)
}
