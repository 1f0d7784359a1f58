//! What spoils a hold: steps, drift and regular swings of the speed.

use super::Unsteadiness;
use super::scatter::{mean_and_variance, standard_error};
use super::watch::BIN_S;

/// Least bins on either side of a step.
const SIDE_BINS: usize = 12;
/// Standard errors by which the two sides of a step must differ, and least difference, rpm.
const STEP_ERRORS: f64 = 5.5;
const LEAST_STEP_RPM: f64 = 8.0;
/// Share of scatter in one narrow line that makes a swing, and least swing, as a share of speed.
const SWING_SHARE: f64 = 0.8;
const LEAST_SWING: f64 = 0.015;
/// Fewest periods in a window that make a swing; shortest period, bins.
const FEWEST_PERIODS: usize = 4;
const SHORTEST_PERIOD_BINS: usize = 4;
/// Swings are not looked for before fifteen seconds.
const SWING_LEAST_BINS: usize = 60;

/// A step or a drift beyond doubt, and the bin at which a step happened.
pub(super) fn change(speeds: &[f64], drift_limit_rpm_per_min: f64) -> Option<(Unsteadiness, usize)> {
    let count = speeds.len();
    if count < 2 * SIDE_BINS {
        return None;
    }
    let mut sums = vec![0.0; count + 1];
    for (i, speed) in speeds.iter().enumerate() {
        sums[i + 1] = sums[i] + speed;
    }
    let split = |at: usize| sums[at] / at as f64 - (sums[count] - sums[at]) / (count - at) as f64;
    let weight = |at: usize| (at * (count - at)) as f64 / count as f64;
    let at = (SIDE_BINS..=count - SIDE_BINS)
        .max_by(|&a, &b| (split(a).powi(2) * weight(a)).total_cmp(&(split(b).powi(2) * weight(b))))?;
    let by_rpm = -split(at);
    // The scatter about both sides together: either alone is too short to be trusted.
    let (mean_before, mean_after) = (sums[at] / at as f64, (sums[count] - sums[at]) / (count - at) as f64);
    let about: Vec<f64> = speeds
        .iter()
        .enumerate()
        .map(|(i, speed)| speed - if i < at { mean_before } else { mean_after })
        .collect();
    let error = standard_error(&about) * count as f64 / ((at * (count - at)) as f64).sqrt();
    let step_explains = by_rpm * by_rpm * weight(at);

    // A straight line against the same readings.
    let middle = 0.5 * (count as f64 - 1.0);
    let mean = sums[count] / count as f64;
    let (mut xy, mut xx) = (0.0, 0.0);
    for (i, speed) in speeds.iter().enumerate() {
        let x = i as f64 - middle;
        xy += x * (speed - mean);
        xx += x * x;
    }
    let slope = xy / xx;
    if step_explains < xy * xy / xx {
        let residual: Vec<f64> =
            speeds.iter().enumerate().map(|(i, s)| s - slope * (i as f64 - middle)).collect();
        // The error of a slope against that of a mean, for evenly spaced readings.
        let slope_error = standard_error(&residual) * (count as f64 / xx).sqrt();
        let rpm_per_min = slope * 60.0 / BIN_S;
        return (drift_limit_rpm_per_min < rpm_per_min.abs() && STEP_ERRORS * slope_error < slope.abs())
            .then_some((Unsteadiness::Drifting { rpm_per_min }, count));
    }
    (LEAST_STEP_RPM < by_rpm.abs() && STEP_ERRORS * error < by_rpm.abs())
        .then_some((Unsteadiness::Stepped { by_rpm }, at))
}

/// A regular swing: one narrow line of the spectrum holds most of the scatter.
pub(super) fn swing(speeds: &[f64]) -> Option<Unsteadiness> {
    let count = speeds.len();
    let (mean, variance) = mean_and_variance(speeds);
    if count < SWING_LEAST_BINS || variance <= 0.0 {
        return None;
    }
    let power: Vec<f64> = (0..=count / SHORTEST_PERIOD_BINS + 1)
        .map(|line| {
            let (mut re, mut im) = (0.0, 0.0);
            for (i, speed) in speeds.iter().enumerate() {
                // A window that falls to zero at both ends keeps a line narrow.
                let window = (std::f64::consts::PI * (i as f64 + 0.5) / count as f64).sin().powi(2);
                let (sin, cos) = (std::f64::consts::TAU * (line * i) as f64 / count as f64).sin_cos();
                re += window * (speed - mean) * cos;
                im += window * (speed - mean) * sin;
            }
            re * re + im * im
        })
        .collect();
    let window_energy = 0.375 * count as f64;
    let total = variance * window_energy * count as f64 / 2.0;
    let highest = (FEWEST_PERIODS..power.len() - 1).max_by(|&a, &b| power[a].total_cmp(&power[b]))?;
    let line: f64 = power[highest - 1..=highest + 1].iter().sum();
    let share = line / total;
    let swing_rpm = 2.0 * (2.0 * variance * share.min(1.0)).sqrt();
    (SWING_SHARE < share && LEAST_SWING * mean.abs() < swing_rpm)
        .then(|| Unsteadiness::Hunting { period_s: count as f64 * BIN_S / highest as f64, swing_rpm })
}
