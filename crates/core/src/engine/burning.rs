//! Torque against mixture, and which cycles burn at all.

use crate::error::{Result, require};

/// Torque over its best, at constant air, every cycle burning.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum MixtureTorque {
    /// A parabola on either side of best.
    Parabolas {
        /// Equivalence ratio of best torque, –.
        best_richness: f64,
        /// Curvature lean of it, –.
        lean_curvature: f64,
        /// Curvature rich of it, –.
        rich_curvature: f64,
    },
    /// A parabola in air over fuel, as a regression on a car engine gave it.
    AirFuelParabola {
        /// Torque lost with every squared unit of air/fuel away from best, over best torque, –.
        curvature: f64,
        /// Air/fuel of best torque over the stoichiometric one, –.
        best_lambda: f64,
    },
}

impl Default for MixtureTorque {
    fn default() -> Self {
        MixtureTorque::Parabolas { best_richness: 1.12, lean_curvature: 2.2, rich_curvature: 0.70 }
    }
}

impl MixtureTorque {
    /// The regression of Crossley and Cook: `21.91 (A/F) − 0.85 (A/F)²` newton metres on an engine of
    /// about 100 N m.
    pub fn crossley_and_cook() -> Self {
        MixtureTorque::AirFuelParabola { curvature: 0.85 / 100.0, best_lambda: 21.91 / (2.0 * 0.85) / 14.7 }
    }

    /// Torque over best torque at an equivalence ratio, *f* \[–\], zero or more.
    ///
    /// ```text
    /// parabolas           f = 1 − a (φ − φ_b)²,   a = a_lean below φ_b, a_rich above
    /// air/fuel parabola   f = 1 − a (14.7/φ − 14.7 λ_b)²
    /// ```
    ///
    /// | symbol | argument or field | meaning | unit | domain |
    /// |:---:|---|---|:---:|---|
    /// | *φ* | `richness` | equivalence ratio, 1/λ | – | zero or more |
    /// | *φ_b*, *λ_b* | `best_richness`, `best_lambda` | where torque is best | – | φ 1.0 to 1.3 |
    /// | *a* | `lean_curvature`, `rich_curvature`, `curvature` | fall away from best | – | zero or more |
    ///
    /// - **Source** best power at a fuel-air ratio of 0.07 to 0.08, 95 % of it at nearly least
    ///   consumption: [NACA TR-189](crate::Bibliography::Naca189); the air/fuel parabola:
    ///   [Crossley and Cook](crate::Bibliography::CrossleyCook1991).
    /// - **Assumes** ignition timing kept.
    /// - **Departs** from the source in the shape: parabolas fitted to those two statements.
    pub fn at(&self, richness: f64) -> f64 {
        let fallen = match *self {
            MixtureTorque::Parabolas { best_richness, lean_curvature, rich_curvature } => {
                let away = richness - best_richness;
                (if away < 0.0 { lean_curvature } else { rich_curvature }) * away * away
            }
            MixtureTorque::AirFuelParabola { curvature, best_lambda } => {
                let away = 14.7 * (1.0 / richness - best_lambda);
                curvature * away * away
            }
        };
        (1.0 - fallen).max(0.0)
    }

    /// Equivalence ratio of best torque, –.
    pub fn best_richness(&self) -> f64 {
        match *self {
            MixtureTorque::Parabolas { best_richness, .. } => best_richness,
            MixtureTorque::AirFuelParabola { best_lambda, .. } => 1.0 / best_lambda,
        }
    }

    pub(super) fn check(&self) -> Result<()> {
        let best = self.best_richness();
        require((0.9..=1.4).contains(&best), "best_richness", best, "from 0.9 to 1.4")?;
        let curvatures = match *self {
            MixtureTorque::Parabolas { lean_curvature, rich_curvature, .. } => {
                [("lean_curvature", lean_curvature), ("rich_curvature", rich_curvature)]
            }
            MixtureTorque::AirFuelParabola { curvature, .. } => [("curvature", curvature); 2],
        };
        for (key, value) in curvatures {
            require((0.0..=10.0).contains(&value), key, value, "from 0 to 10")?;
        }
        Ok(())
    }
}

/// Which share of the cycles burns, between a lean and a rich limit.
///
/// ```text
/// b = 1/(1 + exp[−(φ − φ_l)/w_l]) · 1/(1 + exp[−(φ_r − φ)/w_r])
/// φ_l = l + 1.30 max(x_r − 0.10, 0),   φ_r = r − 0.8 max(x_r − 0.10, 0)
/// ```
///
/// | symbol | field or argument | meaning | unit | domain |
/// |:---:|---|---|:---:|---|
/// | *φ* | `richness` | equivalence ratio | – | zero or more |
/// | *x_r* | `residual` | share of burnt gas left in the cylinder | – | 0 to 1 |
/// | *l*, *r* | `lean_limit`, `rich_limit` | where half the cycles burn with little residual gas | – | 0.3 to 1, 1.2 to 3 |
/// | *w_l*, *w_r* | `lean_width`, `rich_width` | how abruptly | – | above zero |
///
/// - **Source** lean limit at an equivalence ratio of about 0.6 under load and 0.8 at idle: from
///   memory, a magnitude.
/// - **Assumes** that a cycle burns or does not.
/// - **Departs** from real engines, whose slow cycles give some torque.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Burning {
    /// Lean limit with little residual gas, –.
    pub lean_limit: f64,
    /// Its width, –.
    pub lean_width: f64,
    /// Rich limit with little residual gas, –.
    pub rich_limit: f64,
    /// Its width, –.
    pub rich_width: f64,
}

impl Default for Burning {
    fn default() -> Self {
        Burning { lean_limit: 0.57, lean_width: 0.028, rich_limit: 1.75, rich_width: 0.05 }
    }
}

impl Burning {
    /// Share of cycles that burn, –; the equations of [`Burning`].
    pub fn share(&self, richness: f64, residual: f64) -> f64 {
        let excess = (residual - 0.10).max(0.0);
        let lean = (richness - (self.lean_limit + 1.30 * excess)) / self.lean_width;
        let rich = ((self.rich_limit - 0.8 * excess) - richness) / self.rich_width;
        1.0 / ((1.0 + (-lean).exp()) * (1.0 + (-rich).exp()))
    }

    pub(super) fn check(&self) -> Result<()> {
        let bounded = [
            ("lean_limit", self.lean_limit, 0.3, 1.0, "from 0.3 to 1"),
            ("lean_limit_width", self.lean_width, 0.005, 0.2, "from 0.005 to 0.2"),
            ("rich_limit", self.rich_limit, 1.2, 3.0, "from 1.2 to 3"),
            ("rich_limit_width", self.rich_width, 0.005, 0.5, "from 0.005 to 0.5"),
        ];
        for (key, value, least, most, allowed) in bounded {
            require(least <= value && value <= most, key, value, allowed)?;
        }
        Ok(())
    }
}
