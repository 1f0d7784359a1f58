//! When has the speed settled, and what is its mean?
//!
//! A [`HoldWatch`] is fed the frames of a trace and says when a held position has been read: after
//! settling, once the standard error of the mean is small enough. The error respects that
//! neighbouring readings resemble one another, and a limit cycle is never averaged away.

use std::collections::VecDeque;

use crate::sound::{FRAME_S, Frame, Heard};

/// The rules of a hold.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HoldRules {
    /// Time to let mixture and heat settle before measuring, seconds.
    pub settle_s: f64,
    /// Shortest time measured, seconds.
    pub shortest_s: f64,
    /// A hold is taken once the standard error is down to this, rpm.
    pub se_target_rpm: f64,
    /// Longest time measured, seconds; then it is taken with the error it has.
    pub longest_s: f64,
    /// Frames not heard or doubtful are left out; more than this in one piece, seconds, breaks the hold.
    pub gap_s: f64,
    /// Drift that spoils a hold once it is beyond doubt, rpm per minute.
    pub drift_limit_rpm_per_min: f64,
}

impl Default for HoldRules {
    fn default() -> Self {
        HoldRules {
            settle_s: 10.0,
            shortest_s: 10.0,
            se_target_rpm: 5.0,
            longest_s: 60.0,
            gap_s: 1.0,
            drift_limit_rpm_per_min: 10.0,
        }
    }
}

/// A held speed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HeldSpeed {
    /// Start of the stretch measured, seconds from the start of the sound.
    pub start_s: f64,
    /// Its end.
    pub end_s: f64,
    /// Mean speed, rpm.
    pub mean_rpm: f64,
    /// Standard error of the mean, rpm, autocorrelation respected.
    pub se_rpm: f64,
    /// Standard deviation of the frames' speeds, rpm.
    pub spread_rpm: f64,
}

/// Why a hold cannot be taken as it is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Unsteadiness {
    /// The speed stepped, as by a fan, a lamp or a hand; the hold starts anew behind the step.
    Stepped {
        /// By how much, rpm.
        by_rpm: f64,
    },
    /// The speed drifts; the hold starts anew.
    Drifting {
        /// How fast, rpm per minute.
        rpm_per_min: f64,
    },
    /// The speed swings regularly: a mean would hide it.
    Hunting {
        /// Period of the swing, seconds.
        period_s: f64,
        /// From lowest to highest, rpm.
        swing_rpm: f64,
    },
    /// Too much of the hold was not heard.
    HardToHear,
}

/// How far a hold has come.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum HoldState {
    /// No engine is heard.
    Waiting,
    /// The speed is left to settle.
    Settling {
        /// For how long it has, seconds.
        for_s: f64,
        /// How long it must, seconds.
        needed_s: f64,
    },
    /// The mean is forming.
    Measuring {
        /// For how long, seconds.
        for_s: f64,
        /// The mean so far, rpm.
        mean_rpm: f64,
        /// Its standard error, rpm; infinite while too short to tell.
        se_rpm: f64,
    },
    /// The hold is complete, and stays so until [`HoldWatch::restart`].
    Taken(HeldSpeed),
    /// The speed is not steady; watching goes on.
    Unsteady {
        /// Why.
        reason: Unsteadiness,
    },
}

/// Frames per bin: a quarter of a second.
const FRAMES_PER_BIN: usize = 5;
const BIN_S: f64 = FRAMES_PER_BIN as f64 * FRAME_S;
/// Bins before anything is said about scatter.
const FEWEST_BINS: usize = 16;
/// Tests for steps and swings are made once a second.
const BINS_PER_TEST: usize = 4;
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
/// Swings are looked for in the last twenty seconds.
const SWING_BINS: usize = 80;
/// And not before fifteen.
const SWING_LEAST_BINS: usize = 60;
/// For how long the reason for a fresh start is shown, seconds.
const SHOWN_S: f64 = 2.0;
/// Share of a hold that must be heard.
const HEARD_SHARE: f64 = 0.7;

/// Correlation of neighbouring bins expected beforehand, and how many bins that is worth.
const PRIOR_CORRELATION: f64 = 0.65;
const PRIOR_BINS: f64 = 16.0;

