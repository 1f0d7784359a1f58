//! Which speeds follow one another: a hidden Markov chain over the speed grid and, beside it, a ladder of
//! states "no engine".
//!
//! The speed's logarithm moves by a mixture of two Laplace steps, a narrow one (idle wanders) and a
//! wide one (a blip), each applied by two recursive passes instead of a sum over all pairs.
//!
//! An engine that stops climbs the ladder, a rung a frame, and may be met again only from its top: so "no
//! engine" is no short way from one speed to another.

use super::constants::{BLIPS, COME_OR_GO, FOLLOWS, GONE, MOVING_BLIPS, NARROW_CELLS, STOPPED_FRAMES};

/// Rung from which an engine may be met.
const TOP: usize = STOPPED_FRAMES - 1;

/// Probabilities over the speed grid, and of no engine at all.
#[derive(Clone, Debug)]
pub(crate) struct Belief {
    pub(crate) speeds: Vec<f32>,
    /// No engine, by the frames since one stopped.
    stopped: [f32; STOPPED_FRAMES],
}

/// How well each speed, and no engine, explain a frame.
#[derive(Clone, Debug)]
pub(crate) struct Likelihood {
    pub(crate) speeds: Vec<f32>,
    pub(crate) none: f32,
    /// The evidence for which they are 1.
    pub(crate) best: f32,
}

impl Belief {
    /// Probability of no engine.
    pub(crate) fn none(&self) -> f32 {
        self.stopped.iter().sum()
    }

    /// The likeliest speed's place.
    pub(crate) fn best(&self) -> usize {
        let mut best = 0;
        for (i, p) in self.speeds.iter().enumerate() {
            if self.speeds[best] < *p {
                best = i;
            }
        }
        best
    }

    /// Weighs what the past says with what the future says.
    pub(crate) fn joined(&self, word: &Belief) -> Belief {
        let mut both = self.clone();
        for (p, w) in both.speeds.iter_mut().zip(&word.speeds) {
            *p = *p * w + GONE;
        }
        for (p, w) in both.stopped.iter_mut().zip(&word.stopped) {
            *p *= w;
        }
        both.normalise();
        both
    }

    /// Multiplies by likelihoods and scales; the sum before.
    fn weigh(&mut self, by: &Likelihood) -> f32 {
        for (p, w) in self.speeds.iter_mut().zip(&by.speeds) {
            *p = *p * w + GONE;
        }
        self.stopped.iter_mut().for_each(|p| *p = *p * by.none + GONE);
        self.normalise()
    }

    /// Scales so that all sums to 1; the sum it had.
    fn normalise(&mut self) -> f32 {
        let sum = total(&self.speeds) + self.none();
        let scale = 1.0 / sum;
        self.speeds.iter_mut().for_each(|p| *p *= scale);
        self.stopped.iter_mut().for_each(|p| *p *= scale);
        sum
    }
}

/// The chain, with its working memory.
pub(crate) struct Chain {
    /// Where an engine is first met: probabilities.
    met: Vec<f32>,
    narrow: Vec<f32>,
    wide: Vec<f32>,
}

impl Chain {
    /// A chain over speeds whose shares, where an engine is first met, have these logarithms.
    pub(crate) fn new(first_met: &[f32]) -> Chain {
        let shares: Vec<f32> = first_met.iter().map(|share| share.exp()).collect();
        let scale = 1.0 / total(&shares);
        let speeds = shares.len();
        Chain {
            met: shares.iter().map(|share| share * scale).collect(),
            narrow: vec![0.0; speeds],
            wide: vec![0.0; speeds],
        }
    }

    /// What is believed before anything was heard: an engine may run already.
    pub(crate) fn before(&self) -> Belief {
        let mut stopped = [0.0; STOPPED_FRAMES];
        stopped[TOP] = 0.5;
        Belief { speeds: self.met.iter().map(|share| 0.5 * share).collect(), stopped }
    }

