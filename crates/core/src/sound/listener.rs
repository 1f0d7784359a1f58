//! The listener: samples in, speed trace out.

use std::collections::VecDeque;
use std::ops::Range;

use super::comb::{Comb, prior};
use super::constants::{
    ABOUT_FACTOR, AROUND_FRAMES, CHIRP_CELLS, CHIRP_COST, CHIRP_FRAMES, CHIRPS_PER_S, CYCLES_DIFFER,
    FAST_FACTOR, FAST_RPM, FINAL_FRAMES, FOLD_FRAMES, HINDSIGHT_FRAMES, LIKELY, LIVE_FRAMES,
    LONG_CHIRP_PER_S, MOVING_FACTOR, NONE_SCORES, SPEEDS_RPM, STEP, TEMPER, UNAMBIGUOUS, UNEXPLAINED,
    USUAL_SHARE, WINDOWS,
};
use super::ears::{Ears, LANES, Lanes};
use super::spectra::{Lines, Spectra};
use super::tone::Tone;
use super::track::{Belief, Chain, weigh};
use super::verdict::{log_odds, verdict};
use super::witness::{Account, Glimpse, Testimony, Witness};
use super::{FRAME_S, Frame, Heard};
use crate::engine::layout::Firing;
use crate::error::{Result, require};

/// Frames by which the longest window's evidence comes later than that of the others.
const LONG_LATER: usize = 6;

/// What was heard of one frame.
struct Seen {
    likelihood: Belief,
    /// Evidence for which a likelihood is 1.
    evidence: f32,
    /// Forward belief at this frame.
    forward: Belief,
    /// Where each speed was heard to go from here, cells a frame; empty where nothing moved.
    drift: Vec<i8>,
}

/// Listens to an engine of a known firing pattern.
///
/// Samples go in by [`feed`](Listener::feed), in blocks of any size; the frames that come out do not
/// depend on how the sound was cut. Memory does not grow with the length of the sound.
///
/// # Example
///
/// ```
/// # use bellmouth_core::{engine::layout::{Firing, layout}, sound::{Heard, Listener}};
/// let twin = Firing::from(layout("v-twin-45").expect("a row of the table"));
/// let mut listener = Listener::new(48_000.0, &twin, Some(900.0))?;
/// let mut frames = listener.feed(&[0.0; 48_000]);
/// frames.extend(listener.finish());
/// assert_eq!(frames.len(), 20);
/// assert!(frames.iter().all(|frame| frame.heard == Heard::No));
/// # Ok::<(), bellmouth_core::Error>(())
/// ```
pub struct Listener {
    sample_rate_hz: f64,
    samples: u64,
    ears: Ears,
    tone: Tone,
    /// Loudness of the last seconds; the first has the index `dropped`.
    loudness: VecDeque<Lanes>,
    dropped: i64,
    /// For each window length, its spectra and its comb.
    spectra: Vec<(Spectra, Comb)>,
    /// Whether nobody said how fast the engine turns.
    unprompted: bool,
    /// Believed before listening, at idle.
    idle_prior: Vec<f32>,
    chain: Chain,
    lowest_rpm: f64,
    /// Spread that no window resolves, share of the speed; larger where cycles are shorter.
    cycles_differ: f64,
    speeds: usize,
    lines: [Lines; LANES],
    /// Next frame whose short windows are to be taken.
    next: usize,
    /// Evidence of the newest long window.
    long: Vec<f32>,
    /// Short-window evidence of frames whose long window is still open.
    short: VecDeque<Vec<f32>>,
    forward: Belief,
    /// Evidence that a steady engine usually gives here; 0 before one was heard.
    usual: f32,
    /// Frames for which chirps are still to be tried.
    chirping: usize,
    evidence: f64,
    seen: VecDeque<Seen>,
    /// Frames already given out.
    given: usize,
    live_belief: Belief,
    live: Option<Frame>,
    witness: Witness,
    /// Accounts of the newest provisional frames.
    recent: VecDeque<Account>,
    /// Accounts of the newest final frames.
    past: VecDeque<Account>,
    testimonies: Vec<Testimony>,
    live_testimony: Option<Testimony>,
    finished: bool,
}

