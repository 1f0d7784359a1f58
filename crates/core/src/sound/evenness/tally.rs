//! From sizes of firings to what is said of them: usual strength, weak firings, variation, energy.

use super::pulses::Pulses;
use crate::sound::constants::{DEAD_BELOW, EVEN_NOISE, STRONG_SHARE, WEAK_BELOW};

/// One position of the firing pattern, over a run.
#[derive(Clone, Debug, Default)]
pub(super) struct Position {
    pub(super) firings: usize,
    pub(super) weak: usize,
    energy: f64,
    /// Squares by which firings that are not weak differ from the usual, noise taken off.
    squares: f64,
}

/// What was counted over a run.
#[derive(Clone, Debug, Default)]
pub(super) struct Tally {
    pub(super) positions: Vec<Position>,
}

/// A firing as it is judged: its strength in multiples of the usual one at its position.
pub(super) struct Judged {
    pub(super) strength: f64,
    pub(super) weak: bool,
}

impl Tally {
    pub(super) fn new(positions: usize) -> Tally {
        Tally { positions: vec![Position::default(); positions] }
    }

    /// Judges the firings of a stretch from a cycle on, in their order; none where noise hides them, or where
    /// they are no firings.
    pub(super) fn judge(&mut self, pulses: &Pulses, from_cycle: usize) -> Option<Vec<Judged>> {
        let pressure: Vec<f64> =
            (0..self.positions.len()).map(|position| pulses.energy(position).sqrt()).collect();
        let strengths = |position: usize| {
            let own = pulses.firings().iter().filter(move |firing| firing.position == position);
            own.map(|firing| f64::from(firing.size) * pressure[position]).collect::<Vec<f64>>()
        };
        let mut usual: Vec<f64> =
            (0..self.positions.len()).map(|position| usual(strengths(position))).collect();
        let most = usual.iter().copied().fold(0.0, f64::max);
        for (position, usual) in usual.iter_mut().enumerate() {
            if *usual < DEAD_BELOW * most {
                // A cylinder that never fires has no usual strength of its own: it is held against the strongest.
                *usual = most;
                continue;
            }
            let own = strengths(position);
            let strong = own.iter().filter(|&&strength| WEAK_BELOW * *usual <= strength).count();
            // So many weak ones in a cylinder that does fire: the speed is a wrong one, or the engine is.
            if (strong as f64) < STRONG_SHARE * own.len() as f64 {
                return None;
            }
        }
        let noise = pulses.noise();
        if !usual.iter().all(|&usual| noise < EVEN_NOISE * usual) {
            return None;
        }
        let judged = pulses.firings().iter().filter(|firing| from_cycle <= firing.cycle).map(|firing| {
            let position = &mut self.positions[firing.position];
            let heard = f64::from(firing.size) * pressure[firing.position];
            let usual = usual[firing.position];
            let strength = heard / usual;
            let weak = strength < WEAK_BELOW;
            position.firings += 1;
            position.weak += usize::from(weak);
            position.squares += if weak { 0.0 } else { (strength - 1.0).powi(2) - (noise / usual).powi(2) };
            position.energy += heard * heard - noise * noise;
            Judged { strength, weak }
        });
        Some(judged.collect())
    }

    pub(super) fn firings(&self) -> usize {
        self.positions.iter().map(|position| position.firings).sum()
    }

    /// Standard deviation of strength over the firings that are not weak, percent of the usual.
    pub(super) fn variation_pct(&self) -> f64 {
        let squares: f64 = self.positions.iter().map(|position| position.squares).sum();
        let strong: usize = self.positions.iter().map(|position| position.firings - position.weak).sum();
        100.0 * (squares / strong.max(1) as f64).max(0.0).sqrt()
    }

    /// Share of weak firings at each position, percent.
    pub(super) fn weak_pct(&self) -> Vec<f64> {
        let share = |position: &Position| 100.0 * position.weak as f64 / position.firings.max(1) as f64;
        self.positions.iter().map(share).collect()
    }

    /// Mean energy of a firing at each position, the strongest 1.
    pub(super) fn energy(&self) -> Vec<f64> {
        let mean: Vec<f64> = self
            .positions
            .iter()
            .map(|position| (position.energy / position.firings.max(1) as f64).max(0.0))
            .collect();
        let most = mean.iter().copied().fold(f64::MIN_POSITIVE, f64::max);
        mean.iter().map(|energy| energy / most).collect()
    }
}

/// Mean strength of the firings that are not weak.
fn usual(mut strengths: Vec<f64>) -> f64 {
    strengths.sort_by(f64::total_cmp);
    // So high up that it is an ordinary firing even where many are missed.
    let Some(&ordinary) = strengths.get(strengths.len() * 4 / 5) else { return 0.0 };
    let strong = &strengths[strengths.partition_point(|&strength| strength < WEAK_BELOW * ordinary)..];
    strong.iter().sum::<f64>() / strong.len().max(1) as f64
}
