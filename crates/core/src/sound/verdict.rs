//! Was it an engine? A verdict from what bears witness, never from level.
//!
//! A periodic rhythm is not enough: voices and music have one. The [witnesses](super::witness) of a frame are
//! weighed by a net of one hidden layer, whose weights `bench --bin alarms -- --fit` finds from engines at right
//! and wrong speeds and from sounds that are none. What it says of one frame is pooled over the run that the
//! frame belongs to: a note, a burst of blows or a gust passes for an engine's once, an engine does all the time.

use super::Heard;
use super::constants::{FAR_OUT, LIKELY, POOL_MOST, STILL, UNAMBIGUOUS, UNITS, USUAL, VERDICT_BIAS};
use super::witness::{Glimpse, WITNESSES};

/// Logarithm of the odds for an engine heard at its right speed, by the witnesses of one frame.
pub(crate) fn log_odds(witnesses: &[f64; WITNESSES]) -> f64 {
    let mut standard = [0.0; WITNESSES];
    for ((standard, witness), (mean, spread)) in standard.iter_mut().zip(witnesses).zip(USUAL) {
        // Beyond what the net was fitted to, it must not be trusted to go on.
        *standard = ((witness - mean) / spread).clamp(-FAR_OUT, FAR_OUT);
    }
    let mut sum = VERDICT_BIAS;
    for unit in &UNITS {
        let weighed = unit[1..=WITNESSES].iter().zip(&standard).map(|(weight, standard)| weight * standard);
        let excited = unit[0] + weighed.sum::<f64>();
        sum += unit[WITNESSES + 1] * excited / (1.0 + excited.abs());
    }
    sum
}

/// Odds of frames that follow one another, pooled; older ones are forgotten little by little.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Pool {
    sum: f64,
    frames: f64,
}

impl Pool {
    /// With the next frame of the same run; so many frames are remembered.
    pub(crate) fn and(self, log_odds: f64, remembered_frames: f64) -> Pool {
        let kept = 1.0 - 1.0 / remembered_frames;
        // No frame alone decides about a run.
        Pool {
            sum: kept * self.sum + log_odds.clamp(-POOL_MOST, POOL_MOST),
            frames: kept * self.frames + 1.0,
        }
    }

    /// Joined with the pool of what comes later, this frame being in both.
    pub(crate) fn joined(self, later: Pool, log_odds: f64) -> Pool {
        Pool {
            sum: self.sum + later.sum - log_odds.clamp(-POOL_MOST, POOL_MOST),
            frames: self.frames + later.frames - 1.0,
        }
    }

    /// Frames of the run, as far as they are remembered.
    pub(crate) fn frames(self) -> f64 {
        self.frames
    }

    /// Mean of the odds' logarithm.
    pub(crate) fn mean(self) -> f64 {
        if self.frames > 0.0 { self.sum / self.frames } else { f64::NEG_INFINITY }
    }
}

/// The verdict about a frame, by what is believed of it, by its own odds and by those of its run, of which the
/// mean must pass `sure`.
pub(crate) fn verdict(glimpse: &Glimpse, log_odds: f64, run: Pool, sure: f64) -> Heard {
    if glimpse.none > LIKELY {
        Heard::No
    } else if UNAMBIGUOUS < glimpse.near && sure < run.mean() && STILL < log_odds {
        Heard::Yes
    } else {
        Heard::Doubtful
    }
}
