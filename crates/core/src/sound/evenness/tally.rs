//! From sizes of firings to what is said of them: usual strength, weak firings, variation, energy.

use super::estimate::{DEVIATIONS, Estimate, jackknife, reach};
use super::phase::narrowest;
use super::pulses::Pulses;
use crate::sound::constants::{
    ALIKE_APART, BLOCK_CYCLES, DEAD_BELOW, ENERGY_DOUBT, EVEN_NOISE, NOISE_AT_FIRINGS, NOISE_DOUBT,
    STRONG_SHARE, WEAK_BELOW,
};

/// One position of the firing pattern, over some cycles.
#[derive(Clone, Copy, Debug, Default)]
struct Position {
    firings: usize,
    weak: usize,
    energy: f64,
    /// Squares by which firings that are not weak differ from the usual, and what of them noise makes.
    squares: f64,
    noise: f64,
}

/// What was counted over a run.
#[derive(Clone, Debug, Default)]
pub(super) struct Tally {
    positions: usize,
    /// How well energies of two positions compare beyond what chance makes of them: a share, as a standard deviation.
    doubt: f64,
    /// Every position in so many cycles on end: what one cycle passes on to the next stays within a block, so how
    /// blocks differ tells how sure a figure is.
    blocks: Vec<Vec<Position>>,
}

/// A firing as it is judged: its strength in multiples of the usual one at its position.
pub(super) struct Judged {
    pub(super) strength: f64,
    pub(super) weak: bool,
}

impl Tally {
    /// For a pattern whose firings come at these shares of a cycle.
    pub(super) fn new(shares: &[f64]) -> Tally {
        // Pulses that are all equally far apart run into one another alike.
        let uneven = narrowest(shares) * (shares.len() as f64) < ALIKE_APART;
        Tally { positions: shares.len(), doubt: if uneven { ENERGY_DOUBT } else { 0.0 }, blocks: Vec::new() }
    }

    /// Judges the firings of a stretch from a cycle on, in their order; none where noise hides them, or where
    /// they are no firings.
    pub(super) fn judge(&mut self, pulses: &Pulses, from_cycle: usize) -> Option<Vec<Judged>> {
        let pressure: Vec<f64> = (0..self.positions).map(|position| pulses.energy(position).sqrt()).collect();
        let strengths = |position: usize| {
            let own = pulses.firings().iter().filter(move |firing| firing.position == position);
            own.map(|firing| f64::from(firing.size) * pressure[position]).collect::<Vec<f64>>()
        };
        let mut usual: Vec<f64> = (0..self.positions).map(|position| usual(strengths(position))).collect();
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
        let before = self.blocks.len();
        let judged = pulses.firings().iter().filter(|firing| from_cycle <= firing.cycle).map(|firing| {
            let block = before + (firing.cycle - from_cycle) / BLOCK_CYCLES;
            if self.blocks.len() <= block {
                self.blocks.push(vec![Position::default(); self.positions]);
            }
            let position = &mut self.blocks[block][firing.position];
            let heard = f64::from(firing.size) * pressure[firing.position];
            let usual = usual[firing.position];
            let strength = heard / usual;
            let weak = strength < WEAK_BELOW;
            position.firings += 1;
            position.weak += usize::from(weak);
            if !weak {
                position.squares += (strength - 1.0).powi(2);
                position.noise += NOISE_AT_FIRINGS * (noise / usual).powi(2);
            }
            position.energy += heard * heard - noise * noise;
            Judged { strength, weak }
        });
        Some(judged.collect())
    }

    pub(super) fn firings(&self) -> usize {
        self.totals().iter().map(|position| position.firings).sum()
    }

    /// Standard deviation of strength over the firings that are not weak, percent of the usual.
    pub(super) fn variation_pct(&self) -> Estimate {
        let value = variance(&self.totals());
        // How much of the scatter noise makes is itself not known well.
        let doubt = DEVIATIONS * NOISE_DOUBT * noise(&self.totals());
        let error = self.error(variance).hypot(doubt);
        let bounded = Estimate { value, low: value - error, high: value + error };
        bounded.map(|variance| 100.0 * variance.max(0.0).sqrt())
    }