impl Listener {
    /// A listener for mono sound at `sample_rate_hz`.
    ///
    /// `about_rpm` is what a tachometer roughly shows, if there is one; it narrows the search to a
    /// factor of 1.35 either way and with it excludes half and double speeds.
    ///
    /// # Errors
    ///
    /// [`Error::OutOfDomain`](crate::Error::OutOfDomain) unless the sample rate is 8 to 192 kHz and
    /// the rough speed, if given, 400 to 7000 rpm.
    pub fn new(sample_rate_hz: f64, firing: &Firing, about_rpm: Option<f64>) -> Result<Listener> {
        require(
            (8_000.0..=192_000.0).contains(&sample_rate_hz),
            "sample rate",
            sample_rate_hz,
            "8000 to 192000 Hz",
        )?;
        let (mut lowest, mut highest) = SPEEDS_RPM;
        if let Some(about) = about_rpm {
            require((lowest..=highest).contains(&about), "rough speed", about, "400 to 7000 rpm")?;
            lowest = (about / ABOUT_FACTOR).max(lowest);
            highest = (about * ABOUT_FACTOR).min(highest);
        }
        let speeds = ((highest / lowest).ln() / STEP).floor() as usize + 1;
        let first_hz = firing.cycles_per_second(lowest);
        let ears = Ears::new(sample_rate_hz);
        let spectra = WINDOWS
            .iter()
            .map(|&(seconds, highest_hz)| {
                let cells = ((highest_hz / first_hz).ln() / STEP) as usize;
                let spectra = Spectra::new(seconds, ears.loudness_hz(), ears.bands(), first_hz, cells);
                (spectra, Comb::new(firing, speeds, cells))
            })
            .collect();
        Ok(Listener {
            sample_rate_hz,
            samples: 0,
            tone: Tone::new(sample_rate_hz),
            loudness: VecDeque::new(),
            dropped: 0,
            spectra,
            unprompted: about_rpm.is_none(),
            idle_prior: prior(lowest, speeds, None),
            chain: Chain::new(speeds),
            lowest_rpm: lowest,
            cycles_differ: CYCLES_DIFFER * (720.0 / firing.cycle_deg()).powf(0.25),
            speeds,
            lines: Default::default(),
            next: 0,
            long: vec![0.0; speeds],
            short: VecDeque::new(),
            forward: Belief::ignorant(speeds),
            usual: 0.0,
            chirping: 0,
            evidence: 0.0,
            seen: VecDeque::new(),
            given: 0,
            live_belief: Belief::ignorant(speeds),
            live: None,
            recent: VecDeque::new(),
            past: VecDeque::new(),
            testimonies: Vec::new(),
            live_testimony: None,
            witness: Witness::new(firing, lowest, ears.loudness_hz(), ears.bands()),
            finished: false,
            ears,
        })
    }

    /// Takes mono samples in −1 to 1; gives the frames that became final with them, in order.
    pub fn feed(&mut self, samples: &[f32]) -> Vec<Frame> {
        let mut frames = Vec::new();
        self.testimonies.clear();
        // A second at a time, so that memory stays bounded however long the block is.
        for part in samples.chunks(self.sample_rate_hz as usize) {
            self.samples += part.len() as u64;
            let loudness = &mut self.loudness;
            self.ears.hear(part, |value| loudness.push_back(value));
            self.tone.hear(part);
            while self.covers(self.next as f64 * FRAME_S + WINDOWS[1].0 / 2.0) {
                self.tick(&mut frames);
            }
        }
        frames
    }

    /// The newest provisional frame: a third of a second old, with the spread that goes with it.
    pub fn live(&self) -> Option<Frame> {
        self.live
    }

    /// What bore witness about the frames that the last call of [`feed`](Listener::feed) or
    /// [`finish`](Listener::finish) gave; nothing for those in which no engine is likely.
    pub fn testimonies(&self) -> &[Testimony] {
        &self.testimonies
    }

    /// What bore witness about the frame that [`live`](Listener::live) gives.
    pub fn live_testimony(&self) -> Option<&Testimony> {
        self.live_testimony.as_ref()
    }

    /// Ends the sound; gives the remaining frames. Later calls, and later samples, give nothing.
    pub fn finish(&mut self) -> Vec<Frame> {
        let mut frames = Vec::new();
        if self.finished {
            return frames;
        }
        self.finished = true;
        self.testimonies.clear();
        let last = (self.samples as f64 / self.sample_rate_hz / FRAME_S - 1e-9).ceil().max(0.0) as usize;
        // The windows of the last frames reach beyond the end: silence stands there.
        while self.next < last + LONG_LATER {
            self.tick(&mut frames);
        }
        let open = last - self.given;
        self.settle(open, &mut frames);
        frames
    }

