//! Spectra of the loudness: each line against the floor around it, on a logarithmic axis.
//!
//! On that axis the orders of every speed stand at the same distances from one another, so the comb
//! of the next room is one pass over contiguous memory.

use std::sync::Arc;

use realfft::num_complex::Complex;
use realfft::{RealFftPlanner, RealToComplex};

use super::constants::{CLIP, CLIP_LOSS, LINE_CAP, NEIGHBOURHOOD_HZ, STEP};
use super::ears::{LANES, Lanes};

/// The spectrum of one window length.
pub(crate) struct Spectra {
    /// Loudness values in the window.
    pub(crate) length: usize,
    bands: usize,
    window: Vec<f32>,
    transform: Arc<dyn RealToComplex<f32>>,
    input: Vec<f32>,
    output: Vec<Complex<f32>>,
    scratch: Vec<Complex<f32>>,
    power: Vec<f32>,
    /// Running sums of `power`, for the floor.
    sums: Vec<f64>,
    clipped: Vec<f64>,
    /// One over the floor of each bin.
    per_floor: Vec<f32>,
    reach: usize,
    /// For each cell of the logarithmic axis: bin, and the share of the next one.
    cells: Vec<(usize, f32)>,
}

impl Spectra {
    /// `first_hz` is the frequency of cell 0; cell *i* lies at `first_hz · exp(i · STEP)`.
    pub(crate) fn new(seconds: f64, loudness_hz: f64, bands: usize, first_hz: f64, cells: usize) -> Spectra {
        let length = (seconds * loudness_hz).round() as usize;
        let size = (3 * length / 2).next_power_of_two();
        let transform = RealFftPlanner::<f32>::new().plan_fft_forward(size);
        let bin_hz = loudness_hz / size as f64;
        let last_hz = first_hz * (STEP * cells as f64).exp() + 2.0 * NEIGHBOURHOOD_HZ;
        let bins = ((last_hz / bin_hz) as usize + 2).min(size / 2 + 1);
        let window = (0..length)
            .map(|i| {
                let phase = std::f64::consts::TAU * (i as f64 + 0.5) / length as f64;
                (0.5 - 0.5 * phase.cos()) as f32
            })
            .collect();
        let cells = (0..cells)
            .map(|i| {
                let bin = first_hz * (STEP * i as f64).exp() / bin_hz;
                let whole = (bin as usize).min(bins - 2);
                (whole, (bin - whole as f64).clamp(0.0, 1.0) as f32)
            })
            .collect();
        Spectra {
            length,
            bands,
            window,
            input: transform.make_input_vec(),
            output: transform.make_output_vec(),
            scratch: transform.make_scratch_vec(),
            transform,
            power: vec![0.0; bins],
            sums: vec![0.0; bins + 1],
            clipped: vec![0.0; bins + 1],
            per_floor: vec![0.0; bins],
            reach: (NEIGHBOURHOOD_HZ / bin_hz).round().max(1.0) as usize,
            cells,
        }
    }

    /// Lines against their floor for each band, cell by cell; `sound` holds `length` values.
    pub(crate) fn lines(&mut self, sound: &[Lanes], into: &mut [Vec<f32>; LANES]) {
        for (band, lines) in into.iter_mut().enumerate().take(self.bands) {
            self.input.fill(0.0);
            for ((input, value), window) in self.input.iter_mut().zip(sound).zip(&self.window) {
                *input = value[band] * window;
            }
            self.transform
                .process_with_scratch(&mut self.input, &mut self.output, &mut self.scratch)
                .expect("the buffers were made by the transform itself");
            let mut sum = 0.0_f64;
            for (i, (power, bin)) in self.power.iter_mut().zip(&self.output).enumerate() {
                *power = bin.norm_sqr();
                sum += f64::from(*power);
                self.sums[i + 1] = sum;
            }
            let bins = self.power.len();
            // The lines themselves must not lift the floor they are compared with: the second average
            // counts no bin above CLIP times the first.
            let mut clipped = 0.0_f64;
            for i in 0..bins {
                let (from, to) = (i.saturating_sub(self.reach), (i + self.reach + 1).min(bins));
                let floor = (self.sums[to] - self.sums[from]) / (to - from) as f64;
                clipped += f64::from(self.power[i]).min(CLIP * floor);
                self.clipped[i + 1] = clipped;
            }
            // One division a bin: there are several cells to a bin.
            for (bin, per_floor) in self.per_floor.iter_mut().enumerate() {
                let (from, to) = (bin.saturating_sub(self.reach), (bin + self.reach + 1).min(bins));
                let floor = ((self.clipped[to] - self.clipped[from]) / (to - from) as f64 * CLIP_LOSS) as f32;
                *per_floor = 1.0 / (floor + 1e-12);
            }
            lines.clear();
            lines.extend(self.cells.iter().map(|&(bin, share)| {
                let line = self.power[bin] * (1.0 - share) + self.power[bin + 1] * share;
                (line * self.per_floor[bin]).min(LINE_CAP)
            }));
        }
    }
}
