//! Watching a trace, frame by frame, for a speed that is held.

use std::collections::VecDeque;

use super::scatter::{mean_and_variance, standard_error};
use super::unsteady::{change, swing};
use super::{HeldSpeed, HoldRules, HoldState, Unsteadiness};
use crate::sound::{FRAME_S, Frame, Heard};

/// Frames per bin: a quarter of a second.
pub(super) const FRAMES_PER_BIN: usize = 5;
/// Length of a bin, seconds.
pub(super) const BIN_S: f64 = FRAMES_PER_BIN as f64 * FRAME_S;
/// Bins before anything is said about scatter.
const FEWEST_BINS: usize = 16;
/// Tests for steps and swings are made once a second.
const BINS_PER_TEST: usize = 4;
/// Swings are looked for in the last twenty seconds.
const SWING_BINS: usize = 80;
/// For how long the reason for a fresh start is shown, seconds.
const SHOWN_S: f64 = 2.0;
/// Share of a hold that must be heard.
const HEARD_SHARE: f64 = 0.7;

/// Watches a trace for held speeds.
#[derive(Clone, Debug)]
pub struct HoldWatch {
    rules: HoldRules,
    /// When the present stretch began; `None` while nothing is heard.
    pub(super) began_s: Option<f64>,
    pub(super) last_heard_s: f64,
    /// Frames since measuring began, heard and not.
    heard: usize,
    missed: usize,
    pub(super) partial: Vec<Frame>,
    pub(super) bins: VecDeque<Bin>,
    pub(super) untested: usize,
    hunting: Option<Unsteadiness>,
    shown: Option<(Unsteadiness, f64)>,
    taken: Option<HeldSpeed>,
}

impl HoldWatch {
    /// A watch that has heard nothing yet.
    pub fn new(rules: HoldRules) -> Self {
        HoldWatch {
            rules,
            began_s: None,
            last_heard_s: f64::NEG_INFINITY,
            heard: 0,
            missed: 0,
            partial: Vec::with_capacity(FRAMES_PER_BIN),
            bins: VecDeque::new(),
            untested: 0,
            hunting: None,
            shown: None,
            taken: None,
        }
    }

    /// Forgets the present hold, as when the screw is moved: settling begins anew.
    pub fn restart(&mut self) {
        *self = HoldWatch::new(self.rules);
    }

    /// Takes the next frame and says how far the hold has come.
    pub fn push(&mut self, frame: &Frame) -> HoldState {
        if let Some(taken) = self.taken {
            return HoldState::Taken(taken);
        }
        let good = frame.heard == Heard::Yes && frame.rpm.is_finite() && frame.t_s.is_finite();
        if !good {
            return self.miss(frame.t_s);
        }
        let gap = frame.t_s - self.last_heard_s;
        if self.began_s.is_none() || self.rules.gap_s < gap || gap < 0.0 {
            self.begin(frame.t_s);
        }
        self.last_heard_s = frame.t_s;
        self.advance(frame)
    }

    /// A frame that was not heard: the hold pauses, and breaks when the gap grows too long.
    fn miss(&mut self, t_s: f64) -> HoldState {
        let Some(began) = self.began_s else { return HoldState::Waiting };
        // A time that is not a number counts as too long.
        let short = t_s - self.last_heard_s <= self.rules.gap_s;
        if !short {
            self.restart();
            return HoldState::Waiting;
        }
        if self.rules.settle_s <= t_s - began {
            self.missed += 1;
        }
        self.state(t_s)
    }

    /// Starts a stretch at a time, its settling included.
    pub(super) fn begin(&mut self, t_s: f64) {
        let shown = self.shown;
        self.restart();
        self.shown = shown;
        self.began_s = Some(t_s);
        self.last_heard_s = t_s;
    }

    fn advance(&mut self, frame: &Frame) -> HoldState {
        let began = self.began_s.unwrap_or(frame.t_s);
        // Half a frame of slack, so that ten seconds of frames are ten seconds.
        if frame.t_s - began + 0.5 * FRAME_S < self.rules.settle_s {
            return self.state(frame.t_s);
        }
        self.heard += 1;
        self.partial.push(*frame);
        if self.partial.len() == FRAMES_PER_BIN {
            self.bins.push_back(bin(&self.partial));
            self.partial.clear();
            self.untested += 1;
            if self.untested == BINS_PER_TEST {
                self.untested = 0;
                self.test(frame.t_s);
            }
        }
        self.state(frame.t_s)
    }

