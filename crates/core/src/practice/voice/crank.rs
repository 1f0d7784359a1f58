//! The crank: its angle sample by sample, driven by firings that differ.

use super::super::Dice;
use super::{Fired, SAMPLE_RATE_HZ, Voice};

/// Time in which a firing's surplus of speed is lost to drag, seconds.
const DRAG_S: f64 = 0.4;
/// Torque of compression and expansion of the charge, beside that of its burning: both swing speed, only
/// the second differs from firing to firing.
const SPRING: f64 = 1.0;
/// Time in which what the intake does to all cylinders at once forgets itself, seconds.
pub(super) const BREATH_MEMORY_S: f64 = 0.12;

/// What is asked of the crank at a sample.
#[derive(Clone, Copy, Debug)]
pub(in crate::practice) struct Asked {
    /// Mean speed, rpm, above 0.
    pub(in crate::practice) rpm: f64,
    /// Throttle: 0 idle, 1 open, −1 shut at speed.
    pub(in crate::practice) load: f64,
}

/// How firings differ.
#[derive(Clone, Copy, Debug)]
pub(in crate::practice) struct Uneven {
    /// Standard deviation of a firing's strength from cycle to cycle, share.
    pub(in crate::practice) variation: f64,
    /// Share of firings that are missed.
    pub(in crate::practice) misfire_share: f64,
}

/// A crank and what its cylinders are at.
#[derive(Clone, Debug)]
pub(super) struct Crank {
    torque: Torque,
    cycle_deg: f64,
    strengths: Vec<f64>,
    /// Angle since the begin, degrees.
    angle_deg: f64,
    /// Angle of each cylinder since its own firing, degrees.
    phase: Vec<f64>,
    burning: Vec<f64>,
    surprise: Vec<f64>,
    /// Share by which speed differs from what is asked.
    away: f64,
}

impl Crank {
    /// A crank that stands just before the first cylinder fires.
    pub(super) fn new(voice: &Voice) -> Crank {
        let cycle = voice.firing.cycle_deg();
        let angles = voice.firing.angles_deg();
        Crank {
            torque: Torque::new(voice),
            cycle_deg: cycle,
            strengths: voice.strengths.clone(),
            angle_deg: 0.0,
            phase: angles.iter().map(|&a| if a == 0.0 { cycle } else { cycle - a }).collect(),
            burning: vec![1.0; angles.len()],
            surprise: vec![0.0; angles.len()],
            away: 0.0,
        }
    }

    /// Angle since the begin, degrees.
    pub(super) fn angle_deg(&self) -> f64 {
        self.angle_deg
    }

    /// Turns for the length of a sample; says what fired on the way. When each was is left open: it follows
    /// from its angle.
    ///
    /// What the intake does differs from cycle to cycle too, for all cylinders at once: `breath` is a wander
    /// of standard deviation 1 and of [`BREATH_MEMORY_S`].
    ///
    /// Between firings speed follows *dw/dθ = g·(T(θ) − T̄) − w/(ω·drag)*, where *w* is the share by which
    /// speed differs from what is asked, *T* the torque of all cylinders and *g* falls as the square of speed.
    #[inline(always)]
    pub(super) fn step(
        &mut self,
        asked: Asked,
        breath: f64,
        uneven: &Uneven,
        dice: &mut Dice,
        mut fire: impl FnMut(Fired),
    ) {
        let base = asked.rpm;
        let slow = (900.0 / base).min(1.3);
        let load = asked.load.abs();
        let breath = 0.004 * slow.min(1.0) * breath;
        let degrees = 6.0 * base * (1.0 + self.away + breath).max(0.2) / SAMPLE_RATE_HZ;
        let mut pull = 0.0;
        for (cylinder, phase) in self.phase.iter_mut().enumerate() {
            if *phase >= self.cycle_deg {
                *phase -= self.cycle_deg;
                // A strong cycle leaves hot gas behind for the next one.
                self.surprise[cylinder] = dice.normal() - 0.25 * self.surprise[cylinder];
                let missed = dice.chance(uneven.misfire_share);
                let strength =
                    self.strengths[cylinder] * (1.0 + uneven.variation * self.surprise[cylinder]).max(0.15);
                self.burning[cylinder] = if missed { 0.0 } else { strength };
                // A missed charge is pumped out unburnt: a breath, not silence.
                let loudness = if missed { 0.18 * self.strengths[cylinder] } else { strength };
                fire(Fired {
                    t_s: f64::NAN,
                    crank_deg: self.angle_deg - *phase,
                    cylinder,
                    missed,
                    energy: loudness * loudness,
                });
            }
            pull += self.torque.at(*phase, self.burning[cylinder]);
            *phase += degrees;
        }
        let mean = self.torque.mean(uneven.misfire_share);
        self.away += self.torque.gain * slow * slow * (1.0 + load) * (pull - mean) * degrees;
        self.away -= self.away / (DRAG_S * SAMPLE_RATE_HZ);
        self.angle_deg += degrees;
    }
}

