//! The shapes of curve that speed against richness may have, before any hold.
//!
//! A *shape* is speed over its highest value, against turns richer than the lean edge. Shapes are
//! drawn from ranges of physical quantities by a fixed low-discrepancy sequence, so that the same
//! question always meets the same family.

use std::sync::{Arc, LazyLock};

use crate::error::{Result, require};
use crate::idle::shape::Shape;
use crate::quantity::Screw;

/// A range of equally likely values.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Span {
    /// The lowest value.
    pub low: f64,
    /// The highest value.
    pub high: f64,
}

impl Span {
    /// A range from `low` to `high`.
    pub const fn new(low: f64, high: f64) -> Self {
        Span { low, high }
    }

    /// The value a share of the way up.
    pub(super) fn at(self, share: f64) -> f64 {
        self.low + (self.high - self.low) * share
    }

    /// The value a share of the way up, in equal ratios.
    pub(super) fn at_ratio(self, share: f64) -> f64 {
        self.low * (self.high / self.low).powf(share)
    }
}

/// What is thought possible of an engine's answer to mixture, as ranges.
///
/// ```text
/// φ(x)   = φ_b · exp[s (1 − exp(−c x)) / c]              richness, x turns richer than best
/// f(φ)   = 1 − a_l (φ − φ_b)²  lean of φ_b,   1 − a_r (φ − φ_b)²  rich of it
/// b(φ)   = 1 / (1 + exp[−(φ − φ_m) / w])                 share of cycles that burn
/// N / N₀ = (f b)^η
/// ```
///
/// | symbol | field | meaning | unit | default |
/// |:---:|---|---|:---:|---|
/// | *φ_b* | `best_richness` | equivalence ratio of best torque | – | 1.05 to 1.20 |
/// | *s* | `richness_per_turn` | relative change of richness per turn, at best | 1/turn | 0.12 to 0.80, in equal ratios |
/// | *c* | `saturation_per_turn` | how fast that change fades towards rich | 1/turn | −0.2 to 0.9 |
/// | *a_l*, *a_r* | `lean_steepness`, `rich_droop` | fall of torque away from best | – | 1.5 to 3.0, 0.3 to 1.2 |
/// | *φ_m*, *w* | `misfire_richness`, `misfire_width` | where half the cycles burn, and how abruptly | – | 0.68 to 0.98, 0.015 to 0.05 |
/// | *η* | `speed_per_torque` | relative change of speed per relative change of torque | – | 0.55 to 1.05 |
///
/// A share `fading_share` has a screw that loses its effect towards lean, as one does that lets air in
/// beside a fixed jet: there *c* = −`fading_per_turn` and *s* = `lean_reach` · `fading_per_turn`, so that
/// it never gets leaner than *φ_b* · exp(−`lean_reach`), and may have no lean edge at all.
///
/// A share `knee_share` of the family is not physical: a plateau with a soft knee and a droop, for
/// machines the equations above do not describe.
///
/// - **Source** best torque at a fuel-air ratio of 0.07 to 0.08, that is φ 1.03 to 1.18:
///   [NACA TR-189](crate::Bibliography::Naca189). The other ranges: typical magnitudes, from memory.
/// - **Assumes** that the engine is warm, the stop untouched, ignition timing constant.
/// - **Departs** from the source in the shape: a parabola on either side of best.
#[derive(Clone, Debug, PartialEq)]
pub struct MixtureResponse {
    /// Equivalence ratio of best torque.
    pub best_richness: Span,
    /// Relative change of richness per turn, at best torque.
    pub richness_per_turn: Span,
    /// How fast that change fades towards rich, per turn; negative where it grows.
    pub saturation_per_turn: Span,
    /// Curvature of torque lean of best.
    pub lean_steepness: Span,
    /// Curvature of torque rich of best.
    pub rich_droop: Span,
    /// Equivalence ratio at which half of the cycles burn.
    pub misfire_richness: Span,
    /// Width of the transition to misfire, equivalence ratio.
    pub misfire_width: Span,
    /// Relative change of speed per relative change of torque.
    pub speed_per_torque: Span,
    /// Share of the family that is a generic soft knee, 0 to 1.
    pub knee_share: f64,
    /// Share of the family whose screw loses its effect towards lean, 0 to 1.
    pub fading_share: f64,
    /// There: how much leaner than best it gets at all, as a logarithm.
    pub lean_reach: Span,
    /// There: how fast the effect fades towards lean, per turn.
    pub fading_per_turn: Span,
}

