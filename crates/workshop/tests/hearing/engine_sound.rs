//! Engine sound at an exactly known speed: recorded exhaust pulses placed at crank-correct instants.
//!
//! The pulses are thirteen recordings from the free package `xmoto-data`; `scripts/fetch-pulses`
//! fetches it, and nothing of it is kept in the repository.

use std::path::{Path, PathBuf};

use bellmouth_core::engine::layout::Layout;

/// Sample rate of the pulses and of everything built from them, hertz.
pub(crate) const SAMPLE_RATE_HZ: f64 = 44_100.0;

/// A seeded generator of random numbers (splitmix64), the same on every machine.
pub(crate) struct Random(u64);

impl Random {
    pub(crate) fn new(seed: u64) -> Random {
        let mut random = Random(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ 0xD1B5_4A32_D192_ED03);
        random.next();
        random
    }

    pub(crate) fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Uniform in 0 to 1.
    pub(crate) fn uniform(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.uniform()
    }

    /// Normal with mean 0 and variance 1.
    pub(crate) fn normal(&mut self) -> f64 {
        (-2.0 * (1.0 - self.uniform()).ln()).sqrt() * (std::f64::consts::TAU * self.uniform()).cos()
    }
}

/// Where `scripts/fetch-pulses` leaves the archive.
pub(crate) fn archive() -> PathBuf {
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    let root = here.ancestors().find(|folder| folder.join("scripts/fetch-pulses").exists());
    root.unwrap_or(here).join("target/pulses/xmoto.bin")
}

/// The thirteen pulses, each of energy 1 and starting at its onset.
///
/// Panics with the remedy where the archive is missing: a hearing test without sound proves nothing.
pub(crate) fn pulses() -> Vec<Vec<f64>> {
    let path = archive();
    let archive = std::fs::read(&path).unwrap_or_else(|error| {
        panic!("{}: {error}; run scripts/fetch-pulses once, it fetches the recorded pulses", path.display())
    });
    (0..13).map(|number| pulse(&archive, number)).collect()
}

/// One entry: its name, a space, 32 hexadecimal digits, four bytes of length, then the RIFF file.
fn pulse(archive: &[u8], number: usize) -> Vec<f64> {
    let name = format!("Textures/Sounds/engine_{number:02}.wav ");
    let at = archive
        .windows(name.len())
        .position(|window| window == name.as_bytes())
        .unwrap_or_else(|| panic!("the archive holds no {name}; run scripts/fetch-pulses again"));
    let riff = &archive[at + name.len() + 32 + 4..];
    assert_eq!(&riff[..4], b"RIFF", "{name} is no RIFF file");
    let word = |at: usize| u32::from_le_bytes(riff[at..at + 4].try_into().expect("four bytes")) as usize;
    let mut at = 12;
    let mut channels = 1;
    let samples = loop {
        let (kind, length) = (&riff[at..at + 4], word(at + 4));
        match kind {
            b"fmt " => {
                channels = usize::from(riff[at + 10]);
                assert_eq!((word(at + 12), riff[at + 22]), (44_100, 16), "{name} is not 44.1 kHz, 16 bit");
            }
            b"data" => break &riff[at + 8..at + 8 + length],
            _ => {}
        }
        at += 8 + length + length % 2;
    };
    let samples: Vec<f64> =
        samples.chunks_exact(2).map(|pair| f64::from(i16::from_le_bytes([pair[0], pair[1]]))).collect();
    let mono: Vec<f64> =
        samples.chunks_exact(channels).map(|frame| frame.iter().sum::<f64>() / channels as f64).collect();
    let peak = mono.iter().fold(0.0_f64, |peak, x| peak.max(x.abs()));
    let onset = mono.iter().position(|x| x.abs() > 0.1 * peak).unwrap_or(0).saturating_sub(40);
    let length = (0.12 * SAMPLE_RATE_HZ) as usize;
    let fade = (0.02 * SAMPLE_RATE_HZ) as usize;
    let mut pulse: Vec<f64> = mono[onset..].iter().copied().take(length).collect();
    for (i, x) in pulse.iter_mut().enumerate() {
        *x *= ((length - i) as f64 / fade as f64).min(1.0);
    }
    let energy: f64 = pulse.iter().map(|x| x * x).sum();
    pulse.iter().map(|x| x / energy.sqrt()).collect()
}

/// The noise an engine is heard through.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Noise {
    White,
    /// Mains hum, a fan's blade tone and pink noise.
    Garage,
}

