//! A crank that has turned along a course: its angle against time, and what is true of it.

use super::super::Dice;
use super::crank::{Asked, BREATH_MEMORY_S, Crank, Uneven};
use super::speed::{Course, wandering};
use super::{Fired, Running, SAMPLE_RATE_HZ, Truth, Voice};

/// Sound before the first sample that is kept, seconds: filters and rooms have settled by then.
pub(super) const BEFORE_S: f64 = 1.0;
/// Sound after the last sample that is kept, seconds: half a cycle of the slowest engine, at least.
const AFTER_S: f64 = 0.5;
/// Time between two speeds of the truth, seconds.
pub(super) const TRUTH_STEP_S: f64 = 0.01;

/// Crank angle against time, and every firing.
pub(super) struct Turned {
    /// Angle at each sample, degrees, from the begin of the run-in.
    angle_deg: Vec<f64>,
    pub(super) fired: Vec<Fired>,
    course: Course,
}

impl Turned {
    /// Turns the crank, sample by sample.
    pub(super) fn along(voice: &Voice, running: &Running, seconds: f64, dice: &mut Dice) -> Turned {
        let course = running.speed.course(BEFORE_S, seconds + AFTER_S, dice);
        let samples = ((BEFORE_S + seconds + AFTER_S) * SAMPLE_RATE_HZ) as usize;
        let breath = wandering(course.rpm.len(), BREATH_MEMORY_S, dice);
        let uneven = Uneven { variation: running.variation, misfire_share: running.misfire_share };
        let mut crank = Crank::new(voice);
        let mut turned = Turned { angle_deg: Vec::with_capacity(samples), fired: Vec::new(), course };
        for i in 0..samples {
            let t_s = i as f64 / SAMPLE_RATE_HZ;
            let asked = turned.asked(i as f64);
            turned.angle_deg.push(crank.angle_deg());
            crank.step(asked, Course::at(&breath, t_s), &uneven, dice, |fired| turned.fired.push(fired));
        }
        for place in 0..turned.fired.len() {
            let sample = turned.sample_at(turned.fired[place].crank_deg);
            turned.fired[place].t_s = sample.map_or(f64::NAN, |sample| sample / SAMPLE_RATE_HZ - BEFORE_S);
        }
        turned
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
    pub(super) fn asked(&self, sample: f64) -> Asked {
        let t_s = sample / SAMPLE_RATE_HZ;
        Asked { rpm: Course::at(&self.course.rpm, t_s), load: Course::at(&self.course.load, t_s) }
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
