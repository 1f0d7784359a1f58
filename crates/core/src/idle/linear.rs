//! What enters linearly: level, drift, the offsets of blocks and the hand's slow error, integrated in closed form.

use crate::idle::data::{Data, Reading};

/// Standard deviation of level about its first guess, as a share of it.
const LEVEL_SD: f64 = 0.2;
/// Of drift, rpm per minute, and of the offset of a block, rpm.
const DRIFT_SD: f64 = 4.0;
const OFFSET_SD: f64 = 30.0;
/// How often a reading is an outlier.
const OUTLIER_SHARE: f64 = 0.04;
/// Readings further out than this, in squared standard deviations, are suspected as outliers.
const SUSPECT: f64 = 3.0;

/// What leaving out a reading can gain at most, as a logarithm per its squared distance: its leverage makes it so
/// much more than a half.
const MOST_GAIN: f64 = 4.0;

/// Most columns of the linear part: level, drift, offsets, the hand's slow error.
const COLUMNS: usize = 7;
/// Most blocks with an offset of their own.
pub(super) const MOST_OFFSETS: usize = COLUMNS - 3;

/// One reading as the linear part sees it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Term {
    /// Speed as a share of the highest: how much of the level it shows.
    pub(super) relative: f64,
    /// Its speed less the guessed level's share, rpm.
    pub(super) residual: f64,
    /// Variance, rpm².
    pub(super) variance: f64,
    /// Minutes from the mean time.
    pub(super) at_min: f64,
    /// Which offset it carries; 0: none.
    pub(super) offset: usize,
    /// Speed that the hand's slow error brings, rpm per standard deviation of it.
    pub(super) slow: f64,
}

/// The linear part: prior and sizes, the same for every cell.
pub(super) struct Linear {
    columns: usize,
    pub(super) has_drift: bool,
    /// Prior precision of each column; prior means are zero (level counts from its guess).
    precision: [f64; COLUMNS],
    ln_prior: f64,
    /// Variance that an outlier has on top, rpm².
    outlier_variance: f64,
}

/// What the closed form gives for one cell.
pub(super) struct Evidence {
    pub(super) ln: f64,
    /// Level above its guess, then drift where it is fitted, then offsets, then the hand.
    pub(super) mean: [f64; COLUMNS],
    pub(super) level_sd: f64,
}

impl Linear {
    pub(super) fn new(data: &Data, outlier_variance: f64) -> Self {
        let timed = |reading: &Reading| reading.at_min;
        let has_drift = data.readings.iter().all(|reading| timed(reading).is_some())
            && data.readings.iter().filter_map(timed).any(|at| 0.05 < at.abs());
        let columns = 2 + usize::from(has_drift) + data.offsets;
        let mut precision = [0.0; COLUMNS];
        precision[0] = (LEVEL_SD * data.level_rpm).powi(-2);
        for value in precision.iter_mut().take(columns).skip(1) {
            *value = OFFSET_SD.powi(-2);
        }
        if has_drift {
            precision[1] = DRIFT_SD.powi(-2);
        }
        precision[columns - 1] = 1.0;
        let ln_prior = precision.iter().take(columns).map(|precision| 0.5 * precision.ln()).sum();
        Linear { columns, has_drift, precision, ln_prior, outlier_variance }
    }

    /// Probability of the residuals, level, drift and offsets integrated, each reading an outlier
    /// with a small chance and at most one of them at a time. What no outlier could raise above the floor, a
    /// logarithm, is not looked at for outliers.
    pub(super) fn evidence(&self, terms: &[Term], floor: f64) -> Evidence {
        match self.columns {
            2 => self.closed::<2>(terms, floor),
            3 => self.closed::<3>(terms, floor),
            4 => self.closed::<4>(terms, floor),
            5 => self.closed::<5>(terms, floor),
            6 => self.closed::<6>(terms, floor),
            _ => self.closed::<COLUMNS>(terms, floor),
        }
    }

    fn row<const P: usize>(&self, term: &Term) -> [f64; P] {
        let mut row = [0.0; P];
        row[0] = term.relative;
        let drift = usize::from(self.has_drift);
        if self.has_drift && 1 < P {
            row[1] = term.at_min;
        }
        if 0 < term.offset && term.offset + drift < P {
            row[term.offset + drift] = 1.0;
        }
        row[P - 1] = term.slow;
        row
    }

