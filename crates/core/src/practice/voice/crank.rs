//! The crank: its angle against time, driven by firings that differ, and what is true of it.

use super::super::Dice;
use super::speed::{Course, wandering};
use super::{Fired, Running, SAMPLE_RATE_HZ, Truth, Voice};

/// Sound before the first sample that is kept, seconds: filters and rooms have settled by then.
pub(super) const BEFORE_S: f64 = 1.0;
/// Sound after the last sample that is kept, seconds: half a cycle of the slowest engine, at least.
const AFTER_S: f64 = 0.5;
/// Time between two speeds of the truth, seconds.
pub(super) const TRUTH_STEP_S: f64 = 0.01;
/// Time in which a firing's surplus of speed is lost to drag, seconds.
const DRAG_S: f64 = 0.4;
/// Torque of compression and expansion of the charge, beside that of its burning: both swing speed, only
/// the second differs from firing to firing.
const SPRING: f64 = 1.0;

/// Crank angle against time, and every firing.
pub(super) struct Crank {
    /// Angle at each sample, degrees, from the begin of the run-in.
    angle_deg: Vec<f64>,
    pub(super) fired: Vec<Fired>,
    pub(super) course: Course,
}

impl Crank {
    /// Turns the crank, sample by sample.
    ///
    /// Between firings speed follows *dw/dθ = g·(T(θ) − T̄) − w/(ω·drag)*, where *w* is the share by which
    /// speed differs from its course, *T* the torque of all cylinders and *g* falls as the square of speed.
    pub(super) fn turn(voice: &Voice, running: &Running, seconds: f64, dice: &mut Dice) -> Crank {
        let course = running.speed.course(BEFORE_S, seconds + AFTER_S, dice);
        let samples = ((BEFORE_S + seconds + AFTER_S) * SAMPLE_RATE_HZ) as usize;
        let cycle = voice.firing.cycle_deg();
        let angles = voice.firing.angles_deg();
        let torque = Torque::new(voice, running.misfire_share);
        // What the intake does differs from cycle to cycle too, for all cylinders at once.
        let breath = wandering(course.rpm.len(), 0.12, dice);

        // The crank begins just before the first cylinder fires.
        let mut angle = 0.0;
        let mut phase: Vec<f64> = angles.iter().map(|&a| if a == 0.0 { cycle } else { cycle - a }).collect();
        let mut burning = vec![1.0_f64; angles.len()];
        let mut surprise = vec![0.0_f64; angles.len()];
        let mut away = 0.0_f64;
        let mut crank = Crank { angle_deg: Vec::with_capacity(samples), fired: Vec::new(), course };
        for i in 0..samples {
            let t_s = i as f64 / SAMPLE_RATE_HZ;
            let base = Course::at(&crank.course.rpm, t_s);
            let slow = (900.0 / base).min(1.3);
            let load = Course::at(&crank.course.load, t_s).abs();
            let breath = 0.004 * slow.min(1.0) * Course::at(&breath, t_s);
            crank.angle_deg.push(angle);
            let degrees = 6.0 * base * (1.0 + away + breath).max(0.2) / SAMPLE_RATE_HZ;
            let mut pull = 0.0;
            for (cylinder, phase) in phase.iter_mut().enumerate() {
                if *phase >= cycle {
                    *phase -= cycle;
                    // A strong cycle leaves hot gas behind for the next one.
                    surprise[cylinder] = dice.normal() - 0.25 * surprise[cylinder];
                    let missed = dice.chance(running.misfire_share);
                    let strength =
                        voice.strengths[cylinder] * (1.0 + running.variation * surprise[cylinder]).max(0.15);
                    burning[cylinder] = if missed { 0.0 } else { strength };
                    // A missed charge is pumped out unburnt: a breath, not silence.
                    let loudness = if missed { 0.18 * voice.strengths[cylinder] } else { strength };
                    crank.fired.push(Fired {
                        t_s: f64::NAN,
                        crank_deg: angle - *phase,
                        cylinder,
                        missed,
                        energy: loudness * loudness,
                    });
                }
                pull += torque.at(*phase, burning[cylinder]);
                *phase += degrees;
            }
            away += torque.gain * slow * slow * (1.0 + load) * (pull - torque.mean) * degrees;
            away -= away / (DRAG_S * SAMPLE_RATE_HZ);
            angle += degrees;
        }
        for place in 0..crank.fired.len() {
            let sample = crank.sample_at(crank.fired[place].crank_deg);
            crank.fired[place].t_s = sample.map_or(f64::NAN, |sample| sample / SAMPLE_RATE_HZ - BEFORE_S);
        }
        crank
    }

    pub(super) fn samples(&self) -> usize {
        self.angle_deg.len()
    }

    /// Crank angle at each sample, degrees.
    pub(super) fn angles_deg(&self) -> &[f64] {
        &self.angle_deg
    }

    /// When the crank reaches an angle, in samples from the begin of the run-in; none outside.
    pub(super) fn sample_at(&self, angle_deg: f64) -> Option<f64> {
        let next = self.angle_deg.partition_point(|&angle| angle <= angle_deg);
        if next == 0 || next == self.angle_deg.len() {
            return None;
        }
        let (from, to) = (self.angle_deg[next - 1], self.angle_deg[next]);
        Some((next - 1) as f64 + (angle_deg - from) / (to - from))
    }

    /// Speed and load its course asks for at a sample.
    pub(super) fn asked(&self, sample: f64) -> (f64, f64) {
        let t_s = sample / SAMPLE_RATE_HZ;
        (Course::at(&self.course.rpm, t_s), Course::at(&self.course.load, t_s))
    }

    /// Speed over the cycle around each hundredth of a second, and the firings within.
    pub(super) fn truth(&self, cycle_deg: f64, seconds: f64) -> Truth {
        let count = (seconds / TRUTH_STEP_S - 1e-9).ceil() as usize;
        let rpm = (0..count)
            .map(|i| {
                let at = (BEFORE_S + i as f64 * TRUTH_STEP_S) * SAMPLE_RATE_HZ;
                let whole = at as usize;
                let (from, to) = (self.angle_deg[whole], self.angle_deg[whole + 1]);
                let angle = from + (at - whole as f64) * (to - from);
                let half = cycle_deg / 2.0;
                match (self.sample_at(angle - half), self.sample_at(angle + half)) {
                    (Some(begin), Some(end)) => cycle_deg / 6.0 / ((end - begin) / SAMPLE_RATE_HZ),
                    _ => f64::NAN,
                }
            })
            .collect();
        let fired = self.fired.iter().filter(|fired| (0.0..seconds).contains(&fired.t_s)).copied().collect();
        Truth { rpm, fired }
    }
}

/// Torque of one cylinder over its cycle, a value a degree.
struct Torque {
    spring: Vec<f64>,
    burn: Vec<f64>,
    /// Mean of all cylinders.
    mean: f64,
    /// What a unit of torque over a degree adds to the share of speed, at 900 rpm.
    gain: f64,
}

impl Torque {
    fn new(voice: &Voice, misfire_share: f64) -> Torque {
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
        let mean = mean_burn * (1.0 - misfire_share) * voice.strengths.iter().sum::<f64>();
        let mut torque = Torque { spring, burn, mean, gain: 1.0 };
        torque.gain = voice.ripple / torque.swing(voice);
        torque
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
        let mean_burn = self.burn.iter().sum::<f64>() / cycle;
        let mean = mean_burn * voice.strengths.iter().sum::<f64>();
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
