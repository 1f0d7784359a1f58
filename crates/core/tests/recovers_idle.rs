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

impl Score {
    /// What every kind of machine must allow: an honest interval, a small error, few holds.
    #[track_caller]
    fn must_be_sane(&self) {
        assert!(0.80 <= self.coverage(), "coverage {}", self.coverage());
        assert!(self.error(0.5) <= 0.10, "median error {} turns", self.error(0.5));
        assert!(self.error(0.9) <= 0.25, "ninth decile of the error {} turns", self.error(0.9));
        assert!(
            quantile(&self.half_widths, 0.5) <= 0.20,
            "median half width {}",
            quantile(&self.half_widths, 0.5)
        );
        assert!(
            0.5 <= self.enough as f64 / self.sweeps as f64,
            "{} of {} said enough",
            self.enough,
            self.sweeps
        );
    }
}

#[test]
fn recovers_the_edge_of_a_knee() {
    let score = score("knee", 30, Kind::Knee, Screw::Fuel, |_| {});
    score.must_be_sane();
    assert!(score.stalls <= 1, "{} stalls", score.stalls);
}

#[test]
fn recovers_the_edge_of_a_torque_balance() {
    let score = score("torque balance", 30, Kind::Balance, Screw::Fuel, |_| {});
    score.must_be_sane();
    assert!(score.stalls <= 1, "{} stalls", score.stalls);
}

#[test]
fn recovers_the_edge_before_a_flat_plateau() {
    score("flat plateau", 40, Kind::FlatPlateau, Screw::Fuel, |_| {}).must_be_sane();
}

#[test]
fn recovers_the_edge_before_a_sloped_rich_side() {
    score("sloped rich side", 30, Kind::SlopedRich, Screw::Fuel, |_| {}).must_be_sane();
}

#[test]
fn recovers_the_edge_of_an_air_screw() {
    score("air screw", 30, Kind::Balance, Screw::Air, |_| {}).must_be_sane();
}

#[test]
fn recovers_the_edge_while_the_idle_drifts() {
    score("drift of 5 rpm a minute", 30, Kind::Balance, Screw::Fuel, |bench| bench.drift_rpm_per_min = 5.0)
        .must_be_sane();
}

#[test]
fn recovers_the_edge_with_a_spoilt_hold() {
    score("one hold 45 rpm low", 30, Kind::Balance, Screw::Fuel, |bench| bench.outlier = Some((4, -45.0)))
        .must_be_sane();
}

#[test]
fn recovers_the_edge_after_a_lean_stall() {
    let score = score("a lean stall", 30, Kind::Balance, Screw::Fuel, |bench| {
        let edge = bench.machine.true_edge();
        bench.hold(((edge - 1.3).max(0.0) * 8.0).round() / 8.0);
    });
    score.must_be_sane();
    assert!(10 <= score.stalls, "only {} engines died, so little was tested", score.stalls);
}
