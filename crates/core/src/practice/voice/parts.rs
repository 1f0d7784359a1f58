//! What turns flow into sound, sample by sample: pulses, pipes, rushing gas, intake, valves, a belt.

use std::f64::consts::{PI, TAU};

use super::super::Dice;
use super::crank::Asked;
use super::filter::Section;
use super::{Fired, SAMPLE_RATE_HZ, Voice};

/// Speed of sound in exhaust gas, m/s (hot: a sanity band only, from memory).
const GAS_M_S: f64 = 480.0;

/// How loud a firing is by speed and load: a snapped throttle comes out some 18 dB above idle, more
/// firings a second included (a sanity band only, from memory).
fn louder(Asked { rpm, load }: Asked) -> f64 {
    (rpm / 1000.0).powf(0.4) * (1.0 + 1.2 * load.max(0.0)) * (1.0 - 0.6 * (-load).max(0.0))
}

/// Flow of one firing: the cylinder blows down, then the piston pumps out the rest.
pub(super) struct Pulse {
    /// When it begins, samples.
    begins: f64,
    size: f64,
    rise_s: f64,
    fall_s: f64,
    pumped: f64,
    pumped_s: f64,
}

/// What chance makes of one blow-down.
#[derive(Clone, Copy, Debug)]
pub(super) struct Blown {
    ragged: f64,
    pops: bool,
}

impl Blown {
    pub(super) fn drawn(dice: &mut Dice) -> Blown {
        Blown { ragged: dice.normal(), pops: dice.chance(0.03) }
    }
}

impl Pulse {
    /// The blow-down of a firing, its valve opening at a sample, with this asked of the crank.
    pub(super) fn blow_down(
        voice: &Voice,
        fired: &Fired,
        blown: &Blown,
        rise_s: f64,
        sample: f64,
        asked: Asked,
    ) -> Pulse {
        let mut size = louder(asked) * fired.energy.sqrt();
        if asked.load < -0.1 {
            // On overrun charges are thin and burn or not as they please.
            size *= (0.35 * blown.ragged).exp() * if blown.pops { 3.0 } else { 1.0 };
        }
        let degree_s = 1.0 / (6.0 * asked.rpm);
        Pulse {
            begins: sample + voice.headers_ms[fired.cylinder] * 1e-3 * SAMPLE_RATE_HZ,
            // The second pipe points away.
            size: size * if voice.pipes[fired.cylinder] > 0 { 0.85 } else { 1.0 },
            rise_s: rise_s.min(12.0 * degree_s),
            fall_s: 1.0e-3 + 18.0 * degree_s,
            pumped: 0.18,
            pumped_s: 190.0 * degree_s,
        }
    }

    /// What a cylinder draws in, its valve opening at a sample, with this asked of the crank.
    pub(super) fn gulp(uneven: f64, sample: f64, asked: Asked) -> Pulse {
        let degree_s = 1.0 / (6.0 * asked.rpm);
        Pulse {
            begins: sample,
            size: louder(asked) * uneven,
            rise_s: 25.0 * degree_s,
            fall_s: 60.0 * degree_s,
            pumped: 0.6,
            pumped_s: 170.0 * degree_s,
        }
    }

    /// The samples it lasts; none where it began before the first sample.
    pub(super) fn span(&self) -> std::ops::Range<usize> {
        if self.begins < 0.0 {
            return 0..0;
        }
        let first = self.begins.ceil() as usize;
        let seconds = (8.0 * self.fall_s + self.rise_s).max(self.pumped_s);
        first..first + (seconds * SAMPLE_RATE_HZ) as usize + 2
    }