/// What is to be heard.
pub(crate) struct Recipe<'a> {
    pub(crate) layout: &'a Layout,
    pub(crate) rpm: f64,
    pub(crate) seconds: f64,
    /// From the second second on the speed rises this fast, to four times what it was at most.
    pub(crate) rising_rpm_per_s: f64,
    /// Standard deviation of the slow wander, share of the speed.
    pub(crate) wander: f64,
    /// Standard deviation of one cycle's duration, share.
    pub(crate) jitter: f64,
    /// Loudness of each cylinder.
    pub(crate) cylinders: Vec<f64>,
    /// Each firing takes any pulse; otherwise each cylinder keeps its own.
    pub(crate) any_pulse: bool,
    pub(crate) noise: Noise,
    /// Ratio of RMS in 100 Hz to 8 kHz over the clip, decibels.
    pub(crate) ratio_db: f64,
    pub(crate) seed: u64,
}

/// Sound and its truth.
pub(crate) struct Clip {
    pub(crate) samples: Vec<f32>,
    /// Start of each working cycle, seconds.
    pub(crate) cycles: Vec<f64>,
    cycle_deg: f64,
}

impl Clip {
    /// The true speed averaged over the one cycle around an instant, rpm; nothing at the very ends.
    pub(crate) fn rpm(&self, t_s: f64) -> Option<f64> {
        let phase = self.phase(t_s)?;
        let (from, to) = (self.instant(phase - 0.5)?, self.instant(phase + 0.5)?);
        Some(self.cycle_deg / 6.0 / (to - from))
    }

    fn phase(&self, t_s: f64) -> Option<f64> {
        let next = self.cycles.partition_point(|&start| start <= t_s);
        if next == 0 || next == self.cycles.len() {
            return None;
        }
        let (from, to) = (self.cycles[next - 1], self.cycles[next]);
        Some((next - 1) as f64 + (t_s - from) / (to - from))
    }

    fn instant(&self, phase: f64) -> Option<f64> {
        let whole = phase.floor();
        let (from, to) = (self.cycles.get(whole as usize)?, self.cycles.get(whole as usize + 1)?);
        (phase >= 0.0).then(|| from + (phase - whole) * (to - from))
    }
}

/// Builds the sound.
pub(crate) fn render(recipe: &Recipe, pulses: &[Vec<f64>]) -> Clip {
    let mut random = Random::new(recipe.seed);
    let count = (recipe.seconds * SAMPLE_RATE_HZ) as usize;
    let mut sound = vec![0.0; count + SAMPLE_RATE_HZ as usize];
    let own: Vec<usize> =
        recipe.layout.firing_deg.iter().map(|_| random.next() as usize % pulses.len()).collect();
    let mut cycles = Vec::new();
    let mut t = -random.between(0.3, 0.5);
    let mut wander = random.normal();
    while t < recipe.seconds + 0.5 {
        let risen = (recipe.rpm + recipe.rising_rpm_per_s * (t - 2.0).max(0.0)).min(4.0 * recipe.rpm);
        let rpm = risen * (1.0 + recipe.wander * wander) * (1.0 + recipe.jitter * random.normal());
        let duration = recipe.layout.cycle_deg / 6.0 / rpm;
        // Wander keeps its memory for about a second.
        let memory = (-duration / 1.2).exp();
        wander = memory * wander + (1.0 - memory * memory).sqrt() * random.normal();
        cycles.push(t);
        for (cylinder, angle) in recipe.layout.firing_deg.iter().enumerate() {
            let at = t + angle / recipe.layout.cycle_deg * duration;
            let strength = recipe.cylinders[cylinder] * (1.0 + 0.1 * random.normal()).max(0.2);
            let which = if recipe.any_pulse { random.next() as usize % pulses.len() } else { own[cylinder] };
            let start = (at * SAMPLE_RATE_HZ).round() as i64;
            for (i, x) in pulses[which].iter().enumerate() {
                if let Ok(at) = usize::try_from(start + i as i64)
                    && at < sound.len()
                {
                    sound[at] += strength * x;
                }
            }
        }
        t += duration;
    }
    sound.truncate(count);
    let noise = match recipe.noise {
        Noise::White => (0..count).map(|_| random.normal()).collect(),
        Noise::Garage => garage(count, &mut random),
    };
    let scale = heard_rms(&sound) / heard_rms(&noise) / 10f64.powf(recipe.ratio_db / 20.0);
    let mixed: Vec<f64> = sound.iter().zip(&noise).map(|(s, n)| s + scale * n).collect();
    Clip { samples: to_level(&mixed, 0.1), cycles, cycle_deg: recipe.layout.cycle_deg }
}

/// Scales to an RMS level and to single precision.
pub(crate) fn to_level(sound: &[f64], rms: f64) -> Vec<f32> {
    let now = (sound.iter().map(|x| x * x).sum::<f64>() / sound.len() as f64).sqrt();
    sound.iter().map(|x| (x * rms / now).clamp(-1.0, 1.0) as f32).collect()
}

