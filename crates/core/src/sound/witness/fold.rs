//! Loudness folded over the cycle: what repeats from cycle to cycle, and of what shape it is.

use crate::sound::constants::ALIKE_FRAMES;
use crate::sound::ears::{LANES, Lanes};

/// Parts of a cycle over which loudness is folded.
pub(crate) const PARTS: usize = 32;
/// Orders of the cycle whose strength in the fold is looked at.
pub(crate) const ORDERS: usize = 15;
/// Numbers a fold gives.
pub(crate) const FOLDED: usize = 9;
/// Loudness further from its mean than this counts no more, in its logarithm.
const LOUDEST: f32 = 3.0;

/// Loudness of each part of a cycle about its mean.
pub(crate) type Shape = [Lanes; PARTS];

/// Loudness folded over the cycle.
pub(crate) struct Fold {
    bands: usize,
    phase: f64,
    counts: [f32; PARTS],
    sums: [Lanes; PARTS],
    total: Lanes,
    squares: Lanes,
    values: f32,
    /// Sum and number of values of each cycle.
    cycles: Vec<(Lanes, f32)>,
}

impl Fold {
    pub(crate) fn new(bands: usize) -> Fold {
        Fold {
            bands,
            phase: 0.0,
            counts: [0.0; PARTS],
            sums: [[0.0; LANES]; PARTS],
            total: [0.0; LANES],
            squares: [0.0; LANES],
            values: 0.0,
            cycles: Vec::new(),
        }
    }

    /// Takes values between which the cycle proceeds by `step`.
    pub(crate) fn add(&mut self, slice: &[Lanes], step: f64) {
        for value in slice {
            let cycle = self.phase as usize;
            let part = ((self.phase.fract() * PARTS as f64) as usize).min(PARTS - 1);
            if self.cycles.len() <= cycle {
                self.cycles.resize(cycle + 1, ([0.0; LANES], 0.0));
            }
            self.counts[part] += 1.0;
            self.values += 1.0;
            let (sum, count) = &mut self.cycles[cycle];
            *count += 1.0;
            for band in 0..self.bands {
                let x = value[band].clamp(-LOUDEST, LOUDEST);
                self.sums[part][band] += x;
                self.total[band] += x;
                self.squares[band] += x * x;
                sum[band] += x;
            }
            self.phase += step;
        }
    }

    /// The numbers of the fold and its shape; nothing for less than a cycle and a half.
    pub(crate) fn finish(self, implied: &[f32; ORDERS]) -> Option<([f32; FOLDED], Shape)> {
        if self.phase < 1.5 {
            return None;
        }
        let filled = self.counts.iter().filter(|&&count| count > 0.0).count() as f32;
        let mut shape = [[0.0_f32; LANES]; PARTS];
        let mut explained = [0.0_f32; LANES];
        let (mut rests, mut between) = ([0.0_f32; LANES], 0.0);
        for band in 0..self.bands {
            let mean = self.total[band] / self.values;
            let variance = (self.squares[band] / self.values - mean * mean).max(1e-9);
            let mut by_parts = 0.0;
            for part in 0..PARTS {
                // A part that no value fell into repeats the one before.
                shape[part][band] = if self.counts[part] > 0.0 {
                    self.sums[part][band] / self.counts[part] - mean
                } else if part > 0 {
                    shape[part - 1][band]
                } else {
                    0.0
                };
                by_parts += self.counts[part] * shape[part][band].powi(2);
            }
            let rest =
                (variance - by_parts / self.values).max(1e-9) * self.values / (self.values - filled).max(1.0);
            explained[band] = (1.0 - rest / variance).clamp(0.0, 1.0);
            rests[band] = rest;
            between += self.between(band, mean, rest) / variance / self.bands as f32;
        }
        let best = (0..self.bands).max_by(|&a, &b| explained[a].total_cmp(&explained[b])).unwrap_or(0);
        let all: f32 = explained.iter().sum();
        let power =
            |band: usize| shape.iter().map(|part| part[band] * part[band]).sum::<f32>() / PARTS as f32;
        let (mut skewness, mut attack) = (0.0, 0.0);
        for band in 0..self.bands {
            let weight = explained[band] / all.max(1e-6);
            skewness += weight * skew((0..PARTS).map(|i| shape[i][band]));
            attack += weight * skew((0..PARTS).map(|i| shape[(i + 1) % PARTS][band] - shape[i][band]));
        }
        let folded = [
            explained[best],
            all / self.bands as f32,
            agreement(&shape, best, self.bands),
            (1e-3 + power(best)).ln(),
            skewness,
            attack,
            implied_share(&shape, implied, self.bands),
            between,
            (1e-3 + rests[best]).ln(),
        ];
        Some((folded, shape))
    }

    /// Variance of the means of whole cycles, less what chance gives them.
    fn between(&self, band: usize, mean: f32, rest: f32) -> f32 {
        let whole = &self.cycles[..self.phase as usize];
        if whole.is_empty() {
            return 0.0;
        }
        let squares: f32 = whole
            .iter()
            .filter(|(_, count)| *count > 0.0)
            .map(|(sum, count)| (sum[band] / count - mean).powi(2) - rest / count)
            .sum();
        squares / whole.len() as f32
    }
}