    /// Logarithm of how much better an engine of this firing pattern explains the sound so far than
    /// noise does. Of several layouts listening to the same sound, the one with most fits best.
    pub fn evidence(&self) -> f64 {
        self.evidence
    }

    /// Whether loudness is known up to an instant.
    fn covers(&self, t_s: f64) -> bool {
        self.ears.index_at(t_s) < self.dropped + self.loudness.len() as i64
    }

    /// Takes the evidence of the next frame's short windows and of an earlier one's long window.
    fn tick(&mut self, frames: &mut Vec<Frame>) {
        let mut short = vec![0.0; self.speeds];
        let everywhere = 0..self.speeds;
        let everywhere = std::slice::from_ref(&everywhere);
        for window in 1..WINDOWS.len() {
            self.hear_window(window, self.next, None, 1.0, everywhere, &mut short);
        }
        self.short.push_back(short);
        let sound = self.slice(self.next);
        self.witness.hear(sound);
        if let Some(index) = self.next.checked_sub(LONG_LATER) {
            // Half of what the longest window hears is new after six of its frames: every other one will do.
            let mut long = std::mem::take(&mut self.long);
            if index.is_multiple_of(2) {
                long.fill(0.0);
                self.hear_window(0, index, None, 1.0, everywhere, &mut long);
            }
            let before = self.believed_before();
            let newest = &self.short[self.short.len() - 1];
            let now: Vec<f32> = sum([newest, &long, &before]);
            let (live_likelihood, _, at_best) = likelihood(&now);
            self.chain.forward(&mut self.live_belief, &[], &live_likelihood);
            let (mut glimpse, frame) = self.look(self.next, &self.live_belief);
            glimpse.evidence = evidence_at(&live_likelihood, at_best, glimpse.cell);
            self.judge_live(glimpse, frame);
            let short = self.short.pop_front().unwrap_or_default();
            let mut all: Vec<f32> = short.iter().zip(&long).map(|(short, long)| short + long).collect();
            self.long = long;
            let drift = self.chirp(index, &mut all);
            all.iter_mut().zip(&before).for_each(|(all, before)| *all += before);
            let (likelihood, scale, evidence) = likelihood(&all);
            let from = self.seen.back().map_or(&[][..], |before| &before.drift);
            let mean = self.chain.forward(&mut self.forward, from, &likelihood);
            self.evidence += f64::from(scale) + f64::from(mean).ln();
            self.seen.push_back(Seen { likelihood, evidence, forward: self.forward.clone(), drift });
            if self.seen.len() >= HINDSIGHT_FRAMES + FINAL_FRAMES {
                self.settle(FINAL_FRAMES, frames);
            }
            let keep = self.ears.index_at((index + 1) as f64 * FRAME_S) - self.spectra[0].0.length as i64;
            while self.dropped < keep && self.loudness.pop_front().is_some() {
                self.dropped += 1;
            }
        }
        self.next += 1;
    }

    /// Where a steady speed does not explain the sound of an engine that was heard before, tries changing
    /// ones about its speed, half and twice of it: raises the evidence to the likeliest, and says where
    /// each speed goes.
    fn chirp(&mut self, index: usize, evidence: &mut [f32]) -> Vec<i8> {
        let best = evidence.iter().copied().fold(f32::MIN, f32::max);
        let was_heard = self.forward.none < LIKELY;
        self.chirping = self.chirping.saturating_sub(1);
        if UNEXPLAINED * self.usual < best {
            self.usual += if was_heard { USUAL_SHARE * (best - self.usual) } else { 0.0 };
        } else if was_heard && 0.0 < self.usual {
            self.chirping = CHIRP_FRAMES;
        }
        if self.chirping == 0 {
            return Vec::new();
        }
        let at = self.forward.best();
        let octave = (2.0_f64.ln() / STEP) as usize;
        let ranges = [at.saturating_sub(octave), at, at + octave]
            .map(|middle| middle.saturating_sub(CHIRP_CELLS)..(middle + CHIRP_CELLS).min(self.speeds));
        let mut drift = vec![0; self.speeds];
        let mut changing = vec![0.0; self.speeds];
        for (chirp, rate) in CHIRPS_PER_S.iter().enumerate() {
            changing.fill(0.0);
            // A window that cannot follow leaves its say to the next shorter one.
            let mut says = 0.0;
            for window in 0..WINDOWS.len() {
                says += 1.0;
                let long = window == 0 && LONG_CHIRP_PER_S < rate.abs();
                if !long && self.spectra[window].0.follows(chirp) {
                    self.hear_window(window, index, Some(chirp), says, &ranges, &mut changing);
                    says = 0.0;
                }
            }
            let cost = CHIRP_COST * rate.abs().sqrt() as f32 / TEMPER;
            let cells = (rate * FRAME_S / STEP).round() as i8;
            for i in ranges.iter().cloned().flatten() {
                if evidence[i] < changing[i] - cost {
                    evidence[i] = changing[i] - cost;
                    drift[i] = cells;
                }
            }
        }
        drift
    }

