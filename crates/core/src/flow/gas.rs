//! Air, and air with fuel in it, through an orifice.

use crate::error::{Result, require};

/// Below this drop the flow is straight instead of a square root, Pa.
const STRAIGHT_BELOW_PA: f64 = 2.0;

/// Pressure ratio across an orifice at which its gas is choked, *p_c/p₀* \[–\].
///
/// ```text
/// p_c/p₀ = [2/(γ+1)]^(γ/(γ−1))
/// ```
///
/// | symbol | argument | meaning | unit | domain |
/// |:---:|---|---|:---:|---|
/// | *γ* | `gamma` | ratio of heat capacities | – | above 1, to 5/3 |
///
/// - **Source** textbook form, e.g. Heywood, *Internal Combustion Engine Fundamentals*, 1988,
///   appendix C (attribution from memory).
/// - **Assumes** a perfect gas, isentropic to the throat.
/// - **Departs** from the source in nothing.
///
/// # Errors
///
/// [`Error::OutOfDomain`](crate::Error::OutOfDomain) outside the domain above.
///
/// # Example
///
/// ```
/// let ratio = bellmouth_core::flow::critical_pressure_ratio(1.4)?;
/// assert_eq!(format!("{ratio:.6}"), "0.528282");
/// # Ok::<(), bellmouth_core::Error>(())
/// ```
pub fn critical_pressure_ratio(gamma: f64) -> Result<f64> {
    require(1.0 < gamma && gamma <= 1.67, "gamma", gamma, "above 1, to 1.67")?;
    Ok((2.0 / (gamma + 1.0)).powf(gamma / (gamma - 1.0)))
}

/// A gas at a temperature, as orifices see it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gas {
    gamma: f64,
    pressure_over_density: f64,
    critical_ratio: f64,
    choked_expansion: f64,
}

impl Gas {
    /// A gas by its ratio of heat capacities *γ* \[–\] and *p/ρ = R T* \[J/kg\].
    ///
    /// # Errors
    ///
    /// [`Error::OutOfDomain`](crate::Error::OutOfDomain) for *γ* outside 1 to 5/3 or *p/ρ* not above zero.
    pub fn new(gamma: f64, pressure_over_density: f64) -> Result<Gas> {
        let critical_ratio = critical_pressure_ratio(gamma)?;
        require(
            0.0 < pressure_over_density && pressure_over_density < 1e7,
            "pressure_over_density",
            pressure_over_density,
            "above zero",
        )?;
        let mut gas = Gas { gamma, pressure_over_density, critical_ratio, choked_expansion: 0.0 };
        gas.choked_expansion = gas.expansion(critical_ratio);
        Ok(gas)
    }

    /// Density at a pressure, kg/m³.
    pub fn density_kg_m3(&self, pressure_pa: f64) -> f64 {
        pressure_pa / self.pressure_over_density
    }

    /// Driving head from one side to the other, *H* \[Pa\]; negative where it drives backwards.
    ///
    /// ```text
    /// H = p_up · E(p_down/p_up)
    /// E(r) = γ/(γ−1) · (r^(2/γ) − r^((γ+1)/γ))    r > r_c,      E(r_c) below
    /// ```
    ///
    /// | symbol | argument | meaning | unit | domain |
    /// |:---:|---|---|:---:|---|
    /// | *p* | `from_pa`, `to_pa` | pressures on the two sides | Pa | above zero |
    ///
    /// `G² = 2 ρ_up H` is the square of the mass flow per area. *E* has slope zero where it chokes, so
    /// the head is smooth there; for small drops it is the drop itself.
    ///
    /// - **Source** isentropic flow, textbook form (attribution as for [`critical_pressure_ratio`]).
    /// - **Assumes** a perfect gas, isentropic to the throat, no recovery behind it.
    /// - **Departs** from the source in nothing.
    pub fn head_pa(&self, from_pa: f64, to_pa: f64) -> f64 {
        if to_pa < from_pa {
            from_pa * self.expansion(to_pa / from_pa)
        } else {
            -to_pa * self.expansion(from_pa / to_pa)
        }
    }

    /// Mass flow through an orifice, *ṁ* \[kg/s\]; negative where it flows backwards.
    ///
    /// ```text
    /// ṁ = C_d A · √(2 ρ_up) · H / (H² + δ²)^¼
    /// ```
    ///
    /// | symbol | argument | meaning | unit | domain |
    /// |:---:|---|---|:---:|---|
    /// | *C_d A* | `effective_area_m2` | effective area | m² | zero or more |
    /// | *p* | `from_pa`, `to_pa` | pressures on the two sides | Pa | above zero |
    /// | *δ* | – | 2 Pa: below it the root is a straight line | Pa | |
    ///
    /// - **Source** St Venant and Wantzel's form, as in textbooks.
    /// - **Assumes** the same temperature on both sides.
    /// - **Departs** from the source below some ten pascals, where a square root would have no slope:
    ///   0.04 % at 50 Pa, 1 % at 10 Pa.
    pub fn flow_kg_s(&self, effective_area_m2: f64, from_pa: f64, to_pa: f64) -> f64 {
        let head = self.head_pa(from_pa, to_pa);
        let density = self.density_kg_m3(from_pa.max(to_pa));
        let rounded = (head * head + STRAIGHT_BELOW_PA * STRAIGHT_BELOW_PA).sqrt().sqrt();
        effective_area_m2 * (2.0 * density).sqrt() * head / rounded
    }

    /// *E* of a pressure ratio: with s = r^(1/γ) it is γ/(γ−1) · s (s − r), one power instead of two.
    fn expansion(&self, ratio: f64) -> f64 {
        if ratio < self.critical_ratio {
            return self.choked_expansion;
        }
        let s = ratio.powf(1.0 / self.gamma);
        self.gamma / (self.gamma - 1.0) * s * (s - ratio)
    }
}
