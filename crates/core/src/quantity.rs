//! Quantities that must not be mistaken for one another: screw positions and richness.

use std::fmt;

/// A screw's position in turns out from lightly seated.
///
/// Displayed as the trade says it, to the nearest eighth: `1¾`, `2⅛`, `⅛`, `0`.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct TurnsOut(pub f64);

/// The grid on which a gloved hand sets a screw, in turns.
pub const GRID_TURNS: f64 = 0.125;

/// Which way a mixture screw works.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Screw {
    /// A fuel screw meters mixture: out is richer. As a rule on the engine side of the body.
    Fuel,
    /// An air screw meters air: out is leaner. As a rule on the air-filter side of the body.
    Air,
}

/// A position on the richness axis: larger is richer, in turns of this screw.
///
/// Everything inside the [`idle`](crate::idle) room is reckoned in richness; turns appear only at
/// the surface, so that no advice is reversed for an air screw.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Richness(pub f64);

impl Screw {
    /// The richness of a position: *r = +turns* for a fuel screw, *r = −turns* for an air screw.
    pub fn richness(self, turns: TurnsOut) -> Richness {
        match self {
            Screw::Fuel => Richness(turns.0),
            Screw::Air => Richness(-turns.0),
        }
    }

    /// The position of a richness; the inverse of [`Screw::richness`].
    pub fn turns(self, richness: Richness) -> TurnsOut {
        match self {
            Screw::Fuel => TurnsOut(richness.0),
            Screw::Air => TurnsOut(-richness.0 + 0.0),
        }
    }
}

impl TurnsOut {
    /// The nearest position on the eighth-turn grid.
    pub fn on_grid(self) -> TurnsOut {
        TurnsOut((self.0 / GRID_TURNS).round() * GRID_TURNS)
    }
}

impl fmt::Display for TurnsOut {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        const EIGHTHS: [&str; 8] = ["", "⅛", "¼", "⅜", "½", "⅝", "¾", "⅞"];
        let eighths = (self.0.abs() / GRID_TURNS).round() as u64;
        let (whole, part) = (eighths / 8, EIGHTHS[(eighths % 8) as usize]);
        if self.0 < 0.0 && eighths > 0 {
            out.write_str("−")?;
        }
        match (whole, part) {
            (0, "") => out.write_str("0"),
            (0, part) => out.write_str(part),
            (whole, part) => write!(out, "{whole}{part}"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn turns_read_as_the_trade_says_them() {
        let said: Vec<String> =
            [0.0, 0.125, 0.99, 1.75, 2.13, 3.5, -0.25].iter().map(|&t| TurnsOut(t).to_string()).collect();
        assert_eq!(said, ["0", "⅛", "1", "1¾", "2⅛", "3½", "−¼"]);
    }

    #[test]
    fn richness_of_turns_inverts_for_both_screws() {
        for screw in [Screw::Fuel, Screw::Air] {
            for eighths in 0..48 {
                let turns = TurnsOut(f64::from(eighths) * GRID_TURNS);
                assert_eq!(screw.turns(screw.richness(turns)), turns);
            }
        }
        assert!(Screw::Air.richness(TurnsOut(1.0)) < Screw::Air.richness(TurnsOut(0.5)));
    }
}
