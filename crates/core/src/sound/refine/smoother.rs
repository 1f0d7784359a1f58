//! From shifts of phase to speed: a Kalman filter forward, a smoother back.
//!
//! The state of a frame is by how much angle and rate differ from the coarse ones. Rate wanders at random; how
//! strongly, and how far shifts are to be trusted, is weighed by how well each guess foretells the shifts.

use super::Shift;
use crate::sound::FRAME_S;
use crate::sound::constants::{JITTER_CYCLES, OUTLIER, SHIFT_SCALES, START_SHARE, WANDERS};

/// What is believed of one frame, beyond the coarse trace.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Smoothed {
    /// Cycles ahead.
    pub(super) angle: f64,
    /// Cycles a second faster.
    pub(super) rate: f64,
    pub(super) rate_variance: f64,
}

/// Angle and rate with their covariance: of the angle, of both, of the rate.
#[derive(Clone, Copy, Debug)]
struct State {
    angle: f64,
    rate: f64,
    covariance: [f64; 3],
}

/// What chance does to a run.
#[derive(Clone, Copy)]
struct Chance {
    /// Share of the rate by which it wanders in one second.
    wander: f64,
    /// Variance of shifts, against what their information says.
    scale: f64,
}

/// The state of every frame, with all shifts known. `rates` are the coarse ones, cycles a second, and
/// `doubts` how far one frame's rate may be trusted to be near it.
pub(super) fn smoothed(rates: &[f64], doubts: &[f64], shifts: &[Shift]) -> Vec<Smoothed> {
    let frames = Frames { rates, doubts, shifts };
    let chance = frames.likely();
    let mut passed = Vec::with_capacity(rates.len());
    frames.filter(chance, |before, after| passed.push((before, after)));
    back(&passed)
}

struct Frames<'a> {
    rates: &'a [f64],
    doubts: &'a [f64],
    shifts: &'a [Shift],
}

impl Frames<'_> {
    /// The mean of the guesses in ratio, each weighed by its likelihood.
    fn likely(&self) -> Chance {
        let guesses = WANDERS.iter().flat_map(|&wander| SHIFT_SCALES.map(|scale| Chance { wander, scale }));
        let weighed: Vec<(Chance, f64)> =
            guesses.map(|chance| (chance, self.filter(chance, |_, _| {}))).collect();
        let best = weighed.iter().map(|(_, likelihood)| *likelihood).fold(f64::MIN, f64::max);
        let (mut wander, mut scale, mut sum) = (0.0, 0.0, 0.0);
        for (chance, likelihood) in weighed {
            let weight = (likelihood - best).exp();
            wander += weight * chance.wander.ln();
            scale += weight * chance.scale.ln();
            sum += weight;
        }
        Chance { wander: (wander / sum).exp(), scale: (scale / sum).exp() }
    }

    /// Runs forward; each frame's state before and after its own shift is given away. The logarithm of the
    /// likelihood of all shifts.
    fn filter(&self, chance: Chance, mut passed: impl FnMut(State, State)) -> f64 {
        let start = START_SHARE * self.rates[0];
        let mut state = State { angle: 0.0, rate: 0.0, covariance: [1.0, 0.0, start * start] };
        let mut likelihood = 0.0;
        for (frame, (rate, shift)) in self.rates.iter().zip(self.shifts).enumerate() {
            if 0 < frame {
                state = state.next((chance.wander * rate).powi(2));
            }
            let before = state;
            if 1.0 < shift.information {
                let variance = chance.scale / shift.information + JITTER_CYCLES * JITTER_CYCLES;
                likelihood += state.learn([1.0, shift.later_s], shift.cycles, variance);
            }
            // Whatever phases say, the speed is near the coarse one.
            state.learn([0.0, 1.0], 0.0, self.doubts[frame].powi(2));
            passed(before, state);
        }
        likelihood
    }
}

impl State {
    /// One frame on; `wander` is the variance by which rate moves in a second.
    fn next(&self, wander: f64) -> State {
        let [angle, both, rate] = self.covariance;
        let step = FRAME_S;
        State {
            angle: self.angle + step * self.rate,
            rate: self.rate,
            covariance: [
                angle + step * (2.0 * both + step * (rate + wander * step / 3.0)),
                both + step * (rate + wander * step / 2.0),
                rate + wander * step,
            ],
        }
    }

    /// Learns a combination of angle and rate; an outlier is taken for less sure than it says. The
    /// logarithm of its likelihood.
    fn learn(&mut self, of: [f64; 2], value: f64, variance: f64) -> f64 {
        let [angle, both, rate] = self.covariance;
        let gain = [of[0] * angle + of[1] * both, of[0] * both + of[1] * rate];
        let mut spread = of[0] * gain[0] + of[1] * gain[1] + variance;
        let off = value - of[0] * self.angle - of[1] * self.rate;
        spread *= (off * off / spread / OUTLIER).max(1.0);
        self.angle += gain[0] * off / spread;
        self.rate += gain[1] * off / spread;
        self.covariance = [
            angle - gain[0] * gain[0] / spread,
            both - gain[0] * gain[1] / spread,
            rate - gain[1] * gain[1] / spread,
        ];
        -0.5 * (spread.ln() + off * off / spread)
    }
}

/// Runs back: what each frame's state is once all later shifts are known (Rauch, Tung and Striebel).
fn back(passed: &[(State, State)]) -> Vec<Smoothed> {
    let mut smoothed = Vec::with_capacity(passed.len());
    let mut later: Option<(State, State)> = None;
    for &(before, after) in passed.iter().rev() {
        let state = match later {
            None => after,
            Some((foretold, known)) => after.corrected(&foretold, &known),
        };
        let rate_variance = state.covariance[2].max(0.0);
        smoothed.push(Smoothed { angle: state.angle, rate: state.rate, rate_variance });
        later = Some((before, state));
    }
    smoothed.reverse();
    smoothed
}

impl State {
    /// This state, once the next frame's is known that it foretold otherwise.
    fn corrected(&self, foretold: &State, known: &State) -> State {
        let [angle, both, rate] = self.covariance;
        let [f_angle, f_both, f_rate] = foretold.covariance;
        let [k_angle, k_both, k_rate] = known.covariance;
        let scale = 1.0 / (f_angle * f_rate - f_both * f_both).max(f64::MIN_POSITIVE);
        // Covariance of this state with the next, times the inverse of what was foretold.
        let row = |to_angle: f64, to_rate: f64| {
            [scale * (to_angle * f_rate - to_rate * f_both), scale * (to_rate * f_angle - to_angle * f_both)]
        };
        let gains = [row(angle + FRAME_S * both, both), row(both + FRAME_S * rate, rate)];
        let off = [known.angle - foretold.angle, known.rate - foretold.rate];
        let less = [k_angle - f_angle, k_both - f_both, k_rate - f_rate];
        let moved = |gain: &[f64; 2]| gain[0] * off[0] + gain[1] * off[1];
        let between = |a: &[f64; 2], b: &[f64; 2]| {
            a[0] * (less[0] * b[0] + less[1] * b[1]) + a[1] * (less[1] * b[0] + less[2] * b[1])
        };
        State {
            angle: self.angle + moved(&gains[0]),
            rate: self.rate + moved(&gains[1]),
            covariance: [
                angle + between(&gains[0], &gains[0]),
                both + between(&gains[0], &gains[1]),
                rate + between(&gains[1], &gains[1]),
            ],
        }
    }
}
