//! How speed is meant to go: before any firing has its say.

use super::super::Dice;
use crate::error::{Result, require};

/// Speeds an engine may be asked to turn at, rpm.
pub const TURNS_RPM: (f64, f64) = (300.0, 15_000.0);

/// Steps a second in which speed and load are laid down.
pub(super) const STEPS_PER_S: f64 = 1_000.0;

/// What the throttle is made to do.
#[derive(Clone, Debug, PartialEq)]
pub enum Speed {
    /// Left alone: an Ornstein–Uhlenbeck wander, and a regular hunting if it has that fault.
    Idle {
        /// Mean speed, rpm.
        rpm: f64,
        /// Standard deviation of the wander, share of the speed; it forgets itself in 1.2 s.
        wander: f64,
        /// Amplitude of the hunting, share of the speed; once in 1.7 s.
        hunting: f64,
    },
    /// Held by hand.
    Steady {
        /// Mean speed, rpm.
        rpm: f64,
    },
    /// Drawn evenly from one speed to another.
    Ramp {
        /// Speed before, rpm.
        from_rpm: f64,
        /// Speed after, rpm.
        to_rpm: f64,
        /// When it begins, seconds.
        begins_s: f64,
        /// How long it takes, seconds.
        takes_s: f64,
    },
    /// Throttle snapped open and let go.
    Blips {
        /// Speed between them, rpm.
        idle_rpm: f64,
        /// Highest speed, rpm; each blip ends 5 % above to 15 % below it.
        top_rpm: f64,
        /// How fast speed climbs, rpm/s.
        rises_rpm_per_s: f64,
        /// Time constant of the fall, seconds.
        falls_s: f64,
        /// How long the top is held, seconds.
        held_s: f64,
        /// When each begins, seconds.
        begin_s: Vec<f64>,
    },
    /// Turning fast, then the throttle is shut.
    RollOff {
        /// Speed before, rpm.
        from_rpm: f64,
        /// Speed it falls to, rpm.
        idle_rpm: f64,
        /// When it is shut, seconds.
        shut_s: f64,
        /// Time constant of the fall, seconds.
        falls_s: f64,
    },
}

/// Speed and load against time.
pub(super) struct Course {
    /// Speed \[rpm\], [`STEPS_PER_S`] a second, from the run-in's begin.
    pub(super) rpm: Vec<f64>,
    /// Throttle: 0 idle, 1 open, −1 shut at speed.
    pub(super) load: Vec<f64>,
}

impl Course {
    /// Value between two steps.
    pub(super) fn at(values: &[f64], t_s: f64) -> f64 {
        let at = (t_s * STEPS_PER_S).clamp(0.0, values.len() as f64 - 1.001);
        let whole = at as usize;
        values[whole] + (at - whole as f64) * (values[whole + 1] - values[whole])
    }
}

impl Speed {
    /// Refuses what no engine turns.
    pub(super) fn check(&self) -> Result<()> {
        let (speeds, shares, seconds): (Vec<f64>, Vec<f64>, Vec<f64>) = match self {
            Speed::Idle { rpm, wander, hunting } => (vec![*rpm], vec![*wander, *hunting], vec![]),
            Speed::Steady { rpm } => (vec![*rpm], vec![], vec![]),
            Speed::Ramp { from_rpm, to_rpm, begins_s, takes_s } => {
                (vec![*from_rpm, *to_rpm], vec![], vec![*begins_s, *takes_s])
            }
            Speed::Blips { idle_rpm, top_rpm, rises_rpm_per_s, falls_s, held_s, begin_s } => {
                require(
                    (100.0..=50_000.0).contains(rises_rpm_per_s),
                    "rise",
                    *rises_rpm_per_s,
                    "100 to 50000 rpm/s",
                )?;
                (vec![*idle_rpm, *top_rpm], vec![], [begin_s.as_slice(), &[*falls_s, *held_s]].concat())
            }
            Speed::RollOff { from_rpm, idle_rpm, shut_s, falls_s } => {
                (vec![*from_rpm, *idle_rpm], vec![], vec![*shut_s, *falls_s])
            }
        };
        let (low, high) = TURNS_RPM;
        for rpm in speeds {
            require((low..=high).contains(&rpm), "speed", rpm, "300 to 15000 rpm")?;
        }
        for share in shares {
            require((0.0..=0.1).contains(&share), "wander", share, "0 to 0.1 of the speed")?;
        }
        for s in seconds {
            require((0.0..=86_400.0).contains(&s), "time", s, "0 s or later, and within a day")?;
        }
        Ok(())
    }

