//! What lies between the machine and the listener: room, noise, wind, a neighbour, a telephone.
//!
//! "10 dB" always means a ratio of RMS in 100 Hz to 8 kHz over the whole sound ([`heard_rms`]).

use std::f64::consts::{PI, TAU};

use realfft::RealFftPlanner;

use super::super::Dice;
use super::filter::{Section, heard_rms};
use super::speed::wandering;

/// A room around machine and microphone.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Room {
    /// Time in which its sound falls by 60 dB, seconds.
    pub rt60_s: f64,
    /// Direct sound above reverberation, decibels; negative far away.
    pub direct_db: f64,
}

/// What else is to be heard.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Noise {
    /// Even over all frequencies.
    White,
    /// Mains hum, a fan's blades and wash, and pink noise.
    Garage,
}

/// What a telephone does to sound before it is stored.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Phone {
    /// It turns itself down between sounds it takes for speech.
    pub gate: bool,
    /// How hard it is driven into soft clipping; 1 hardly, 3 hard.
    pub drive: f64,
}

/// From the machine to the samples a listener gets, in this order: room, hand, high-pass, noise, wind,
/// telephone, sample rate.
#[derive(Clone, Debug, PartialEq)]
pub struct Surroundings {
    /// Reverberation.
    pub room: Option<Room>,
    /// The microphone is held in a hand that moves: gain and one reflection wander.
    pub hand_held: bool,
    /// Third-order high-pass of the microphone, hertz.
    pub high_pass_hz: Option<f64>,
    /// Noise, and the sound's level above it, decibels.
    pub noise: Option<(Noise, f64)>,
    /// Wind at the microphone, and the sound's level above it, decibels. Its gusts lie mostly below what is
    /// counted, and overload: the loudest fiftieth of all samples is cut off.
    pub wind_db: Option<f64>,
    /// Telephone.
    pub phone: Option<Phone>,
    /// Samples a second in the end.
    pub rate_hz: f64,
}

impl Default for Surroundings {
    /// Nothing between machine and listener.
    fn default() -> Surroundings {
        Surroundings {
            room: None,
            hand_held: false,
            high_pass_hz: None,
            noise: None,
            wind_db: None,
            phone: None,
            rate_hz: super::SAMPLE_RATE_HZ,
        }
    }
}

impl Surroundings {
    /// Samples in −1 to 1 that a listener gets of `sound`, which has `from_hz` samples a second.
    pub fn hear(&self, sound: &[f64], from_hz: f64, dice: &mut Dice) -> Vec<f32> {
        let mut sound = match self.room {
            Some(room) => room.around(sound, from_hz, dice),
            None => sound.to_vec(),
        };
        if self.hand_held {
            sound = hand_held(&sound, from_hz, dice);
        }
        if let Some(hz) = self.high_pass_hz {
            high_pass(&mut sound, hz, from_hz);
        }
        let engine = heard_rms(&sound, from_hz);
        if let Some((noise, ratio_db)) = self.noise {
            let mut other = match noise {
                Noise::White => (0..sound.len()).map(|_| dice.normal()).collect(),
                Noise::Garage => garage(sound.len(), from_hz, dice),
            };
            if let Some(hz) = self.high_pass_hz {
                high_pass(&mut other, hz, from_hz);
            }
            add_below(&mut sound, engine, &other, ratio_db, from_hz);
        }
        if let Some(ratio_db) = self.wind_db {
            let gusts = wind(sound.len(), from_hz, dice);
            add_below(&mut sound, engine, &gusts, ratio_db, from_hz);
            let limit = quantile(&sound, 0.98);
            sound.iter_mut().for_each(|x| *x = x.clamp(-limit, limit));
        }
        // No microphone is silent: 80 dB below the sound.
        sound.iter_mut().for_each(|x| *x += 1e-4 * engine * dice.between(-1.7, 1.7));
        match self.phone {
            Some(phone) => phone.process(&mut sound, from_hz),
            None => {
                let scale = 0.6 / quantile(&sound, 0.999).max(1e-12);
                sound.iter_mut().for_each(|x| *x *= scale);
            }
        }
        resampled(&sound, from_hz, self.rate_hz).iter().map(|x| x.clamp(-1.0, 1.0) as f32).collect()
    }
}