/// A quarter of a second of speed.
#[derive(Clone, Copy, Debug)]
struct Bin {
    start_s: f64,
    end_s: f64,
    rpm: f64,
    /// Variance of the frames about the bin's mean, rpm².
    variance: f64,
}

/// Watches a trace for held speeds.
#[derive(Clone, Debug)]
pub struct HoldWatch {
    rules: HoldRules,
    /// When the present stretch began; `None` while nothing is heard.
    began_s: Option<f64>,
    last_heard_s: f64,
    /// Frames since measuring began, heard and not.
    heard: usize,
    missed: usize,
    partial: Vec<Frame>,
    bins: VecDeque<Bin>,
    untested: usize,
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
    fn begin(&mut self, t_s: f64) {
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

    /// The hold as it stands; asked only when there are bins.
    /// The held speed as it stands, for a person who will not wait; `None` while it is settling.
    pub fn so_far(&self) -> Option<HeldSpeed> {
        (FEWEST_BINS <= self.bins.len()).then(|| self.held())
    }

    fn held(&self) -> HeldSpeed {
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

/// The settled stretches of a whole trace, in order.
///
/// A stretch goes on for as long as the speed stays settled, up to `longest_s`; what follows without
/// a step or a gap is a stretch of its own.
pub fn settled_stretches(frames: &[Frame], rules: HoldRules) -> Vec<HeldSpeed> {
    let mut watch = HoldWatch::new(HoldRules { se_target_rpm: 0.0, ..rules });
    let mut found = Vec::new();
    // The last state of a stretch that was long enough, in case it breaks.
    let mut standing: Option<HeldSpeed> = None;
    for frame in frames {
        let state = watch.push(frame);
        match state {
            HoldState::Taken(held) => {
                found.push(held);
                standing = None;
                watch.restart();
                // The speed has settled already.
                watch.begin(frame.t_s - rules.settle_s);
                watch.last_heard_s = frame.t_s;
            }
            HoldState::Measuring { for_s, .. } => {
                if rules.shortest_s <= for_s && watch.untested == 0 && watch.partial.is_empty() {
                    standing = Some(watch.held());
                }
            }
            HoldState::Unsteady { reason } => {
                // What was measured before a step stands up to the step; swings and drift void it.
                if let (Some(held), Unsteadiness::Stepped { .. }) = (standing.take(), reason)
                    && let Some(before) =
                        cut(frames, held.start_s, watch.began_s.unwrap_or(held.end_s), rules)
                {
                    found.push(before);
                }
            }
            HoldState::Waiting | HoldState::Settling { .. } => found.extend(standing.take()),
        }
    }
    found.extend(standing);
    found
}

/// A held speed from the frames between two times, if that is long enough.
fn cut(frames: &[Frame], start_s: f64, end_s: f64, rules: HoldRules) -> Option<HeldSpeed> {
    let mut watch = HoldWatch::new(HoldRules { settle_s: 0.0, ..rules });
    let inside: Vec<Frame> = frames
        .iter()
        .filter(|frame| {
            start_s <= frame.t_s && frame.t_s < end_s && frame.heard == Heard::Yes && frame.rpm.is_finite()
        })
        .copied()
        .collect();
    watch.bins = inside.chunks_exact(FRAMES_PER_BIN).map(bin).collect();
    (rules.shortest_s <= watch.bins.len() as f64 * BIN_S).then(|| watch.held())
}

fn bin(frames: &[Frame]) -> Bin {
    let speeds: Vec<f64> = frames.iter().map(|frame| frame.rpm).collect();
    let (rpm, variance) = mean_and_variance(&speeds);
    Bin { start_s: frames[0].t_s, end_s: frames[frames.len() - 1].t_s + FRAME_S, rpm, variance }
}

fn mean_and_variance(values: &[f64]) -> (f64, f64) {
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
fn standard_error(values: &[f64]) -> f64 {
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

/// A step or a drift beyond doubt, and the bin at which a step happened.
fn change(speeds: &[f64], drift_limit_rpm_per_min: f64) -> Option<(Unsteadiness, usize)> {
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
fn swing(speeds: &[f64]) -> Option<Unsteadiness> {
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

#[cfg(test)]
mod tests;