    /// Lays the course down for `seconds` after a run-in of `before_s`.
    pub(super) fn course(&self, before_s: f64, seconds: f64, dice: &mut Dice) -> Course {
        let steps = ((before_s + seconds) * STEPS_PER_S).ceil() as usize + 2;
        let time = |i: usize| i as f64 / STEPS_PER_S - before_s;
        let mut load = vec![0.0; steps];
        let rpm = match self {
            Speed::Idle { rpm, wander, hunting } => {
                let drift = wandering(steps, 1.2, dice);
                let phase = dice.between(0.0, std::f64::consts::TAU);
                (0..steps)
                    .map(|i| {
                        let swing = (std::f64::consts::TAU * time(i) / 1.7 + phase).sin();
                        rpm * (1.0 + wander * drift[i] + hunting * swing)
                    })
                    .collect()
            }
            Speed::Steady { rpm } => {
                load.fill(0.35);
                wandering(steps, 1.0, dice).iter().map(|drift| rpm * (1.0 + 0.004 * drift)).collect()
            }
            Speed::Ramp { from_rpm, to_rpm, begins_s, takes_s } => {
                let drift = wandering(steps, 1.0, dice);
                (0..steps)
                    .map(|i| {
                        let share = ((time(i) - begins_s) / takes_s.max(1e-3)).clamp(0.0, 1.0);
                        load[i] = if share > 0.0 && share < 1.0 { 0.4 } else { 0.1 };
                        (from_rpm + (to_rpm - from_rpm) * share) * (1.0 + 0.006 * drift[i])
                    })
                    .collect()
            }
            Speed::Blips { idle_rpm, .. } => {
                let drift = wandering(steps, 1.2, dice);
                let mut rpm = self.blips(&mut load, time, dice);
                rpm.iter_mut().zip(&drift).for_each(|(rpm, drift)| *rpm *= 1.0 + 0.01 * drift);
                rpm.iter_mut().for_each(|rpm| *rpm = rpm.max(0.6 * idle_rpm));
                rpm
            }
            Speed::RollOff { from_rpm, idle_rpm, shut_s, falls_s } => {
                let drift = wandering(steps, 1.2, dice);
                (0..steps)
                    .map(|i| {
                        let since = time(i) - shut_s;
                        let share = if since < 0.0 { 1.0 } else { (-since / falls_s.max(0.05)).exp() };
                        let rpm = idle_rpm + (from_rpm - idle_rpm) * share;
                        load[i] = if since < 0.0 { 0.3 } else { overrun(rpm, *idle_rpm) };
                        rpm * (1.0 + 0.008 * drift[i])
                    })
                    .collect()
            }
        };
        Course { rpm, load }
    }

