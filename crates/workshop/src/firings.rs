//! Single firings beside a listener: followed for a minute, and what is told of them.

use bellmouth_core::caveat::{Caveat, With};
use bellmouth_core::engine::layout::Firing;
use bellmouth_core::sound::evenness::{Estimate, Evenness, Follower};
use bellmouth_core::sound::{FRAME_S, Frame, Heard};
use serde::{Deserialize, Serialize};

/// Heard frames whose single firings are followed: a minute.
const FOLLOWED_FRAMES: usize = 1200;

/// Follows single firings for as long as they can tell more: a minute of them says what an hour would.
pub(crate) struct Following {
    follower: Follower,
    /// Heard frames that the follower was given.
    followed: usize,
}

/// How evenly an engine fires, rounded to what is known.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Firings {
    /// Cycle-to-cycle variation of a firing's strength, weak firings left out, percent.
    pub variation_pct: Ranged,
    /// Share of weak or missing firings at each firing position, percent.
    pub weak_pct: Vec<Ranged>,
    /// Mean energy of a firing for each firing position, the strongest 1; empty with one cylinder.
    pub strength: Vec<Ranged>,
}

/// A figure, and the interval that holds it with 90 % probability.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Ranged {
    /// The figure.
    pub value: f64,
    /// Lower end of its interval.
    pub low: f64,
    /// Upper end of its interval.
    pub high: f64,
}

impl Following {
    /// # Errors
    ///
    /// A sample rate that is not listened to.
    pub(crate) fn new(rate_hz: f64, firing: &Firing) -> bellmouth_core::Result<Following> {
        Ok(Following { follower: Follower::new(rate_hz, firing)?, followed: 0 })
    }

    /// Takes sound, and the frames that a listener made of it.
    pub(crate) fn hear(&mut self, samples: &[f32], frames: &[Frame]) {
        if self.has_enough() {
            return;
        }
        self.follower.feed(samples);
        self.follower.follow(frames);
        self.followed += frames.iter().filter(|frame| frame.heard == Heard::Yes).count();
        if self.has_enough() {
            self.follower.finish();
        }
    }

    /// Ends the sound; takes its last frames.
    pub(crate) fn finish(&mut self, frames: &[Frame]) {
        if !self.has_enough() {
            self.follower.follow(frames);
            self.follower.finish();
        }
    }

    /// What it comes to, and what to keep in mind of it; caveats alone say why nothing is told.
    pub(crate) fn told(&self) -> (Option<Firings>, Vec<Caveat>) {
        let (told, mut caveats) = match self.follower.evenness() {
            Ok(With { value, caveats }) => (Some(Firings::of(&value)), caveats),
            Err(why) => (None, vec![why]),
        };
        if self.has_enough() {
            let minutes = FOLLOWED_FRAMES as f64 * FRAME_S / 60.0;
            caveats.push(Caveat::new(
                "evenness-of-the-beginning",
                format!("evenness was taken from the first {minutes:.0} min with an engine"),
            ));
        }
        (told, caveats)
    }

    fn has_enough(&self) -> bool {
        FOLLOWED_FRAMES <= self.followed
    }
}

impl Firings {
    fn of(evenness: &Evenness) -> Firings {
        let each = |estimates: &[Estimate], parts: f64| {
            estimates.iter().map(|estimate| Ranged::of(estimate, parts)).collect::<Vec<Ranged>>()
        };
        let several = if evenness.energy.len() > 1 { evenness.energy.as_slice() } else { &[] };
        Firings {
            variation_pct: Ranged::of(&evenness.variation_pct, 1e1),
            weak_pct: each(&evenness.weak_pct, 1e1),
            strength: each(several, 1e2),
        }
    }
}

impl Ranged {
    /// An estimate to so many parts of a unit.
    fn of(estimate: &Estimate, parts: f64) -> Ranged {
        let rounded = |value: f64| rounded(value, parts);
        Ranged { value: rounded(estimate.value), low: rounded(estimate.low), high: rounded(estimate.high) }
    }
}

/// Digits beyond what is known only hide it.
pub(crate) fn rounded(value: f64, parts: f64) -> f64 {
    (value * parts).round() / parts
}
