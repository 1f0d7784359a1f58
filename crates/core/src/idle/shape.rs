//! One shape of curve: speed over its highest value, against turns richer than the lean edge.

use crate::idle::response::{MixtureResponse, Span};

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
    fn draw(response: &MixtureResponse, share: &impl Fn(usize) -> f64, fades: bool) -> Self {
        let (per_turn, saturation) = if fades {
            let fading = response.fading_per_turn.at_ratio(share(2));
            (response.lean_reach.at_ratio(share(1)) * fading, -fading)
        } else {
            (response.richness_per_turn.at_ratio(share(1)), response.saturation_per_turn.at(share(2)))
        };
        Burn {
            best: response.best_richness.at(share(0)),
            per_turn,
            saturation,
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

/// One shape: speed over its highest value, against turns richer than its anchor, which is the lean
/// edge where it has one, else its best.
pub(super) struct Shape {
    table: Vec<f64>,
    /// Where the anchor lies in the table, turns from its beginning.
    anchor: f64,
    /// Whether speed ever falls on the lean side: a screw may lose its effect before that.
    pub(super) has_edge: bool,
    /// The fall that marks an edge, as a share of the highest speed.
    pub(super) edge_fall: f64,
    /// Turns from the anchor to the highest speed.
    pub(super) best: f64,
    /// Turns from the anchor to the rich end of the plateau, where speed is again 1 % down.
    pub(super) rich_end: f64,
}

impl Shape {
    /// A member of a family from its coordinates in the unit cube, for one screw of `screws`.
    pub(super) fn draw(response: &MixtureResponse, share: &impl Fn(usize) -> f64, screws: u32) -> Self {
        let kind = share(8);
        if kind < response.knee_share {
            Shape::tabulate(&Knee::draw(share), screws)
        } else {
            let fades = kind < response.knee_share + response.fading_share;
            Shape::tabulate(&Burn::draw(response, share, fades), screws)
        }
    }

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
        let anchor =
            lean_of.map_or(top_at as f64, |i| i as f64 + (threshold - table[i]) / (table[i + 1] - table[i]));
        let rich_of = (top_at..count).find(|&i| table[i] < threshold);
        let rich =
            rich_of.map_or(count as f64, |i| i as f64 - (threshold - table[i]) / (table[i - 1] - table[i]));
        Shape {
            table,
            anchor: anchor / STEPS_PER_TURN,
            has_edge: lean_of.is_some(),
            edge_fall: EDGE_FALL * part,
            best: (top_at as f64 - anchor) / STEPS_PER_TURN,
            rich_end: (rich - anchor) / STEPS_PER_TURN,
        }
    }

    /// Relative speed, and its slope per turn, so many turns richer than the anchor.
    pub(super) fn at(&self, turns_richer: f64) -> (f64, f64) {
        let place = ((turns_richer + self.anchor) * STEPS_PER_TURN).clamp(0.0, (self.table.len() - 2) as f64);
        let index = place as usize;
        let (a, b) = (self.table[index], self.table[index + 1]);
        (a + (b - a) * (place - index as f64), (b - a) * STEPS_PER_TURN)
    }

    /// Turns from the anchor to where speed has fallen by a share of its highest, on the lean side.
    pub(super) fn lean_fall(&self, share: f64) -> f64 {
        let wanted = 1.0 - share;
        let mut place = self.best;
        while -self.anchor < place && wanted < self.at(place).0 {
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
            for shape in MixtureResponse::default().shapes(screws).iter() {
                let fall = EDGE_FALL / f64::from(screws);
                let wanted = if shape.has_edge { 1.0 - fall } else { 1.0 };
                assert!((shape.at(0.0).0 - wanted).abs() < 0.1 * fall + 2e-4, "{}", shape.at(0.0).0);
                assert!(shape.table.iter().all(|&speed| speed <= 1.001));
                assert_eq!(shape.has_edge, 0.0 < shape.best);
                assert!(shape.best <= shape.rich_end, "{} {}", shape.best, shape.rich_end);
            }
        }
    }
}
