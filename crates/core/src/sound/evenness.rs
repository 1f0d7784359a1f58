//! How evenly does it fire? Strength of every firing, from sound and a speed trace.
//!
//! | step | where |
//! |------|-------|
//! | the low part of the sound, 3000 values a second | `wave` |
//! | where cycles begin: the trace summed up, put right by loudness at the firing angles | `phase` |
//! | shapes of pulses, sizes and instants of firings, by least squares in turn | `pulses` |
//! | usual strength, weak firings, variation, energy; or that noise hides them | `tally` |
//! | how sure each figure is, by how its parts differ | `estimate` |
//!
//! Strength here is what a microphone hears of a firing. It finds a cylinder that does not fire; of mixture it
//! says nothing: a lean cylinder that fires sounds like any other.

mod estimate;
mod phase;
mod pulses;
mod tally;
mod wave;

use super::constants::{
    EVEN_GAP_S, EVEN_SPEED_RPM, FAINT_BELOW, JUDGED_SHARE, PULSE_AFTER_S, RUN_SHARE, STRETCH_CYCLES,
    STRETCH_S,
};
use super::{FRAME_S, Frame, Heard, require_rate};
use crate::caveat::{Caveat, With};
use crate::engine::layout::Firing;
use crate::error::Result;

pub use estimate::{COVERAGE, Estimate};
use pulses::{Pulses, Shapes};
use tally::Tally;
use wave::Waveform;

/// One firing as it sounded.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pulse {
    /// When its sound came, seconds from the start of the sound; late by some milliseconds that are the same for
    /// all firings of a run.
    pub t_s: f64,
    /// Its position in the firing pattern, from 0. Where a pattern can be turned into itself, counting
    /// begins at any position that looks alike.
    pub position: usize,
    /// Its strength (sound pressure), 1 where it is as usual at its position.
    pub strength: f64,
    /// Whether it is missing or weak: less than half of the usual strength.
    pub weak: bool,
}

/// How evenly an engine fires, over the longest run of one speed.
#[derive(Clone, Debug, PartialEq)]
pub struct Evenness {
    /// Length of that run, seconds.
    pub seconds: f64,
    /// Firings that were judged.
    pub firings: usize,
    /// Standard deviation of strength (sound pressure) from firing to firing at one position, weak ones left
    /// out and noise taken off, percent.
    pub variation_pct: Estimate,
    /// Standard deviation by which noise changes the strength of a firing, percent; taken off already.
    pub noise_pct: f64,
    /// Share of weak or missing firings at each position of the pattern, percent.
    pub weak_pct: Vec<Estimate>,
    /// Mean energy of a firing at the microphone for each position, missing ones included, the strongest 1.
    pub energy: Vec<Estimate>,
    /// Whether positions are those of the pattern as it was given: not so where what fires would fit it
    /// turned some other way.
    pub positions_known: bool,
}

/// Listens for single firings while a [`Listener`](super::Listener) hears the speed.
pub struct Follower {
    shares: Vec<f64>,
    cycle_deg: f64,
    cycles_per_rpm_s: f64,
    fastest_rpm: f64,
    wave: Waveform,
    run: Option<Run>,
    best: Tally,
    best_s: f64,
    heard_s: f64,
    fast_s: f64,
    short_s: f64,
    noisy_s: f64,
}

/// A time at about one speed.
struct Run {
    /// Frames not yet behind.
    frames: Vec<Frame>,
    mean_rpm: f64,
    count: f64,
    /// Where the last cycle judged begins, seconds, and the shapes learned.
    known: Option<(f64, Shapes)>,
    tally: Tally,
    judged_s: f64,
}

impl Follower {
    /// A follower for mono sound at `sample_rate_hz` of an engine that fires like this.
    ///
    /// # Errors
    ///
    /// [`Error::OutOfDomain`](crate::Error::OutOfDomain) unless the sample rate is 8 to 192 kHz.
    pub fn new(sample_rate_hz: f64, firing: &Firing) -> Result<Follower> {
        require_rate(sample_rate_hz)?;
        let cycles_per_rpm_s = firing.cycles_per_second(1.0);
        let shares: Vec<f64> = firing.angles_deg().iter().map(|angle| angle / firing.cycle_deg()).collect();
        let fastest_rpm = phase::narrowest(&shares) / (EVEN_GAP_S * cycles_per_rpm_s);
        let best = Tally::new(&shares);
        Ok(Follower {
            shares,
            cycle_deg: firing.cycle_deg(),
            cycles_per_rpm_s,
            fastest_rpm: fastest_rpm.min(EVEN_SPEED_RPM),
            wave: Waveform::new(sample_rate_hz),
            run: None,
            best,
            best_s: 0.0,
            heard_s: 0.0,
            fast_s: 0.0,
            short_s: 0.0,
            noisy_s: 0.0,
        })
    }

