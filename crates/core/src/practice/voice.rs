//! What an engine sounds like: a voice to practise hearing on, at a speed that is exactly known.
//!
//! | step | where |
//! |------|-------|
//! | how speed is meant to go: idle, ramp, blip, roll-off | [`Speed`] |
//! | the crank, pushed by firings that differ; the truth | `crank` |
//! | flow of each firing through header, pipe and silencer; intake, valves, whine | `parts`, `exhaust` |
//! | the same, while it runs | `live`, for a [`Started`](super::Started) machine |
//! | room, noise, wind, another engine, telephone | [`Surroundings`] |
//!
//! Everything follows from a seed. The levels of the parts, the shape of a pulse and the modes of pipes
//! are typical magnitudes, from memory: what is exact is *when* each firing happens, and how strongly.

pub(super) mod crank;
mod exhaust;
pub(super) mod filter;
pub(super) mod live;
mod parts;
pub(super) mod speed;
pub(super) mod surroundings;
mod turned;

pub use filter::heard_rms;
pub use speed::{Speed, TURNS_RPM};
pub use surroundings::{Noise, Phone, Room, Surroundings, beside, resampled};

use super::Dice;
use crate::engine::layout::Firing;
use crate::error::{Error, Result, require};

/// Samples a second of every voice.
pub const SAMPLE_RATE_HZ: f64 = 48_000.0;

/// A machine's sound, whatever it does.
#[derive(Clone, Debug, PartialEq)]
pub struct Voice {
    /// When its cylinders fire.
    pub firing: Firing,
    /// Strength of each cylinder's firings, 1 for the strongest.
    pub strengths: Vec<f64>,
    /// The pipe each cylinder blows into, from 0.
    pub pipes: Vec<usize>,
    /// How much later a cylinder's pulse arrives through its header, milliseconds.
    pub headers_ms: Vec<f64>,
    /// Largest swing of speed within a cycle, share, at 900 rpm; it falls as the square of speed.
    pub ripple: f64,
    /// Share of a wave that the open end of a pipe turns back: near 1 its resonances ring like tones.
    pub ringing: f64,
    /// Frequency from which the silencer swallows, hertz.
    pub muffler_hz: f64,
    /// Level of the intake beside the exhaust.
    pub intake: f64,
    /// Level of the valves beside the exhaust; two-strokes have none.
    pub ticks: f64,
    /// Level of the rushing gas beside the pulses.
    pub turbulence: f64,
    /// Level of a belt-driven accessory; its pitch is no order of the cycle.
    pub whine: f64,
}

/// How it runs.
#[derive(Clone, Debug, PartialEq)]
pub struct Running {
    /// What its speed does.
    pub speed: Speed,
    /// Standard deviation of a firing's strength from cycle to cycle, share.
    pub variation: f64,
    /// Share of firings that are missed.
    pub misfire_share: f64,
    /// Standard deviation of the angle at which a pulse begins, crank degrees.
    pub jitter_deg: f64,
}

/// One firing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fired {
    /// When the crank was there, seconds. Its sound comes later, by some tenths of a turn.
    pub t_s: f64,
    /// Crank angle since some firing of the first cylinder, degrees.
    pub crank_deg: f64,
    /// Which cylinder, from 0 in firing order of the table.
    pub cylinder: usize,
    /// Whether the charge did not burn.
    pub missed: bool,
    /// Energy of its pulse, 1 for an ordinary firing of the strongest cylinder.
    pub energy: f64,
}

/// What is true of a sound.
#[derive(Clone, Debug, PartialEq)]
pub struct Truth {
    /// Speed every 10 ms from the first sample, averaged over the one cycle around that instant, rpm.
    pub rpm: Vec<f64>,
    /// Every firing, in order.
    pub fired: Vec<Fired>,
}

