//! The crank's angle against time: known at each frame with its rate, a cubic in between.

use super::smoother::Smoothed;
use crate::sound::FRAME_S;

/// Angle and rate at consecutive frames.
#[derive(Clone, Debug)]
pub(super) struct Path {
    /// Cycles since the first frame.
    angles: Vec<f64>,
    /// Cycles a second.
    rates: Vec<f64>,
}

impl Path {
    /// The angle that these rates lead along.
    pub(super) fn along(rates: &[f64]) -> Path {
        let mut angle = 0.0;
        let mut angles = vec![0.0];
        angles.extend(rates.windows(2).map(|pair| {
            angle += 0.5 * FRAME_S * (pair[0] + pair[1]);
            angle
        }));
        Path { angles, rates: rates.to_vec() }
    }

    /// This path, with what was found added.
    pub(super) fn moved(&self, found: &[Smoothed]) -> Path {
        let angles = self.angles.iter().zip(found).map(|(angle, found)| angle + found.angle).collect();
        // Far off is wrong; backwards would be worse.
        let rates = self.rates.iter().zip(found).map(|(rate, found)| (rate + found.rate).max(0.5 * rate));
        Path { angles, rates: rates.collect() }
    }

    pub(super) fn frames(&self) -> usize {
        self.rates.len()
    }

    /// Cycles a second at a frame.
    pub(super) fn rate(&self, frame: usize) -> f64 {
        self.rates[frame]
    }

    /// Cycles by which this path is ahead of another, so long after a frame.
    pub(super) fn ahead(&self, other: &Path, frame: usize, later_s: f64) -> f64 {
        self.angles[frame] - other.angles[frame] + later_s * (self.rates[frame] - other.rates[frame])
    }

    /// Cycles at an instant, counted in frames; beyond either end the rate stays what it was there.
    pub(super) fn angle(&self, at: f64) -> f64 {
        let last = self.frames() - 1;
        let frame = (at.max(0.0) as usize).min(last);
        let x = at - frame as f64;
        let (angle, rate) = (self.angles[frame], FRAME_S * self.rates[frame]);
        if x < 0.0 || frame == last {
            return angle + rate * x;
        }
        let next = FRAME_S * self.rates[frame + 1];
        let way = self.angles[frame + 1] - angle;
        angle + x * (rate + x * ((3.0 * way - 2.0 * rate - next) + x * (rate + next - 2.0 * way)))
    }

    /// Mean rate over the one cycle centred on a frame in angle, cycles a second.
    pub(super) fn cycle_rate(&self, frame: usize) -> f64 {
        let step = FRAME_S * self.rates[frame];
        let meets = |cycles: f64| {
            let mut at = frame as f64 + cycles / step;
            for _ in 0..3 {
                at += (self.angles[frame] + cycles - self.angle(at)) / step;
            }
            at
        };
        1.0 / ((meets(0.5) - meets(-0.5)) * FRAME_S)
    }

    /// How fast the rate changes at a frame, cycles a second per second, over two frames either way.
    pub(super) fn slope(&self, frame: usize) -> f64 {
        let (from, to) = (frame.saturating_sub(2), (frame + 2).min(self.frames() - 1));
        (self.rates[to] - self.rates[from]) / (FRAME_S * (to - from) as f64)
    }
}