    /// Throttle and speed of blips, step by step: the throttle opens within some hundredths of a
    /// second, the top is held, then speed falls towards a little below idle and recovers.
    fn blips(&self, load: &mut [f64], time: impl Fn(usize) -> f64, dice: &mut Dice) -> Vec<f64> {
        let Speed::Blips { idle_rpm, top_rpm, rises_rpm_per_s, falls_s, held_s, begin_s } = self else {
            return Vec::new();
        };
        let step_s = 1.0 / STEPS_PER_S;
        let (mut rpm, mut throttle, mut top, mut held_until) = (*idle_rpm, 0.0, *top_rpm, f64::MIN);
        let (mut next, mut climbs) = (0, false);
        let mut course = Vec::with_capacity(load.len());
        for (i, load) in load.iter_mut().enumerate() {
            let now = time(i);
            if begin_s.get(next).is_some_and(|&begin| now >= begin) {
                next += 1;
                climbs = true;
                top = top_rpm * dice.between(0.85, 1.05);
            }
            let wanted = f64::from(u8::from(climbs));
            throttle += (wanted - throttle) * step_s / 0.04;
            if climbs {
                rpm += rises_rpm_per_s * throttle * step_s;
                if rpm >= top {
                    climbs = false;
                    held_until = now + held_s;
                }
            } else if now < held_until {
                rpm += (top - rpm) * step_s / 0.05;
            } else if rpm > *idle_rpm {
                rpm += (0.97 * idle_rpm - rpm) * step_s / falls_s.max(0.05);
            } else {
                rpm += (idle_rpm - rpm) * step_s / 0.5;
            }
            *load = if climbs || now < held_until { throttle } else { overrun(rpm, *idle_rpm) };
            course.push(rpm);
        }
        smoothed(&course, 40)
    }
}

/// Load with the throttle shut: the further above idle, the more the engine is a pump.
fn overrun(rpm: f64, idle_rpm: f64) -> f64 {
    -((rpm - 1.15 * idle_rpm) / 1500.0).clamp(0.0, 1.0)
}

/// A mean over `reach` steps to either side: nothing with a flywheel turns a corner.
fn smoothed(values: &[f64], reach: usize) -> Vec<f64> {
    let mut sums = vec![0.0; values.len() + 1];
    for (i, value) in values.iter().enumerate() {
        sums[i + 1] = sums[i] + value;
    }
    (0..values.len())
        .map(|i| {
            let (from, to) = (i.saturating_sub(reach), (i + reach + 1).min(values.len()));
            (sums[to] - sums[from]) / (to - from) as f64
        })
        .collect()
}

/// An Ornstein–Uhlenbeck wander of standard deviation 1, laid down every [`WANDER_STEP_S`].
#[derive(Clone, Debug)]
pub(in crate::practice) struct Wander {
    now: f64,
    keep: f64,
    kick: f64,
}

/// Time between two values of a wander, seconds: faster changes are the firings' business.
pub(in crate::practice) const WANDER_STEP_S: f64 = 0.01;

impl Wander {
    /// A wander that forgets itself in `memory_s`.
    pub(in crate::practice) fn new(memory_s: f64, dice: &mut Dice) -> Wander {
        Wander { now: dice.normal(), ..Wander::from_middle(memory_s) }
    }

    /// One that begins in its middle.
    pub(in crate::practice) fn from_middle(memory_s: f64) -> Wander {
        let keep = (-WANDER_STEP_S / memory_s).exp();
        Wander { now: 0.0, keep, kick: (1.0 - keep * keep).sqrt() }
    }

    /// Where it is.
    pub(in crate::practice) fn now(&self) -> f64 {
        self.now
    }

    /// Where it goes next.
    pub(in crate::practice) fn step(&mut self, dice: &mut Dice) -> f64 {
        self.now = self.keep * self.now + self.kick * dice.normal();
        self.now
    }
}

/// A [`Wander`] whose values are joined by straight lines, [`STEPS_PER_S`] a second.
pub(in crate::practice) fn wandering(steps: usize, memory_s: f64, dice: &mut Dice) -> Vec<f64> {
    let coarse = (WANDER_STEP_S * STEPS_PER_S).round() as usize;
    let mut course = Wander::new(memory_s, dice);
    let mut wander = Vec::with_capacity(steps + coarse);
    while wander.len() < steps {
        let now = course.now();
        let next = course.step(dice);
        wander.extend((0..coarse).map(|i| now + (next - now) * i as f64 / coarse as f64));
    }
    wander.truncate(steps);
    wander
}