    /// Takes mono samples in −1 to 1. Give them before the frames that were heard in them.
    pub fn feed(&mut self, samples: &[f32]) {
        self.wave.hear(samples);
    }

    /// Takes the next final frames of the speed trace; gives the firings that were judged with them, in order.
    pub fn follow(&mut self, frames: &[Frame]) -> Vec<Pulse> {
        let mut pulses = Vec::new();
        for frame in frames {
            self.take(frame, &mut pulses);
        }
        pulses
    }

    /// Ends the sound; gives the remaining firings.
    pub fn finish(&mut self) -> Vec<Pulse> {
        let mut pulses = Vec::new();
        self.close(&mut pulses);
        pulses
    }

    /// What it comes to so far; call [`Self::finish`] first to have the end in it.
    ///
    /// # Errors
    ///
    /// A caveat that says why nothing can be said: too short, too fast, or noise and a room's ringing hide
    /// single firings.
    pub fn evenness(&self) -> std::result::Result<With<Evenness>, Caveat> {
        let firings = self.best.firings();
        if firings == 0 {
            return Err(self.why_not());
        }
        let positions_known = !self.fits_otherwise();
        let value = Evenness {
            seconds: self.best_s,
            firings,
            variation_pct: self.best.variation_pct(),
            noise_pct: self.best.noise_pct(),
            weak_pct: self.best.weak_pct(),
            energy: self.best.energy(),
            positions_known,
        };
        let mut caveats = vec![Caveat::new(
            "strength-not-mixture",
            "strength of firings finds a cylinder that does not fire, never a lean one; a pipe that differs or \
             points away sounds weaker, too",
        )];
        if !positions_known {
            caveats.push(Caveat::new(
                "cylinder-unknown",
                "which cylinder is which cannot be heard from these firings: strengths and weak firings are in \
                 firing order, from a first one that is not known",
            ));
        }
        if value.energy.iter().any(|energy| energy.value < FAINT_BELOW) {
            caveats.push(Caveat::new(
                "cylinder-faint",
                "one cylinder is far fainter than the strongest: it does not fire, or its pipe points away; \
                 listen from the other side to tell",
            ));
        }
        if self.best_s < JUDGED_SHARE * self.heard_s {
            caveats.push(Caveat::new(
                "evenness-in-part",
                format!(
                    "evenness was judged over the longest time at one speed, {:.1} s of the {:.1} s with an engine",
                    self.best_s, self.heard_s
                ),
            ));
        }
        Ok(With { value, caveats })
    }

    fn why_not(&self) -> Caveat {
        if self.heard_s == 0.0 {
            return Caveat::new("evenness-not-heard", "evenness is not given: no engine was heard");
        }
        if self.noisy_s.max(self.fast_s).max(self.short_s) == self.noisy_s {
            return Caveat::new(
                "evenness-noisy",
                "evenness is not given: noise, or a room that rings too long, hides single firings; move the \
                 microphone nearer to the exhaust",
            );
        }
        if self.short_s <= self.fast_s {
            return Caveat::new(
                "evenness-fast",
                format!(
                    "evenness is not given: above {:.0} rpm firings run into one another",
                    self.fastest_rpm
                ),
            );
        }
        Caveat::new(
            "evenness-short",
            format!(
                "evenness is not given: it takes {STRETCH_CYCLES} cycles or more at one speed; let it idle for ten \
                 seconds"
            ),
        )
    }

    /// Whether the positions that fire would fit the pattern turned some other way: always where it is even,
    /// and where but one cylinder of a twin fires.
    fn fits_otherwise(&self) -> bool {
        let fires = self.best.energy().into_iter().map(|energy| FAINT_BELOW <= energy.value);
        let live: Vec<f64> =
            self.shares.iter().zip(fires).filter(|(_, fires)| *fires).map(|(share, _)| *share).collect();
        let near = |a: f64, b: f64| {
            let apart = (a - b).rem_euclid(1.0);
            apart.min(1.0 - apart) < 1e-3
        };
        let Some(&first) = live.first() else { return true };
        self.shares.iter().filter(|&&share| !near(share, first)).any(|share| {
            live.iter().all(|one| self.shares.iter().any(|other| near(one + share - first, *other)))
        })
    }