/// Torque of one cylinder over its cycle, a value a degree.
#[derive(Clone, Debug)]
struct Torque {
    spring: Vec<f64>,
    burn: Vec<f64>,
    /// Mean over the cycle of one cylinder that burns with strength 1.
    mean_burn: f64,
    /// Strengths of all cylinders together.
    strengths: f64,
    /// What a unit of torque over a degree adds to the share of speed, at 900 rpm.
    gain: f64,
}

impl Torque {
    fn new(voice: &Voice) -> Torque {
        let cycle = voice.firing.cycle_deg();
        let stroke = if cycle > 400.0 { 180.0 } else { 110.0 };
        let push = |phase: f64| (std::f64::consts::PI * phase / stroke).sin() * (-phase / 60.0).exp();
        // One value more than degrees, so that rounding never reaches past the end.
        let each = 0..=cycle as usize;
        let spring: Vec<f64> = each
            .clone()
            .map(|degree| {
                let (phase, back) = (degree as f64, cycle - degree as f64);
                let expands = if phase < stroke { push(phase) } else { 0.0 };
                let compresses = if back < stroke { push(back) } else { 0.0 };
                SPRING * (expands - compresses)
            })
            .collect();
        let burn: Vec<f64> =
            each.map(|degree| if (degree as f64) < stroke { push(degree as f64) } else { 0.0 }).collect();
        let mean_burn = burn.iter().sum::<f64>() / cycle;
        let strengths = voice.strengths.iter().sum::<f64>();
        let mut torque = Torque { spring, burn, mean_burn, strengths, gain: 1.0 };
        torque.gain = voice.ripple / torque.swing(voice);
        torque
    }

    /// Mean of all cylinders together.
    #[inline(always)]
    fn mean(&self, misfire_share: f64) -> f64 {
        self.mean_burn * (1.0 - misfire_share) * self.strengths
    }

    #[inline(always)]
    fn at(&self, phase_deg: f64, burning: f64) -> f64 {
        let degree = phase_deg as usize;
        let (spring, burn) = match (self.spring.get(degree), self.burn.get(degree)) {
            (Some(spring), Some(burn)) => (*spring, *burn),
            _ => (0.0, 0.0),
        };
        spring + burning * burn
    }

    /// Largest swing of speed either way over a cycle without chance, at unit gain.
    fn swing(&self, voice: &Voice) -> f64 {
        let cycle = voice.firing.cycle_deg();
        let angles = voice.firing.angles_deg();
        let mean = self.mean_burn * self.strengths;
        let mut speed = 0.0;
        let speeds: Vec<f64> = (0..cycle as usize)
            .map(|degree| {
                let pull: f64 = angles
                    .iter()
                    .zip(&voice.strengths)
                    .map(|(angle, strength)| self.at((degree as f64 - angle).rem_euclid(cycle), *strength))
                    .sum();
                speed += pull - mean;
                speed
            })
            .collect();
        let (low, high) =
            speeds.iter().fold((f64::MAX, f64::MIN), |(low, high), &speed| (low.min(speed), high.max(speed)));
        ((high - low) / 2.0).max(1e-9)
    }
}
