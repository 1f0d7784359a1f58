//! Spectra of the loudness: each line against the floor around it, on a logarithmic axis.
//!
//! On that axis the orders of every speed stand at the same distances from one another, so the comb
//! of the next room is one pass over contiguous memory.

use std::sync::Arc;

use realfft::num_complex::Complex;
use realfft::{RealFftPlanner, RealToComplex};

use super::constants::{
    CHIRPS_PER_S, CLIP, CLIP_LOSS, LINE_CAP, MISFIT, MOST_WARP, NEIGHBOURHOOD_HZ, STEP, STRAY,
};
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
    /// For each chirp, how the window is read so that a sound of that relative rate stands still.
    warps: Vec<Vec<Reading>>,
    densities: Vec<(f32, f32)>,
}

/// Lines of one band, cell by cell.
#[derive(Clone, Default)]
pub(crate) struct Lines {
    /// Power over the floor.
    pub(crate) power: Vec<f32>,
    /// How unlikely that power is in noise: the negative logarithm of its density.
    pub(crate) noise: Vec<f32>,
    /// How likely it is of an order that is as it pleases: the logarithm of that density.
    pub(crate) stray: Vec<f32>,
}

/// The negative logarithm of the density of a line's power in noise: exponential, but for a share of
/// strays (hum, whistles) of any power. So one line alone proves no engine, however strong.
pub(super) fn unlikely(power: f64) -> f64 {
    -((1.0 - STRAY) * (-power).exp() + STRAY / ((1.0 + power) * (1.0 + power))).ln()
}

/// The logarithm of the density of the power of an order that is as it pleases, its share included. It pleases to
/// be there: an order that is missing is no easier to explain.
pub(super) fn stray(power: f64) -> f64 {
    (2.0 * MISFIT * power).ln() - 3.0 * power.ln_1p()
}

/// Steps of the tables of [`unlikely`] and [`stray`] for each doubling of *1 + power*.
const STEPS_BITS: u32 = 8;

/// The place of a power in that table: the leading bits of *1 + power*.
fn place(power: f32) -> usize {
    (((1.0 + power).to_bits() >> (23 - STEPS_BITS)) - (1.0_f32.to_bits() >> (23 - STEPS_BITS))) as usize
}

/// The table of [`unlikely`] and [`stray`].
fn table() -> Vec<(f32, f32)> {
    (0..=place(LINE_CAP))
        .map(|i| {
            let base = f64::from(f32::from_bits(((i as u32) << (23 - STEPS_BITS)) + 1.0_f32.to_bits()));
            let step = (base.log2().floor()).exp2() / f64::from(1_u32 << STEPS_BITS);
            let power = base + 0.5 * step - 1.0;
            (unlikely(power) as f32, stray(power) as f32)
        })
        .collect()
}

/// One value of a warped window: the first of four neighbours, and their weights, window included.
#[derive(Clone, Copy)]
struct Reading {
    first: usize,
    weights: [f32; 4],
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
            densities: table(),
            warps: CHIRPS_PER_S
                .iter()
                .map(|&rate| {
                    if 0.5 * rate.abs() * seconds < MOST_WARP {
                        warp(length, seconds, rate)
                    } else {
                        Vec::new()
                    }
                })
                .collect(),
        }
    }

    /// Whether a chirp, by its place in [`CHIRPS_PER_S`], is not too much for this window.
    pub(crate) fn follows(&self, chirp: usize) -> bool {
        !self.warps[chirp].is_empty()
    }

    /// Lines against their floor for each band, cell by cell; `sound` holds `length` values. With a
    /// chirp, by its place in [`CHIRPS_PER_S`], those of a sound whose speed changes at that rate.
    pub(crate) fn lines(&mut self, sound: &[Lanes], chirp: Option<usize>, into: &mut [Lines; LANES]) {
        for (band, lines) in into.iter_mut().enumerate().take(self.bands) {
            self.input.fill(0.0);
            match chirp {
                None => {
                    for ((input, value), window) in self.input.iter_mut().zip(sound).zip(&self.window) {
                        *input = value[band] * window;
                    }
                }
                Some(chirp) => {
                    for (input, reading) in self.input.iter_mut().zip(&self.warps[chirp]) {
                        let near = &sound[reading.first..reading.first + 4];
                        *input = near
                            .iter()
                            .zip(reading.weights)
                            .map(|(value, weight)| value[band] * weight)
                            .sum();
                    }
                }
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
            lines.power.clear();
            lines.power.extend(self.cells.iter().map(|&(bin, share)| {
                let line = self.power[bin] * (1.0 - share) + self.power[bin + 1] * share;
                (line * self.per_floor[bin]).min(LINE_CAP)
            }));
            lines.noise.clear();
            lines.stray.clear();
            for &power in &lines.power {
                let (noise, stray) = self.densities[place(power)];
                lines.noise.push(noise);
                lines.stray.push(stray);
            }
        }
    }
}

