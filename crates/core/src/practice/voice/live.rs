//! An engine's sound while it runs: sample by sample, whatever is asked of it meanwhile.
//!
//! It is made of the same parts as [`Voice::take`](super::Voice::take), and in the same order. Two things
//! differ. What a firing will do later (open its exhaust, gulp, let its valves tick) waits until the crank
//! gets to that angle, since nobody knows yet when that will be; and the levels of the parts are measured
//! once, in a run-in at idle, since nobody knows the whole sound.

use super::super::Dice;
use super::crank::{Asked, BREATH_MEMORY_S, Crank, Uneven};
use super::filter::usual_rms;
use super::parts::{
    Belt, Blown, Inlet, Outlet, Pulse, Rushing, Seats, Tick, Valves, drawn_rise_s, opens_deg, ticks,
};
use super::speed::{WANDER_STEP_S, Wander};
use super::{Fired, SAMPLE_RATE_HZ, Voice};

/// Length of the run-in by which levels are measured, seconds, and what of it settles the filters.
const RUN_IN_S: f64 = 2.0;
const SETTLES_S: f64 = 0.5;
/// Usual RMS of that idle, and its largest peak: what asks for less decides.
const IDLE_RMS: f64 = 0.1;
const IDLE_PEAK: f64 = 0.5;
/// Slower than this no pulse gets longer, rpm: the longest one then fits into [`Ahead`].
const LONGEST_PULSE_RPM: f64 = 200.0;
/// Standard deviation of the angle at which a pulse begins, crank degrees.
const JITTER_DEG: f64 = 2.0;

/// A voice that sounds.
#[derive(Clone, Debug)]
pub(in crate::practice) struct Live {
    voice: Voice,
    dice: Dice,
    crank: Crank,
    breath: Breath,
    rise_s: f64,
    ways: Vec<Way>,
    inlet: Option<(Ahead, Inlet)>,
    valves: Option<(Ahead, Valves, Seats)>,
    belt: Option<Belt>,
    /// What firings will do yet, in no order, and the angle of the soonest, crank degrees.
    coming: Vec<Coming>,
    soonest_deg: f64,
    just_fired: Vec<Fired>,
    /// Each part's newest sample, and its level: pipe and gas of each way out, tone and hiss of the
    /// inlet, valves, belt.
    parts: Vec<f64>,
    levels: Vec<f64>,
}

/// A way out: a pipe with its silencer, and the gas that rushes in it.
#[derive(Clone, Debug)]
struct Way {
    flow: Ahead,
    outlet: Outlet,
    gas: Option<Rushing>,
}

/// What a firing will do when the crank gets there.
#[derive(Clone, Copy, Debug)]
struct Coming {
    at_deg: f64,
    what: What,
}

#[derive(Clone, Copy, Debug)]
enum What {
    BlowsDown(Fired, Blown),
    Gulps { uneven: f64 },
    Ticks(Tick),
}

impl Live {
    /// A voice after its run-in at an idle, whose usual RMS is [`IDLE_RMS`] there, or whose peaks are
    /// [`IDLE_PEAK`].
    pub(in crate::practice) fn new(voice: Voice, idle: Asked, uneven: &Uneven, seed: u64) -> Live {
        let mut dice = Dice::new(seed);
        let pipes = voice.pipes.iter().max().map_or(1, |&last| last + 1);
        let rise_s = drawn_rise_s(&mut dice);
        let ways: Vec<Way> = (0..pipes)
            .map(|_| Way {
                flow: Ahead::new(),
                outlet: Outlet::drawn(&voice, &mut dice),
                gas: (voice.turbulence > 0.0).then(Rushing::new),
            })
            .collect();
        let inlet = (voice.intake > 0.0).then(|| (Ahead::new(), Inlet::drawn(&mut dice)));
        let valves = ticks(&voice).then(|| {
            let valves = Valves::drawn(voice.strengths.len(), &mut dice);
            (Ahead::new(), valves, Seats::drawn(&mut dice))
        });
        let belt = (voice.whine > 0.0).then(|| Belt::drawn(&mut dice));
        let parts = vec![0.0; 2 * ways.len() + 4];
        let mut live = Live {
            crank: Crank::new(&voice),
            voice,
            breath: Breath::new(&mut dice),
            dice,
            rise_s,
            ways,
            inlet,
            valves,
            belt,
            coming: Vec::new(),
            soonest_deg: f64::INFINITY,
            just_fired: Vec::new(),
            levels: vec![0.0; parts.len()],
            parts,
        };
        live.run_in(idle, uneven);
        live
    }

