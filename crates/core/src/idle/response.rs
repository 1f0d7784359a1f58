//! The shapes of curve that speed against richness may have, before any hold.
//!
//! A *shape* is speed over its highest value, against turns richer than the lean edge. Shapes are
//! drawn from ranges of physical quantities by a fixed low-discrepancy sequence, so that the same
//! question always meets the same family.

use crate::error::{Result, require};

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
    fn at(self, share: f64) -> f64 {
        self.low + (self.high - self.low) * share
    }

    /// The value a share of the way up, in equal ratios.
    fn at_ratio(self, share: f64) -> f64 {
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
/// | *s* | `richness_per_turn` | relative change of richness per turn, at best | 1/turn | 0.12 to 0.50, in equal ratios |
/// | *c* | `saturation_per_turn` | how fast that change fades towards rich | 1/turn | −0.2 to 0.9 |
/// | *a_l*, *a_r* | `lean_steepness`, `rich_droop` | fall of torque away from best | – | 1.5 to 3.0, 0.3 to 1.2 |
/// | *φ_m*, *w* | `misfire_richness`, `misfire_width` | where half the cycles burn, and how abruptly | – | 0.68 to 0.98, 0.015 to 0.05 |
/// | *η* | `speed_per_torque` | relative change of speed per relative change of torque | – | 0.55 to 1.05 |
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
}

impl Default for MixtureResponse {
    fn default() -> Self {
        MixtureResponse {
            best_richness: Span::new(1.05, 1.20),
            richness_per_turn: Span::new(0.12, 0.50),
            saturation_per_turn: Span::new(-0.2, 0.9),
            lean_steepness: Span::new(1.5, 3.0),
            rich_droop: Span::new(0.3, 1.2),
            misfire_richness: Span::new(0.68, 0.98),
            misfire_width: Span::new(0.015, 0.05),
            speed_per_torque: Span::new(0.55, 1.05),
            knee_share: 0.45,
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
        require((0.0..=1.0).contains(&self.knee_share), "knee_share", self.knee_share, "from 0 to 1")
    }

    /// The family as shapes, for one screw of `screws` that feed the engine.
    pub(super) fn shapes(&self, screws: u32, count: usize) -> Vec<Shape> {
        (0..count)
            .map(|index| {
                let share = |dimension: usize| fractional((index as f64 + 0.5) * IRRATIONAL[dimension]);
                if share(8) < self.knee_share {
                    Shape::tabulate(&Knee::draw(&share), screws)
                } else {
                    Shape::tabulate(&Burn::draw(self, &share), screws)
                }
            })
            .collect()
    }
}

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

/// Relative speed against turns from some origin near best.
trait Curve {
    fn speed(&self, x: f64) -> f64;
}

/// Torque with a misfire limit, the equations of [`MixtureResponse`].
struct Burn {
    best: f64,
    per_turn: f64,
    saturation: f64,
    lean: f64,
    rich: f64,
    misfire: f64,
    width: f64,
    exponent: f64,
}

impl Burn {
    fn draw(response: &MixtureResponse, share: &impl Fn(usize) -> f64) -> Self {
        Burn {
            best: response.best_richness.at(share(0)),
            per_turn: response.richness_per_turn.at_ratio(share(1)),
            saturation: response.saturation_per_turn.at(share(2)),
            lean: response.lean_steepness.at(share(3)),
            rich: response.rich_droop.at(share(4)),
            misfire: response.misfire_richness.at(share(5)),
            width: response.misfire_width.at(share(6)),
            exponent: response.speed_per_torque.at(share(7)),
        }
    }
}

impl Curve for Burn {
    fn speed(&self, x: f64) -> f64 {
        let c = self.saturation;
        let grown = if c.abs() < 1e-6 { x } else { (1.0 - (-c * x).exp()) / c };
        // Beyond a factor of e nothing of interest is left.
        let phi = self.best * (self.per_turn * grown).clamp(-1.0, 1.0).exp();
        let away = phi - self.best;
        let curvature = if away < 0.0 { self.lean } else { self.rich };
        let torque = (1.0 - curvature * away * away).max(0.01);
        let burning = 1.0 / (1.0 + (-(phi - self.misfire) / self.width).exp());
        (torque * burning).powf(self.exponent)
    }
}

/// A plateau with a soft knee on the lean side and a droop on the rich side.
struct Knee {
    slope: f64,
    softness: f64,
    droop: f64,
    level_for: f64,
}

impl Knee {
    fn draw(share: &impl Fn(usize) -> f64) -> Self {
        Knee {
            slope: Span::new(0.05, 0.7).at_ratio(share(0)),
            softness: Span::new(0.03, 0.4).at_ratio(share(1)),
            droop: Span::new(0.0003, 0.03).at_ratio(share(2)),
            level_for: Span::new(0.0, 1.5).at(share(3)),
        }
    }
}

impl Curve for Knee {
    fn speed(&self, x: f64) -> f64 {
        let z = -x / self.softness;
        let soft = if z > 30.0 { z } else { z.exp().ln_1p() };
        let past = (x - self.level_for).max(0.0);
        (1.0 - self.slope * self.softness * soft - self.droop * past * past).max(0.01)
    }
}

/// Steps of a shape's table per turn.
const STEPS_PER_TURN: f64 = 24.0;
/// Where the table begins and ends, turns from the curve's origin near best: leaner than this the
/// engine is dead, richer than this no screw goes.
const TABLE_FROM: f64 = -3.5;
const TABLE_TO: f64 = 7.0;

/// A fall of one hundredth of one cylinder's part marks the ends of the plateau.
pub(super) const EDGE_FALL: f64 = 0.01;

/// One shape: speed over its highest value, against turns richer than the lean edge.
pub(super) struct Shape {
    table: Vec<f64>,
    /// Where the lean edge lies in the table, turns from its beginning.
    edge: f64,
    /// Turns from the edge to the highest speed.
    pub(super) best: f64,
    /// Turns from the edge to the rich end of the plateau, where speed is again 1 % down.
    pub(super) rich_end: f64,
}

impl Shape {
    fn tabulate(curve: &impl Curve, screws: u32) -> Self {
        let count = ((TABLE_TO - TABLE_FROM) * STEPS_PER_TURN) as usize + 1;
        let mut table: Vec<f64> =
            (0..count).map(|i| curve.speed(TABLE_FROM + i as f64 / STEPS_PER_TURN)).collect();
        let top_at = (0..count).max_by(|&a, &b| table[a].total_cmp(&table[b])).unwrap_or(0);
        let top = table[top_at];
        let part = 1.0 / f64::from(screws);
        for speed in &mut table {
            *speed = 1.0 - (1.0 - *speed / top) * part;
        }
        let threshold = 1.0 - EDGE_FALL * part;
        let lean_of = (0..top_at).rev().find(|&i| table[i] < threshold);
        let edge = lean_of.map_or(0.0, |i| i as f64 + (threshold - table[i]) / (table[i + 1] - table[i]));
        let rich_of = (top_at..count).find(|&i| table[i] < threshold);
        let rich =
            rich_of.map_or(count as f64, |i| i as f64 - (threshold - table[i]) / (table[i - 1] - table[i]));
        Shape {
            table,
            edge: edge / STEPS_PER_TURN,
            best: (top_at as f64 - edge) / STEPS_PER_TURN,
            rich_end: (rich - edge) / STEPS_PER_TURN,
        }
    }

