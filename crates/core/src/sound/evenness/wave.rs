//! The sound as firings are told apart in it: its low part, a few thousand values a second.
//!
//! Above some 600 Hz a pulse comes too ragged, and by the crank too unpunctually, to be laid over the next one;
//! valves and rushing gas live there. All of it is causal and runs sample by sample, so blocks of any size
//! give the same answer.

use std::collections::VecDeque;
use std::f64::consts::PI;

use super::pulses::dot;
use crate::sound::constants::{PULSE_BAND_HZ, PULSE_RATE_HZ};
use crate::sound::sections::HighPass;

/// Half-length of the low-pass before every second value is dropped.
const HALF: usize = 12;
const TAPS: usize = 2 * HALF + 1;

/// Samples in, waveform out; keeps what is asked for again.
pub(super) struct Waveform {
    rate_hz: f64,
    /// Time of the first value ever made, seconds.
    begins_s: f64,
    box_samples: usize,
    filled: usize,
    /// Two boxes, one upon the other: together a triangle, which folds little back from above.
    sum: f32,
    before: f32,
    /// The last boxes, twice over, so that they always lie in a row somewhere.
    recent: [f32; 2 * TAPS],
    taps: [f32; TAPS],
    boxes: u64,
    high: HighPass,
    /// Values dropped, and those kept after them.
    dropped: i64,
    kept: VecDeque<f32>,
}

impl Waveform {
    pub(super) fn new(sample_rate_hz: f64) -> Waveform {
        let box_samples = (sample_rate_hz / (2.0 * PULSE_RATE_HZ)).round().max(1.0) as usize;
        let boxed_hz = sample_rate_hz / box_samples as f64;
        let mut taps = [0.0_f64; TAPS];
        for (i, tap) in taps.iter_mut().enumerate() {
            let x = i as f64 - HALF as f64;
            let wave = 2.0 * PI * PULSE_BAND_HZ.1 / boxed_hz * x;
            let sinc = if x == 0.0 { 1.0 } else { wave.sin() / wave };
            *tap = sinc * (0.5 + 0.5 * (PI * x / (HALF as f64 + 1.0)).cos());
        }
        let total: f64 = taps.iter().sum();
        let late = (box_samples as f64 - 1.0) / sample_rate_hz + HALF as f64 / boxed_hz;
        Waveform {
            rate_hz: boxed_hz / 2.0,
            begins_s: (2.0 * box_samples as f64 - 1.0) / sample_rate_hz - late,
            box_samples,
            filled: 0,
            sum: 0.0,
            before: 0.0,
            recent: [0.0; 2 * TAPS],
            taps: taps.map(|tap| (tap / total) as f32),
            boxes: 0,
            high: HighPass::new(2.0 * PULSE_BAND_HZ.0 / boxed_hz),
            dropped: 0,
            kept: VecDeque::new(),
        }
    }

    /// Values a second.
    pub(super) fn rate_hz(&self) -> f64 {
        self.rate_hz
    }

    /// Where an instant lies among the values, the first ever made being 0.
    pub(super) fn index_at(&self, t_s: f64) -> f64 {
        (t_s - self.begins_s) * self.rate_hz
    }

    /// The instant of a value.
    pub(super) fn time_at(&self, index: f64) -> f64 {
        self.begins_s + index / self.rate_hz
    }

    pub(super) fn hear(&mut self, samples: &[f32]) {
        let mut rest = samples;
        while !rest.is_empty() {
            let take = (self.box_samples - self.filled).min(rest.len());
            for &sample in &rest[..take] {
                // A broken sample (not a number) must not deafen the filters for ever.
                self.sum += if sample.is_finite() { sample.clamp(-8.0, 8.0) } else { 0.0 };
            }
            rest = &rest[take..];
            self.filled += take;
            if self.filled == self.box_samples {
                self.filled = 0;
                let full = std::mem::replace(&mut self.sum, 0.0) / self.box_samples as f32;
                self.boxed(0.5 * (full + self.before));
                self.before = full;
            }
        }
    }

    /// Every second box gives a value.
    fn boxed(&mut self, value: f32) {
        let at = (self.boxes % TAPS as u64) as usize;
        self.recent[at] = value;
        self.recent[at + TAPS] = value;
        self.boxes += 1;
        if self.boxes.is_multiple_of(2) {
            let smooth = dot(&self.taps, &self.recent[at + 1..][..TAPS]);
            self.kept.push_back(self.high.step(f64::from(smooth)) as f32);
        }
    }

    /// The values of a stretch; silence stands where there are none, or none any more.
    pub(super) fn stretch(&self, from: i64, to: i64) -> Vec<f32> {
        (from..to)
            .map(|at| {
                let kept = usize::try_from(at - self.dropped).ok();
                kept.and_then(|at| self.kept.get(at)).copied().unwrap_or(0.0)
            })
            .collect()
    }

    /// Drops what lies before an instant.
    pub(super) fn forget(&mut self, t_s: f64) {
        let from = self.index_at(t_s) as i64;
        while self.dropped < from && self.kept.pop_front().is_some() {
            self.dropped += 1;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn blocks_of_any_size_give_the_same_waveform() {
        let sound: Vec<f32> = (0..9_000).map(|i| ((i * i % 977) as f32 / 488.0) - 1.0).collect();
        let made = |block: usize| {
            let mut wave = Waveform::new(44_100.0);
            sound.chunks(block).for_each(|block| wave.hear(block));
            wave.stretch(0, 600)
        };
        assert_eq!(made(1), made(9_000));
        assert_eq!(made(7), made(1_024));
    }

    #[test]
    fn a_click_is_found_when_it_happened() {
        for rate_hz in [8_000.0, 16_000.0, 44_100.0, 48_000.0] {
            let mut wave = Waveform::new(rate_hz);
            let mut sound = vec![0.0; rate_hz as usize];
            let at = sound.len() / 2;
            sound[at] = 1.0;
            wave.hear(&sound);
            let values = wave.stretch(0, wave.index_at(1.0) as i64);
            let loudest = (0..values.len()).max_by(|&a, &b| values[a].total_cmp(&values[b])).unwrap();
            let heard_s = wave.time_at(loudest as f64);
            assert!((heard_s - at as f64 / rate_hz).abs() < 0.5e-3, "{rate_hz} Hz: {heard_s} s");
        }
    }
}
