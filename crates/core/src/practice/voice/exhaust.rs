//! From firings to sound: blow-down through headers, pipes and silencer; intake; valves; whine.

use std::f64::consts::{PI, TAU};

use super::super::Dice;
use super::crank::Crank;
use super::filter::{Section, add_at, usual_rms};
use super::{Running, SAMPLE_RATE_HZ, Voice};

/// Speed of sound in exhaust gas, m/s (hot: a sanity band only, from memory).
const GAS_M_S: f64 = 480.0;

/// Everything heard at the machine, run-in and run-out included.
pub(super) fn heard(voice: &Voice, running: &Running, crank: &Crank, dice: &mut Dice) -> Vec<f64> {
    let count = crank.samples();
    let mut sound = vec![0.0; count];
    let flows = flows(voice, running, crank, dice);
    for flow in &flows {
        let piped = piped(flow, voice, dice);
        add_at(&mut sound, &piped, 1.0, SAMPLE_RATE_HZ);
        if voice.turbulence > 0.0 {
            add_at(&mut sound, &rushing(flow, dice), voice.turbulence, SAMPLE_RATE_HZ);
        }
    }
    let usual = usual_rms(&sound, SAMPLE_RATE_HZ).max(1e-12);
    sound.iter_mut().for_each(|x| *x /= usual);
    if voice.intake > 0.0 {
        add_intake(&mut sound, voice, crank, dice);
    }
    if voice.ticks > 0.0 && voice.firing.cycle_deg() > 400.0 {
        add_ticks(&mut sound, voice, crank, dice);
    }
    if voice.whine > 0.0 {
        // A belt's ratio is no simple fraction of the crank.
        let ratio = 6.0 * dice.between(2.1, 2.9);
        for (i, x) in sound.iter_mut().enumerate() {
            let (rpm, _) = crank.asked(i as f64);
            let turned = (crank.angles_deg()[i] * ratio / 360.0).fract();
            *x += voice.whine * 1.414 * (TAU * turned).sin() * (rpm / 1000.0).min(2.0);
        }
    }
    sound
}

/// Outflow of each pipe.
fn flows(voice: &Voice, running: &Running, crank: &Crank, dice: &mut Dice) -> Vec<Vec<f64>> {
    let pipes = voice.pipes.iter().max().map_or(1, |&last| last + 1);
    let mut flows = vec![vec![0.0; crank.samples()]; pipes];
    let opens_deg = if voice.firing.cycle_deg() > 400.0 { 140.0 } else { 95.0 };
    let rise_s = dice.between(0.4e-3, 0.9e-3);
    for fired in &crank.fired {
        let late = dice.normal();
        let ragged = dice.normal();
        let pops = dice.chance(0.03);
        let at = crank.sample_at(fired.crank_deg + opens_deg + running.jitter_deg * late);
        let Some(sample) = at else { continue };
        let (rpm, load) = crank.asked(sample);
        let mut size = louder(rpm, load) * fired.energy.sqrt();
        if load < -0.1 {
            // On overrun charges are thin and burn or not as they please.
            size *= (0.35 * ragged).exp() * if pops { 3.0 } else { 1.0 };
        }
        let degree_s = 1.0 / (6.0 * rpm);
        let pulse = Pulse {
            begins: sample + voice.headers_ms[fired.cylinder] * 1e-3 * SAMPLE_RATE_HZ,
            rise_s: rise_s.min(12.0 * degree_s),
            fall_s: 1.0e-3 + 18.0 * degree_s,
            pumped: 0.18,
            pumped_s: 190.0 * degree_s,
        };
        // The second pipe points away.
        let pipe = voice.pipes[fired.cylinder];
        pulse.add(&mut flows[pipe], size * if pipe > 0 { 0.85 } else { 1.0 });
    }
    flows
}

/// How loud a firing is by speed and load: a snapped throttle comes out some 18 dB above idle, more
/// firings a second included (a sanity band only, from memory).
fn louder(rpm: f64, load: f64) -> f64 {
    (rpm / 1000.0).powf(0.4) * (1.0 + 1.2 * load.max(0.0)) * (1.0 - 0.6 * (-load).max(0.0))
}

