//! Short blips of the throttle, counted: a word that a person with both hands full can say.

use std::collections::VecDeque;

use crate::sound::{Frame, Heard};

/// Speed before a blip: the median over this long, seconds.
const BEFORE_S: f64 = 6.0;
/// Least of that which must have been heard, seconds.
const LEAST_BEFORE_S: f64 = 1.5;
/// A blip rises above the speed before by this share at least; it is over below the second.
const RISE: f64 = 0.25;
const OVER: f64 = 0.12;
/// Between two blips speed falls from the first one's top by this share, and rises from there by the second.
const FALL: f64 = 0.12;
const AGAIN: f64 = 0.15;
/// Longer above the speed before is no blip but another speed, seconds.
const LONGEST_S: f64 = 5.0;
/// After this long without another one, what was said is complete, seconds.
const QUIET_S: f64 = 1.2;
/// What was heard before a silence of this long is forgotten, seconds: an engine that starts flares.
const FORGOTTEN_S: f64 = 2.0;
/// Frames in a row that speed must be up for, and that it must be seen on its way down: an ear that slips to a
/// multiple of the speed comes back at once.
const LEAST_FRAMES: u32 = 2;

/// Counts blips in live frames.
#[derive(Clone, Debug, Default)]
pub struct BlipWatch {
    /// Time and speed before any blip, seconds and rpm.
    before: VecDeque<(f64, f64)>,
    said: Option<Said>,
    heard_s: f64,
    /// Frames in a row above the speed before.
    up: u32,
}

/// Blips under way.
#[derive(Clone, Copy, Debug)]
struct Said {
    base_rpm: f64,
    began_s: f64,
    count: u32,
    /// Highest since the last fall, or lowest since the last rise.
    turning_rpm: f64,
    falling: bool,
    /// Frames seen on the way down from the last top.
    seen_falling: u32,
    /// Since when speed is back where it was before.
    back_s: Option<f64>,
}

impl BlipWatch {
    /// A watch that has heard nothing.
    pub fn new() -> BlipWatch {
        BlipWatch::default()
    }

    /// Takes a live frame; gives the number of blips once no further one has followed for 1.2 s.
    pub fn push(&mut self, frame: &Frame) -> Option<u32> {
        if frame.heard == Heard::No || !frame.rpm.is_finite() {
            // Between blips an engine is sometimes lost for a moment; silence is no word.
            if FORGOTTEN_S < frame.t_s - self.heard_s {
                self.before.clear();
                self.said = None;
            }
            return self.ended(frame.t_s);
        }
        self.heard_s = frame.t_s;
        match &mut self.said {
            None => {
                self.begin(frame);
                None
            }
            Some(said) => {
                said.follow(frame);
                if LONGEST_S < frame.t_s - said.began_s && said.back_s.is_none() {
                    // It turns at another speed now.
                    self.said = None;
                    self.before.clear();
                    return None;
                }
                self.ended(frame.t_s)
            }
        }
    }

    fn begin(&mut self, frame: &Frame) {
        if let Some(base_rpm) = self.base_rpm()
            && (1.0 + RISE) * base_rpm < frame.rpm
        {
            self.up += 1;
            if LEAST_FRAMES <= self.up {
                self.said = Some(Said {
                    base_rpm,
                    began_s: frame.t_s,
                    count: 0,
                    turning_rpm: frame.rpm,
                    falling: false,
                    seen_falling: 0,
                    back_s: None,
                });
                self.up = 0;
            }
            return;
        }
        self.up = 0;
        self.before.push_back((frame.t_s, frame.rpm));
        while self.before.front().is_some_and(|first| first.0 < frame.t_s - BEFORE_S) {
            self.before.pop_front();
        }
    }

    fn base_rpm(&self) -> Option<f64> {
        let (first, last) = (self.before.front()?, self.before.back()?);
        if last.0 - first.0 < LEAST_BEFORE_S {
            return None;
        }
        let mut speeds: Vec<f64> = self.before.iter().map(|before| before.1).collect();
        speeds.sort_unstable_by(f64::total_cmp);
        Some(speeds[speeds.len() / 2])
    }

