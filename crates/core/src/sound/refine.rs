//! What crank angle tells beyond spectra: the speed of each cycle.
//!
//! A spectrum says how fast an engine turned on average over its window; cycles differ by more than such a
//! mean is wrong. Here the coarse trace is integrated to a crank angle, and loudness is laid over that angle.
//! The mean of many cycles is a template; where a stretch of sound comes early or late against it, the crank
//! did. A smoother turns such shifts of phase into speed, and the better angle makes a sharper template.
//!
//! | step | where |
//! |------|-------|
//! | angle against time, and the mean speed of a cycle | `path` |
//! | the mean cycle, how surely each of its orders is known, what a shift does to it | `template` |
//! | shifts to speeds, the wander of this engine learned from the shifts themselves | `smoother` |
//!
//! Frames that no engine was heard in, and runs too short to have a mean cycle, stay as they are.

mod path;
mod smoother;
mod template;

#[cfg(test)]
mod tests;

use path::Path;
use smoother::{Smoothed, smoothed};
use template::{Sums, Template, Transforms};

use super::FRAME_S;
use super::constants::{
    BLOCK_LOG, COARSE_SHARE, FURTHEST_SD, HIGHEST_ORDER_HZ, LATE_S, MOST_JUMP, MOST_OFF, PASSES, PHASE_SCALE,
    SHORTEST_RUN_FRAMES, UNSEEN_SHARE,
};
use super::ears::{LANES, Lanes};

/// What is known of the speed in one frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Known {
    pub(crate) rpm: f64,
    pub(crate) sd_rpm: f64,
    /// Whether something like an engine was heard in it.
    pub(crate) heard: bool,
}

/// Loudness against time.
pub(crate) struct Sound<'a> {
    pub(crate) loudness: &'a [Lanes],
    /// Time of the first value, seconds after the first frame.
    pub(crate) first_s: f64,
    /// Time from one value to the next, seconds.
    pub(crate) step_s: f64,
}

/// How far a stretch of sound around one frame is shifted against the template.
#[derive(Clone, Copy, Debug, Default)]
struct Shift {
    /// Cycles by which the crank is ahead.
    cycles: f64,
    /// One over its variance, as far as the noise around the template says.
    information: f64,
    /// Where in the stretch it was found, seconds after the frame.
    later_s: f64,
}

/// Refines the speeds of an engine with this working cycle.
pub(crate) struct Refiner {
    /// Cycles a second at 1 rpm.
    per_rpm: f64,
    transforms: Transforms,
}

impl Refiner {
    pub(crate) fn new(cycle_deg: f64) -> Refiner {
        Refiner { per_rpm: 6.0 / cycle_deg, transforms: Transforms::new() }
    }

    /// The speeds of consecutive frames, refined by the sound around them. Those at either end are of use as
    /// neighbours; they are refined with less to go by.
    pub(crate) fn refine(&self, sound: &Sound, coarse: &[Known]) -> Vec<Known> {
        let follows = |before: &Known, after: &Known| {
            before.heard && after.heard && (after.rpm / before.rpm).ln().abs() < MOST_JUMP
        };
        let mut refined = Vec::with_capacity(coarse.len());
        for run in coarse.chunk_by(follows) {
            if run[0].heard && SHORTEST_RUN_FRAMES <= run.len() {
                let shifted = Sound { first_s: sound.first_s - refined.len() as f64 * FRAME_S, ..*sound };
                self.run(&shifted, run, &mut refined);
            } else {
                refined.extend_from_slice(run);
            }
        }
        refined
    }

    /// Refines a run without a gap.
    fn run(&self, sound: &Sound, coarse: &[Known], refined: &mut Vec<Known>) {
        let rates: Vec<f64> = coarse.iter().map(|known| known.rpm * self.per_rpm).collect();
        let doubts: Vec<f64> =
            coarse.iter().map(|known| COARSE_SHARE * known.sd_rpm * self.per_rpm).collect();
        let base = Path::along(&rates);
        let mut path = base.clone();
        let mut found = Vec::new();
        for _ in 0..PASSES {
            found = smoothed(&rates, &doubts, &self.shifts(sound, &base, &path));
            path = base.moved(&found);
        }
        for (frame, (known, found)) in coarse.iter().zip(&found).enumerate() {
            refined.push(self.judged(&path, frame, known, found));
        }
    }

