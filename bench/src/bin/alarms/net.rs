//! A net of one hidden layer, fitted by steps over small draws of rows with momentum and a scale of their own.

use bellmouth_core::practice::Dice;
use bellmouth_core::sound::constants::FAR_OUT;
use bellmouth_core::sound::witness::WITNESSES;

/// Hidden units.
const HIDDEN: usize = 40;
/// Weights of one hidden unit: its threshold, each witness, and what it counts for.
const UNIT: usize = WITNESSES + 2;
/// Weights of the whole net, the last of which is the odds where nothing speaks.
const WEIGHTS: usize = HIDDEN * UNIT + 1;
/// Times every row is looked at.
const ROUNDS: usize = 30;
/// Rows in one draw.
const DRAW: usize = 1024;
/// Longest step at the begin; it shrinks to nothing.
const STEP: f64 = 0.01;
/// Ridge on every weight but thresholds.
const RIDGE: f64 = 4e-4;

/// A row as the net takes it.
pub struct Row {
    pub engine: bool,
    pub weight: f64,
    pub witnesses: [f64; WITNESSES],
}

/// Mean and spread of each witness, and the weights.
pub struct Net {
    pub scale: [(f64, f64); WITNESSES],
    weights: Vec<f64>,
}

impl Net {
    /// Fits a net to rows.
    pub fn fitted(rows: &[&Row]) -> Net {
        let scale = scale(rows);
        let standard: Vec<[f64; WITNESSES]> =
            rows.iter().map(|row| standard(&scale, &row.witnesses)).collect();
        let mut dice = Dice::new(7);
        let mut weights: Vec<f64> = (0..WEIGHTS).map(|_| dice.normal() / (WITNESSES as f64).sqrt()).collect();
        let (mut slope, mut mean, mut square) = (vec![0.0; WEIGHTS], vec![0.0; WEIGHTS], vec![0.0; WEIGHTS]);
        let mut order: Vec<usize> = (0..rows.len()).collect();
        let draws = rows.len() / DRAW;
        let mut taken = 0;
        for round in 0..ROUNDS {
            for at in (1..order.len()).rev() {
                order.swap(at, (dice.unit() * (at + 1) as f64) as usize);
            }
            let longest = STEP * (1.0 - round as f64 / ROUNDS as f64);
            for draw in order.chunks_exact(DRAW).take(draws) {
                slope.fill(0.0);
                for &at in draw {
                    add_slope(&weights, &standard[at], rows[at], &mut slope);
                }
                taken += 1;
                let (young, younger) = (1.0 - 0.9_f64.powi(taken), 1.0 - 0.999_f64.powi(taken));
                for (place, weight) in weights.iter_mut().enumerate() {
                    let is_threshold = place + 1 == WEIGHTS || place % UNIT == 0;
                    let ridge = if is_threshold { 0.0 } else { RIDGE * *weight };
                    let slope = slope[place] / DRAW as f64 + ridge;
                    mean[place] += 0.1 * (slope - mean[place]);
                    square[place] += 0.001 * (slope * slope - square[place]);
                    *weight -= longest * mean[place] / young / ((square[place] / younger).sqrt() + 1e-8);
                }
            }
        }
        Net { scale, weights }
    }

    /// Logarithm of the odds for an engine.
    pub fn log_odds(&self, witnesses: &[f64; WITNESSES]) -> f64 {
        let standard = standard(&self.scale, witnesses);
        let units = self.units();
        let sum: f64 = units.map(|unit| unit[UNIT - 1] * bent(excited(unit, &standard))).sum();
        self.bias() + sum
    }

    /// The odds where nothing speaks.
    pub fn bias(&self) -> f64 {
        self.weights[self.weights.len() - 1]
    }

    /// Hidden units: threshold, witnesses, what it counts for.
    pub fn units(&self) -> impl Iterator<Item = &[f64]> {
        self.weights[..self.weights.len() - 1].chunks_exact(UNIT)
    }
}

fn scale(rows: &[&Row]) -> [(f64, f64); WITNESSES] {
    let all: f64 = rows.iter().map(|row| row.weight).sum();
    std::array::from_fn(|i| {
        let mean = rows.iter().map(|row| row.weight * row.witnesses[i]).sum::<f64>() / all;
        let square = rows.iter().map(|row| row.weight * (row.witnesses[i] - mean).powi(2)).sum::<f64>();
        (mean, (square / all).sqrt().max(1e-6))
    })
}

fn standard(scale: &[(f64, f64); WITNESSES], witnesses: &[f64; WITNESSES]) -> [f64; WITNESSES] {
    std::array::from_fn(|i| ((witnesses[i] - scale[i].0) / scale[i].1).clamp(-FAR_OUT, FAR_OUT))
}

fn excited(unit: &[f64], standard: &[f64; WITNESSES]) -> f64 {
    unit[0] + unit[1..=WITNESSES].iter().zip(standard).map(|(weight, x)| weight * x).sum::<f64>()
}

fn bent(x: f64) -> f64 {
    x / (1.0 + x.abs())
}

/// Adds the slope of the loss of one row.
fn add_slope(weights: &[f64], standard: &[f64; WITNESSES], row: &Row, slope: &mut [f64]) {
    let mut excitation = [0.0; HIDDEN];
    let mut odds = weights[WEIGHTS - 1];
    for (unit, excitation) in weights[..WEIGHTS - 1].chunks_exact(UNIT).zip(&mut excitation) {
        *excitation = excited(unit, standard);
        odds += unit[UNIT - 1] * bent(*excitation);
    }
    let off = row.weight * (1.0 / (1.0 + (-odds).exp()) - f64::from(u8::from(row.engine)));
    slope[WEIGHTS - 1] += off;
    let units = weights[..WEIGHTS - 1].chunks_exact(UNIT).zip(slope.chunks_exact_mut(UNIT));
    for ((unit, slope), x) in units.zip(excitation) {
        slope[UNIT - 1] += off * bent(x);
        let back = off * unit[UNIT - 1] / (1.0 + x.abs()).powi(2);
        slope[0] += back;
        slope[1..=WITNESSES].iter_mut().zip(standard).for_each(|(slope, x)| *slope += back * x);
    }
}
