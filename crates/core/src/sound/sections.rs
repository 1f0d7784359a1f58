//! Second-order filter sections.
//!
//! Loudness takes every sample of four bands at once, in single precision: a form in which a corner far below the
//! sample rate costs no accuracy. The waveform of pulses is a few thousand values a second, so double precision
//! costs nothing and the plainest form will do.

use std::f64::consts::PI;

/// Number of lanes; bands that the sample rate does not reach stay silent.
pub(crate) const LANES: usize = 4;

/// One value for each band.
pub(crate) type Lanes = [f32; LANES];

/// A second-order section in trapezoidal state-variable form, which keeps its accuracy in single
/// precision when the band lies far below the sample rate.
#[derive(Clone, Copy)]
pub(crate) struct Section {
    damping: Lanes,
    a1: Lanes,
    a2: Lanes,
    a3: Lanes,
    first: Lanes,
    second: Lanes,
}

impl Section {
    /// Butterworth sections with these corner frequencies as shares of the sample rate.
    pub(crate) fn new(corners: [f64; LANES]) -> Section {
        let damping = std::f64::consts::SQRT_2;
        let g = corners.map(|corner| (PI * corner).tan());
        let a1 = g.map(|g| 1.0 / (1.0 + g * (g + damping)));
        let lane = |f: &dyn Fn(usize) -> f64| std::array::from_fn(|i| f(i) as f32);
        Section {
            damping: [damping as f32; LANES],
            a1: lane(&|i| a1[i]),
            a2: lane(&|i| g[i] * a1[i]),
            a3: lane(&|i| g[i] * g[i] * a1[i]),
            first: [0.0; LANES],
            second: [0.0; LANES],
        }
    }

    /// One step: the band-pass and low-pass outputs.
    #[inline(always)]
    fn step(&mut self, x: &Lanes) -> (Lanes, Lanes) {
        let (mut band, mut low) = ([0.0; LANES], [0.0; LANES]);
        for i in 0..LANES {
            let v3 = x[i] - self.second[i];
            let v1 = self.a1[i] * self.first[i] + self.a2[i] * v3;
            let v2 = self.second[i] + self.a2[i] * self.first[i] + self.a3[i] * v3;
            self.first[i] = 2.0 * v1 - self.first[i];
            self.second[i] = 2.0 * v2 - self.second[i];
            band[i] = v1;
            low[i] = v2;
        }
        (band, low)
    }

    /// What lies above the corners.
    #[inline(always)]
    pub(crate) fn high(&mut self, x: &Lanes) -> Lanes {
        let (band, low) = self.step(x);
        std::array::from_fn(|i| x[i] - self.damping[i] * band[i] - low[i])
    }

    /// What lies below the corners.
    #[inline(always)]
    pub(crate) fn low(&mut self, x: &Lanes) -> Lanes {
        self.step(x).1
    }

    /// Sets states that have decayed below everything audible to zero: numbers that small are slow.
    pub(crate) fn rest(&mut self) {
        for state in self.first.iter_mut().chain(&mut self.second) {
            if state.abs() < 1e-20 {
                *state = 0.0;
            }
        }
    }
}

/// A second-order Butterworth high-pass in transposed direct form.
pub(crate) struct HighPass {
    gain: f64,
    a1: f64,
    a2: f64,
    first: f64,
    second: f64,
}

impl HighPass {
    /// A high-pass with this corner frequency as a share of the rate.
    pub(crate) fn new(share: f64) -> HighPass {
        let k = (PI * share).tan();
        let norm = 1.0 / (1.0 + std::f64::consts::SQRT_2 * k + k * k);
        HighPass {
            gain: norm,
            a1: 2.0 * (k * k - 1.0) * norm,
            a2: (1.0 - std::f64::consts::SQRT_2 * k + k * k) * norm,
            first: 0.0,
            second: 0.0,
        }
    }

    /// The next value.
    pub(crate) fn step(&mut self, x: f64) -> f64 {
        let scaled = self.gain * x;
        let y = scaled + self.first;
        // A constant far below everything audible keeps dying states from becoming slow numbers.
        self.first = -2.0 * scaled - self.a1 * y + self.second + 1e-25;
        self.second = scaled - self.a2 * y;
        y
    }
}