/// Flow of one firing: the cylinder blows down, then the piston pumps out the rest.
struct Pulse {
    begins: f64,
    rise_s: f64,
    fall_s: f64,
    pumped: f64,
    pumped_s: f64,
}

impl Pulse {
    fn add(&self, flow: &mut [f64], size: f64) {
        if self.begins < 0.0 {
            return;
        }
        let first = self.begins.ceil() as usize;
        let seconds = (8.0 * self.fall_s + self.rise_s).max(self.pumped_s);
        let last = (first + (seconds * SAMPLE_RATE_HZ) as usize + 2).min(flow.len());
        let offset = (first as f64 - self.begins) / SAMPLE_RATE_HZ;
        let step = 1.0 / SAMPLE_RATE_HZ;
        let keep = (-step / self.fall_s).exp();
        let mut falling = f64::NAN;
        // The half sine of the pumping by its recurrence.
        let turn = PI * step / self.pumped_s;
        let (mut now, mut before) =
            ((PI * offset / self.pumped_s).sin(), (PI * (offset - step) / self.pumped_s).sin());
        let twice = 2.0 * turn.cos();
        for (i, flow) in flow[first.min(last)..last].iter_mut().enumerate() {
            let t = offset + i as f64 * step;
            let blown = if t < self.rise_s {
                0.5 - 0.5 * (PI * t / self.rise_s).cos()
            } else {
                falling =
                    if falling.is_nan() { (-(t - self.rise_s) / self.fall_s).exp() } else { falling * keep };
                falling
            };
            let pumped = if t < self.pumped_s { now.max(0.0) } else { 0.0 };
            *flow += size * (blown + self.pumped * pumped);
            (now, before) = (twice * now - before, now);
        }
    }
}

/// A pipe as a wave sees it: shut at the valve, open at the far end, where it is turned back upside down
/// and dulled. Its resonances are the odd multiples of a quarter wave.
struct Pipe {
    line: Vec<f64>,
    at: usize,
    /// Whole and part of the way there and back, samples.
    whole: usize,
    part: f64,
    turned_back: f64,
    dull: f64,
    dulled: f64,
}

impl Pipe {
    fn new(length_m: f64, turned_back: f64) -> Pipe {
        let way = 2.0 * length_m / GAS_M_S * SAMPLE_RATE_HZ;
        let whole = way as usize;
        Pipe {
            line: vec![0.0; (whole + 2).next_power_of_two()],
            at: 0,
            whole,
            part: way - whole as f64,
            turned_back,
            dull: 1.0 - (-TAU * 1_500.0 / SAMPLE_RATE_HZ).exp(),
            dulled: 0.0,
        }
    }

    #[inline(always)]
    fn step(&mut self, x: f64) -> f64 {
        let mask = self.line.len() - 1;
        let back = |by: usize| self.line[(self.at + self.line.len() - by) & mask];
        let wave = back(self.whole) * (1.0 - self.part) + back(self.whole + 1) * self.part;
        self.dulled += self.dull * (wave - self.dulled);
        let y = x - self.turned_back * self.dulled;
        self.line[self.at] = y;
        self.at = (self.at + 1) & mask;
        y
    }
}

/// What leaves pipe and silencer.
fn piped(flow: &[f64], voice: &Voice, dice: &mut Dice) -> Vec<f64> {
    let mut pipe = Pipe::new(dice.between(0.7, 1.3), voice.ringing);
    let mut boom = Section::resonance(dice.between(35.0, 70.0), 2.0, SAMPLE_RATE_HZ);
    let mut ring = Section::resonance(dice.between(300.0, 900.0), 5.0, SAMPLE_RATE_HZ);
    let mut muffler = Section::low(voice.muffler_hz, SAMPLE_RATE_HZ);
    let mut last = 0.0;
    flow.iter()
        .map(|&now| {
            // An open end radiates changes of flow.
            let source = (now - last) * SAMPLE_RATE_HZ / 1000.0;
            last = now;
            let wave = pipe.step(source);
            muffler.step(0.6 * wave + 0.5 * boom.step(source) + 0.4 * ring.step(source))
        })
        .collect()
}

