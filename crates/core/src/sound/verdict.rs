//! Was it an engine? A verdict from what bears witness, never from level.
//!
//! A periodic rhythm is not enough: voices and music have one. The [witnesses](super::witness) of a frame are
//! weighed by a logistic model of second degree, whose weights `bench --bin alarms -- --fit` finds from
//! engines at right and wrong speeds and from sounds that are none.
//!
//! Beside them stands a rule for what the fit knows least, engines that idle in quiet: heard *without a gap* for a
//! while on one side of the frame, a speed that *moves little* from frame to frame, a sound that does not stand
//! out as *tones*.

use super::Heard;
use super::constants::{
    CERTAIN, FAR_OUT, GAP, HELD_FRAMES, LIKELY, MAYBE, MOVES, STEP, STILL, TONAL, UNAMBIGUOUS, USUAL,
    VERDICT_BIAS, WEIGHTS,
};
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

/// The verdict about a frame, by what is believed of it, by the odds that its witnesses give, by whether an
/// engine was heard for certain in the run that it belongs to, and by whether it is held.
pub(crate) fn verdict(glimpse: &Glimpse, log_odds: f64, certain: bool, held: bool) -> Heard {
    if glimpse.none > LIKELY {
        Heard::No
    } else if glimpse.near > UNAMBIGUOUS && ((certain && log_odds > STILL) || (held && log_odds > MAYBE)) {
        Heard::Yes
    } else {
        Heard::Doubtful
    }
}

/// Whether the frame `at` among its neighbours is part of a hold; `careful` where a voice could have this rhythm.
pub(crate) fn held(glimpses: &[Glimpse], at: usize, careful: bool) -> bool {
    let reach = |from: usize, to: usize| &glimpses[from..to.min(glimpses.len())];
    let without_gap =
        |side: &[Glimpse]| side.len() > HELD_FRAMES && side.iter().all(|glimpse| glimpse.none < GAP);
    let around = reach(at.saturating_sub(HELD_FRAMES), at + HELD_FRAMES + 1);
    glimpses[at].none < CERTAIN
        && (without_gap(reach(at.saturating_sub(HELD_FRAMES), at + 1))
            || without_gap(reach(at, at + HELD_FRAMES + 1)))
        && moves(around) < MOVES
        && tonal(around) < if careful { TONAL.1 } else { TONAL.0 }
}

/// Share of tones while something was heard.
fn tonal(around: &[Glimpse]) -> f64 {
    let weight = |glimpse: &Glimpse| f64::from(1.0 - glimpse.none);
    let sum: f64 = around.iter().map(weight).sum();
    around.iter().map(|glimpse| weight(glimpse) * glimpse.tone).sum::<f64>() / sum.max(1e-9)
}

/// Median jerk of the logarithm of speed from frame to frame, while something was heard: an engine speeds
/// up and slows down evenly.
fn moves(around: &[Glimpse]) -> f64 {
    let mut changes: Vec<f32> = around
        .windows(3)
        .filter(|three| three.iter().all(|glimpse| glimpse.none < LIKELY))
        .map(|three| (three[0].cell - 2.0 * three[1].cell + three[2].cell).abs())
        .collect();
    changes.sort_unstable_by(f32::total_cmp);
    changes.get(changes.len() / 2).map_or(f64::INFINITY, |change| f64::from(*change) * STEP)
}
