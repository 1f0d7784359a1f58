//! Which speeds follow one another: a hidden Markov chain over the speed grid and one state more,
//! "no engine".
//!
//! The speed's logarithm moves by a mixture of two Laplace steps, a narrow one (idle wanders) and a
//! wide one (a blip), each applied by two recursive passes instead of a sum over all pairs.

use super::constants::{COME_OR_GO, FOLLOWS, MOVING_SHARE, NARROW_CELLS, WIDE_CELLS, WIDE_SHARE};

/// Probabilities over the speed grid, and of no engine at all.
#[derive(Clone, Debug)]
pub(crate) struct Belief {
    pub(crate) speeds: Vec<f32>,
    pub(crate) none: f32,
}

impl Belief {
    /// Nothing is known.
    pub(crate) fn ignorant(speeds: usize) -> Belief {
        Belief { speeds: vec![0.5 / speeds as f32; speeds], none: 0.5 }
    }

    /// The likeliest speed's place.
    pub(crate) fn best(&self) -> usize {
        (0..self.speeds.len()).max_by(|&a, &b| self.speeds[a].total_cmp(&self.speeds[b])).unwrap_or(0)
    }

    /// Scales so that all sums to 1; the sum it had.
    fn normalise(&mut self) -> f32 {
        let sum: f32 = self.speeds.iter().sum::<f32>() + self.none;
        let scale = 1.0 / sum;
        self.speeds.iter_mut().for_each(|p| *p *= scale);
        self.none *= scale;
        sum
    }
}

/// The chain, with its working memory.
pub(crate) struct Chain {
    narrow: Vec<f32>,
    wide: Vec<f32>,
}

impl Chain {
    pub(crate) fn new(speeds: usize) -> Chain {
        Chain { narrow: vec![0.0; speeds], wide: vec![0.0; speeds] }
    }

    /// One step in time, with so many blips among the steps. The step is symmetric, so the same one
    /// serves forward and backward.
    fn spread(&mut self, belief: &mut Belief, blips: f32) {
        let speeds = belief.speeds.len() as f32;
        laplace(&belief.speeds, (-1.0 / NARROW_CELLS).exp(), &mut self.narrow);
        laplace(&belief.speeds, (-1.0 / WIDE_CELLS).exp(), &mut self.wide);
        let some: f32 = belief.speeds.iter().sum();
        let stay = 1.0 - COME_OR_GO;
        let restart = COME_OR_GO * belief.none / speeds;
        for ((p, narrow), wide) in belief.speeds.iter_mut().zip(&self.narrow).zip(&self.wide) {
            *p = stay * ((1.0 - blips) * narrow + blips * wide) + restart;
        }
        belief.none = stay * belief.none + COME_OR_GO * some;
    }

    /// The same step backward: what the future says about now.
    fn spread_back(&mut self, belief: &mut Belief, blips: f32) {
        let speeds = belief.speeds.len() as f32;
        laplace(&belief.speeds, (-1.0 / NARROW_CELLS).exp(), &mut self.narrow);
        laplace(&belief.speeds, (-1.0 / WIDE_CELLS).exp(), &mut self.wide);
        let mean = belief.speeds.iter().sum::<f32>() / speeds;
        let stay = 1.0 - COME_OR_GO;
        for ((p, narrow), wide) in belief.speeds.iter_mut().zip(&self.narrow).zip(&self.wide) {
            *p = stay * ((1.0 - blips) * narrow + blips * wide) + COME_OR_GO * belief.none;
        }
        belief.none = stay * belief.none + COME_OR_GO * mean;
    }

    /// Moves a belief one frame on, and weighs it with that frame's likelihoods; their mean, which
    /// is the likelihood of the frame given those before it. `drift` is where each speed was heard to
    /// go in the frame before, cells a frame; nowhere, if it is empty.
    pub(crate) fn forward(&mut self, belief: &mut Belief, drift: &[i8], seen: &Belief) -> f32 {
        if !drift.is_empty() {
            self.wide.iter_mut().zip(&belief.speeds).for_each(|(moved, p)| *moved = (1.0 - FOLLOWS) * p);
            for (i, (p, &drift)) in belief.speeds.iter().zip(drift).enumerate() {
                self.wide[target(i, drift, belief.speeds.len())] += FOLLOWS * p;
            }
            belief.speeds.copy_from_slice(&self.wide);
        }
        self.spread(belief, blips(drift));
        weigh(belief, seen)
    }

    /// Moves the future's word one frame back, that frame's likelihoods included; `drift` is that of the
    /// frame it moves to.
    pub(crate) fn backward(&mut self, word: &mut Belief, drift: &[i8], seen: &Belief) {
        weigh(word, seen);
        self.spread_back(word, blips(drift));
        if !drift.is_empty() {
            for (i, (moved, &drift)) in self.wide.iter_mut().zip(drift).enumerate() {
                let there = word.speeds[target(i, drift, word.speeds.len())];
                *moved = (1.0 - FOLLOWS) * word.speeds[i] + FOLLOWS * there;
            }
            word.speeds.copy_from_slice(&self.wide);
        }
        word.normalise();
    }
}

/// Share of blips among the steps from a frame with this drift.
fn blips(drift: &[i8]) -> f32 {
    if drift.is_empty() { WIDE_SHARE } else { MOVING_SHARE }
}

/// Where a drift leads, kept on the grid.
fn target(from: usize, drift: i8, speeds: usize) -> usize {
    from.saturating_add_signed(isize::from(drift)).min(speeds - 1)
}

/// Multiplies and normalises; the sum before.
pub(crate) fn weigh(belief: &mut Belief, by: &Belief) -> f32 {
    for (p, w) in belief.speeds.iter_mut().zip(&by.speeds) {
        *p = *p * w + 1e-30;
    }
    belief.none = belief.none * by.none + 1e-30;
    belief.normalise()
}

/// Convolution with *exp(−|d|/scale)*, scaled to sum 1; `decay` is *exp(−1/scale)*.
fn laplace(from: &[f32], decay: f32, into: &mut [f32]) {
    let scale = (1.0 - decay) / (1.0 + decay);
    let mut carry = 0.0_f32;
    for (out, p) in into.iter_mut().zip(from) {
        carry = carry * decay + p;
        *out = carry;
    }
    carry = 0.0;
    for (out, p) in into.iter_mut().zip(from).rev() {
        *out = (*out + carry) * scale;
        carry = (carry + p) * decay;
    }
}
