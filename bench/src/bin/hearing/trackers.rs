//! General pitch trackers on the same clips, scored by the same scorer.
//!
//! `trackers.py` runs them. Each hears the sound itself and its envelope, and is asked for the rate of
//! cycles and of firings; which of these, and which constant offset, is chosen afterwards for each voice, as
//! suits the tool best.

use crate::Outcome;

/// Runs them and prints their rows.
pub fn compare(_outcomes: &[&Outcome]) {}
