//! Which speeds follow one another: a hidden Markov chain over the speed grid and one state more,
//! "no engine".
//!
//! The speed's logarithm moves by a mixture of two Laplace steps, a narrow one (idle wanders) and a
//! wide one (a blip), each applied by two recursive passes instead of a sum over all pairs.

use super::constants::{COME_OR_GO, NARROW_CELLS, WIDE_CELLS, WIDE_SHARE};

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

    /// One step in time. The step is symmetric, so the same one serves forward and backward.
    fn spread(&mut self, belief: &mut Belief) {
        let speeds = belief.speeds.len() as f32;
        laplace(&belief.speeds, (-1.0 / NARROW_CELLS).exp(), &mut self.narrow);
        laplace(&belief.speeds, (-1.0 / WIDE_CELLS).exp(), &mut self.wide);
        let some: f32 = belief.speeds.iter().sum();
        let stay = 1.0 - COME_OR_GO;
        let restart = COME_OR_GO * belief.none / speeds;
        for ((p, narrow), wide) in belief.speeds.iter_mut().zip(&self.narrow).zip(&self.wide) {
            *p = stay * ((1.0 - WIDE_SHARE) * narrow + WIDE_SHARE * wide) + restart;
        }
        belief.none = stay * belief.none + COME_OR_GO * some;
    }

    /// The same step backward: what the future says about now.
    fn spread_back(&mut self, belief: &mut Belief) {
        let speeds = belief.speeds.len() as f32;
        laplace(&belief.speeds, (-1.0 / NARROW_CELLS).exp(), &mut self.narrow);
        laplace(&belief.speeds, (-1.0 / WIDE_CELLS).exp(), &mut self.wide);
        let mean = belief.speeds.iter().sum::<f32>() / speeds;
        let stay = 1.0 - COME_OR_GO;
        for ((p, narrow), wide) in belief.speeds.iter_mut().zip(&self.narrow).zip(&self.wide) {
            *p = stay * ((1.0 - WIDE_SHARE) * narrow + WIDE_SHARE * wide) + COME_OR_GO * belief.none;
        }
        belief.none = stay * belief.none + COME_OR_GO * mean;
    }

    /// Moves a belief one frame on, and weighs it with that frame's likelihoods; their mean, which
    /// is the likelihood of the frame given those before it.
    pub(crate) fn forward(&mut self, belief: &mut Belief, seen: &Belief) -> f32 {
        self.spread(belief);
        weigh(belief, seen)
    }

    /// Moves the future's word one frame back, that frame's likelihoods included.
    pub(crate) fn backward(&mut self, word: &mut Belief, seen: &Belief) {
        weigh(word, seen);
        self.spread_back(word);
        word.normalise();
    }
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