    /// Standard deviation by which noise changes the strength of a firing, percent of the usual.
    pub(super) fn noise_pct(&self) -> f64 {
        100.0 * noise(&self.totals()).sqrt()
    }

    /// Share of weak firings at each position, percent.
    pub(super) fn weak_pct(&self) -> Vec<Estimate> {
        let totals = self.totals();
        let share =
            |position: &Position| Estimate::share(position.weak, position.firings).map(|share| 100.0 * share);
        totals.iter().map(share).collect()
    }

    /// Mean energy of a firing at each position, the strongest 1.
    pub(super) fn energy(&self) -> Vec<Estimate> {
        let mean = energies(&self.totals());
        let Some(strongest) = (0..mean.len()).max_by(|&a, &b| mean[a].total_cmp(&mean[b])) else {
            return Vec::new();
        };
        let of_strongest = |position: usize| {
            move |totals: &[Position]| {
                let mean = energies(totals);
                mean[position] / mean[strongest].max(f64::MIN_POSITIVE)
            }
        };
        let mut shares: Vec<Estimate> = (0..mean.len())
            .map(|position| {
                let value = of_strongest(position)(&self.totals());
                let error = self.error(of_strongest(position)).hypot(DEVIATIONS * self.doubt * value);
                Estimate { value, low: (value - error).max(0.0), high: value + error }
            })
            .collect();
        // Where another may be stronger still, the one that was heard as the strongest is its share of that one.
        let most = shares.iter().map(|share| share.high).fold(1.0, f64::max);
        shares[strongest] = Estimate { value: 1.0, low: 1.0 / most, high: 1.0 };
        shares.iter_mut().for_each(|share| share.high = share.high.min(1.0));
        shares
    }

    /// Sums over the run.
    fn totals(&self) -> Vec<Position> {
        let mut totals = vec![Position::default(); self.positions];
        for block in &self.blocks {
            totals.iter_mut().zip(block).for_each(|(total, part)| *total = total.with(part));
        }
        totals
    }

    /// How far an interval of a figure reaches either side, by how blocks differ.
    fn error(&self, figure: impl Fn(&[Position]) -> f64) -> f64 {
        let totals = self.totals();
        let without = |block: &Vec<Position>| {
            let rest = totals.iter().zip(block).map(|(total, part)| total.without(part));
            figure(&rest.collect::<Vec<Position>>())
        };
        let figures: Vec<f64> = self.blocks.iter().map(without).collect();
        reach(figures.len()) * jackknife(&figures)
    }
}

impl Position {
    fn with(self, part: &Position) -> Position {
        Position {
            firings: self.firings + part.firings,
            weak: self.weak + part.weak,
            energy: self.energy + part.energy,
            squares: self.squares + part.squares,
            noise: self.noise + part.noise,
        }
    }

    fn without(self, part: &Position) -> Position {
        Position {
            firings: self.firings - part.firings,
            weak: self.weak - part.weak,
            energy: self.energy - part.energy,
            squares: self.squares - part.squares,
            noise: self.noise - part.noise,
        }
    }
}

/// Variance of strength over the firings that are not weak.
fn variance(totals: &[Position]) -> f64 {
    per_strong(totals, |position| position.squares - position.noise)
}

/// What noise makes of that variance.
fn noise(totals: &[Position]) -> f64 {
    per_strong(totals, |position| position.noise)
}

fn per_strong(totals: &[Position], of: impl Fn(&Position) -> f64) -> f64 {
    let strong: usize = totals.iter().map(|position| position.firings - position.weak).sum();
    totals.iter().map(of).sum::<f64>() / strong.max(1) as f64
}

/// Mean energy of a firing at each position.
fn energies(totals: &[Position]) -> Vec<f64> {
    totals.iter().map(|position| (position.energy / position.firings.max(1) as f64).max(0.0)).collect()
}

/// Mean strength of the firings that are not weak.
fn usual(mut strengths: Vec<f64>) -> f64 {
    strengths.sort_by(f64::total_cmp);
    // So high up that it is an ordinary firing even where many are missed.
    let Some(&ordinary) = strengths.get(strengths.len() * 4 / 5) else { return 0.0 };
    let strong = &strengths[strengths.partition_point(|&strength| strength < WEAK_BELOW * ordinary)..];
    strong.iter().sum::<f64>() / strong.len().max(1) as f64
}