/// How much the shape of a cycle is that of some time before and after: the best correlation over all
/// shifts, for the mean is not known where a cycle begins.
pub(crate) fn alike(shapes: &[Option<&Shape>], at: usize, bands: usize) -> f64 {
    let pairs = [
        (at.saturating_sub(ALIKE_FRAMES), at),
        (at, (at + ALIKE_FRAMES).min(shapes.len() - 1)),
        (0, shapes.len() - 1),
    ];
    let (mut sum, mut count) = (0.0, 0.0);
    for (one, other) in pairs {
        let apart = other - one >= ALIKE_FRAMES;
        let pair = (shapes[one], shapes[other]);
        if let (true, (Some(one), Some(other))) = (apart, pair) {
            sum += f64::from(correlation(one, other, bands));
            count += 1.0;
        }
    }
    if count > 0.0 { sum / count } else { 0.5 }
}

fn correlation(one: &Shape, other: &Shape, bands: usize) -> f32 {
    let power = |shape: &Shape| shape.iter().flat_map(|part| &part[..bands]).map(|x| x * x).sum::<f32>();
    let norm = (power(one) * power(other)).sqrt().max(1e-9);
    let shifted = |shift: usize| {
        (0..PARTS)
            .map(|i| {
                let (a, b) = (&one[i], &other[(i + shift) % PARTS]);
                (0..bands).map(|band| a[band] * b[band]).sum::<f32>()
            })
            .sum::<f32>()
    };
    (0..PARTS).map(shifted).fold(0.0, f32::max) / norm
}

/// Third moment over the spread cubed.
fn skew(values: impl Iterator<Item = f32> + Clone) -> f32 {
    let mean = values.clone().sum::<f32>() / PARTS as f32;
    let moment = |power: i32| values.clone().map(|x| (x - mean).powi(power)).sum::<f32>() / PARTS as f32;
    moment(3) / moment(2).max(1e-6).powf(1.5)
}

/// Mean correlation of the other bands' shapes with the best one's.
fn agreement(shape: &Shape, best: usize, bands: usize) -> f32 {
    let product = |a: usize, b: usize| shape.iter().map(|part| part[a] * part[b]).sum::<f32>();
    let own = product(best, best).max(1e-6);
    let others = (0..bands).filter(|&band| band != best);
    let sum: f32 =
        others.map(|band| product(best, band) / (own * product(band, band).max(1e-6)).sqrt()).sum();
    sum / (bands.max(2) - 1) as f32
}

/// Share of the power of a shape's orders that the firing angles imply.
fn implied_share(shape: &Shape, implied: &[f32; ORDERS], bands: usize) -> f32 {
    let turn: [(f32, f32); PARTS] =
        std::array::from_fn(|i| (std::f32::consts::TAU * i as f32 / PARTS as f32).sin_cos());
    let (mut of_these, mut all) = (0.0, 1e-6);
    for (order, strength) in implied.iter().enumerate() {
        let (mut real, mut imaginary) = ([0.0_f32; LANES], [0.0_f32; LANES]);
        for (i, part) in shape.iter().enumerate() {
            let (sine, cosine) = turn[(order + 1) * i % PARTS];
            for band in 0..LANES {
                real[band] += part[band] * cosine;
                imaginary[band] += part[band] * sine;
            }
        }
        let power: f32 = (0..bands).map(|band| real[band].powi(2) + imaginary[band].powi(2)).sum();
        of_these += strength * power;
        all += power;
    }
    of_these / all
}

#[cfg(test)]
mod tests {
    use super::*;

    fn folded(value: impl Fn(f64) -> f32) -> [f32; FOLDED] {
        let mut fold = Fold::new(LANES);
        // Nine cycles of a hundred values and a bit, so that no value repeats its place.
        let step = 1.0 / 100.3;
        let values: Vec<Lanes> = (0..900).map(|i| [value(f64::from(i) * step); LANES]).collect();
        values.chunks(50).for_each(|slice| fold.add(slice, step));
        fold.finish(&[1.0; ORDERS]).expect("nine cycles are enough").0
    }

    #[test]
    fn what_repeats_every_cycle_is_explained_and_what_does_not_is_not() {
        let pulses = folded(|phase| if phase.fract() < 0.2 { 1.0 } else { -0.25 });
        let other_rhythm = folded(|phase| (phase * 2.7).sin() as f32);
        assert!(pulses[0] > 0.95, "{pulses:?}");
        assert!(other_rhythm[0] < 0.2, "{other_rhythm:?}");
        assert!(pulses[7] < 0.01 && other_rhythm[7] > 0.1, "{pulses:?} {other_rhythm:?}");
    }

    #[test]
    fn pulses_are_skewed_and_their_mirror_image_the_other_way() {
        let pulses = folded(|phase| if phase.fract() < 0.2 { 1.0 } else { -0.25 });
        let gaps = folded(|phase| if phase.fract() < 0.2 { -1.0 } else { 0.25 });
        assert!(pulses[4] > 1.0, "{pulses:?}");
        assert!((pulses[4] + gaps[4]).abs() < 1e-3, "{pulses:?} {gaps:?}");
    }
}