    /// Looks for steps, drift and swings, and whether the hold is complete.
    fn test(&mut self, now_s: f64) {
        let speeds: Vec<f64> = self.bins.iter().map(|bin| bin.rpm).collect();
        if speeds.len() < FEWEST_BINS {
            return;
        }
        let recent = &speeds[speeds.len().saturating_sub(SWING_BINS)..];
        self.hunting = swing(recent);
        if self.hunting.is_some() {
            // A swing that ends leaves no trace of itself in a later mean.
            while SWING_BINS < self.bins.len() {
                self.bins.pop_front();
            }
            return;
        }
        if let Some((reason, at)) = change(&speeds, self.rules.drift_limit_rpm_per_min) {
            let from = self.bins.get(at).map_or(now_s, |bin| bin.start_s);
            // Settling counts from the step itself, which lies some seconds back.
            let begin = match reason {
                Unsteadiness::Stepped { .. } => from,
                _ => now_s,
            };
            self.shown = Some((reason, now_s));
            let kept: Vec<Bin> =
                self.bins.iter().copied().filter(|bin| begin + self.rules.settle_s <= bin.start_s).collect();
            self.begin(begin);
            self.last_heard_s = now_s;
            self.heard = kept.len() * FRAMES_PER_BIN;
            self.bins = kept.into();
            return;
        }
        let measured = speeds.len() as f64 * BIN_S;
        let held = self.held();
        let enough = self.rules.shortest_s <= measured && held.se_rpm <= self.rules.se_target_rpm;
        let heard_share = self.heard as f64 / (self.heard + self.missed).max(1) as f64;
        if (enough || self.rules.longest_s <= measured) && HEARD_SHARE <= heard_share {
            self.taken = Some(held);
        } else if self.rules.longest_s <= measured {
            self.shown = Some((Unsteadiness::HardToHear, now_s));
            self.begin(now_s);
        }
    }

    fn state(&self, now_s: f64) -> HoldState {
        if let Some(taken) = self.taken {
            return HoldState::Taken(taken);
        }
        if let Some(reason) = self.hunting {
            return HoldState::Unsteady { reason };
        }
        if let Some((reason, since)) = self.shown
            && now_s - since < SHOWN_S
        {
            return HoldState::Unsteady { reason };
        }
        let for_s = now_s - self.began_s.unwrap_or(now_s);
        if self.bins.is_empty() {
            return HoldState::Settling {
                for_s: for_s.min(self.rules.settle_s),
                needed_s: self.rules.settle_s,
            };
        }
        let held = self.held();
        HoldState::Measuring {
            for_s: self.bins.len() as f64 * BIN_S,
            mean_rpm: held.mean_rpm,
            se_rpm: if self.bins.len() < FEWEST_BINS { f64::INFINITY } else { held.se_rpm },
        }
    }

    /// The held speed as it stands, for a person who will not wait; `None` while it is settling.
    pub fn so_far(&self) -> Option<HeldSpeed> {
        (FEWEST_BINS <= self.bins.len()).then(|| self.held())
    }

    /// The hold as it stands; asked only when there are bins.
    pub(super) fn held(&self) -> HeldSpeed {
        let speeds: Vec<f64> = self.bins.iter().map(|bin| bin.rpm).collect();
        let (mean, variance) = mean_and_variance(&speeds);
        let within = self.bins.iter().map(|bin| bin.variance).sum::<f64>() / speeds.len().max(1) as f64;
        HeldSpeed {
            start_s: self.bins.front().map_or(0.0, |bin| bin.start_s),
            end_s: self.bins.back().map_or(0.0, |bin| bin.end_s),
            mean_rpm: mean,
            se_rpm: standard_error(&speeds),
            spread_rpm: (variance + within).sqrt(),
        }
    }
}

/// A quarter of a second of speed.
#[derive(Clone, Copy, Debug)]
pub(super) struct Bin {
    start_s: f64,
    end_s: f64,
    rpm: f64,
    /// Variance of the frames about the bin's mean, rpm².
    variance: f64,
}

/// The mean of some frames.
pub(super) fn bin(frames: &[Frame]) -> Bin {
    let speeds: Vec<f64> = frames.iter().map(|frame| frame.rpm).collect();
    let (rpm, variance) = mean_and_variance(&speeds);
    Bin { start_s: frames[0].t_s, end_s: frames[frames.len() - 1].t_s + FRAME_S, rpm, variance }
}