    /// What is believed of each speed before listening to a frame.
    fn believed_before(&self) -> Vec<f32> {
        if !self.unprompted {
            return vec![0.0; self.speeds];
        }
        let (glimpse, frame) = self.look(self.next, &self.forward);
        let around = |factor: f64| prior(self.lowest_rpm, self.speeds, Some((frame.rpm, factor)));
        if 0 < self.chirping {
            around(MOVING_FACTOR)
        } else if glimpse.near > UNAMBIGUOUS && frame.rpm > FAST_RPM {
            around(FAST_FACTOR)
        } else {
            self.idle_prior.clone()
        }
    }

    /// Adds the evidence of one window about one frame, so many times, for a steady or a changing speed.
    fn hear_window(
        &mut self,
        window: usize,
        frame: usize,
        chirp: Option<usize>,
        times: f32,
        ranges: &[Range<usize>],
        evidence: &mut [f32],
    ) {
        let length = self.spectra[window].0.length;
        let from = self.ears.index_at(frame as f64 * FRAME_S) - (length / 2) as i64;
        let sound: Vec<Lanes> = (from..from + length as i64)
            .map(|i| {
                let at = usize::try_from(i - self.dropped).ok();
                at.and_then(|at| self.loudness.get(at)).copied().unwrap_or_default()
            })
            .collect();
        let (spectra, comb) = &mut self.spectra[window];
        spectra.lines(&sound, chirp, &mut self.lines);
        comb.weigh(&self.lines[..self.ears.bands()], times, ranges, evidence);
    }

    /// Makes the oldest `count` frames final, with everything later as hindsight.
    fn settle(&mut self, count: usize, frames: &mut Vec<Frame>) {
        let count = count.min(self.seen.len());
        let mut word = Belief { speeds: vec![1.0; self.speeds], none: 1.0 };
        // Newest first: frames still open are glimpsed too, as neighbours of those that settle.
        let mut glimpses = Vec::with_capacity(self.seen.len() + self.past.len());
        let mut settled = Vec::with_capacity(count);
        for (index, seen) in self.seen.iter().enumerate().rev() {
            if index < count + AROUND_FRAMES.1 + FOLD_FRAMES {
                let mut belief = seen.forward.clone();
                weigh(&mut belief, &word);
                let (mut glimpse, frame) = self.look(self.given + index, &belief);
                glimpse.evidence = evidence_at(&seen.likelihood, seen.evidence, glimpse.cell);
                glimpses.push(glimpse);
                if index < count {
                    settled.push(frame);
                }
            }
            let drift = index.checked_sub(1).map_or(&[][..], |before| &self.seen[before].drift);
            self.chain.backward(&mut word, drift, &seen.likelihood);
        }
        glimpses.extend(self.past.iter().rev().map(|account| account.glimpse));
        glimpses.reverse();
        settled.reverse();
        let before = self.past.len();
        let mut accounts: Vec<Account> = self.past.drain(..).collect();
        let first = self.given - before;
        let looked_at = (before + count + AROUND_FRAMES.1).min(glimpses.len());
        accounts.extend((before..looked_at).map(|at| self.witness.account(&glimpses, first, at)));
        for (index, mut frame) in settled.into_iter().enumerate() {
            let testimony = self.testify(&accounts, before + index, AROUND_FRAMES, frame.t_s);
            let odds = testimony.as_ref().map_or(f64::NEG_INFINITY, |testimony| testimony.log_odds);
            frame.heard = verdict(&accounts[before + index].glimpse, odds);
            self.testimonies.extend(testimony);
            frames.push(frame);
        }
        accounts.truncate(before + count);
        self.past.extend(accounts.drain(accounts.len().saturating_sub(AROUND_FRAMES.0)..));
        self.witness.forget((self.given + count).saturating_sub(2 * FOLD_FRAMES));
        self.seen.drain(..count);
        self.given += count;
        self.tone.forget(self.given as f64 * FRAME_S - 1.0);
    }

