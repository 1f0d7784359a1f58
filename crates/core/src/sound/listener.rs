//! The listener: samples in, speed trace out.

mod attend;
mod settle;

use std::collections::VecDeque;

use super::comb::{believed, believed_about, first_met};
use super::constants::{
    ABOUT_FACTOR, CYCLES_DIFFER, FAST_FACTOR, FAST_RPM, FINAL_FRAMES, HINDSIGHT_FRAMES, LIKELY,
    MOVING_FACTOR, NONE_SCORES, REFINED_FRAMES, SPEEDS_RPM, STEP, TEMPER, TWO_ENGINES, UNAMBIGUOUS,
    USUAL_SHARE, WINDOWS,
};
use super::judge::Judge;
use super::refine::{Known, Refiner};
use super::scan::{Changing, Scan};
use super::tone::Tone;
use super::track::{Belief, Chain, Likelihood};
use super::witness::{Glimpse, Testimony};
use super::{FRAME_S, Frame, Heard, require_rate};
use crate::engine::layout::Firing;
use crate::error::{Result, require};

/// Frames by which the longest window's evidence comes later than that of the others.
const LONG_LATER: usize = 6;

/// Evidence of the short windows of a frame.
struct Short {
    steady: Vec<f32>,
    /// Where a steady speed does not explain the sound.
    changing: Option<Changing>,
}

/// What was heard of one frame.
struct Seen {
    likelihood: Likelihood,
    /// Forward belief at this frame.
    forward: Belief,
    /// Where each speed was heard to go from here, cells a frame; empty where nothing moved.
    drift: Vec<i8>,
    /// Whether a second engine was heard.
    company: bool,
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
    scan: Scan,
    tone: Tone,
    /// Whether it may turn fast without anyone wondering: nobody said how fast it idles, or it was heard to be revved.
    may_be_fast: bool,
    unprompted: bool,
    /// What is believed of each speed at idle.
    believed_idle: Vec<f32>,
    /// What is believed of each speed now.
    believed: Vec<f32>,
    chain: Chain,
    /// Spread that no window resolves, share of the speed; larger where cycles are shorter.
    cycles_differ: f64,
    speeds: usize,
    /// Next frame whose short windows are to be taken.
    next: usize,
    /// Evidence of the newest long window.
    long: Vec<f32>,
    /// Short-window evidence of frames whose long window is still open.
    short: VecDeque<Short>,
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
    live_drift: Vec<i8>,
    live: Option<Frame>,
    refiner: Refiner,
    /// Coarse speeds of the newest final frames.
    coarse: VecDeque<Known>,
    judge: Judge,
    /// Evidence of a second engine as a share of the first one's, over a second or two.
    company: f32,
    /// Final frames in which two engines were heard.
    beside_frames: usize,
    finished: bool,
}

impl Listener {
    /// A listener for mono sound at `sample_rate_hz`.
    ///
    /// `about_rpm` is what a tachometer roughly shows at idle, if there is one: an engine is first met within a
    /// factor of 1.35 of it, which excludes half and double speeds, and is believed to stay there unless it is revved.
    ///
    /// # Errors
    ///
    /// [`Error::OutOfDomain`](crate::Error::OutOfDomain) unless the sample rate is 8 to 192 kHz and
    /// the rough speed, if given, 400 to 14500 rpm.
    pub fn new(sample_rate_hz: f64, firing: &Firing, about_rpm: Option<f64>) -> Result<Listener> {
        require_rate(sample_rate_hz)?;
        let (lowest, highest) = SPEEDS_RPM;
        let speeds = ((highest / lowest).ln() / STEP).floor() as usize + 1;
        let mut met = first_met(lowest, speeds);
        if let Some(about) = about_rpm {
            require((lowest..=highest).contains(&about), "rough speed", about, "400 to 14500 rpm")?;
            for (i, met) in met.iter_mut().enumerate() {
                let off = ((STEP * i as f64).exp() * lowest / about).ln().abs();
                *met = if off < ABOUT_FACTOR.ln() { 0.0 } else { f32::NEG_INFINITY };
            }
        }
        let chain = Chain::new(&met);
        let scan = Scan::new(sample_rate_hz, firing, speeds);
        let (loudness_hz, bands) = scan.loudness_kind();
        Ok(Listener {
            sample_rate_hz,
            samples: 0,
            scan,
            tone: Tone::new(sample_rate_hz),
            may_be_fast: about_rpm.is_none(),
            unprompted: about_rpm.is_none(),
            believed_idle: about_rpm.map_or_else(
                || believed(lowest, speeds, None),
                |about| believed_about(lowest, speeds, about),
            ),
            believed: vec![0.0; speeds],
            cycles_differ: CYCLES_DIFFER * (720.0 / firing.cycle_deg()).powf(0.25),
            speeds,
            next: 0,
            long: vec![0.0; speeds],
            short: VecDeque::new(),
            forward: chain.before(),
            usual: 0.0,
            chirping: 0,
            evidence: 0.0,
            seen: VecDeque::new(),
            given: 0,
            live_belief: chain.before(),
            live_drift: Vec::new(),
            live: None,
            refiner: Refiner::new(firing.cycle_deg()),
            coarse: VecDeque::new(),
            judge: Judge::new(firing, loudness_hz, bands),
            company: 0.0,
            beside_frames: 0,
            finished: false,
            chain,
        })
    }

