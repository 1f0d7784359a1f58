//! The screw as seen along the screwdriver, with its turns wound around it.
//!
//! Out is anticlockwise, so the turns wind to the left from the top, each one further out; the slot
//! drawn stands as the real one does. A held position is a brass spoke whose length is engine speed.

use std::f64::consts::TAU;

use bellmouth_chart::Svg;
use bellmouth_core::quantity::{GRID_TURNS, TurnsOut};

/// What the drawing shows.
pub(crate) struct Dial<'a> {
    /// Where the screw stands.
    pub position: TurnsOut,
    /// Where it should go, if it should move.
    pub target: Option<TurnsOut>,
    /// The interval of the lean edge.
    pub edge: Option<(TurnsOut, TurnsOut)>,
    /// Where to leave the screw.
    pub setting: Option<TurnsOut>,
    /// Held positions with their speed between 0 (the slowest) and 1 (the fastest).
    pub held: &'a [(TurnsOut, f64)],
    /// The spoken description.
    pub label: &'a str,
}

/// Radius at the seat, and how much further out each turn lies, for a dial of so many turns.
struct Winding {
    seat: f64,
    per_turn: f64,
    turns: f64,
}

impl Winding {
    fn radius(&self, turns: f64) -> f64 {
        self.seat + self.per_turn * turns
    }

    fn at(&self, turns: f64, beyond: f64) -> (f64, f64) {
        let (radius, angle) = (self.radius(turns) + beyond, TAU * turns);
        (-radius * angle.sin(), -radius * angle.cos())
    }

    fn along(&self, from: f64, to: f64) -> Vec<(f64, f64)> {
        let steps = ((to - from).abs() * 48.0).ceil().max(1.0) as usize;
        (0..=steps).map(|step| self.at(from + (to - from) * step as f64 / steps as f64, 0.0)).collect()
    }
}

impl Dial<'_> {
    /// Draws it.
    pub(crate) fn svg(&self) -> String {
        let farthest = self
            .held
            .iter()
            .map(|held| held.0.0)
            .chain([self.position.0, 3.0])
            .chain([self.target, self.setting].into_iter().flatten().map(|turns| turns.0))
            .fold(0.0, f64::max);
        let turns = (farthest + 0.1).ceil().clamp(4.0, 8.0);
        let winding = Winding { seat: 56.0, per_turn: 108.0 / turns, turns };
        let mut svg = Svg::new([-188.0, -192.0, 376.0, 372.0], "dial", self.label);

        if let Some((low, high)) = self.edge {
            svg.polyline("interval", &winding.along(low.0.max(0.0), high.0.min(turns)));
        }
        svg.polyline("rail", &winding.along(0.0, turns));
        self.ticks(&mut svg, &winding);
        for (at, share) in self.held {
            svg.line("spoke", winding.at(at.0, 0.0), winding.at(at.0, 6.0 + 15.0 * share.clamp(0.0, 1.0)));
            svg.circle("held", winding.at(at.0, 0.0), 4.5);
        }
        if let Some(setting) = self.setting {
            svg.line("set", winding.at(setting.0, -13.0), winding.at(setting.0, 13.0));
        }
        if let Some(target) = self.target {
            svg.circle("target", winding.at(target.0, 0.0), 11.0);
        }
        svg.circle("now", winding.at(self.position.0, 0.0), 10.0);
        self.head(&mut svg);
        svg.finish()
    }

    fn ticks(&self, svg: &mut Svg, winding: &Winding) {
        let eighths = (winding.turns / GRID_TURNS).round() as i32;
        for index in 0..=eighths {
            let turns = f64::from(index) * GRID_TURNS;
            let (class, half) = match index % 8 {
                0 => ("whole", 8.0),
                4 => ("tick", 6.0),
                2 | 6 => ("tick", 4.5),
                _ => ("tick", 2.5),
            };
            svg.line(class, winding.at(turns, -half), winding.at(turns, half));
            if index % 8 == 0 && 0 < index {
                let (x, y) = winding.at(turns, 0.0);
                svg.text(
                    "turn",
                    (x + 6.0, y + if 6.0 < winding.turns { 4.0 } else { 7.0 }),
                    "start",
                    &(index / 8).to_string(),
                );
            }
        }
    }

    fn head(&self, svg: &mut Svg) {
        svg.group("screw", &format!("rotate({})", -360.0 * self.position.0.rem_euclid(1.0)));
        svg.circle("head", (0.0, 0.0), 40.0);
        svg.circle("rim", (0.0, 0.0), 35.0);
        svg.rect("slot", (-37.0, -5.0), 74.0, 10.0);
        svg.circle("dot", (0.0, -25.0), 4.0);
        svg.end_group();
        let Some(target) = self.target.filter(|target| target.0 != self.position.0) else { return };
        // Out is anticlockwise: the arrow runs over the head's top, to the left for out.
        let side = if self.position.0 < target.0 { -1.0 } else { 1.0 };
        let arc = |share: f64| {
            let angle = side * (-0.62 + 1.24 * share);
            (48.0 * angle.sin(), -48.0 * angle.cos())
        };
        svg.polyline("go", &(0..=16).map(|step| arc(f64::from(step) / 16.0)).collect::<Vec<_>>());
        let (x, y) = arc(1.0);
        svg.polygon(
            "tip",
            &[(x + side * 12.0, y + 8.0), (x - side * 5.0, y - 9.0), (x - side * 7.0, y + 10.0)],
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn out_is_anticlockwise_and_the_slot_stands_as_the_real_one() {
        let winding = Winding { seat: 56.0, per_turn: 27.0, turns: 4.0 };
        assert!(winding.at(0.25, 0.0).0 < -50.0, "a quarter turn out lies to the left");
        assert!(winding.radius(2.0) > winding.radius(1.0));
        let dial = Dial {
            position: TurnsOut(1.25),
            target: Some(TurnsOut(1.5)),
            edge: None,
            setting: None,
            held: &[],
            label: "",
        };
        assert!(dial.svg().contains("rotate(-90)"));
    }
}