impl Truth {
    /// Speed at an instant, rpm; none outside the sound.
    pub fn rpm_at(&self, t_s: f64) -> Option<f64> {
        let at = t_s / turned::TRUTH_STEP_S;
        if !(at >= 0.0 && at <= self.rpm.len() as f64 - 1.0) {
            return None;
        }
        let whole = at as usize;
        let next = self.rpm[(whole + 1).min(self.rpm.len() - 1)];
        Some(self.rpm[whole] + (at - whole as f64) * (next - self.rpm[whole]))
    }

    /// Mean energy of each cylinder's pulses, the strongest 1.
    pub fn energy_by_cylinder(&self) -> Vec<f64> {
        let cylinders = self.fired.iter().map(|fired| fired.cylinder + 1).max().unwrap_or(0);
        let mean: Vec<f64> = (0..cylinders)
            .map(|cylinder| {
                let own = self.fired.iter().filter(|fired| fired.cylinder == cylinder);
                own.clone().map(|fired| fired.energy).sum::<f64>() / own.count().max(1) as f64
            })
            .collect();
        let most = mean.iter().copied().fold(f64::MIN_POSITIVE, f64::max);
        mean.iter().map(|energy| energy / most).collect()
    }

    /// Share of firings that were missed.
    pub fn missed_share(&self) -> f64 {
        let missed = self.fired.iter().filter(|fired| fired.missed).count();
        missed as f64 / self.fired.len().max(1) as f64
    }
}

/// Sound at the machine, and what is true of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Take {
    /// Samples, [`SAMPLE_RATE_HZ`] a second; the exhaust's usual RMS is about 1.
    pub samples: Vec<f64>,
    /// What is true of them.
    pub truth: Truth,
}

impl Voice {
    /// A voice with this firing pattern: strengths, silencer and the levels of its parts drawn from
    /// typical magnitudes (from memory). V-twins have a pipe for each cylinder.
    pub fn drawn(firing: &Firing, dice: &mut Dice) -> Voice {
        let cylinders = firing.angles_deg().len();
        let spread = dice.between(0.05, 0.2);
        // The more firings share a cycle, the less each can swing the crank.
        let ripple = [0.07, 0.045, 0.022, 0.013, 0.01, 0.008][cylinders.min(6) - 1];
        let strokes = if firing.cycle_deg() > 400.0 { 1.0 } else { 0.6 };
        let angles = firing.angles_deg();
        let narrow_vee = cylinders == 2 && angles[1] != 180.0 && angles[1] != 360.0;
        let mut voice = Voice {
            firing: firing.clone(),
            strengths: vec![1.0; cylinders],
            pipes: (0..cylinders).map(|cylinder| if narrow_vee { cylinder } else { 0 }).collect(),
            headers_ms: vec![0.0; cylinders],
            ripple: ripple * strokes,
            ringing: dice.between(0.35, 0.6),
            muffler_hz: dice.between(500.0, 1500.0),
            intake: dice.between(0.1, 0.4),
            ticks: if firing.cycle_deg() > 400.0 { dice.between(0.05, 0.3) } else { 0.0 },
            turbulence: dice.between(0.2, 0.7),
            whine: if cylinders >= 3 { dice.between(0.02, 0.08) } else { 0.0 },
        };
        voice.draw_strengths(spread, dice);
        voice
    }

    /// Draws the cylinders' strengths anew, with this standard deviation.
    pub fn draw_strengths(&mut self, spread: f64, dice: &mut Dice) {
        for strength in &mut self.strengths {
            *strength = 1.0 + spread * dice.normal().clamp(-1.8, 1.8);
        }
        let most = self.strengths.iter().copied().fold(0.0, f64::max);
        self.strengths.iter_mut().for_each(|strength| *strength /= most);
    }