    /// The next sample.
    #[inline]
    pub(in crate::practice) fn step(&mut self, asked: Asked, uneven: &Uneven) -> f64 {
        self.turn(asked, uneven);
        self.parts.iter().zip(&self.levels).map(|(part, level)| part * level).sum()
    }

    /// Forgets what was still to be heard: the engine stands.
    pub(in crate::practice) fn rest(&mut self) {
        self.ways.iter_mut().for_each(|way| way.flow.clear());
        self.inlet.iter_mut().for_each(|(ahead, _)| ahead.clear());
        self.valves.iter_mut().for_each(|(ahead, _, _)| ahead.clear());
    }

    /// Measures levels as [`Voice::take`](super::Voice::take) does over the whole of its sound.
    fn run_in(&mut self, idle: Asked, uneven: &Uneven) {
        for _ in 0..(SETTLES_S * SAMPLE_RATE_HZ) as usize {
            self.turn(idle, uneven);
        }
        let count = ((RUN_IN_S - SETTLES_S) * SAMPLE_RATE_HZ) as usize;
        let mut heard = vec![Vec::with_capacity(count); self.parts.len()];
        for _ in 0..count {
            self.turn(idle, uneven);
            heard.iter_mut().zip(&self.parts).for_each(|(heard, part)| heard.push(*part));
        }
        let usual = |part: &[f64]| usual_rms(part, SAMPLE_RATE_HZ);
        let at = |level: f64, part: &[f64]| if usual(part) > 0.0 { level / usual(part) } else { 0.0 };
        let mix = |levels: &[f64]| -> Vec<f64> {
            let sum = |i: usize| heard.iter().zip(levels).map(|(part, level)| level * part[i]).sum();
            (0..count).map(sum).collect()
        };
        let outs = 2 * self.ways.len();
        let out = [1.0, self.voice.turbulence];
        let mut levels: Vec<f64> =
            heard[..outs].iter().enumerate().map(|(i, part)| at(out[i % 2], part)).collect();
        let whole = usual(&mix(&levels)).max(1e-12);
        levels.iter_mut().for_each(|level| *level /= whole);
        let voice = &self.voice;
        let others = [0.8 * voice.intake, 0.4 * voice.intake, voice.ticks];
        levels.extend(others.iter().zip(&heard[outs..]).map(|(level, part)| at(*level, part)));
        // The belt knows its level itself.
        levels.push(1.0);
        let whole = mix(&levels);
        let peak = whole.iter().fold(0.0_f64, |peak, x| peak.max(x.abs()));
        let loud = (usual(&whole) / IDLE_RMS).max(peak / IDLE_PEAK).max(1e-12);
        levels.iter_mut().for_each(|level| *level /= loud);
        self.levels = levels;
    }

    /// Turns the crank for the length of a sample, and renews every part's sample.
    #[inline(always)]
    fn turn(&mut self, asked: Asked, uneven: &Uneven) {
        let from_deg = self.crank.angle_deg();
        let breath = self.breath.step(&mut self.dice);
        self.crank.step(asked, breath, uneven, &mut self.dice, |fired| self.just_fired.push(fired));
        let to_deg = self.crank.angle_deg();
        if !self.just_fired.is_empty() {
            self.expect();
        }
        if self.soonest_deg < to_deg {
            self.meet(from_deg, to_deg, asked);
        }
        let outs = 2 * self.ways.len();
        for (way, parts) in self.ways.iter_mut().zip(self.parts.chunks_exact_mut(2)) {
            let flow = way.flow.next();
            parts[0] = way.outlet.step(flow);
            if let Some(gas) = &mut way.gas {
                parts[1] = gas.step(flow, &mut self.dice);
            }
        }
        if let Some((ahead, inlet)) = &mut self.inlet {
            (self.parts[outs], self.parts[outs + 1]) = inlet.step(ahead.next(), &mut self.dice);
        }
        if let Some((ahead, _, seats)) = &mut self.valves {
            self.parts[outs + 2] = seats.step(ahead.next());
        }
        if let Some(belt) = &self.belt {
            self.parts[outs + 3] = belt.whine(self.voice.whine, from_deg, asked.rpm);
        }
    }