    fn take(&mut self, frame: &Frame, pulses: &mut Vec<Pulse>) {
        let heard = frame.heard != Heard::No;
        let slow = frame.rpm < self.fastest_rpm;
        self.heard_s += if heard { FRAME_S } else { 0.0 };
        self.fast_s += if heard && !slow { FRAME_S } else { 0.0 };
        let goes_on = self.run.as_ref().is_some_and(|run| (frame.rpm / run.mean_rpm).ln().abs() < RUN_SHARE);
        if !(heard && slow && goes_on) {
            self.close(pulses);
        }
        if !(heard && slow) {
            self.wave.forget(frame.t_s - 1.0);
            return;
        }
        let run = self.run.get_or_insert_with(|| Run {
            frames: Vec::new(),
            mean_rpm: frame.rpm,
            count: 0.0,
            known: None,
            tally: Tally::new(&self.shares),
            judged_s: 0.0,
        });
        run.count += 1.0;
        run.mean_rpm += (frame.rpm - run.mean_rpm) / run.count;
        run.frames.push(*frame);
        // What is left over at the end of a run must be a stretch, too.
        let ahead = STRETCH_S + STRETCH_CYCLES as f64 / (run.mean_rpm * self.cycles_per_rpm_s);
        if (run.frames.len() as f64) * FRAME_S > ahead {
            let to_s = run.frames[0].t_s + STRETCH_S;
            self.stretch(to_s, pulses);
        }
    }

    /// Ends the run.
    fn close(&mut self, pulses: &mut Vec<Pulse>) {
        let Some(last) = self.run.as_ref().and_then(|run| run.frames.last()) else { return };
        self.stretch(last.t_s, pulses);
        if let Some(run) = self.run.take()
            && self.best.firings() < run.tally.firings()
        {
            (self.best, self.best_s) = (run.tally, run.judged_s);
        }
    }

    /// Takes the sound of the run apart up to an instant.
    fn stretch(&mut self, to_s: f64, pulses: &mut Vec<Pulse>) {
        let Some(run) = &mut self.run else { return };
        let goes_on = run.known.is_some();
        let from_s = run.known.as_ref().map_or(run.frames[0].t_s, |known| known.0);
        let begins = phase::by_trace(&run.frames, from_s, to_s, self.cycles_per_rpm_s);
        let last = begins.len() - 1;
        if last < STRETCH_CYCLES {
            self.short_s += to_s - from_s;
            return;
        }
        let rate_hz = self.wave.rate_hz();
        let first = self.wave.index_at(begins[0] - 0.05).floor();
        let end = self.wave.index_at(2.0 * begins[last] - begins[last - 1] + 2.0 * PULSE_AFTER_S).ceil();
        let wave = self.wave.stretch(first as i64, end as i64);
        let begins: Vec<f64> = begins.iter().map(|&t_s| self.wave.index_at(t_s) - first).collect();
        let begins = phase::by_sound(&begins, &self.shares, &phase::swell(&wave, rate_hz), goes_on);
        let shapes = run.known.as_ref().map(|known| &known.1);
        let found = Pulses::learn(&wave, rate_hz, &begins, &self.shares, self.cycle_deg, shapes);
        // The last cycle of the stretch before was taken along so that its ringing is known.
        let from_cycle = usize::from(goes_on);
        let next_s = self.wave.time_at(begins[last - 1] + first);
        match run.tally.judge(&found, from_cycle) {
            Some(judged) => {
                let firings = found.firings().iter().filter(|firing| from_cycle <= firing.cycle);
                pulses.extend(firings.zip(judged).map(|(firing, judged)| Pulse {
                    t_s: self.wave.time_at(firing.at + first),
                    position: firing.position,
                    strength: judged.strength,
                    weak: judged.weak,
                }));
                run.judged_s += to_s - from_s;
                run.known = Some((next_s, found.shapes()));
            }
            // Positions go on through noise; shapes not found yet are no help.
            None => {
                self.noisy_s += to_s - from_s;
                run.known = run.known.take().map(|(_, shapes)| (next_s, shapes));
            }
        }
        run.frames.retain(|frame| next_s - 0.1 <= frame.t_s);
        self.wave.forget(next_s - 0.5);
    }
}
