//! Which cylinder fires when: one committed table that every command and test cites.
//!
//! Firing angles are crank degrees after the first cylinder's firing, within one working cycle:
//! 720° for a four-stroke, 360° for a two-stroke. They follow from the crank and the cylinder
//! angle by geometry alone; which way round a narrow V-twin is counted (315° or 405°) changes
//! nothing that can be heard.

use crate::error::{Error, Result, require};

/// One row of the table.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Layout {
    /// The name commands take, in kebab case.
    pub name: &'static str,
    /// What a person calls it.
    pub words: &'static str,
    /// Firing angles, crank degrees within one cycle, ascending from 0.
    pub firing_deg: &'static [f64],
    /// Length of the working cycle, crank degrees.
    pub cycle_deg: f64,
    /// Other names for an engine that fires alike.
    pub aliases: &'static [&'static str],
}

/// Every layout known, singles first.
pub const LAYOUTS: &[Layout] = &[
    four_stroke("single", "single", &[0.0], &["thumper"]),
    four_stroke("v-twin-45", "45° V-twin, one crankpin", &[0.0, 315.0], &[]),
    four_stroke("v-twin-52", "52° V-twin, one crankpin", &[0.0, 308.0], &[]),
    four_stroke("v-twin-60", "60° V-twin, one crankpin", &[0.0, 300.0], &[]),
    four_stroke("v-twin-75", "75° V-twin, one crankpin", &[0.0, 285.0], &[]),
    four_stroke("v-twin-90", "90° V-twin, one crankpin", &[0.0, 270.0], &[]),
    four_stroke("twin-360", "parallel twin, 360° crank", &[0.0, 360.0], &["flat-twin", "boxer-twin"]),
    four_stroke("twin-270", "parallel twin, 270° crank", &[0.0, 270.0], &[]),
    four_stroke("twin-180", "parallel twin, 180° crank", &[0.0, 180.0], &[]),
    four_stroke("triple-120", "triple, 120° crank", &[0.0, 240.0, 480.0], &["triple"]),
    four_stroke("triple-180", "triple, 180° crank", &[0.0, 180.0, 360.0], &[]),
    four_stroke("inline-4", "in-line four, flat crank", &[0.0, 180.0, 360.0, 540.0], &["flat-4", "four"]),
    four_stroke("crossplane-4", "in-line four, cross-plane crank", &[0.0, 270.0, 450.0, 540.0], &[]),
    four_stroke("v4-360", "90° V-four, 360° crank", &[0.0, 270.0, 360.0, 630.0], &[]),
    four_stroke("v4-180", "90° V-four, 180° crank", &[0.0, 180.0, 450.0, 630.0], &[]),
    four_stroke("inline-6", "in-line six", &[0.0, 120.0, 240.0, 360.0, 480.0, 600.0], &["six", "flat-6"]),
    two_stroke("two-stroke-single", "two-stroke single", &[0.0], &[]),
    two_stroke("two-stroke-twin", "two-stroke twin, 180° crank", &[0.0, 180.0], &[]),
    two_stroke("two-stroke-triple", "two-stroke triple, 120° crank", &[0.0, 120.0, 240.0], &[]),
];

const fn four_stroke(
    name: &'static str,
    words: &'static str,
    firing_deg: &'static [f64],
    aliases: &'static [&'static str],
) -> Layout {
    Layout { name, words, firing_deg, cycle_deg: 720.0, aliases }
}

const fn two_stroke(
    name: &'static str,
    words: &'static str,
    firing_deg: &'static [f64],
    aliases: &'static [&'static str],
) -> Layout {
    Layout { name, words, firing_deg, cycle_deg: 360.0, aliases }
}

/// The layout with this name or alias.
pub fn layout(name: &str) -> Option<&'static Layout> {
    LAYOUTS.iter().find(|row| row.name == name || row.aliases.contains(&name))
}

/// Firing instants within one working cycle: a row of the table, or angles a person gave.
#[derive(Clone, Debug, PartialEq)]
pub struct Firing {
    angles_deg: Vec<f64>,
    cycle_deg: f64,
}

