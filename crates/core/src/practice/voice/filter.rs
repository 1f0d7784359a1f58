//! Filters and levels the voice and its surroundings are made with.

use std::f64::consts::{PI, SQRT_2};

/// A second-order section.
#[derive(Clone, Debug)]
pub(in crate::practice) struct Section {
    b: [f64; 3],
    a: [f64; 2],
    state: [f64; 2],
}

impl Section {
    /// Butterworth low-pass.
    pub(in crate::practice) fn low(hz: f64, rate_hz: f64) -> Section {
        let k = warp(hz, rate_hz);
        let norm = 1.0 / (1.0 + SQRT_2 * k + k * k);
        Section::butterworth([k * k * norm, 2.0 * k * k * norm, k * k * norm], k, norm)
    }

    /// Butterworth high-pass.
    pub(in crate::practice) fn high(hz: f64, rate_hz: f64) -> Section {
        let k = warp(hz, rate_hz);
        let norm = 1.0 / (1.0 + SQRT_2 * k + k * k);
        Section::butterworth([norm, -2.0 * norm, norm], k, norm)
    }

    /// A resonance whose peak gain is 1.
    pub(in crate::practice) fn resonance(hz: f64, quality: f64, rate_hz: f64) -> Section {
        let k = warp(hz, rate_hz);
        let norm = 1.0 / (1.0 + k / quality + k * k);
        let b = k / quality * norm;
        let a = [2.0 * (k * k - 1.0) * norm, (1.0 - k / quality + k * k) * norm];
        Section { b: [b, 0.0, -b], a, state: [0.0; 2] }
    }

    fn butterworth(b: [f64; 3], k: f64, norm: f64) -> Section {
        let a = [2.0 * (k * k - 1.0) * norm, (1.0 - SQRT_2 * k + k * k) * norm];
        Section { b, a, state: [0.0; 2] }
    }

    #[inline(always)]
    pub(in crate::practice) fn step(&mut self, x: f64) -> f64 {
        let y = self.b[0] * x + self.state[0];
        self.state[0] = self.b[1] * x - self.a[0] * y + self.state[1];
        self.state[1] = self.b[2] * x - self.a[1] * y;
        y
    }

    /// Filters in place.
    pub(in crate::practice) fn run(mut self, sound: &mut [f64]) {
        for x in sound {
            *x = self.step(*x);
        }
    }
}

/// Corners at or above half the sample rate are moved just below it.
fn warp(hz: f64, rate_hz: f64) -> f64 {
    (PI * (hz / rate_hz).min(0.49)).tan()
}

/// RMS in 100 Hz to 8 kHz: what "loud" means wherever two sounds are compared. Fourth-order corners.
pub fn heard_rms(sound: &[f64], rate_hz: f64) -> f64 {
    let mut filters = [
        Section::high(100.0, rate_hz),
        Section::high(100.0, rate_hz),
        Section::low(8_000.0, rate_hz),
        Section::low(8_000.0, rate_hz),
    ];
    // A sample rate that does not reach 8 kHz needs no upper corner.
    let filters = if rate_hz > 16_500.0 { &mut filters[..] } else { &mut filters[..2] };
    let sum: f64 = sound
        .iter()
        .map(|&x| {
            let y = filters.iter_mut().fold(x, |x, filter| filter.step(x));
            y * y
        })
        .sum();
    (sum / sound.len().max(1) as f64).sqrt()
}

/// Root of the median of the power in pieces of a tenth of a second: the level of what goes on most of
/// the time, so that a blip does not make its own idle quiet.
pub(in crate::practice) fn usual_rms(sound: &[f64], rate_hz: f64) -> f64 {
    let piece = (0.1 * rate_hz) as usize;
    let mut powers: Vec<f64> = sound
        .chunks_exact(piece.max(1))
        .map(|piece| piece.iter().map(|x| x * x).sum::<f64>() / piece.len() as f64)
        .collect();
    powers.sort_unstable_by(f64::total_cmp);
    powers.get(powers.len() / 2).copied().unwrap_or(0.0).sqrt()
}

/// Adds a sound scaled so that its [`usual_rms`] is `level`; silence stays silence.
pub(in crate::practice) fn add_at(into: &mut [f64], sound: &[f64], level: f64, rate_hz: f64) {
    let usual = usual_rms(sound, rate_hz);
    if usual > 0.0 {
        let scale = level / usual;
        into.iter_mut().zip(sound).for_each(|(into, x)| *into += scale * x);
    }
}
