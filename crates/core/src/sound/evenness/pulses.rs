//! What each firing adds to the waveform: shapes of pulses learned from the stretch itself, and the size and
//! instant of every firing that explain it best.
//!
//! The waveform is taken for a sum of pulses, *x(t) = Σ aᵢ h(t − tᵢ) + noise*. Shapes *h* reach as far as a room
//! rings, so a firing is not blamed for what the ones before it left behind. Sizes, instants and shapes are
//! improved in turn, each by least squares with the others held; a penalty that grows with distance keeps a
//! shape near its own firing as long as nothing speaks for more.

mod between;
mod noise;
mod shaping;
mod timing;

use super::phase::narrowest;
use crate::sound::constants::{LEARNING_ROUNDS, OWN_SHAPES, PULSE_AFTER_S, PULSE_BEFORE_S, RETIMED_ROUNDS};
pub(super) use between::dot;
use between::{add_between, slopes, weights};

/// Shapes of pulses: one for each position of the pattern, or one for all. Two values of silence stand before and one
/// after each, for interpolation.
#[derive(Clone, Debug)]
pub(super) struct Shapes {
    /// Values before a firing's instant, and in all.
    before: usize,
    length: usize,
    each: Vec<Vec<f32>>,
}

/// One firing in a stretch.
#[derive(Clone, Debug)]
pub(super) struct Firing {
    /// Cycle and position in the pattern, from 0.
    pub(super) cycle: usize,
    pub(super) position: usize,
    /// When its pulse begins, in values of the waveform.
    pub(super) at: f64,
    /// When it was expected.
    expected: f64,
    /// Its size in multiples of its shape.
    pub(super) size: f32,
}

/// A stretch of waveform taken apart.
#[derive(Clone)]
pub(super) struct Pulses {
    rate_hz: f64,
    before: usize,
    length: usize,
    shapes: Vec<Vec<f32>>,
    firings: Vec<Firing>,
    /// What no pulse explains.
    rest: Vec<f32>,
    /// Distance of firings on average, and a degree of the crank, both in values.
    interval: f64,
    degree: f64,
}

impl Pulses {
    /// Takes a waveform apart whose cycles begin at `begins` (the last is the end of the last cycle), its shapes
    /// not `known` or as an earlier stretch had them.
    pub(super) fn learn(
        wave: &[f32],
        rate_hz: f64,
        begins: &[f64],
        shares: &[f64],
        cycle_deg: f64,
        known: Option<&Shapes>,
    ) -> Pulses {
        let cycles = begins.len() - 1;
        let mut firings = Vec::with_capacity(cycles * shares.len());
        for cycle in 0..cycles {
            for (position, share) in shares.iter().enumerate() {
                let at = begins[cycle] + share * (begins[cycle + 1] - begins[cycle]);
                firings.push(Firing { cycle, position, at, expected: at, size: 1.0 });
            }
        }
        let period = (begins[cycles] - begins[0]) / cycles as f64;
        let shapes = known.cloned().unwrap_or_else(|| Shapes::silent(shares, period, rate_hz));
        let mut pulses = Pulses {
            rate_hz,
            before: shapes.before,
            length: shapes.length,
            shapes: shapes.each,
            firings,
            rest: wave.to_vec(),
            interval: period / shares.len() as f64,
            degree: period / cycle_deg,
        };
        if known.is_some() {
            pulses.renew(wave);
            pulses.improve(wave, 1..3);
        } else {
            pulses.improve(wave, 0..LEARNING_ROUNDS);
            let together = pulses.together(wave);
            // Shapes of their own explain more in any case: noise, if nothing else.
            let more = (pulses.shapes.len() - 1) * pulses.length;
            let by_chance = together.left() * more as f64 / wave.len().max(1) as f64;
            if together.left() - pulses.left() <= OWN_SHAPES * by_chance {
                pulses = together;
            }
        }
        pulses.fit(false);
        pulses.fit(false);
        pulses
    }

    /// The shapes learned, for the next stretch.
    pub(super) fn shapes(&self) -> Shapes {
        Shapes { before: self.before, length: self.length, each: self.shapes.clone() }
    }

    /// The same with one shape for all positions.
    fn together(&self, wave: &[f32]) -> Pulses {
        let mut together = self.clone();
        if self.shapes.len() == 1 {
            return together;
        }
        let count = self.shapes.len() as f32;
        let mean =
            (0..self.length + 3).map(|i| self.shapes.iter().map(|shape| shape[i]).sum::<f32>() / count);
        together.shapes = vec![mean.collect()];
        together.renew(wave);
        together.fit(false);
        together.improve(wave, 2..5);
        together
    }

    fn improve(&mut self, wave: &[f32], rounds: std::ops::Range<usize>) {
        for round in rounds {
            if round > 0 {
                if round <= RETIMED_ROUNDS {
                    self.retime();
                }
                self.fit(true);
                self.rescale();
            }
            self.shape(wave, round);
        }
    }

    /// Power that no pulse explains, a value.
    fn left(&self) -> f64 {
        f64::from(self.rest.iter().map(|x| x * x).sum::<f32>()) / self.rest.len().max(1) as f64
    }

    pub(super) fn firings(&self) -> &[Firing] {
        &self.firings
    }

    fn shape_of(&self, position: usize) -> usize {
        if self.shapes.len() == 1 { 0 } else { position }
    }

    /// Energy of the shape at a position.
    pub(super) fn energy(&self, position: usize) -> f64 {
        f64::from(self.shapes[self.shape_of(position)].iter().map(|x| x * x).sum::<f32>())
    }

    /// Where a firing's shape begins in the waveform, and the weights that put it between values.
    fn placed(&self, at: f64) -> (i64, [f32; 4], [f32; 4]) {
        let whole = at.floor();
        let part = (at - whole) as f32;
        (whole as i64 - self.before as i64, weights(part), slopes(part))
    }

    /// Adds a number of times a firing's shape to the rest.
    fn add(&mut self, shape: usize, at: f64, times: f32) {
        let (from, weights, _) = self.placed(at);
        add_between(&self.shapes[shape], weights.map(|weight| weight * times), from, &mut self.rest);
    }

    /// Makes the usual size 1, at each position that has a shape of its own.
    fn rescale(&mut self) {
        for shape in 0..self.shapes.len() {
            let alone = self.shapes.len() == 1;
            let own = |firing: &&mut Firing| alone || firing.position == shape;
            let (mut sum, mut count) = (0.0, 0.0_f32);
            for firing in self.firings.iter_mut().filter(own) {
                sum += firing.size;
                count += 1.0;
            }
            let mean = sum / count.max(1.0);
            if mean > 0.05 {
                self.firings.iter_mut().filter(own).for_each(|firing| firing.size /= mean);
                self.shapes[shape].iter_mut().for_each(|x| *x *= mean);
            }
        }
    }

    /// Makes the rest anew, so that what single steps lose by rounding does not add up.
    fn renew(&mut self, wave: &[f32]) {
        self.rest.copy_from_slice(wave);
        for index in 0..self.firings.len() {
            let Firing { position, at, size, .. } = self.firings[index];
            self.add(self.shape_of(position), at, -size);
        }
    }
}

impl Shapes {
    fn silent(shares: &[f64], period: f64, rate_hz: f64) -> Shapes {
        let before = (PULSE_BEFORE_S * rate_hz).min(0.4 * narrowest(shares) * period).round() as usize;
        let length = before + (PULSE_AFTER_S * rate_hz).round() as usize;
        Shapes { before, length, each: vec![vec![0.0; length + 3]; shares.len()] }
    }
}