    /// Relative speed, and its slope per turn, so many turns richer than the edge.
    pub(super) fn at(&self, turns_richer: f64) -> (f64, f64) {
        let place = ((turns_richer + self.edge) * STEPS_PER_TURN).clamp(0.0, (self.table.len() - 2) as f64);
        let index = place as usize;
        let (a, b) = (self.table[index], self.table[index + 1]);
        (a + (b - a) * (place - index as f64), (b - a) * STEPS_PER_TURN)
    }

    /// Turns from the edge to where speed has fallen by a share of its highest, on the lean side.
    pub(super) fn lean_fall(&self, share: f64) -> f64 {
        let wanted = 1.0 - share;
        let mut place = self.best;
        while -self.edge < place && wanted < self.at(place).0 {
            place -= 1.0 / STEPS_PER_TURN;
        }
        place
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_shape_is_one_hundredth_down_at_its_edge_and_never_above_its_top() {
        for screws in [1, 4] {
            for shape in MixtureResponse::default().shapes(screws, 200) {
                let fall = EDGE_FALL / f64::from(screws);
                assert!((shape.at(0.0).0 - (1.0 - fall)).abs() < 0.1 * fall + 2e-4, "{}", shape.at(0.0).0);
                assert!(shape.table.iter().all(|&speed| speed <= 1.001));
                assert!(
                    0.0 < shape.best && shape.best <= shape.rich_end,
                    "{} {}",
                    shape.best,
                    shape.rich_end
                );
            }
        }
    }

    #[test]
    fn published_best_torque_lies_between_fuel_air_ratios_of_0_07_and_0_08() {
        // NACA TR-189, summary: maximum power at a fuel-air ratio of 0.07 to 0.08. With 14.7 parts
        // of air to one of fuel that is an equivalence ratio of 1.03 to 1.18; the prior is centred inside.
        let best = MixtureResponse::default().best_richness;
        let middle = 0.5 * (best.low + best.high) / 14.7;
        assert!(0.07 < middle && middle < 0.08, "{middle}");
    }
}