    /// One frame's speed and spread from the angle found.
    fn judged(&self, path: &Path, frame: usize, coarse: &Known, found: &Smoothed) -> Known {
        let furthest = FURTHEST_SD * coarse.sd_rpm;
        let off = path.cycle_rate(frame) / self.per_rpm - coarse.rpm;
        let rpm = coarse.rpm + off.clamp(-furthest, furthest);
        let phase = PHASE_SCALE * found.rate_variance.sqrt() / self.per_rpm;
        // Sound is late by an amount that changes with speed, load and room.
        let late = LATE_S * path.slope(frame) / self.per_rpm;
        let unseen = UNSEEN_SHARE * rpm;
        Known { rpm, sd_rpm: (phase * phase + late * late + unseen * unseen).sqrt(), heard: true }
    }

    /// How far the sound around each frame is shifted against the base.
    fn shifts(&self, sound: &Sound, base: &Path, path: &Path) -> Vec<Shift> {
        let frames = base.frames();
        let instant = |value: usize| (sound.first_s + value as f64 * sound.step_s) / FRAME_S;
        let first = (-sound.first_s / sound.step_s).ceil().max(0.0) as usize;
        let heard: Vec<Heard> = (first..sound.loudness.len())
            .map(|value| (instant(value), sound.loudness[value]))
            .take_while(|(at, _)| *at <= (frames - 1) as f64)
            .map(|(at, loudness)| Heard {
                frame: (at + 0.5) as usize,
                later_s: (at - (at + 0.5).floor()) * FRAME_S,
                angle: path.angle(at),
                loudness,
            })
            .collect();

        let shares = Shares::new(base);
        let mut sums: Vec<Sums> = shares.anchors.iter().map(|_| Sums::new()).collect();
        for heard in &heard {
            for (template, share) in shares.of(heard.frame) {
                sums[template].add(heard.angle, &heard.loudness, share);
            }
        }
        let templates: Vec<Option<Template>> = sums
            .iter()
            .zip(&shares.anchors)
            .map(|(sums, &anchor)| {
                let highest = (HIGHEST_ORDER_HZ / base.rate(anchor)) as usize;
                Template::new(sums, highest, &self.transforms)
            })
            .collect();

        let mut shifts = vec![Shift::default(); frames];
        for heard in &heard {
            let (mut information, mut pull) = (0.0, 0.0);
            for (template, share) in shares.of(heard.frame) {
                if let Some(template) = &templates[template] {
                    let (own, pulls) = template.compare(heard.angle, &heard.loudness, MOST_OFF);
                    information += share * own;
                    pull += share * pulls;
                }
            }
            let shift = &mut shifts[heard.frame];
            shift.information += f64::from(information);
            shift.cycles += f64::from(pull);
            shift.later_s += f64::from(information) * heard.later_s;
        }
        for (frame, shift) in shifts.iter_mut().enumerate() {
            // Sums become means; little information may have either sign and says nothing.
            let information = shift.information.max(1.0);
            shift.later_s = (shift.later_s / information).clamp(-0.5 * FRAME_S, 0.5 * FRAME_S);
            shift.cycles = shift.cycles / information + path.ahead(base, frame, shift.later_s);
        }
        shifts
    }
}

/// One value of loudness, and where it belongs.
struct Heard {
    frame: usize,
    later_s: f64,
    /// Cycles.
    angle: f64,
    loudness: Lanes,
}

/// Which templates hold at each frame. Pulses keep their shape in time, not in angle: where speed
/// changes, so does the mean cycle, and several follow one another.
struct Shares {
    /// Frames at which a template holds alone.
    anchors: Vec<usize>,
    /// For each frame the template before it, and the share of the next one.
    mixed: Vec<(usize, f32)>,
}

impl Shares {
    fn new(base: &Path) -> Shares {
        let mut anchors = vec![0];
        let mut last = 0;
        for frame in 1..base.frames() {
            if (base.rate(frame) / base.rate(last)).ln().abs() > BLOCK_LOG {
                anchors.push(frame);
                last = frame;
            }
        }
        let mut mixed = Vec::with_capacity(base.frames());
        for (template, pair) in anchors.windows(2).enumerate() {
            let length = pair[1] - pair[0];
            mixed.extend((0..length).map(|at| (template, at as f32 / length as f32)));
        }
        mixed.resize(base.frames(), (anchors.len() - 1, 0.0));
        Shares { anchors, mixed }
    }

    /// Templates and shares at a frame.
    fn of(&self, frame: usize) -> impl Iterator<Item = (usize, f32)> {
        let (template, next) = self.mixed[frame];
        [(template, 1.0 - next), (template + 1, next)].into_iter().filter(|(_, share)| 0.0 < *share)
    }
}