    /// The loudness that belongs to a frame.
    fn slice(&self, frame: usize) -> Vec<Lanes> {
        let edge = |places: f64| self.ears.index_at((frame as f64 + places) * FRAME_S) - self.dropped;
        (edge(-0.5)..edge(0.5))
            .map(|at| {
                let at = usize::try_from(at).ok();
                at.and_then(|at| self.loudness.get(at)).copied().unwrap_or_default()
            })
            .collect()
    }

    /// Judges the newest provisional frame by itself and those before it.
    fn judge_live(&mut self, glimpse: Glimpse, mut frame: Frame) {
        let keep = self.recent.len().saturating_sub(LIVE_FRAMES);
        self.recent.drain(..keep);
        let mut glimpses: Vec<Glimpse> = self.recent.iter().map(|account| account.glimpse).collect();
        glimpses.push(glimpse);
        let at = glimpses.len() - 1;
        self.recent.push_back(self.witness.account(&glimpses, self.next - at, at));
        let testimony = {
            self.recent.make_contiguous();
            self.testify(self.recent.as_slices().0, at, (LIVE_FRAMES, 0), frame.t_s)
        };
        let odds = testimony.as_ref().map_or(f64::NEG_INFINITY, |testimony| testimony.log_odds);
        frame.heard = verdict(&glimpse, odds);
        self.live = Some(frame);
        self.live_testimony = testimony;
    }

    /// What bears witness about one of some accounts.
    fn testify(&self, accounts: &[Account], at: usize, reach: (usize, usize), t_s: f64) -> Option<Testimony> {
        let witnesses = self.witness.testimony(accounts, at, reach)?;
        Some(Testimony { t_s, witnesses, log_odds: log_odds(&witnesses) })
    }

    /// A belief as its neighbours see it, and the frame it makes, whether heard still open.
    fn look(&self, index: usize, belief: &Belief) -> (Glimpse, Frame) {
        let best = belief.best();
        let near = |reach: usize| best.saturating_sub(reach)..(best + reach + 1).min(self.speeds);
        let mass: f32 = belief.speeds[near(5)].iter().sum();
        let mean = near(5).map(|i| i as f32 * belief.speeds[i]).sum::<f32>() / mass;
        let variance = near(5).map(|i| (i as f32 - mean).powi(2) * belief.speeds[i]).sum::<f32>() / mass;
        let rpm = self.lowest_rpm * (STEP * f64::from(mean)).exp();
        let sd_rpm =
            rpm * (STEP * STEP * f64::from(variance) + self.cycles_differ * self.cycles_differ).sqrt();
        let t_s = index as f64 * FRAME_S;
        let glimpse = Glimpse {
            none: belief.none,
            near: belief.speeds[near(24)].iter().sum(),
            cell: mean,
            evidence: 0.0,
            tone: self.tone.at(t_s),
        };
        (glimpse, Frame { t_s, rpm, sd_rpm, heard: Heard::No })
    }
}

/// The sum of three, value by value.
fn sum([a, b, c]: [&Vec<f32>; 3]) -> Vec<f32> {
    a.iter().zip(b).zip(c).map(|((a, b), c)| a + b + c).collect()
}

/// Likelihoods from evidence, the largest scaled to 1; the logarithm of that scale over noise; the evidence
/// that was scaled to 1.
fn likelihood(evidence: &[f32]) -> (Belief, f32, f32) {
    let best = evidence.iter().copied().fold(NONE_SCORES, f32::max);
    let scale = |e: f32| (TEMPER * (e - best)).exp();
    let belief = Belief { speeds: evidence.iter().map(|&e| scale(e)).collect(), none: scale(NONE_SCORES) };
    (belief, TEMPER * (best - NONE_SCORES), best)
}

/// The evidence of one speed, given that of which the likelihood is 1.
fn evidence_at(likelihood: &Belief, at_best: f32, cell: f32) -> f32 {
    let place = (cell.round().max(0.0) as usize).min(likelihood.speeds.len() - 1);
    at_best + likelihood.speeds[place].max(1e-30).ln() / TEMPER
}