impl MixtureResponse {
    /// What is thought possible with a kind of screw. An air screw lets air in beside a fixed jet: the
    /// farther out (the leaner), the less it does, and most run to their end without a lean edge. A fuel
    /// screw is the fuel's own way in and shuts it off at its seat.
    pub fn of(screw: Screw) -> Self {
        let (knee_share, fading_share) = match screw {
            Screw::Fuel => (0.30, 0.06),
            Screw::Air => (0.15, 0.70),
        };
        MixtureResponse { knee_share, fading_share, ..MixtureResponse::default() }
    }
}

impl Default for MixtureResponse {
    /// What is thought possible where the kind of screw is not known.
    fn default() -> Self {
        MixtureResponse {
            best_richness: Span::new(1.05, 1.20),
            richness_per_turn: Span::new(0.12, 0.80),
            saturation_per_turn: Span::new(-0.2, 0.9),
            lean_steepness: Span::new(1.5, 3.0),
            rich_droop: Span::new(0.3, 1.2),
            misfire_richness: Span::new(0.68, 0.98),
            misfire_width: Span::new(0.015, 0.05),
            speed_per_torque: Span::new(0.55, 1.05),
            knee_share: 0.25,
            fading_share: 0.45,
            lean_reach: Span::new(0.01, 0.35),
            fading_per_turn: Span::new(0.5, 1.8),
        }
    }
}

impl MixtureResponse {
    /// Refuses ranges that mean nothing.
    pub(super) fn check(&self) -> Result<()> {
        let ranges = [
            (self.best_richness, "best_richness", 0.1),
            (self.richness_per_turn, "richness_per_turn", 0.01),
            (self.saturation_per_turn, "saturation_per_turn", -3.0),
            (self.lean_steepness, "lean_steepness", 0.01),
            (self.rich_droop, "rich_droop", 0.001),
            (self.misfire_richness, "misfire_richness", 0.01),
            (self.misfire_width, "misfire_width", 0.001),
            (self.speed_per_torque, "speed_per_torque", 0.05),
            (self.lean_reach, "lean_reach", 0.001),
            (self.fading_per_turn, "fading_per_turn", 0.01),
        ];
        for (range, name, least) in ranges {
            require(
                least <= range.low,
                name,
                range.low,
                "a range that starts above its least sensible value",
            )?;
            require(
                range.low <= range.high && range.high <= 20.0,
                name,
                range.high,
                "a range that ends above its start, below 20",
            )?;
        }
        require((0.0..=1.0).contains(&self.knee_share), "knee_share", self.knee_share, "from 0 to 1")?;
        let both = self.knee_share + self.fading_share;
        require(
            0.0 <= self.fading_share && both <= 1.0,
            "fading_share",
            self.fading_share,
            "from 0 to what knees leave of 1",
        )
    }

    /// The family as shapes, for one screw of `screws` that feed the engine. Those of the two kinds of screw
    /// are always the same, and are tabulated once.
    pub(super) fn shapes(&self, screws: u32) -> Arc<[Shape]> {
        static FUEL: LazyLock<Arc<[Shape]>> = LazyLock::new(|| MixtureResponse::of(Screw::Fuel).tabulated(1));
        static AIR: LazyLock<Arc<[Shape]>> = LazyLock::new(|| MixtureResponse::of(Screw::Air).tabulated(1));
        if screws == 1 && *self == MixtureResponse::of(Screw::Fuel) {
            Arc::clone(&FUEL)
        } else if screws == 1 && *self == MixtureResponse::of(Screw::Air) {
            Arc::clone(&AIR)
        } else {
            self.tabulated(screws)
        }
    }

    fn tabulated(&self, screws: u32) -> Arc<[Shape]> {
        (0..SHAPES)
            .map(|index| {
                let share = |dimension: usize| fractional((index as f64 + 0.5) * IRRATIONAL[dimension]);
                Shape::draw(self, &share, screws)
            })
            .collect()
    }
}

/// Members of the family.
const SHAPES: usize = 320;

/// Fractional parts of multiples of these fill the unit cube evenly: square roots of primes.
const IRRATIONAL: [f64; 9] = [
    std::f64::consts::SQRT_2,
    1.732_050_807_568_877_2,
    2.236_067_977_499_79,
    2.645_751_311_064_590_7,
    3.316_624_790_355_4,
    3.605_551_275_463_989,
    4.123_105_625_617_661,
    4.358_898_943_540_674,
    4.795_831_523_312_719,
];

fn fractional(x: f64) -> f64 {
    x - x.floor()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn published_best_torque_lies_between_fuel_air_ratios_of_0_07_and_0_08() {
        // NACA TR-189, summary: maximum power at a fuel-air ratio of 0.07 to 0.08. With 14.7 parts
        // of air to one of fuel that is an equivalence ratio of 1.03 to 1.18; the prior is centred inside.
        let best = MixtureResponse::default().best_richness;
        let middle = 0.5 * (best.low + best.high) / 14.7;
        assert!(0.07 < middle && middle < 0.08, "{middle}");
    }
}