    /// What has just fired will do more yet.
    fn expect(&mut self) {
        let (exhaust_deg, intake_deg) = opens_deg(&self.voice);
        for fired in self.just_fired.drain(..) {
            let late_deg = JITTER_DEG * self.dice.normal();
            let blown = Blown::drawn(&mut self.dice);
            let mut comes = |after_deg: f64, what: What| {
                let at_deg = fired.crank_deg + after_deg;
                self.soonest_deg = self.soonest_deg.min(at_deg);
                self.coming.push(Coming { at_deg, what });
            };
            comes(exhaust_deg + late_deg, What::BlowsDown(fired, blown));
            if self.inlet.is_some() {
                comes(intake_deg, What::Gulps { uneven: 1.0 + 0.05 * self.dice.normal() });
            }
            if let Some((_, valves, _)) = &self.valves {
                for (valve, at_deg) in Valves::AT_DEG.iter().enumerate() {
                    let tick = valves.tick(fired.cylinder, valve, &mut self.dice);
                    comes(at_deg + tick.late_deg, What::Ticks(tick));
                }
            }
        }
    }

    /// Does what the crank has come to on its way between two angles.
    fn meet(&mut self, from_deg: f64, to_deg: f64, asked: Asked) {
        let slow = Asked { rpm: asked.rpm.max(LONGEST_PULSE_RPM), ..asked };
        self.soonest_deg = f64::INFINITY;
        let mut i = 0;
        while let Some(&Coming { at_deg, what }) = self.coming.get(i) {
            if at_deg >= to_deg {
                self.soonest_deg = self.soonest_deg.min(at_deg);
                i += 1;
                continue;
            }
            self.coming.swap_remove(i);
            // Samples count from the present one.
            let sample = ((at_deg - from_deg) / (to_deg - from_deg)).max(0.0);
            match what {
                What::BlowsDown(fired, blown) => {
                    let pulse = Pulse::blow_down(&self.voice, &fired, &blown, self.rise_s, sample, slow);
                    self.ways[self.voice.pipes[fired.cylinder]].flow.add(&pulse);
                }
                What::Gulps { uneven } => {
                    if let Some((ahead, _)) = &mut self.inlet {
                        ahead.add(&Pulse::gulp(uneven, sample, slow));
                    }
                }
                What::Ticks(tick) => {
                    if let Some((ahead, _, _)) = &mut self.valves {
                        ahead.click(tick.click(sample, asked.rpm));
                    }
                }
            }
        }
    }
}

/// The wander of the intake, joined by straight lines.
#[derive(Clone, Debug)]
struct Breath {
    wander: Wander,
    from: f64,
    /// Samples since.
    since: f64,
}

impl Breath {
    fn new(dice: &mut Dice) -> Breath {
        let mut wander = Wander::new(BREATH_MEMORY_S, dice);
        let from = wander.now();
        wander.step(dice);
        Breath { wander, from, since: 0.0 }
    }

    #[inline(always)]
    fn step(&mut self, dice: &mut Dice) -> f64 {
        const EVERY: f64 = WANDER_STEP_S * SAMPLE_RATE_HZ;
        if self.since >= EVERY {
            self.since -= EVERY;
            self.from = self.wander.now();
            self.wander.step(dice);
        }
        let now = self.from + (self.wander.now() - self.from) * self.since / EVERY;
        self.since += 1.0;
        now
    }
}

/// What will flow in the samples to come.
#[derive(Clone, Debug)]
struct Ahead {
    /// A ring, longer than the longest pulse; its length is a power of two.
    ring: Vec<f64>,
    at: usize,
}

impl Ahead {
    /// A drawing cylinder's 505° at [`LONGEST_PULSE_RPM`] are 0.42 s; these are 0.68 s.
    const SAMPLES: usize = 1 << 15;

    fn new() -> Ahead {
        Ahead { ring: vec![0.0; Ahead::SAMPLES], at: 0 }
    }

    fn clear(&mut self) {
        self.ring.fill(0.0);
    }

    #[inline(always)]
    fn next(&mut self) -> f64 {
        let now = std::mem::take(&mut self.ring[self.at]);
        self.at = (self.at + 1) & (Ahead::SAMPLES - 1);
        now
    }

    fn add(&mut self, pulse: &Pulse) {
        let span = pulse.span();
        let (later, sooner) = self.ring.split_at_mut(self.at);
        pulse.add(sooner.iter_mut().chain(later).skip(span.start).take(span.len()));
    }

    fn click(&mut self, (here, next): (f64, f64)) {
        self.ring[self.at] += here;
        self.ring[(self.at + 1) & (Ahead::SAMPLES - 1)] += next;
    }
}