/// A sound with another one beside it, which is `ratio_db` above it (negative: below), of as many samples.
pub fn beside(sound: &[f64], other: &[f64], ratio_db: f64, rate_hz: f64) -> Vec<f64> {
    let mut both = sound.to_vec();
    add_below(&mut both, heard_rms(sound, rate_hz), other, -ratio_db, rate_hz);
    both
}

/// Adds what is `ratio_db` below a level.
fn add_below(sound: &mut [f64], level: f64, other: &[f64], ratio_db: f64, rate_hz: f64) {
    let scale = level / heard_rms(other, rate_hz).max(1e-12) / 10f64.powf(ratio_db / 20.0);
    sound.iter_mut().zip(other).for_each(|(x, other)| *x += scale * other);
}

/// The size that a share of samples does not reach.
fn quantile(sound: &[f64], share: f64) -> f64 {
    let mut sizes: Vec<f64> = sound.iter().map(|x| x.abs()).collect();
    if sizes.is_empty() {
        return 0.0;
    }
    let at = ((share * sizes.len() as f64) as usize).min(sizes.len() - 1);
    *sizes.select_nth_unstable_by(at, f64::total_cmp).1
}

fn high_pass(sound: &mut [f64], hz: f64, rate_hz: f64) {
    Section::high(hz, rate_hz).run(sound);
    let share = 1.0 - (-TAU * hz / rate_hz).exp();
    let mut slow = 0.0;
    for x in sound {
        slow += share * (*x - slow);
        *x -= slow;
    }
}

impl Room {
    /// The sound with its reverberation: six reflections and a tail of noise that fades.
    fn around(&self, sound: &[f64], rate_hz: f64, dice: &mut Dice) -> Vec<f64> {
        let count = ((1.1 * self.rt60_s * rate_hz) as usize).max(2);
        let mut tail: Vec<f64> =
            (0..count).map(|i| dice.normal() * 10f64.powf(-3.0 * i as f64 / rate_hz / self.rt60_s)).collect();
        Section::high(120.0, rate_hz).run(&mut tail);
        Section::low(5_000.0, rate_hz).run(&mut tail);
        let begins = ((0.004 * rate_hz) as usize).min(count - 1);
        for (i, x) in tail[..begins].iter_mut().enumerate() {
            *x *= i as f64 / begins as f64;
        }
        let most = tail[begins..].iter().fold(0.0_f64, |most, x| most.max(x.abs()));
        for _ in 0..6 {
            let at = (dice.between(0.002, 0.025) * rate_hz) as usize;
            let sign = if dice.chance(0.5) { 1.0 } else { -1.0 };
            tail[at.min(count - 1)] += sign * dice.between(0.5, 1.5) * most;
        }
        let energy: f64 = tail.iter().map(|x| x * x).sum();
        let scale = 10f64.powf(-self.direct_db / 20.0) / energy.sqrt().max(1e-12);
        tail.iter_mut().for_each(|x| *x *= scale);
        tail[0] += 1.0;
        convolved(sound, &tail)
    }
}

/// One transform over all of it: sounds are short enough.
fn convolved(sound: &[f64], with: &[f64]) -> Vec<f64> {
    let size = (sound.len() + with.len()).next_power_of_two();
    let mut planner = RealFftPlanner::<f64>::new();
    let (there, back) = (planner.plan_fft_forward(size), planner.plan_fft_inverse(size));
    let transformed = |values: &[f64]| {
        let mut input = there.make_input_vec();
        input[..values.len()].copy_from_slice(values);
        let mut output = there.make_output_vec();
        there.process(&mut input, &mut output).expect("the buffers were made by the transform itself");
        output
    };
    let mut product = transformed(sound);
    product.iter_mut().zip(transformed(with)).for_each(|(x, y)| *x *= y);
    let mut both = back.make_output_vec();
    back.process(&mut product, &mut both).expect("the product of two real sounds' spectra is one");
    both.truncate(sound.len());
    both.iter_mut().for_each(|x| *x /= size as f64);
    both
}