    /// Adds its flow to the samples of its span, the first of them first.
    pub(super) fn add<'a>(&self, into: impl Iterator<Item = &'a mut f64>) {
        let offset = (self.begins.ceil() - self.begins) / SAMPLE_RATE_HZ;
        let step = 1.0 / SAMPLE_RATE_HZ;
        let keep = (-step / self.fall_s).exp();
        let mut falling = f64::NAN;
        // The half sine of the pumping by its recurrence.
        let turn = PI * step / self.pumped_s;
        let (mut now, mut before) =
            ((PI * offset / self.pumped_s).sin(), (PI * (offset - step) / self.pumped_s).sin());
        let twice = 2.0 * turn.cos();
        for (i, flow) in into.enumerate() {
            let t = offset + i as f64 * step;
            let blown = if t < self.rise_s {
                0.5 - 0.5 * (PI * t / self.rise_s).cos()
            } else {
                falling =
                    if falling.is_nan() { (-(t - self.rise_s) / self.fall_s).exp() } else { falling * keep };
                falling
            };
            let pumped = if t < self.pumped_s { now.max(0.0) } else { 0.0 };
            *flow += self.size * (blown + self.pumped * pumped);
            (now, before) = (twice * now - before, now);
        }
    }
}

/// A pipe as a wave sees it: shut at the valve, open at the far end, where it is turned back upside down
/// and dulled. Its resonances are the odd multiples of a quarter wave.
#[derive(Clone, Debug)]
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

/// Pipe and silencer: flow in, what leaves them out.
#[derive(Clone, Debug)]
pub(super) struct Outlet {
    pipe: Pipe,
    boom: Section,
    ring: Section,
    muffler: Section,
    last: f64,
}

impl Outlet {
    pub(super) fn drawn(voice: &Voice, dice: &mut Dice) -> Outlet {
        Outlet {
            pipe: Pipe::new(dice.between(0.7, 1.3), voice.ringing),
            boom: Section::resonance(dice.between(35.0, 70.0), 2.0, SAMPLE_RATE_HZ),
            ring: Section::resonance(dice.between(300.0, 900.0), 5.0, SAMPLE_RATE_HZ),
            muffler: Section::low(voice.muffler_hz, SAMPLE_RATE_HZ),
            last: 0.0,
        }
    }

    #[inline(always)]
    pub(super) fn step(&mut self, flow: f64) -> f64 {
        // An open end radiates changes of flow.
        let source = (flow - self.last) * SAMPLE_RATE_HZ / 1000.0;
        self.last = flow;
        let wave = self.pipe.step(source);
        self.muffler.step(0.6 * wave + 0.5 * self.boom.step(source) + 0.4 * self.ring.step(source))
    }
}

/// Noise in a band.
#[derive(Clone, Debug)]
struct Hiss {
    above: Section,
    below: Section,
}

impl Hiss {
    fn new(from_hz: f64, to_hz: f64) -> Hiss {
        Hiss { above: Section::high(from_hz, SAMPLE_RATE_HZ), below: Section::low(to_hz, SAMPLE_RATE_HZ) }
    }

    #[inline(always)]
    fn step(&mut self, dice: &mut Dice) -> f64 {
        self.below.step(self.above.step(dice.between(-1.0, 1.0)))
    }
}

/// Noise of the rushing gas: it comes and goes with the flow.
#[derive(Clone, Debug)]
pub(super) struct Rushing(Hiss);

impl Rushing {
    pub(super) fn new() -> Rushing {
        Rushing(Hiss::new(350.0, 6_500.0))
    }

    #[inline(always)]
    pub(super) fn step(&mut self, flow: f64, dice: &mut Dice) -> f64 {
        let noise = self.0.step(dice);
        let flow = flow.max(0.0);
        noise * flow * flow.sqrt().sqrt()
    }
}

/// The intake gulps through its box, and hisses.
#[derive(Clone, Debug)]
pub(super) struct Inlet {
    first: Section,
    second: Section,
    hiss: Hiss,
    last: f64,
}

impl Inlet {
    pub(super) fn drawn(dice: &mut Dice) -> Inlet {
        let first_hz = dice.between(90.0, 220.0);
        Inlet {
            first: Section::resonance(first_hz, 3.0, SAMPLE_RATE_HZ),
            second: Section::resonance(first_hz * dice.between(2.2, 3.1), 5.0, SAMPLE_RATE_HZ),
            hiss: Hiss::new(300.0, 2_500.0),
            last: 0.0,
        }
    }