/// Mains hum, a fan's blade tone with its wash, and pink noise.
pub(crate) fn garage(count: usize, random: &mut Random) -> Vec<f64> {
    let mains = if random.uniform() < 0.5 { 50.0 } else { 60.0 };
    let hum: Vec<(f64, f64, f64)> = (1..=10)
        .map(|h| {
            let h = f64::from(h);
            (mains * h, random.between(0.2, 1.0) / h.powf(0.7), random.between(0.0, std::f64::consts::TAU))
        })
        .collect();
    let rotor = random.between(18.0, 27.0);
    let blades = random.between(3.0, 6.0).floor();
    let harmonics: Vec<(f64, f64)> = (1..=4)
        .map(|h| (random.between(0.3, 1.0) / f64::from(h), random.between(0.0, std::f64::consts::TAU)))
        .collect();
    let mut pink = Pink::default();
    let mut wash = 0.0;
    let mut phase = 0.0;
    let mut drift = 0.0;
    (0..count)
        .map(|i| {
            let t = i as f64 / SAMPLE_RATE_HZ;
            let hum: f64 = hum.iter().map(|(f, a, p)| a * (std::f64::consts::TAU * f * t + p).cos()).sum();
            drift += 0.003 * (2.0 / (2.0 * SAMPLE_RATE_HZ)).sqrt() * random.normal()
                - drift / (2.0 * SAMPLE_RATE_HZ);
            phase += std::f64::consts::TAU * rotor * (1.0 + drift) / SAMPLE_RATE_HZ;
            let tone: f64 = harmonics
                .iter()
                .zip(1..)
                .map(|((a, p), h)| a * (f64::from(h) * blades * phase + p).cos())
                .sum();
            wash += 0.15 * (random.normal() - wash);
            0.65 * 1.4 * pink.next(random)
                + 0.4 * hum
                + 0.4 * tone
                + 0.5 * 3.5 * wash * (1.0 + 0.15 * (blades * phase).cos())
        })
        .collect()
}

/// Pink noise by a sum of first-order filters (a well known approximation; its exact slope does not
/// matter here).
#[derive(Default)]
pub(crate) struct Pink([f64; 5]);

impl Pink {
    pub(crate) fn next(&mut self, random: &mut Random) -> f64 {
        let white = random.normal();
        let mut sum = 0.1 * white;
        for (state, decay) in self.0.iter_mut().zip([0.999, 0.99, 0.95, 0.8, 0.4_f64]) {
            *state = decay * *state + (1.0 - decay * decay).sqrt() * white;
            sum += 0.4 * *state;
        }
        sum
    }
}

/// RMS in 100 Hz to 8 kHz: second-order Butterworth corners, run twice.
pub(crate) fn heard_rms(sound: &[f64]) -> f64 {
    let mut filters = [Biquad::high(100.0), Biquad::high(100.0), Biquad::low(8_000.0), Biquad::low(8_000.0)];
    let sum: f64 = sound
        .iter()
        .map(|&x| {
            let y = filters.iter_mut().fold(x, |x, filter| filter.step(x));
            y * y
        })
        .sum();
    (sum / sound.len() as f64).sqrt()
}

/// A second-order Butterworth section.
pub(crate) struct Biquad {
    b: [f64; 3],
    a: [f64; 2],
    state: [f64; 2],
}

impl Biquad {
    pub(crate) fn low(hertz: f64) -> Biquad {
        let (k, norm) = Biquad::warp(hertz);
        Biquad::with([k * k * norm, 2.0 * k * k * norm, k * k * norm], k, norm)
    }

    pub(crate) fn high(hertz: f64) -> Biquad {
        let (k, norm) = Biquad::warp(hertz);
        Biquad::with([norm, -2.0 * norm, norm], k, norm)
    }

    fn warp(hertz: f64) -> (f64, f64) {
        let k = (std::f64::consts::PI * hertz / SAMPLE_RATE_HZ).tan();
        (k, 1.0 / (1.0 + std::f64::consts::SQRT_2 * k + k * k))
    }

    fn with(b: [f64; 3], k: f64, norm: f64) -> Biquad {
        let a = [2.0 * (k * k - 1.0) * norm, (1.0 - std::f64::consts::SQRT_2 * k + k * k) * norm];
        Biquad { b, a, state: [0.0; 2] }
    }

    pub(crate) fn step(&mut self, x: f64) -> f64 {
        let y = self.b[0] * x + self.state[0];
        self.state[0] = self.b[1] * x - self.a[0] * y + self.state[1];
        self.state[1] = self.b[2] * x - self.a[1] * y;
        y
    }
}