    fn ended(&mut self, now_s: f64) -> Option<u32> {
        let said = self.said?;
        let over = said.back_s.is_some_and(|back_s| QUIET_S <= now_s - back_s);
        if over {
            self.said = None;
            return (0 < said.count).then_some(said.count);
        }
        // Lost for good: no word.
        if 2.0 * LONGEST_S < now_s - said.began_s {
            self.said = None;
            self.before.clear();
        }
        None
    }
}

impl Said {
    fn follow(&mut self, frame: &Frame) {
        let back = frame.rpm < (1.0 + OVER) * self.base_rpm;
        if self.falling {
            self.turning_rpm = self.turning_rpm.min(frame.rpm);
            let risen = (1.0 + AGAIN) * self.turning_rpm < frame.rpm;
            if risen && (1.0 + RISE) * self.base_rpm < frame.rpm {
                (self.falling, self.seen_falling) = (false, 0);
                self.turning_rpm = frame.rpm;
                self.began_s = frame.t_s;
            }
        } else {
            self.turning_rpm = self.turning_rpm.max(frame.rpm);
            if frame.rpm < (1.0 - FALL) * self.turning_rpm {
                self.falling = true;
                self.turning_rpm = frame.rpm;
            }
        }
        if self.falling && !back {
            self.seen_falling += 1;
            // Each way down counts once.
            self.count += u32::from(self.seen_falling == LEAST_FRAMES);
        }
        self.back_s = back.then(|| self.back_s.unwrap_or(frame.t_s));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sound::FRAME_S;

    /// What is counted in a course of speeds, a value every 50 ms.
    fn counted(rpm: impl Fn(f64) -> f64, seconds: f64) -> Vec<u32> {
        let mut watch = BlipWatch::new();
        let frames = (0..(seconds / FRAME_S) as usize).map(|index| index as f64 * FRAME_S);
        let frame = |t_s: f64| {
            let heard = if rpm(t_s) > 0.0 { Heard::Yes } else { Heard::No };
            Frame { t_s, rpm: rpm(t_s), sd_rpm: 10.0, heard }
        };
        frames.filter_map(|t_s| watch.push(&frame(t_s))).collect()
    }

    #[test]
    fn an_engine_that_flares_twice_as_it_starts_has_said_nothing() {
        let flares = blips(&[20.5, 21.6], 0.3);
        let said = counted(|t_s| if (10.0..20.0).contains(&t_s) { 0.0 } else { flares(t_s) }, 30.0);
        assert!(!said.contains(&2), "{said:?}");
    }

    fn blips(at_s: &'static [f64], falls_s: f64) -> impl Fn(f64) -> f64 {
        move |t_s| {
            let each = at_s.iter().map(|begin_s| match t_s - begin_s {
                before if before < 0.0 => 0.0,
                rising if rising < 0.25 => 1800.0 * rising / 0.25,
                falling => 1800.0 * (-(falling - 0.25) / falls_s).exp(),
            });
            1000.0 + each.fold(0.0, f64::max)
        }
    }

    #[test]
    fn one_two_and_three_blips_are_told_apart_with_light_and_heavy_flywheels() {
        for falls_s in [0.3, 0.8] {
            assert_eq!(counted(blips(&[8.0], falls_s), 16.0), [1]);
            assert_eq!(counted(blips(&[8.0, 9.1], falls_s), 16.0), [2]);
            assert_eq!(counted(blips(&[8.0, 9.1, 10.3], falls_s), 18.0), [3]);
        }
    }

    #[test]
    fn another_speed_a_wander_or_a_slip_of_the_ear_is_no_blip() {
        assert!(counted(|t_s| if t_s < 8.0 { 1000.0 } else { 1500.0 }, 20.0).is_empty());
        assert!(counted(|t_s| 1000.0 + 150.0 * (4.0 * t_s).sin(), 20.0).is_empty());
        for lasts_s in [0.01, 0.5, 2.0] {
            let slips = |t_s: f64| if (8.0..8.0 + lasts_s).contains(&t_s) { 4000.0 } else { 1000.0 };
            assert!(counted(slips, 20.0).is_empty(), "a slip of {lasts_s} s");
        }
    }
}