    /// What nobody has said of the future.
    pub(crate) fn silent(&self) -> Belief {
        Belief { speeds: vec![1.0; self.met.len()], stopped: [1.0; STOPPED_FRAMES] }
    }

    /// Moves a belief one frame on, and weighs it with that frame's likelihoods; their mean, which
    /// is the likelihood of the frame given those before it. `drift` is where each speed was heard to
    /// go in the frame before, cells a frame; nowhere, if it is empty.
    pub(crate) fn forward(&mut self, belief: &mut Belief, drift: &[i8], seen: &Likelihood) -> f32 {
        if !drift.is_empty() {
            self.wide.iter_mut().zip(&belief.speeds).for_each(|(moved, p)| *moved = (1.0 - FOLLOWS) * p);
            for (i, (p, &drift)) in belief.speeds.iter().zip(drift).enumerate() {
                self.wide[target(i, drift, belief.speeds.len())] += FOLLOWS * p;
            }
            belief.speeds.copy_from_slice(&self.wide);
        }
        let some = total(&belief.speeds);
        let top = belief.stopped[TOP];
        self.step(&mut belief.speeds, blips(drift));
        for (p, met) in belief.speeds.iter_mut().zip(&self.met) {
            *p = (1.0 - COME_OR_GO) * *p + COME_OR_GO * top * met;
        }
        belief.stopped.copy_within(..TOP, 1);
        belief.stopped[0] = COME_OR_GO * some;
        belief.stopped[TOP] += (1.0 - COME_OR_GO) * top;
        belief.weigh(seen)
    }

    /// Moves the future's word one frame back, that frame's likelihoods included; `drift` is that of the
    /// frame it moves to.
    pub(crate) fn backward(&mut self, word: &mut Belief, drift: &[i8], seen: &Likelihood) {
        word.weigh(seen);
        let met: f32 = word.speeds.iter().zip(&self.met).map(|(word, met)| word * met).sum();
        let stops = COME_OR_GO * word.stopped[0];
        self.step(&mut word.speeds, blips(drift));
        word.speeds.iter_mut().for_each(|p| *p = (1.0 - COME_OR_GO) * *p + stops);
        let top = word.stopped[TOP];
        word.stopped.copy_within(1.., 0);
        word.stopped[TOP] = (1.0 - COME_OR_GO) * top + COME_OR_GO * met;
        if !drift.is_empty() {
            for (i, (moved, &drift)) in self.wide.iter_mut().zip(drift).enumerate() {
                let there = word.speeds[target(i, drift, word.speeds.len())];
                *moved = (1.0 - FOLLOWS) * word.speeds[i] + FOLLOWS * there;
            }
            word.speeds.copy_from_slice(&self.wide);
        }
        word.normalise();
    }

    /// One step of speed, with blips of such a share and scale among the steps: convolution with
    /// *exp(−|d|/scale)* of both scales. It is symmetric, so the same one serves forward and backward.
    fn step(&mut self, speeds: &mut [f32], (blips, cells): (f32, f32)) {
        let decay = [(-1.0 / NARROW_CELLS).exp(), (-1.0 / cells).exp()];
        let scale = decay.map(|decay| (1.0 - decay) / (1.0 + decay));
        // Four recurrences that do not wait for one another, in one pass.
        let (mut up, mut down) = ([0.0_f32; 2], [0.0_f32; 2]);
        let last = speeds.len() - 1;
        let (mut rising, mut falling) = (std::mem::take(&mut self.narrow), std::mem::take(&mut self.wide));
        let share = [(1.0 - blips) * scale[0], blips * scale[1]];
        for i in 0..=last {
            let (low, high) = (speeds[i], speeds[last - i]);
            up = [up[0] * decay[0] + low, up[1] * decay[1] + low];
            // What comes from above leaves the speed itself out: it is counted from below already.
            falling[last - i] = share[0] * down[0] + share[1] * down[1];
            down = [(down[0] + high) * decay[0], (down[1] + high) * decay[1]];
            rising[i] = share[0] * up[0] + share[1] * up[1];
        }
        for ((p, rising), falling) in speeds.iter_mut().zip(&rising).zip(&falling) {
            *p = rising + falling;
        }
        (self.narrow, self.wide) = (rising, falling);
    }
}

