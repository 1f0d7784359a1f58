//! From sizes of firings to what is said of them: usual strength, weak firings, variation, energy.

use super::pulses::Pulses;
use crate::sound::constants::{EVEN_NOISE, WEAK_BELOW};

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

/// A firing as it is judged: its size in multiples of the usual one at its position.
pub(super) struct Judged {
    pub(super) strength: f64,
    pub(super) weak: bool,
}

impl Tally {
    pub(super) fn new(positions: usize) -> Tally {
        Tally { positions: vec![Position::default(); positions] }
    }

    /// Judges the firings of a stretch from a cycle on, in their order; none where noise hides them.
    pub(super) fn judge(&mut self, pulses: &Pulses, from_cycle: usize) -> Option<Vec<Judged>> {
        let positions = self.positions.len();
        let usual: Vec<f64> = (0..positions).map(|position| usual(pulses, position)).collect();
        let noise = pulses.noise();
        if !usual.iter().all(|&usual| noise < EVEN_NOISE * usual) {
            return None;
        }
        let judged = pulses.firings().iter().filter(|firing| from_cycle <= firing.cycle).map(|firing| {
            let position = &mut self.positions[firing.position];
            let strength = f64::from(firing.size) / usual[firing.position];
            let weak = strength < WEAK_BELOW;
            let own_noise = noise / usual[firing.position];
            position.firings += 1;
            position.weak += usize::from(weak);
            position.squares += if weak { 0.0 } else { (strength - 1.0).powi(2) - own_noise * own_noise };
            let size = f64::from(firing.size);
            position.energy += pulses.energy(firing.position) * (size * size - noise * noise);
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

/// Mean size of the firings at a position that are not weak.
fn usual(pulses: &Pulses, position: usize) -> f64 {
    let own = pulses.firings().iter().filter(|firing| firing.position == position);
    let mut sizes: Vec<f64> = own.map(|firing| f64::from(firing.size)).collect();
    sizes.sort_by(f64::total_cmp);
    // So high up that it is an ordinary firing even where many are missed.
    let Some(&ordinary) = sizes.get(sizes.len() * 4 / 5) else { return 0.0 };
    let strong = &sizes[sizes.partition_point(|&size| size < WEAK_BELOW * ordinary)..];
    strong.iter().sum::<f64>() / strong.len().max(1) as f64
}