/// How a window of `length` values over `seconds` is read so that a line whose frequency changes by the
/// share `rate` a second stands still.
///
/// Such a line has the phase *f (t + rate t²/2)*; read at equal steps of the bracket it is a steady
/// line of the frequency it has in the middle. The window stays a raised cosine in real time.
fn warp(length: usize, seconds: f64, rate: f64) -> Vec<Reading> {
    let half = 0.5 * seconds;
    let begin = -half + 0.5 * rate * half * half;
    (0..length)
        .map(|i| {
            let bracket = begin + (i as f64 + 0.5) / length as f64 * seconds;
            let t = ((1.0 + 2.0 * rate * bracket).max(0.0).sqrt() - 1.0) / rate;
            let place = ((t + half) / seconds * length as f64 - 0.5).clamp(1.0, length as f64 - 2.001);
            let (first, x) = (place as usize - 1, place - place.floor());
            let window = (std::f64::consts::PI * t / seconds).cos().powi(2);
            // Cubic through four neighbours: linear reading would dull the upper lines.
            let weights = [
                -x * (x - 1.0) * (x - 2.0) / 6.0,
                (x + 1.0) * (x - 1.0) * (x - 2.0) / 2.0,
                -(x + 1.0) * x * (x - 2.0) / 2.0,
                (x + 1.0) * x * (x - 1.0) / 6.0,
            ];
            Reading { first, weights: weights.map(|weight| (weight * window) as f32) }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Sharpness of a line of 60 Hz whose speed changes at a rate, read for a chirp or none: its power over its
    /// floor where it belongs.
    fn sharpness(rate: f64, chirp: Option<usize>) -> f32 {
        let mut spectra = Spectra::new(0.6, 1000.0, 1, 10.0, 900);
        let length = spectra.length;
        let sound: Vec<Lanes> = (0..length)
            .map(|i| {
                let t = (i as f64 + 0.5 - 0.5 * length as f64) / 1000.0;
                let phase = std::f64::consts::TAU * 60.0 * (t + 0.5 * rate * t * t);
                // A little of everything else, so that there is a floor.
                let other = (i as f64 * i as f64 * 0.37).sin();
                [(phase.cos() + 0.05 * other) as f32, 0.0, 0.0, 0.0]
            })
            .collect();
        let mut lines: [Lines; LANES] = Default::default();
        spectra.lines(&sound, chirp, &mut lines);
        let cell = (6.0_f64.ln() / STEP).round() as usize;
        lines[0].power[cell]
    }

    #[test]
    fn a_changing_line_stands_still_when_read_at_its_own_rate() {
        let steady = sharpness(0.0, None);
        for (chirp, &rate) in CHIRPS_PER_S.iter().enumerate() {
            if 0.5 * rate.abs() * 0.6 < MOST_WARP {
                let read = sharpness(rate, Some(chirp));
                assert!(0.5 * steady < read, "{rate} 1/s: {read}, steady {steady}");
                if 0.9 < rate.abs() {
                    let blurred = sharpness(rate, None);
                    assert!(3.0 * blurred < read, "{rate} 1/s: {read}, unwarped {blurred}");
                }
            }
        }
    }

    #[test]
    fn the_tables_are_the_formulas() {
        let table = table();
        for power in [0.3_f32, 1.0, 4.0, 9.9, 20.0, 300.0, 9_999.0] {
            let (noise, order) = table[place(power)];
            for (looked_up, formula) in
                [(noise, unlikely(f64::from(power))), (order, stray(f64::from(power)))]
            {
                let formula = formula as f32;
                assert!(
                    (looked_up - formula).abs() < 0.005 * (1.0 + power.min(12.0)),
                    "{power}: {looked_up} {formula}"
                );
            }
        }
    }
}