/// Noise of the rushing gas: it comes and goes with the flow.
fn rushing(flow: &[f64], dice: &mut Dice) -> Vec<f64> {
    let mut above = Section::high(350.0, SAMPLE_RATE_HZ);
    let mut below = Section::low(6_500.0, SAMPLE_RATE_HZ);
    flow.iter()
        .map(|&flow| {
            let noise = below.step(above.step(dice.between(-1.0, 1.0)));
            let flow = flow.max(0.0);
            noise * flow * flow.sqrt().sqrt()
        })
        .collect()
}

/// The intake gulps through its box, and hisses.
fn add_intake(sound: &mut [f64], voice: &Voice, crank: &Crank, dice: &mut Dice) {
    let mut gulps = vec![0.0; crank.samples()];
    let opens_deg = if voice.firing.cycle_deg() > 400.0 { 370.0 } else { 190.0 };
    for fired in &crank.fired {
        let uneven = 1.0 + 0.05 * dice.normal();
        let Some(sample) = crank.sample_at(fired.crank_deg + opens_deg) else { continue };
        let (rpm, load) = crank.asked(sample);
        let degree_s = 1.0 / (6.0 * rpm);
        let pulse = Pulse {
            begins: sample,
            rise_s: 25.0 * degree_s,
            fall_s: 60.0 * degree_s,
            pumped: 0.6,
            pumped_s: 170.0 * degree_s,
        };
        pulse.add(&mut gulps, louder(rpm, load) * uneven);
    }
    let first_hz = dice.between(90.0, 220.0);
    let mut first = Section::resonance(first_hz, 3.0, SAMPLE_RATE_HZ);
    let mut second = Section::resonance(first_hz * dice.between(2.2, 3.1), 5.0, SAMPLE_RATE_HZ);
    let mut above = Section::high(300.0, SAMPLE_RATE_HZ);
    let mut below = Section::low(2_500.0, SAMPLE_RATE_HZ);
    let mut last = 0.0;
    let (mut tone, mut hiss) = (Vec::with_capacity(gulps.len()), Vec::with_capacity(gulps.len()));
    for &gulp in &gulps {
        let source = gulp - last;
        last = gulp;
        tone.push(first.step(source) + 0.5 * second.step(source));
        hiss.push(below.step(above.step(dice.between(-1.0, 1.0))) * gulp.max(0.0));
    }
    add_at(sound, &tone, 0.8 * voice.intake, SAMPLE_RATE_HZ);
    add_at(sound, &hiss, 0.4 * voice.intake, SAMPLE_RATE_HZ);
}

/// Valves meet their seats: each with its own loudness, at its own angle.
fn add_ticks(sound: &mut [f64], voice: &Voice, crank: &Crank, dice: &mut Dice) {
    const AT_DEG: [f64; 4] = [140.0, 230.0, 350.0, 375.0];
    let mut clicks = vec![0.0; crank.samples()];
    let loud: Vec<[f64; 4]> = voice
        .strengths
        .iter()
        .map(|_| {
            let cylinder = 0.5 * dice.normal();
            std::array::from_fn(|_| (cylinder + 0.5 * dice.normal()).exp())
        })
        .collect();
    for fired in &crank.fired {
        for (valve, at_deg) in AT_DEG.iter().enumerate() {
            let (late, uneven) = (0.6 * dice.normal(), (0.25 * dice.normal()).exp());
            let Some(sample) = crank.sample_at(fired.crank_deg + at_deg + late) else { continue };
            let (rpm, _) = crank.asked(sample);
            let size = loud[fired.cylinder][valve] * (rpm / 1000.0) * uneven;
            let (whole, part) = (sample as usize, sample.fract());
            clicks[whole] += size * (1.0 - part);
            if let Some(next) = clicks.get_mut(whole + 1) {
                *next += size * part;
            }
        }
    }
    let mut modes = [(1_100.0, 2_200.0, 8.0), (2_400.0, 4_200.0, 12.0), (4_500.0, 8_000.0, 14.0)]
        .map(|(low, high, quality)| Section::resonance(dice.between(low, high), quality, SAMPLE_RATE_HZ));
    for click in &mut clicks {
        let x = *click;
        *click = 0.6 * modes[0].step(x) + modes[1].step(x) + 0.6 * modes[2].step(x);
    }
    add_at(sound, &clicks, voice.ticks, SAMPLE_RATE_HZ);
}