/// Blips among the steps from a frame with this drift.
fn blips(drift: &[i8]) -> (f32, f32) {
    if drift.is_empty() { BLIPS } else { MOVING_BLIPS }
}

/// Where a drift leads, kept on the grid.
fn target(from: usize, drift: i8, speeds: usize) -> usize {
    from.saturating_add_signed(isize::from(drift)).min(speeds - 1)
}

/// The sum, in eight parts that do not wait for one another.
fn total(values: &[f32]) -> f32 {
    let mut sums = [0.0_f32; 8];
    let (eights, rest) = values.as_chunks::<8>();
    for eight in eights {
        for (sum, value) in sums.iter_mut().zip(eight) {
            *sum += value;
        }
    }
    sums.iter().sum::<f32>() + rest.iter().sum::<f32>()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn flat(speeds: usize) -> Chain {
        Chain::new(&vec![0.0; speeds])
    }

    #[test]
    fn a_step_loses_nothing_far_from_the_ends() {
        let mut chain = flat(600);
        let mut speeds = vec![0.0; 600];
        speeds[300] = 1.0;
        chain.step(&mut speeds, (0.3, 16.0));
        assert!((total(&speeds) - 1.0).abs() < 1e-5);
        let best = (0..600).max_by(|&a, &b| speeds[a].total_cmp(&speeds[b]));
        assert_eq!(best, Some(300));
        for d in 1..40 {
            assert!((speeds[300 + d] - speeds[300 - d]).abs() < 1e-7, "{d}");
        }
    }

    #[test]
    fn a_future_that_says_nothing_changes_nothing() {
        let speeds = 600;
        let mut chain = flat(speeds);
        let nothing = Likelihood { speeds: vec![1.0; speeds], none: 1.0, best: 0.0 };
        let near = |middle: f32| -> Vec<f32> {
            (0..speeds).map(|i| (-0.1 * (i as f32 - middle).abs()).exp()).collect()
        };
        let mut past = chain.before();
        for t in 0..20_u8 {
            chain.forward(
                &mut past,
                &[],
                &Likelihood { speeds: near(280.0 + f32::from(t)), none: 0.2, best: 0.0 },
            );
        }
        let mut word = chain.silent();
        for _ in 0..30 {
            chain.backward(&mut word, &[], &nothing);
        }
        let both = past.joined(&word);
        assert!((both.none() - past.none()).abs() < 1e-3 * past.none(), "{} {}", both.none(), past.none());
        for i in 200..400 {
            assert!((both.speeds[i] - past.speeds[i]).abs() < 1e-3 * past.speeds[i] + 1e-9, "{i}");
        }
    }

    #[test]
    fn an_engine_that_stopped_is_met_anew_only_after_the_ladder() {
        let speeds = 200;
        let mut chain = flat(speeds);
        let heard = |at: usize| {
            let mut heard = vec![1e-9; speeds];
            heard[at] = 1.0;
            Likelihood { speeds: heard, none: 1e-9, best: 0.0 }
        };
        let silence = Likelihood { speeds: vec![1e-6; speeds], none: 1.0, best: 0.0 };
        for (silent_frames, met_anew) in [(STOPPED_FRAMES / 2, false), (2 * STOPPED_FRAMES, true)] {
            let mut belief = chain.before();
            (0..20).for_each(|_| {
                chain.forward(&mut belief, &[], &heard(50));
            });
            (0..silent_frames).for_each(|_| {
                chain.forward(&mut belief, &[], &silence);
            });
            assert!(0.5 < belief.none());
            chain.forward(&mut belief, &[], &heard(150));
            assert_eq!(0.5 < belief.speeds[150], met_anew, "after {silent_frames} frames");
        }
    }
}
