//! Is it music or a voice? Tones stand out of the spectrum; an engine's firings, never quite alike
//! nor quite on time, blur above a few hundred hertz.

use std::collections::VecDeque;
use std::sync::Arc;

use realfft::num_complex::Complex;
use realfft::{RealFftPlanner, RealToComplex};

use super::constants::{CLIP, CLIP_LOSS, TONE_HZ, TONE_NEAR_HZ, TONE_S, TONE_STANDS_OUT};

/// Follows the share of the spectrum that stands out as tones.
pub(crate) struct Tone {
    sample_rate_hz: f64,
    transform: Arc<dyn RealToComplex<f32>>,
    window: Vec<f32>,
    pending: Vec<f32>,
    output: Vec<Complex<f32>>,
    scratch: Vec<Complex<f32>>,
    made: u64,
    /// Time of the middle, seconds, and share.
    shares: VecDeque<(f64, f64)>,
}

impl Tone {
    pub(crate) fn new(sample_rate_hz: f64) -> Tone {
        let size = 1_usize << (TONE_S * sample_rate_hz).log2().round() as u32;
        let transform = RealFftPlanner::<f32>::new().plan_fft_forward(size);
        let phase = |i: usize| std::f64::consts::TAU * (i as f64 + 0.5) / size as f64;
        Tone {
            sample_rate_hz,
            window: (0..size).map(|i| (0.5 - 0.5 * phase(i).cos()) as f32).collect(),
            pending: Vec::with_capacity(size),
            output: transform.make_output_vec(),
            scratch: transform.make_scratch_vec(),
            transform,
            made: 0,
            shares: VecDeque::new(),
        }
    }

    /// Takes samples.
    pub(crate) fn hear(&mut self, samples: &[f32]) {
        let size = self.window.len();
        let mut rest = samples;
        while !rest.is_empty() {
            let take = rest.len().min(size - self.pending.len());
            self.pending
                .extend(rest[..take].iter().map(|x| if x.is_finite() { x.clamp(-8.0, 8.0) } else { 0.0 }));
            rest = &rest[take..];
            if self.pending.len() == size {
                let share = self.share();
                let middle_s = (self.made as f64 + 0.5) * size as f64 / self.sample_rate_hz;
                self.made += 1;
                self.shares.push_back((middle_s, share));
                self.pending.clear();
            }
        }
    }

    /// The share nearest to an instant; zero where nothing was heard yet.
    pub(crate) fn at(&self, t_s: f64) -> f64 {
        let distance = |(middle_s, _): &&(f64, f64)| (middle_s - t_s).abs();
        self.shares.iter().min_by(|a, b| distance(a).total_cmp(&distance(b))).map_or(0.0, |(_, share)| *share)
    }

    /// Forgets what lies before an instant.
    pub(crate) fn forget(&mut self, before_s: f64) {
        while self.shares.front().is_some_and(|(t, _)| *t < before_s) {
            self.shares.pop_front();
        }
    }

    /// Share of bins that stand out of their neighbourhood.
    fn share(&mut self) -> f64 {
        for (x, window) in self.pending.iter_mut().zip(&self.window) {
            *x *= window;
        }
        self.transform
            .process_with_scratch(&mut self.pending, &mut self.output, &mut self.scratch)
            .expect("the buffers were made by the transform itself");
        let bin_hz = self.sample_rate_hz / self.window.len() as f64;
        let reach = (TONE_NEAR_HZ / bin_hz) as usize;
        let (from, to) = ((TONE_HZ.0 / bin_hz) as usize, (TONE_HZ.1 / bin_hz) as usize);
        let power: Vec<f64> =
            self.output[from - reach..to + reach].iter().map(|bin| f64::from(bin.norm_sqr())).collect();
        let clipped = neighbourhoods(&power, reach, |i, mean| power[i].min(CLIP * mean));
        let floor = neighbourhoods(&clipped, reach, |_, mean| mean * CLIP_LOSS);
        let inside = reach..power.len() - reach;
        let count = inside.len() as f64;
        inside.filter(|&i| power[i] > TONE_STANDS_OUT * floor[i] + 1e-20).count() as f64 / count
    }
}

/// Maps each value with the mean of its neighbourhood.
fn neighbourhoods(values: &[f64], reach: usize, map: impl Fn(usize, f64) -> f64) -> Vec<f64> {
    let mut sums = vec![0.0; values.len() + 1];
    for (i, value) in values.iter().enumerate() {
        sums[i + 1] = sums[i] + value;
    }
    (0..values.len())
        .map(|i| {
            let (from, to) = (i.saturating_sub(reach), (i + reach + 1).min(values.len()));
            map(i, (sums[to] - sums[from]) / (to - from) as f64)
        })
        .collect()
}
