//! Was it an engine? A verdict from what bears witness, never from level.
//!
//! A periodic rhythm is not enough: voices and music have one. The [witnesses](super::witness) of a frame are
//! weighed by a logistic model of second degree, whose weights `bench --bin alarms -- --fit` finds from
//! engines at right and wrong speeds and from sounds that are none.

use super::Heard;
use super::constants::{FAR_OUT, LIKELY, STILL, UNAMBIGUOUS, USUAL, VERDICT_BIAS, WEIGHTS};
use super::witness::{Glimpse, WITNESSES};

/// Logarithm of the odds for an engine heard at its right speed.
pub(crate) fn log_odds(witnesses: &[f64; WITNESSES]) -> f64 {
    let mut standard = [1.0; WITNESSES + 1];
    for ((standard, witness), (mean, spread)) in standard[1..].iter_mut().zip(witnesses).zip(USUAL) {
        // Beyond what the model was fitted to, it must not be trusted to go on.
        *standard = ((witness - mean) / spread).clamp(-FAR_OUT, FAR_OUT);
    }
    let mut sum = VERDICT_BIAS;
    for (place, weights) in WEIGHTS.iter().enumerate() {
        let row: f64 = weights.iter().zip(&standard).map(|(weight, standard)| weight * standard).sum();
        sum += standard[place + 1] * row;
    }
    sum
}

/// The verdict about a frame, by what is believed of it, by the odds that its witnesses give, and by whether an
/// engine was heard for certain in the run that it belongs to.
pub(crate) fn verdict(glimpse: &Glimpse, log_odds: f64, certain: bool) -> Heard {
    if glimpse.none > LIKELY {
        Heard::No
    } else if certain && glimpse.near > UNAMBIGUOUS && log_odds > STILL {
        Heard::Yes
    } else {
        Heard::Doubtful
    }
}
