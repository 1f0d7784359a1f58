//! From samples to loudness: what a few bands do in decibels about their own mean, some thousand
//! times a second.
//!
//! All of it is causal and runs sample by sample, so blocks of any size give the same answer. The
//! four bands run side by side in the lanes of one vector.

use std::f64::consts::PI;

use super::constants::{BANDS_HZ, LEVEL_FLOOR, LEVEL_S, LOUDNESS_HZ, SLOWEST_HZ};
use super::sections::Section;
pub(crate) use super::sections::{LANES, Lanes};

/// Half-length of the smoothing filter before every second value is dropped.
const HALF: usize = 9;
const TAPS: usize = 2 * HALF + 1;

/// The front end: samples in, loudness out.
pub(crate) struct Ears {
    sample_rate_hz: f64,
    bands: usize,
    above: Section,
    below: Section,
    /// Samples in one box of the first, crude average.
    box_samples: usize,
    filled: usize,
    energy: Lanes,
    boxes: u64,
    recent: [Lanes; TAPS],
    taps: [f32; TAPS],
    level: Lanes,
    level_share: f32,
    slow: Lanes,
    slow_share: f32,
    made: u64,
}

impl Ears {
    pub(crate) fn new(sample_rate_hz: f64) -> Ears {
        let bands = BANDS_HZ.iter().filter(|(low, _)| *low < 0.8 * 0.46 * sample_rate_hz).count();
        let corner = |hertz: f64| (hertz / sample_rate_hz).min(0.46);
        let box_samples = (sample_rate_hz / (2.0 * LOUDNESS_HZ)).round().max(1.0) as usize;
        let loudness_hz = sample_rate_hz / (2 * box_samples) as f64;
        let mut taps = [0.0_f64; TAPS];
        for (i, tap) in taps.iter_mut().enumerate() {
            let x = i as f64 - HALF as f64;
            let wave = 2.0 * PI * 0.22 * x;
            let sinc = if x == 0.0 { 1.0 } else { wave.sin() / wave };
            *tap = sinc * (0.5 + 0.5 * (PI * x / (HALF as f64 + 1.0)).cos());
        }
        let sum: f64 = taps.iter().sum();
        Ears {
            sample_rate_hz,
            bands,
            above: Section::new(BANDS_HZ.map(|(low, _)| corner(low))),
            below: Section::new(BANDS_HZ.map(|(_, high)| corner(high))),
            box_samples,
            filled: 0,
            energy: [0.0; LANES],
            boxes: 0,
            recent: [[0.0; LANES]; TAPS],
            taps: taps.map(|tap| (tap / sum) as f32),
            level: [0.0; LANES],
            level_share: (1.0 - (-1.0 / (LEVEL_S * loudness_hz)).exp()) as f32,
            slow: [0.0; LANES],
            slow_share: (1.0 - (-2.0 * PI * SLOWEST_HZ / loudness_hz).exp()) as f32,
            made: 0,
        }
    }

    /// How many of the bands the sample rate reaches.
    pub(crate) fn bands(&self) -> usize {
        self.bands
    }

    /// Rate of the loudness values, hertz.
    pub(crate) fn loudness_hz(&self) -> f64 {
        self.sample_rate_hz / (2 * self.box_samples) as f64
    }

    /// The index of the loudness value nearest to an instant, the filters' delay respected.
    pub(crate) fn index_at(&self, t_s: f64) -> i64 {
        let boxes = t_s * self.sample_rate_hz / self.box_samples as f64;
        ((boxes + HALF as f64 - 0.5) / 2.0).round() as i64
    }

    /// The instant of the loudness value with an index, seconds: what [`index_at`](Ears::index_at) undoes.
    pub(crate) fn instant(&self, index: i64) -> f64 {
        (2.0 * index as f64 - HALF as f64 + 0.5) * self.box_samples as f64 / self.sample_rate_hz
    }

    /// Takes samples; calls `made` for each loudness value that became complete.
    pub(crate) fn hear(&mut self, samples: &[f32], mut made: impl FnMut(Lanes)) {
        let mut rest = samples;
        while !rest.is_empty() {
            let take = rest.len().min(self.box_samples - self.filled);
            // Locals keep the states in registers.
            let (mut above, mut below, mut energy) = (self.above, self.below, self.energy);
            for &sample in &rest[..take] {
                // A broken sample (not a number) must not deafen the filters for ever.
                let sample = if sample.is_finite() { sample.clamp(-8.0, 8.0) } else { 0.0 };
                let high = above.high(&[sample; LANES]);
                let band = below.low(&high);
                for i in 0..LANES {
                    energy[i] += band[i] * band[i];
                }
            }
            (self.above, self.below, self.energy) = (above, below, energy);
            rest = &rest[take..];
            self.filled += take;
            if self.filled == self.box_samples {
                self.filled = 0;
                self.above.rest();
                self.below.rest();
                let full = std::mem::replace(&mut self.energy, [0.0; LANES]);
                if let Some(value) = self.boxed(full.map(|sum| sum / self.box_samples as f32)) {
                    made(value);
                }
            }
        }
    }

    /// Every second box gives a loudness value.
    fn boxed(&mut self, energy: Lanes) -> Option<Lanes> {
        self.recent[(self.boxes % TAPS as u64) as usize] = energy;
        self.boxes += 1;
        if self.boxes.is_multiple_of(2) {
            return None;
        }
        let mut smooth = [0.0_f32; LANES];
        for (tap, back) in self.taps.iter().zip(0..TAPS as u64) {
            let at = (self.boxes + TAPS as u64 - 1 - back) % TAPS as u64;
            for (smooth, recent) in smooth.iter_mut().zip(self.recent[at as usize]) {
                *smooth += tap * recent;
            }
        }
        Some(self.loudness(smooth))
    }

    /// Decibels about the band's own mean, slow changes removed.
    fn loudness(&mut self, energy: Lanes) -> Lanes {
        let share = self.level_share.max(1.0 / (self.made + 1) as f32);
        let mut out = [0.0; LANES];
        for i in 0..LANES {
            let energy = energy[i].max(0.0) + 1e-16;
            self.level[i] += share * (energy - self.level[i]);
            let loud = (LEVEL_FLOOR + energy / self.level[i]).ln();
            if self.made == 0 {
                self.slow[i] = loud;
            }
            self.slow[i] += self.slow_share * (loud - self.slow[i]);
            out[i] = loud - self.slow[i];
        }
        self.made += 1;
        out
    }
}
