//! Edges hidden in machines that the fit knows nothing of, found again.

#[path = "idle/machines.rs"]
mod machines;

use bellmouth_core::idle::{Question, sweep};
use bellmouth_core::quantity::Screw;
use machines::{Bench, Dice, Kind, Machine};

/// Holds after which a sweep is scored, whether or not it calls itself enough.
const MOST_HOLDS: usize = 9;

/// What came of many sweeps.
#[derive(Default)]
struct Score {
    sweeps: usize,
    covered: usize,
    errors: Vec<f64>,
    half_widths: Vec<f64>,
    holds: usize,
    enough: usize,
    stalls: usize,
}

impl Score {
    fn coverage(&self) -> f64 {
        self.covered as f64 / self.sweeps as f64
    }

    fn error(&self, share: f64) -> f64 {
        quantile(&self.errors, share)
    }
}

fn quantile(values: &[f64], share: f64) -> f64 {
    let mut values = values.to_vec();
    values.sort_by(f64::total_cmp);
    values[((values.len() - 1) as f64 * share).round() as usize]
}

/// Sweeps `count` machines, following the advice from a position near the plateau.
fn score(name: &str, count: u64, kind: Kind, screw: Screw, spoil: impl Fn(&mut Bench)) -> Score {
    let mut score = Score::default();
    for seed in 0..count {
        let mut dice = Dice::new(1000 * name.len() as u64 + seed);
        let machine = Machine::draw(kind, screw, &mut dice);
        let edge = machine.true_edge();
        let richer = dice.between(-0.1, 1.0);
        let found = if screw == Screw::Fuel { edge + richer } else { edge - richer };
        let found = ((found * 8.0).round() / 8.0).clamp(0.25, 4.25);
        let mut bench = Bench::new(machine, dice);
        spoil(&mut bench);
        bench.hold(found);
        let question = Question::new(screw);
        let answer = loop {
            let answer =
                sweep(&bench.holds, &question).expect("a sweep with a running hold has an answer").value;
            match answer.next {
                Some(next) if bench.holds.len() < MOST_HOLDS => bench.hold(next.0),
                _ => break answer,
            }
        };
        score.sweeps += 1;
        score.covered += usize::from(answer.edge.low.0 <= edge && edge <= answer.edge.high.0);
        score.errors.push((answer.edge.best.0 - edge).abs());
        score.half_widths.push(0.5 * (answer.edge.high.0 - answer.edge.low.0));
        score.holds += bench.holds.len();
        score.enough += usize::from(answer.enough);
        score.stalls += bench.stalls;
        if std::env::var("SHOW").is_ok() {
            let tried: Vec<String> = bench
                .holds
                .iter()
                .map(|h| match h.outcome {
                    bellmouth_core::idle::Outcome::Ran { rpm, .. } => format!("{}:{:.0}", h.turns.0, rpm),
                    _ => format!("{}:dead", h.turns.0),
                })
                .collect();
            println!(
                "  edge {edge:.2} got {:.2} [{:.2},{:.2}] {} {}",
                answer.edge.best.0,
                answer.edge.low.0,
                answer.edge.high.0,
                answer.verdicts[0].name,
                tried.join(" ")
            );
        }
    }
    println!(
        "{name:>24}: {} sweeps, coverage {:.2}, error median {:.3} p90 {:.3}, half width median {:.3}, holds {:.1}, enough {:.2}, stalls {}",
        score.sweeps,
        score.coverage(),
        score.error(0.5),
        score.error(0.9),
        quantile(&score.half_widths, 0.5),
        score.holds as f64 / score.sweeps as f64,
        score.enough as f64 / score.sweeps as f64,
        score.stalls,
    );
    score
}

#[test]
fn recovers_all() {
    let n: u64 = std::env::var("N").ok().and_then(|v| v.parse().ok()).unwrap_or(30);
    let t = std::time::Instant::now();
    if std::env::var("ONLY_FLAT").is_ok() {
        score("flat plateau", n, Kind::FlatPlateau, Screw::Fuel, |_| {});
        return;
    }
    score("knee", n, Kind::Knee, Screw::Fuel, |_| {});
    score("balance", n, Kind::Balance, Screw::Fuel, |_| {});
    score("flat plateau", n, Kind::FlatPlateau, Screw::Fuel, |_| {});
    score("sloped rich", n, Kind::SlopedRich, Screw::Fuel, |_| {});
    score("air screw", n, Kind::Balance, Screw::Air, |_| {});
    score("drift", n, Kind::Balance, Screw::Fuel, |b| b.drift_rpm_per_min = 5.0);
    score("outlier", n, Kind::Balance, Screw::Fuel, |b| b.outlier = Some((4, -45.0)));
    score("lean stall", n, Kind::Balance, Screw::Fuel, |b| {
        let e = b.machine.true_edge();
        b.hold(((e - 1.3).max(0.0) * 8.0).round() / 8.0);
    });
    println!("{:?}", t.elapsed());
}