    /// Sound of this voice running, `seconds` long, from a seed.
    ///
    /// # Example
    ///
    /// ```
    /// # use bellmouth_core::engine::layout::{Firing, layout};
    /// # use bellmouth_core::practice::{Dice, voice::{Running, Speed, Voice}};
    /// let twin = Firing::from(layout("v-twin-45").expect("a row of the table"));
    /// let voice = Voice::drawn(&twin, &mut Dice::new(1));
    /// let take = voice.take(&Running::idle(950.0), 2.0, 7)?;
    /// assert_eq!(take.samples.len(), 96_000);
    /// assert!((take.truth.rpm_at(1.0).expect("inside") / 950.0 - 1.0).abs() < 0.1);
    /// # Ok::<(), bellmouth_core::Error>(())
    /// ```
    ///
    /// # Errors
    ///
    /// [`Error::OutOfDomain`] names what cannot be: a speed outside 300 to 15 000 rpm, a length outside
    /// 0.1 s to an hour, strengths or shares that are none; [`Error::TooLittle`] where a cylinder lacks its
    /// strength, pipe or header.
    pub fn take(&self, running: &Running, seconds: f64, seed: u64) -> Result<Take> {
        self.check()?;
        running.check()?;
        require((0.1..=3_600.0).contains(&seconds), "length", seconds, "0.1 s to an hour")?;
        let mut dice = Dice::new(seed);
        let turned = turned::Turned::along(self, running, seconds, &mut dice);
        let heard = exhaust::heard(self, running, &turned, &mut dice);
        let first = (turned::BEFORE_S * SAMPLE_RATE_HZ) as usize;
        let count = (seconds * SAMPLE_RATE_HZ).round() as usize;
        let samples = heard[first..first + count].to_vec();
        Ok(Take { samples, truth: turned.truth(self.firing.cycle_deg(), seconds) })
    }

    /// Refuses a voice that cannot be.
    pub(super) fn check(&self) -> Result<()> {
        let cylinders = self.firing.angles_deg().len();
        for got in [self.strengths.len(), self.pipes.len(), self.headers_ms.len()] {
            if got != cylinders {
                return Err(Error::TooLittle {
                    what: "cylinders described",
                    got,
                    needed: cylinders,
                    remedy: "give strength, pipe and header of each cylinder, and of no more",
                });
            }
        }
        for &strength in &self.strengths {
            require((0.0..=1.0).contains(&strength), "strength", strength, "0 to 1")?;
        }
        let most = self.strengths.iter().copied().fold(0.0, f64::max);
        require(most > 0.0, "strength", most, "above 0 for one cylinder at least")?;
        for &pipe in &self.pipes {
            require(pipe < cylinders, "pipe", pipe as f64, "below the number of cylinders")?;
        }
        for &ms in &self.headers_ms {
            require((0.0..=20.0).contains(&ms), "header", ms, "0 to 20 ms")?;
        }
        require((0.0..=0.15).contains(&self.ripple), "ripple", self.ripple, "0 to 0.15")?;
        require(
            (100.0..=20_000.0).contains(&self.muffler_hz),
            "muffler",
            self.muffler_hz,
            "100 to 20000 Hz",
        )?;
        require((0.0..=0.95).contains(&self.ringing), "ringing", self.ringing, "0 to 0.95")?;
        for level in [self.intake, self.ticks, self.turbulence, self.whine] {
            require((0.0..=100.0).contains(&level), "level", level, "0 to 100")?;
        }
        Ok(())
    }
}

impl Running {
    /// A fair idle: wander 1 %, firings differing by 10 %.
    pub fn idle(rpm: f64) -> Running {
        Running {
            speed: Speed::Idle { rpm, wander: 0.01, hunting: 0.0 },
            variation: 0.1,
            misfire_share: 0.0,
            jitter_deg: 2.0,
        }
    }

    fn check(&self) -> Result<()> {
        self.speed.check()?;
        require((0.0..=0.6).contains(&self.variation), "variation", self.variation, "0 to 0.6")?;
        let missed = self.misfire_share;
        require((0.0..=0.9).contains(&missed), "misfire share", missed, "0 to 0.9")?;
        require((0.0..=20.0).contains(&self.jitter_deg), "jitter", self.jitter_deg, "0 to 20 degrees")
    }
}

#[cfg(test)]
mod tests;