    fn closed<const P: usize>(&self, terms: &[Term], floor: f64) -> Evidence {
        let mut m = [[0.0; P]; P];
        let mut b = [0.0; P];
        let (mut chi, mut spread) = (0.0, 1.0);
        for term in terms {
            let row = self.row::<P>(term);
            let weight = 1.0 / term.variance;
            chi += weight * term.residual * term.residual;
            // Scaled, so that the product of many variances stays a number.
            spread *= term.variance * 1e-2;
            for i in 0..P {
                let scaled = weight * row[i];
                b[i] += scaled * term.residual;
                for j in 0..=i {
                    m[i][j] += scaled * row[j];
                }
            }
        }
        for (i, (row, precision)) in m.iter_mut().zip(&self.precision).enumerate() {
            row[i] += precision;
        }
        let (factor, determinant) = cholesky(&m);
        let mut mean = solve(&factor, &b);
        let explained = dot(&b, &mean);
        let ln_plain = self.ln_prior - 0.5 * (chi - explained + (spread * determinant).ln());
        // One outlier: its weight falls, which changes the normal equations by one rank. A reading
        // that fits could be one too, but hardly changes anything.
        let farthest = terms
            .iter()
            .map(|term| (term.residual - dot(&self.row::<P>(term), &mean)).powi(2) / term.variance)
            .fold(0.0, f64::max);
        let ln_sound = terms.len() as f64 * (1.0 - OUTLIER_SHARE).ln();
        if ln_plain + MOST_GAIN * farthest < floor {
            return Evidence { ln: ln_plain + ln_sound, mean: [0.0; COLUMNS], level_sd: 0.0 };
        }
        let odds = OUTLIER_SHARE / (1.0 - OUTLIER_SHARE);
        let mut sum = 1.0;
        let plain = mean;
        let mut best_share = 1.0;
        for term in terms {
            let row = self.row::<P>(term);
            let away = term.residual - dot(&row, &plain);
            if terms.len() < 3 || away * away < SUSPECT * term.variance {
                continue;
            }
            let v = solve(&factor, &row);
            let h = dot(&row, &v);
            let lowered = 1.0 / (term.variance + self.outlier_variance);
            let change = lowered - 1.0 / term.variance;
            let kept = 1.0 + change * h;
            // The quadratic form falls by this much, level and drift fitted anew.
            let gain = -0.5 * change * away * away / kept;
            let ratio = odds * gain.min(300.0).exp() * (lowered * term.variance / kept).sqrt();
            sum += ratio;
            if best_share < ratio {
                best_share = ratio;
                for i in 0..P {
                    mean[i] = plain[i] + change * away / kept * v[i];
                }
            }
        }
        let mut unit = [0.0; P];
        unit[0] = 1.0;
        let level_sd = solve(&factor, &unit)[0].sqrt();
        let mut told = [0.0; COLUMNS];
        told[..P].copy_from_slice(&mean);
        Evidence { ln: ln_plain + if sum == 1.0 { 0.0 } else { sum.ln() } + ln_sound, mean: told, level_sd }
    }
}

/// The lower factor of a symmetric matrix, and its determinant.
pub(super) fn cholesky<const P: usize>(m: &[[f64; P]; P]) -> ([[f64; P]; P], f64) {
    let mut l = [[0.0; P]; P];
    let mut product = 1.0;
    for i in 0..P {
        for j in 0..=i {
            let known: f64 = l[i].iter().zip(&l[j]).take(j).map(|(a, b)| a * b).sum();
            let sum = m[i][j] - known;
            if i == j {
                // The prior's precision on the diagonal keeps this above zero.
                let pivot = sum.max(1e-30);
                l[i][i] = pivot.sqrt();
                product *= pivot;
            } else {
                l[i][j] = sum / l[j][j];
            }
        }
    }
    (l, product)
}

pub(super) fn solve<const P: usize>(l: &[[f64; P]; P], b: &[f64; P]) -> [f64; P] {
    let mut x = [0.0; P];
    for i in 0..P {
        let mut sum = b[i];
        for k in 0..i {
            sum -= l[i][k] * x[k];
        }
        x[i] = sum / l[i][i];
    }
    for i in (0..P).rev() {
        let mut sum = x[i];
        for k in i + 1..P {
            sum -= l[k][i] * x[k];
        }
        x[i] = sum / l[i][i];
    }
    x
}

fn dot<const P: usize>(a: &[f64; P], b: &[f64; P]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}
