//! Chance from a seed, the same on every machine and in every version.

use std::f64::consts::TAU;

/// A small seeded generator, splitmix64. Written out because a population must not change when a
/// library improves its own.
#[derive(Clone, Debug)]
pub struct Dice(u64);

impl Dice {
    /// Chance that begins at a seed.
    pub fn new(seed: u64) -> Dice {
        Dice(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ 0xD1B5_4A32_D192_ED03)
    }

    /// Evenly from 0 to 1, 1 excluded.
    pub fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Evenly between two values.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// Evenly in ratio between two values above zero.
    pub fn between_in_ratio(&mut self, low: f64, high: f64) -> f64 {
        low * (high / low).powf(self.unit())
    }

    /// Normally distributed, mean 0, standard deviation 1.
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * self.unit().max(f64::MIN_POSITIVE).ln()).sqrt();
        radius * (TAU * self.unit()).cos()
    }

    /// True with a chance.
    pub fn chance(&mut self, chance: f64) -> bool {
        self.unit() < chance
    }

    /// One of some.
    pub fn one_of<T: Copy>(&mut self, some: &[T]) -> T {
        some[((self.unit() * some.len() as f64) as usize).min(some.len() - 1)]
    }
}
