//! Engine sound made here, without a line of the program that will hear it.
//!
//! Every firing is a burst of noise that dies away over a low thump; firings fall at the crank angles
//! of a layout, and every cycle lasts a little longer or shorter than the one before.

use std::fs;
use std::path::Path;

/// Samples a second.
pub const RATE_HZ: u32 = 44_100;

/// An engine that idles.
#[derive(Clone, Debug)]
pub struct Idling {
    /// Crank angles of the firings in a cycle of 720°.
    pub firing_deg: &'static [f64],
    /// Mean speed, rpm.
    pub rpm: f64,
    /// Standard deviation of a cycle's length, as a share of it.
    pub jitter: f64,
    /// How much there is, seconds.
    pub duration_s: f64,
    /// Seed of everything random in it.
    pub seed: u64,
}

impl Idling {
    /// A 45° twin: its firings are uneven, so that no tachometer is needed to tell its speed.
    pub fn twin_45(rpm: f64, duration_s: f64) -> Idling {
        Idling { firing_deg: &[0.0, 315.0], rpm, jitter: 0.012, duration_s, seed: 7 }
    }

    /// Its sound, -1 to 1.
    pub fn samples(&self) -> Vec<f32> {
        let rate = f64::from(RATE_HZ);
        let length = (self.duration_s * rate) as usize;
        let mut dice = Dice(self.seed);
        let mut sound: Vec<f32> = (0..length).map(|_| (0.004 * dice.normal()) as f32).collect();
        // Half a second of nothing but the room, as when a page opens before the engine is near.
        let mut cycle_starts_s = 0.5;
        while cycle_starts_s < self.duration_s {
            let cycle_s = 120.0 / self.rpm * (1.0 + self.jitter * dice.normal());
            for angle in self.firing_deg {
                let at_s = cycle_starts_s + cycle_s * angle / 720.0;
                let strength = 0.4 * (1.0 + 0.08 * dice.normal());
                burst(&mut sound, (at_s * rate) as usize, strength, &mut dice);
            }
            cycle_starts_s += cycle_s;
        }
        sound
    }

    /// Writes it as a mono WAV of 16 bits.
    pub fn write_wav(&self, path: &Path) {
        write_wav(path, &self.samples());
    }
}

/// Writes samples as a mono WAV of 16 bits.
pub fn write_wav(path: &Path, samples: &[f32]) {
    let data_bytes = u32::try_from(2 * samples.len()).expect("a clip is shorter than hours");
    let mut wav = Vec::with_capacity(44 + 2 * samples.len());
    wav.extend(b"RIFF");
    wav.extend((36 + data_bytes).to_le_bytes());
    wav.extend(b"WAVEfmt ");
    wav.extend(16u32.to_le_bytes());
    wav.extend([1u16, 1].map(u16::to_le_bytes).concat());
    wav.extend([RATE_HZ, 2 * RATE_HZ].map(u32::to_le_bytes).concat());
    wav.extend([2u16, 16].map(u16::to_le_bytes).concat());
    wav.extend(b"data");
    wav.extend(data_bytes.to_le_bytes());
    for sample in samples {
        wav.extend(((sample.clamp(-1.0, 1.0) * 32_767.0) as i16).to_le_bytes());
    }
    fs::write(path, wav).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
}

/// One firing: noise that decays within 8 ms over a thump of 90 Hz that decays within 25 ms.
fn burst(sound: &mut [f32], from: usize, strength: f64, dice: &mut Dice) {
    let rate = f64::from(RATE_HZ);
    for index in 0..(0.08 * rate) as usize {
        let Some(sample) = sound.get_mut(from + index) else { return };
        let t = index as f64 / rate;
        let noise = 0.7 * dice.normal() * (-t / 0.008).exp();
        let thump = (std::f64::consts::TAU * 90.0 * t).sin() * (-t / 0.025).exp();
        *sample += (strength * (0.5 * noise + 0.8 * thump)) as f32;
    }
}

/// A small seeded generator (splitmix64).
pub struct Dice(pub u64);

impl Dice {
    fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    /// A normal variate.
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * self.unit().max(1e-300).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.unit()).cos()
    }
}