/// Mains hum, a fan's blade tone with its wash, and pink noise.
fn garage(count: usize, rate_hz: f64, dice: &mut Dice) -> Vec<f64> {
    let mains_hz = dice.one_of(&[50.0, 60.0]);
    let turns_hz = dice.between(18.0, 27.0);
    let blades = dice.between(3.0, 6.0).floor();
    let tones: Vec<(f64, f64)> =
        (1..=4).map(|h| (dice.between(0.3, 1.0) / f64::from(h), dice.between(0.0, TAU))).collect();
    // One period of the hum in a table: ten harmonics a sample would cost more than the engine.
    let hum: Vec<(f64, f64, f64)> = (1..=10)
        .map(|h| (f64::from(h), dice.between(0.2, 1.0) / f64::from(h).powf(0.7), dice.between(0.0, TAU)))
        .collect();
    let period = |phase: f64| hum.iter().map(|(h, a, p)| a * (TAU * h * phase + p).cos()).sum();
    let hum: Vec<f64> = (0..=4096).map(|i| period(f64::from(i) / 4096.0)).collect();
    let blown: Vec<f64> = (0..=4096)
        .map(|i| {
            let phase = TAU * f64::from(i) / 4096.0;
            tones.iter().zip(1..).map(|((a, p), h)| a * (f64::from(h) * phase + p).cos()).sum()
        })
        .collect();
    let looked_up = |table: &[f64], phase: f64| table[(phase.fract() * 4096.0) as usize];
    let drift = wandering((count as f64 / rate_hz * 1000.0) as usize + 2, 2.0, dice);
    let mut turned = 0.0;
    let mut pink = Pink::default();
    let (mut above, mut below) = (Section::high(80.0, rate_hz), Section::low(1_500.0, rate_hz));
    let mut parts: [Vec<f64>; 4] = std::array::from_fn(|_| Vec::with_capacity(count));
    for i in 0..count {
        let t_s = i as f64 / rate_hz;
        turned += turns_hz * blades * (1.0 + 0.003 * drift[(t_s * 1000.0) as usize]) / rate_hz;
        let blade = looked_up(&blown, turned);
        let wash = below.step(above.step(dice.between(-1.0, 1.0)));
        parts[0].push(pink.next(dice));
        parts[1].push(looked_up(&hum, mains_hz * t_s));
        parts[2].push(blade);
        parts[3].push(wash * (1.0 + 0.15 * (TAU * turned.fract()).cos()));
    }
    let mut sum = vec![0.0; count];
    for (part, level) in parts.iter().zip([0.65, 0.45, 0.35, 0.5]) {
        let rms = (part.iter().map(|x| x * x).sum::<f64>() / count.max(1) as f64).sqrt();
        sum.iter_mut().zip(part).for_each(|(sum, x)| *sum += level / rms.max(1e-12) * x);
    }
    sum
}

/// Noise whose power falls as frequency rises: first-order filters an even ratio apart.
#[derive(Default)]
pub(in crate::practice) struct Pink([f64; 6]);

impl Pink {
    pub(in crate::practice) fn next(&mut self, dice: &mut Dice) -> f64 {
        let white = dice.between(-1.7, 1.7);
        let mut sum = 0.12 * white;
        for (state, keep) in self.0.iter_mut().zip([0.9997, 0.998, 0.99, 0.95, 0.8, 0.4_f64]) {
            *state = keep * *state + (1.0 - keep * keep).sqrt() * white;
            sum += 0.4 * *state;
        }
        sum
    }
}

/// Gusts that rumble, and a weaker rustle up to a kilohertz that comes with them.
fn wind(count: usize, rate_hz: f64, dice: &mut Dice) -> Vec<f64> {
    let gusts = wandering((count as f64 / rate_hz * 1000.0) as usize + 2, 0.6, dice);
    let mut rumble = [Section::low(50.0, rate_hz), Section::low(80.0, rate_hz)];
    let mut rustle = Section::low(400.0, rate_hz);
    (0..count)
        .map(|i| {
            let gust = (1.1 * gusts[(i as f64 / rate_hz * 1000.0) as usize]).exp();
            let noise = dice.between(-1.7, 1.7);
            let low = rumble.iter_mut().fold(noise, |x, filter| filter.step(x));
            gust * (25.0 * low + rustle.step(dice.between(-1.7, 1.7)))
        })
        .collect()
}

