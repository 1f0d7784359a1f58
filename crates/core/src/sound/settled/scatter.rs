//! Mean, variance, and how well a mean is known where neighbouring readings resemble one another.

/// Correlation of neighbouring bins expected beforehand, and how many bins that is worth.
const PRIOR_CORRELATION: f64 = 0.65;
const PRIOR_BINS: f64 = 16.0;

pub(super) fn mean_and_variance(values: &[f64]) -> (f64, f64) {
    let count = values.len().max(1) as f64;
    let mean = values.iter().sum::<f64>() / count;
    (mean, values.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / count)
}

/// Standard error of the mean of a first-order autoregressive series.
///
/// ```text
/// se² = s²/n · (1 + ρ)/(1 − ρ),   ρ = (n r + n₀ ρ₀)/(n + n₀),   r = r₁ + (1 + 3 r₁)/n
/// ```
///
/// - **Source** textbook result for the mean of such a series; the second term of *r* undoes the
///   small-sample bias of the lag-one autocorrelation *r₁* when the mean is estimated too. The wander
///   of an idling engine is correlated over about half a second to one second (common practice, no
///   source): that stands in as *n₀* readings at *ρ₀*, so that a hold does not end early on a lucky
///   stretch.
/// - **Assumes** that correlation fades geometrically; swings are tested for elsewhere.
/// - **Departs** by a divisor for *s²* that allows for the correlation, and by never letting ρ
///   fall below zero.
pub(super) fn standard_error(values: &[f64]) -> f64 {
    let count = values.len() as f64;
    if values.len() < 4 {
        return f64::INFINITY;
    }
    let (mean, variance) = mean_and_variance(values);
    if variance <= 0.0 {
        return 0.0;
    }
    let lagged = values.windows(2).map(|pair| (pair[0] - mean) * (pair[1] - mean)).sum::<f64>() / count;
    let raw = lagged / variance;
    let unbiased = (raw + (1.0 + 3.0 * raw) / count).clamp(0.0, 0.97);
    let rho = (count * unbiased + PRIOR_BINS * PRIOR_CORRELATION) / (count + PRIOR_BINS);
    let inflation = (1.0 + rho) / (1.0 - rho);
    // Readings worth as many independent ones; two at the least, or nothing can be said.
    let worth = (count / inflation).max(2.0);
    (variance * worth / (worth - 1.0) / worth).sqrt()
}
