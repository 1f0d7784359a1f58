//! Figures with the interval that holds each.

use crate::sound::constants::{WEAK_PRECISION, WEAK_RECALL};

/// Probability with which an interval holds what it is about.
pub const COVERAGE: f64 = 0.9;

/// Standard deviations of a normal distribution on either side that hold as much.
pub(super) const DEVIATIONS: f64 = 1.644_854;

/// A figure with its 90 % interval: what the engine would show in a long listening at the same idle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate {
    /// The figure as it was heard.
    pub value: f64,
    /// Lower end of the interval.
    pub low: f64,
    /// Upper end of the interval.
    pub high: f64,
}

impl Estimate {
    /// The same with every number changed alike; `change` must not turn the order about.
    pub(super) fn map(self, change: impl Fn(f64) -> f64) -> Estimate {
        Estimate { value: change(self.value), low: change(self.low), high: change(self.high) }
    }

    /// The share of weak ones among firings, from 0 to 1, by Jeffreys' prior; that a few were judged wrongly
    /// either way is allowed for.
    pub(super) fn share(weak: usize, firings: usize) -> Estimate {
        let (weak, firings) = (weak as f64, firings as f64);
        let tail = 0.5 * (1.0 - COVERAGE);
        Estimate {
            value: weak / firings.max(1.0),
            low: share_quantile(WEAK_PRECISION * weak, firings, tail),
            high: share_quantile((weak / WEAK_RECALL).min(firings), firings, 1.0 - tail),
        }
    }
}

/// A quantile of what a share may be after so many `hits` in `all`.
///
/// By Jeffreys' prior a share sin² *θ* is as likely at one *θ* as at another, so the posterior density over *θ* is
/// sin²ʰ *θ* cos²⁽ⁿ⁻ʰ⁾ *θ*, which is smooth and is summed up as it stands.
fn share_quantile(hits: f64, all: f64, quantile: f64) -> f64 {
    /// Places at which the density is summed up, over so many standard deviations either side.
    const PLACES: usize = 400;
    const REACH: f64 = 7.0;
    let misses = all - hits;
    let likeliest = hits.sqrt().atan2(misses.sqrt());
    let deviation = 0.5 / (all + 1.0).sqrt();
    let from = (likeliest - REACH * deviation).max(0.0);
    let to = (likeliest + REACH * deviation).min(std::f64::consts::FRAC_PI_2);
    let step = (to - from) / PLACES as f64;
    let angle = |place: usize| from + (place as f64 + 0.5) * step;
    let likelihood =
        |angle: f64| 2.0 * (hits * angle.sin().max(1e-300).ln() + misses * angle.cos().max(1e-300).ln());
    let most = (0..PLACES).map(|place| likelihood(angle(place))).fold(f64::MIN, f64::max);
    let density: Vec<f64> = (0..PLACES).map(|place| (likelihood(angle(place)) - most).exp()).collect();
    let mut left = quantile * density.iter().sum::<f64>();
    for (place, density) in density.iter().enumerate() {
        if left <= *density {
            return (angle(place) + (left / density - 0.5) * step).sin().powi(2);
        }
        left -= density;
    }
    to.sin().powi(2)
}

/// How far an interval reaches either side, in standard errors, where the error itself was found from so many
/// parts: Student's quantile by its expansion about the normal one.
pub(super) fn reach(parts: usize) -> f64 {
    let z = DEVIATIONS;
    let free = parts.saturating_sub(1).max(1) as f64;
    z + (z.powi(3) + z) / (4.0 * free) + (5.0 * z.powi(5) + 16.0 * z.powi(3) + 3.0 * z) / (96.0 * free * free)
}

/// Standard error of a figure by what it becomes when each of several parts is left out.
pub(super) fn jackknife(without: &[f64]) -> f64 {
    let parts = without.len().max(1) as f64;
    let mean = without.iter().sum::<f64>() / parts;
    let squares: f64 = without.iter().map(|figure| (figure - mean).powi(2)).sum();
    (squares * (parts - 1.0) / parts).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_share_is_bounded_as_beta_distributions_of_closed_form_are() {
        for quantile in [0.01, 0.05, 0.5, 0.95, 0.99_f64] {
            // Half a hit makes Beta(1, n): its quantiles are 1 − (1 − q)^(1/n).
            for all in [1.0, 20.0, 700.0_f64] {
                let found = share_quantile(0.5, all, quantile);
                let share = 1.0 - (1.0 - quantile).powf(1.0 / all);
                assert!((found - share).abs() < 2e-4, "{quantile} of {all}: {found} for {share}");
                let other = 1.0 - share_quantile(all - 0.5, all, 1.0 - quantile);
                assert!((other - share).abs() < 2e-4, "{quantile} of {all}: {other} for {share}");
            }
            // Nothing seen leaves Beta(½, ½), the arcsine law.
            let arcsine = (0.5 * std::f64::consts::PI * quantile).sin().powi(2);
            assert!((share_quantile(0.0, 0.0, quantile) - arcsine).abs() < 2e-4);
        }
    }

    #[test]
    fn the_error_of_a_mean_is_the_usual_one() {
        let values = [3.0, 5.0, 4.0, 9.0, 1.0, 2.0];
        let count = values.len() as f64;
        let sum: f64 = values.iter().sum();
        let mean = sum / count;
        let usual = (values.iter().map(|x| (x - mean).powi(2)).sum::<f64>() / (count - 1.0) / count).sqrt();
        let found = jackknife(&values.map(|x| (sum - x) / (count - 1.0)));
        assert!((found - usual).abs() < 1e-12, "{found} for {usual}");
    }

    #[test]
    fn few_parts_reach_further_as_student_found() {
        // One-sided 5 % quantiles for 3, 10 and 40 degrees of freedom, from memory: a sanity band only.
        for (free, t) in [(3, 2.353), (10, 1.812), (40, 1.684)] {
            assert!((reach(free + 1) - t).abs() < 0.05, "{free}: {}", reach(free + 1));
        }
    }
}
