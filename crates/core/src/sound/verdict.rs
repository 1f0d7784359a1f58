//! Was it an engine? A verdict from what surrounds a frame, never from its level.
//!
//! A periodic rhythm is not enough: voices and music have one. An engine is heard *without a gap* for a
//! while on one side of the frame at least, its speed *moves little* from frame to frame for most of
//! the time, and its sound does not stand out as *tones*.

use super::Heard;
use super::constants::{AROUND_FRAMES, CERTAIN, GAP, HELD_FRAMES, LIKELY, MOVES, STEP, TONAL, UNAMBIGUOUS};

/// What a frame looks like from its neighbours.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Glimpse {
    /// Probability of no engine.
    pub(crate) none: f32,
    /// Probability that the speed lies within about a tenth of the best one, an engine given or not.
    pub(crate) near: f32,
    /// Place of the best speed on the grid.
    pub(crate) cell: f32,
    /// Share of the spectrum that stands out as tones.
    pub(crate) tone: f64,
}

/// The verdict about the frame `at` among its neighbours; `careful` where a voice
/// could have this rhythm.
pub(crate) fn verdict(glimpses: &[Glimpse], at: usize, careful: bool) -> Heard {
    let frame = &glimpses[at];
    if frame.none > LIKELY {
        return Heard::No;
    }
    let before = &glimpses[at.saturating_sub(HELD_FRAMES)..=at];
    let after = &glimpses[at..(at + HELD_FRAMES + 1).min(glimpses.len())];
    let held = |side: &[Glimpse]| side.len() > HELD_FRAMES && side.iter().all(|glimpse| glimpse.none < GAP);
    let around = &glimpses[at.saturating_sub(AROUND_FRAMES)..(at + AROUND_FRAMES + 1).min(glimpses.len())];
    if frame.none < CERTAIN
        && frame.near > UNAMBIGUOUS
        && (held(before) || held(after))
        && moves(around) < MOVES
        && tonal(around) < if careful { TONAL.1 } else { TONAL.0 }
    {
        Heard::Yes
    } else {
        Heard::Doubtful
    }
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
    if changes.is_empty() {
        return f64::INFINITY;
    }
    changes.sort_unstable_by(f32::total_cmp);
    f64::from(changes[changes.len() / 2]) * STEP
}