    /// Takes mono samples in −1 to 1; gives the frames that became final with them, in order.
    pub fn feed(&mut self, samples: &[f32]) -> Vec<Frame> {
        let mut frames = Vec::new();
        self.judge.testimonies.clear();
        // A second at a time, so that memory stays bounded however long the block is.
        for part in samples.chunks(self.sample_rate_hz as usize) {
            self.samples += part.len() as u64;
            self.scan.hear(part);
            self.tone.hear(part);
            while self.scan.covers(self.next as f64 * FRAME_S + WINDOWS[1].0 / 2.0) {
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
        &self.judge.testimonies
    }

    /// What bore witness about the frame that [`live`](Listener::live) gives.
    pub fn live_testimony(&self) -> Option<&Testimony> {
        self.judge.live_testimony.as_ref()
    }

    /// Ends the sound; gives the remaining frames. Later calls, and later samples, give nothing.
    pub fn finish(&mut self) -> Vec<Frame> {
        let mut frames = Vec::new();
        if self.finished {
            return frames;
        }
        self.finished = true;
        self.judge.testimonies.clear();
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

    /// How many of the frames given so far are doubtful because a second engine was heard, too loud to say which one
    /// is meant.
    pub fn frames_with_company(&self) -> usize {
        self.beside_frames
    }

    /// Takes the evidence of the next frame's short windows and of an earlier one's long window.
    fn tick(&mut self, frames: &mut Vec<Frame>) {
        let short = self.hear_short();
        self.short.push_back(short);
        self.judge.hear(self.scan.slice(self.next));
        if let Some(index) = self.next.checked_sub(LONG_LATER) {
            self.hear_long(index);
            self.believe();
            self.follow_live();
            self.follow(index);
            if self.seen.len() >= HINDSIGHT_FRAMES + FINAL_FRAMES {
                self.settle(FINAL_FRAMES, frames);
            }
            // What refines the next frames to settle lies further back than any window.
            self.scan.forget_before(self.given as f64 * FRAME_S - REFINED_FRAMES as f64 * FRAME_S);
        }
        self.next += 1;
    }

    /// What is believed of each speed before a frame is listened to.
    fn believe(&mut self) {
        let (glimpse, frame) = self.look(self.next, &self.forward, None);
        let around = |factor: f64| believed(SPEEDS_RPM.0, self.speeds, Some((frame.rpm, factor)));
        self.believed = if 0 < self.chirping {
            self.may_be_fast |= glimpse.near > UNAMBIGUOUS && frame.rpm > FAST_RPM;
            around(MOVING_FACTOR)
        } else if self.may_be_fast && glimpse.near > UNAMBIGUOUS && frame.rpm > FAST_RPM {
            around(FAST_FACTOR)
        } else {
            self.may_be_fast = self.unprompted;
            self.believed_idle.clone()
        };
    }

    /// What is believed of the newest frame, and the frame that makes.
    fn follow_live(&mut self) {
        let newest = &self.short[self.short.len() - 1];
        let (evidence, drift) = newest.with(&self.long, &self.believed);
        let (likelihood, _) = likelihood(&evidence);
        self.chain.forward(&mut self.live_belief, &self.live_drift, &likelihood);
        self.live_drift = drift;
        let (glimpse, frame) = self.look(self.next, &self.live_belief, Some(&likelihood));
        let heard = self.judge.live(self.next, glimpse);
        let two = TWO_ENGINES < self.company && heard == Heard::Yes;
        self.live = Some(Frame { heard: if two { Heard::Doubtful } else { heard }, ..frame });
    }

    /// What is believed of a frame whose windows are all complete.
    fn follow(&mut self, index: usize) {
        let Some(mut short) = self.short.pop_front() else { return };
        debug_assert_eq!(index, self.given + self.seen.len());
        let was_heard = self.forward.none() < LIKELY;
        if was_heard && self.unexplained(&short.steady) {
            // A change that begins shows in the longest window first.
            if short.changing.is_none() {
                short.changing = Some(self.scan.changing(index, self.contended(), self.speeds));
            }
        } else if was_heard {
            self.usual += USUAL_SHARE * (self.best_of(&short.steady) - self.usual);
        }
        let company = TWO_ENGINES < self.company;
        let (evidence, drift) = short.with(&self.long, &self.believed);
        let (likelihood, scale) = likelihood(&evidence);
        let from = self.seen.back().map_or(&[][..], |before| &before.drift);
        let mean = self.chain.forward(&mut self.forward, from, &likelihood);
        self.evidence += f64::from(scale) + f64::from(mean).ln();
        self.seen.push_back(Seen { likelihood, forward: self.forward.clone(), drift, company });
    }

    /// A belief as its neighbours see it, and the frame it makes, whether heard still open.
    fn look(&self, index: usize, belief: &Belief, likelihood: Option<&Likelihood>) -> (Glimpse, Frame) {
        let best = belief.best();
        let near = |reach: usize| best.saturating_sub(reach)..(best + reach + 1).min(self.speeds);
        let mass: f32 = belief.speeds[near(5)].iter().sum();
        let mean = near(5).map(|i| i as f32 * belief.speeds[i]).sum::<f32>() / mass;
        let variance = near(5).map(|i| (i as f32 - mean).powi(2) * belief.speeds[i]).sum::<f32>() / mass;
        let rpm = SPEEDS_RPM.0 * (STEP * f64::from(mean)).exp();
        let sd_rpm =
            rpm * (STEP * STEP * f64::from(variance) + self.cycles_differ * self.cycles_differ).sqrt();
        let t_s = index as f64 * FRAME_S;
        let glimpse = Glimpse {
            none: belief.none(),
            near: belief.speeds[near(24)].iter().sum(),
            cell: mean,
            evidence: likelihood.map_or(0.0, |likelihood| evidence_at(likelihood, mean)),
            tone: self.tone.at(t_s),
        };
        (glimpse, Frame { t_s, rpm, sd_rpm, heard: Heard::No })
    }
}

impl Short {
    /// Evidence of all windows, the longest one's given; and where each speed goes: nowhere, if that is empty.
    fn with(&self, long: &[f32], believed: &[f32]) -> (Vec<f32>, Vec<i8>) {
        let mut evidence: Vec<f32> = self.steady.iter().zip(long).map(|(short, long)| short + long).collect();
        let mut drift = Vec::new();
        if let Some(changing) = &self.changing {
            drift.resize(evidence.len(), 0);
            for (i, evidence) in evidence.iter_mut().enumerate() {
                if *evidence < changing.evidence[i] {
                    *evidence = changing.evidence[i];
                    drift[i] = changing.drift[i];
                }
            }
        }
        evidence.iter_mut().zip(believed).for_each(|(evidence, believed)| *evidence += believed);
        (evidence, drift)
    }
}

/// Likelihoods from evidence, the largest scaled to 1, and the logarithm of that scale over noise.
fn likelihood(evidence: &[f32]) -> (Likelihood, f32) {
    let best = evidence.iter().copied().fold(NONE_SCORES, f32::max);
    let scale = |e: f32| (TEMPER * (e - best)).exp();
    let speeds = evidence.iter().map(|&e| scale(e)).collect();
    (Likelihood { speeds, none: scale(NONE_SCORES), best }, TEMPER * (best - NONE_SCORES))
}

/// The evidence of one speed.
fn evidence_at(likelihood: &Likelihood, cell: f32) -> f32 {
    let place = (cell.round().max(0.0) as usize).min(likelihood.speeds.len() - 1);
    likelihood.best + likelihood.speeds[place].max(f32::MIN_POSITIVE).ln() / TEMPER
}