impl Firing {
    /// Firing angles in crank degrees and the cycle they repeat in (720 four-stroke, 360 two-stroke).
    ///
    /// # Errors
    ///
    /// [`Error::OutOfDomain`] unless the cycle is 360° or 720°, there are 1 to 12 angles, and they
    /// ascend from 0 to below the cycle, at least 10° apart.
    pub fn new(angles_deg: &[f64], cycle_deg: f64) -> Result<Firing> {
        require(
            cycle_deg == 360.0 || cycle_deg == 720.0,
            "cycle",
            cycle_deg,
            "360 (two-stroke) or 720 (four-stroke)",
        )?;
        if angles_deg.is_empty() {
            return Err(Error::TooLittle {
                what: "firing angles",
                got: 0,
                needed: 1,
                remedy: "give the crank angle of each firing, such as 0,315",
            });
        }
        require(angles_deg.len() <= 12, "number of firing angles", angles_deg.len() as f64, "12 or fewer")?;
        require(
            angles_deg[0] == 0.0,
            "first firing angle",
            angles_deg[0],
            "0: count from the first cylinder's firing",
        )?;
        for pair in angles_deg.windows(2) {
            require(
                pair[0] + 10.0 <= pair[1],
                "firing angle",
                pair[1],
                "10° or more after the one before it",
            )?;
        }
        let last = angles_deg[angles_deg.len() - 1];
        require(last <= cycle_deg - 10.0, "last firing angle", last, "10° or more before the cycle ends")?;
        Ok(Firing { angles_deg: angles_deg.to_vec(), cycle_deg })
    }

    /// Firing angles, crank degrees, ascending from 0.
    pub fn angles_deg(&self) -> &[f64] {
        &self.angles_deg
    }

    /// Length of the working cycle, crank degrees.
    pub fn cycle_deg(&self) -> f64 {
        self.cycle_deg
    }

    /// Working cycles per second at an engine speed: *f = rpm · 6 / cycle*.
    pub fn cycles_per_second(&self, rpm: f64) -> f64 {
        rpm * 6.0 / self.cycle_deg
    }

    /// How strongly order `k` of the cycle is implied by the firing angles alone, 0 to 1:
    /// *S(k) = |Σ exp(−i k θ)|² / N²*.
    pub fn order_strength(&self, k: usize) -> f64 {
        let (mut real, mut imaginary) = (0.0, 0.0);
        for angle in &self.angles_deg {
            let phase = std::f64::consts::TAU * k as f64 * angle / self.cycle_deg;
            real += phase.cos();
            imaginary -= phase.sin();
        }
        let cylinders = self.angles_deg.len() as f64;
        (real * real + imaginary * imaginary) / (cylinders * cylinders)
    }
}

impl From<&Layout> for Firing {
    fn from(row: &Layout) -> Firing {
        Firing { angles_deg: row.firing_deg.to_vec(), cycle_deg: row.cycle_deg }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_row_is_a_valid_pattern_under_one_name() {
        let mut names: Vec<&str> =
            LAYOUTS.iter().flat_map(|row| row.aliases.iter().chain([&row.name])).copied().collect();
        for row in LAYOUTS {
            assert_eq!(Firing::new(row.firing_deg, row.cycle_deg), Ok(Firing::from(row)), "{}", row.name);
            assert_eq!(layout(row.name), Some(row));
        }
        let all = names.len();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), all, "a name stands for two layouts");
    }

    #[test]
    fn an_even_four_is_heard_only_at_every_fourth_order() {
        let four = Firing::from(layout("inline-4").unwrap());
        let strengths: Vec<f64> = (1..=8).map(|k| (four.order_strength(k) * 1e9).round() / 1e9).collect();
        assert_eq!(strengths, [0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0]);
    }

    #[test]
    fn impossible_angles_are_refused_with_the_angle() {
        let refused = Firing::new(&[0.0, 800.0], 720.0).unwrap_err().to_string();
        assert_eq!(refused, "`last firing angle` is 800, but must be 10° or more before the cycle ends");
        assert!(Firing::new(&[0.0, f64::NAN], 720.0).is_err());
        assert!(Firing::new(&[], 720.0).is_err());
        assert!(Firing::new(&[0.0], 540.0).is_err());
    }
}