/// Gain wanders by 2 dB within a second; the direct sound meets one reflection whose way changes.
fn hand_held(sound: &[f64], rate_hz: f64, dice: &mut Dice) -> Vec<f64> {
    let steps = (sound.len() as f64 / rate_hz * 1000.0) as usize + 2;
    let (gain, way) = (wandering(steps, 0.7, dice), wandering(steps, 1.5, dice));
    (0..sound.len())
        .map(|i| {
            let step = (i as f64 / rate_hz * 1000.0) as usize;
            let later = (2.5e-3 + 1.0e-3 * way[step].clamp(-2.0, 2.0)) * rate_hz;
            let (whole, part) = (later as usize, later.fract());
            let back = |by: usize| i.checked_sub(by).map_or(0.0, |at| sound[at]);
            let reflected = back(whole) * (1.0 - part) + back(whole + 1) * part;
            10f64.powf(2.0 * gain[step] / 20.0) * (sound[i] + 0.5 * reflected)
        })
        .collect()
}

impl Phone {
    /// High-pass at 150 Hz, gain control, gate, soft clipping.
    fn process(&self, sound: &mut [f64], rate_hz: f64) {
        high_pass(sound, 150.0, rate_hz);
        let rms = (sound.iter().map(|x| x * x).sum::<f64>() / sound.len().max(1) as f64).sqrt();
        let scale = 1.0 / rms.max(1e-12);
        const WANTED: f64 = 0.25;
        let share = |seconds: f64| 1.0 - (-1.0 / (seconds * rate_hz)).exp();
        let (attack, release) = (share(0.03), share(0.6));
        let (short, long) = (share(0.015), share(2.0));
        let (opens, shuts) = (share(0.005), share(0.06));
        let (mut power, mut now, mut usual, mut open) = (WANTED * WANTED, 1.0, 1.0, 1.0);
        for x in sound {
            let loud = *x * scale;
            let squared = loud * loud;
            power += if squared > power { attack } else { release } * (squared - power);
            let mut gain = (WANTED / (power + 1e-12).sqrt()).min(8.0);
            if self.gate {
                now += short * (squared - now);
                usual += long * (squared - usual);
                // Ten decibels below what is usual is taken for a pause: 15 dB down.
                let wanted = if now < 0.1 * usual { 0.18 } else { 1.0 };
                open += if wanted > open { opens } else { shuts } * (wanted - open);
                gain *= open;
            }
            *x = (loud * gain * self.drive).tanh() / self.drive.tanh().max(1e-6);
        }
    }
}

/// The sound at another sample rate: a windowed sinc over 24 zero crossings to either side.
pub fn resampled(sound: &[f64], from_hz: f64, to_hz: f64) -> Vec<f64> {
    if from_hz == to_hz || sound.is_empty() {
        return sound.to_vec();
    }
    const CROSSINGS: usize = 24;
    const FINE: usize = 256;
    let kernel: Vec<f64> = (0..=CROSSINGS * FINE + 1)
        .map(|i| {
            let x = i as f64 / FINE as f64;
            let window = (PI * x / CROSSINGS as f64 / 2.0).cos().powi(2);
            if x >= CROSSINGS as f64 {
                0.0
            } else if i == 0 {
                1.0
            } else {
                (PI * x).sin() / (PI * x) * window
            }
        })
        .collect();
    // Cut a little below half the lower rate.
    let cut = (to_hz / from_hz).min(1.0) * 0.94;
    let reach = CROSSINGS as f64 / cut;
    let count = (sound.len() as f64 * to_hz / from_hz).round() as usize;
    (0..count)
        .map(|i| {
            let centre = i as f64 * from_hz / to_hz;
            let (from, to) = ((centre - reach).ceil().max(0.0) as usize, (centre + reach).floor() as usize);
            let sum: f64 = (from..=to.min(sound.len() - 1))
                .map(|j| {
                    let at = (j as f64 - centre).abs() * cut * FINE as f64;
                    let whole = at as usize;
                    let (low, high) = (kernel[whole], kernel[whole + 1]);
                    sound[j] * (low + (at - whole as f64) * (high - low))
                })
                .sum();
            cut * sum
        })
        .collect()
}