    /// Its tone and its hiss.
    #[inline(always)]
    pub(super) fn step(&mut self, gulp: f64, dice: &mut Dice) -> (f64, f64) {
        let source = gulp - self.last;
        self.last = gulp;
        let tone = self.first.step(source) + 0.5 * self.second.step(source);
        (tone, self.hiss.step(dice) * gulp.max(0.0))
    }
}

/// Valves meet their seats: each with its own loudness, at its own angle.
#[derive(Clone, Debug)]
pub(super) struct Valves {
    loud: Vec<[f64; 4]>,
}

impl Valves {
    /// When each meets its seat, degrees after its cylinder's firing.
    pub(super) const AT_DEG: [f64; 4] = [140.0, 230.0, 350.0, 375.0];

    pub(super) fn drawn(cylinders: usize, dice: &mut Dice) -> Valves {
        let one = |_| {
            let cylinder = 0.5 * dice.normal();
            std::array::from_fn(|_| (cylinder + 0.5 * dice.normal()).exp())
        };
        Valves { loud: (0..cylinders).map(one).collect() }
    }

    /// A valve's next meeting with its seat.
    pub(super) fn tick(&self, cylinder: usize, valve: usize, dice: &mut Dice) -> Tick {
        let (late_deg, uneven) = (0.6 * dice.normal(), (0.25 * dice.normal()).exp());
        Tick { late_deg, loud: self.loud[cylinder][valve], uneven }
    }
}

/// A valve meets its seat once.
#[derive(Clone, Copy, Debug)]
pub(super) struct Tick {
    /// By how much later than usual, crank degrees.
    pub(super) late_deg: f64,
    loud: f64,
    uneven: f64,
}

impl Tick {
    /// The click it gives, parted between two samples.
    pub(super) fn click(&self, sample: f64, rpm: f64) -> (f64, f64) {
        let size = self.loud * (rpm / 1000.0) * self.uneven;
        let part = sample.fract();
        (size * (1.0 - part), size * part)
    }
}

/// What rings where a valve meets its seat.
#[derive(Clone, Debug)]
pub(super) struct Seats([Section; 3]);

impl Seats {
    pub(super) fn drawn(dice: &mut Dice) -> Seats {
        Seats(
            [(1_100.0, 2_200.0, 8.0), (2_400.0, 4_200.0, 12.0), (4_500.0, 8_000.0, 14.0)].map(
                |(low, high, quality)| Section::resonance(dice.between(low, high), quality, SAMPLE_RATE_HZ),
            ),
        )
    }

    #[inline(always)]
    pub(super) fn step(&mut self, click: f64) -> f64 {
        let [low, middle, high] = &mut self.0;
        0.6 * low.step(click) + middle.step(click) + 0.6 * high.step(click)
    }
}

/// A belt that drives something.
#[derive(Clone, Debug)]
pub(super) struct Belt {
    ratio: f64,
}

impl Belt {
    pub(super) fn drawn(dice: &mut Dice) -> Belt {
        // A belt's ratio is no simple fraction of the crank.
        Belt { ratio: 6.0 * dice.between(2.1, 2.9) }
    }

    #[inline(always)]
    pub(super) fn whine(&self, level: f64, angle_deg: f64, rpm: f64) -> f64 {
        let turned = (angle_deg * self.ratio / 360.0).fract();
        level * 1.414 * (TAU * turned).sin() * (rpm / 1000.0).min(2.0)
    }
}

/// After a firing, when its exhaust opens and when its cylinder begins to draw, crank degrees.
pub(super) fn opens_deg(voice: &Voice) -> (f64, f64) {
    if voice.firing.cycle_deg() > 400.0 { (140.0, 370.0) } else { (95.0, 190.0) }
}

/// Time in which a pulse rises at most, seconds.
pub(super) fn drawn_rise_s(dice: &mut Dice) -> f64 {
    dice.between(0.4e-3, 0.9e-3)
}

/// Whether its valves tick.
pub(super) fn ticks(voice: &Voice) -> bool {
    voice.ticks > 0.0 && voice.firing.cycle_deg() > 400.0
}
