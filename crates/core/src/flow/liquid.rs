//! Fuel through a jet.

use std::f64::consts::PI;

use crate::error::{Result, require};
use crate::fuel::Fuel;

/// A jet with fuel in it: its drop is a viscous part and an inertial part.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LiquidJet {
    /// *a* of the equation of [`LiquidJet::flow_kg_s`], Pa s/kg.
    viscous: f64,
    /// *b* of it, Pa s²/kg².
    inertial: f64,
}

impl LiquidJet {
    /// A jet by its bore and length \[m\] and the discharge coefficient it tends to at high Reynolds
    /// numbers \[–\], with the fuel that stands in it.
    ///
    /// # Errors
    ///
    /// [`Error::OutOfDomain`](crate::Error::OutOfDomain) for a bore or density not above zero, a length or
    /// viscosity below zero, a discharge coefficient outside 0 to 1, or any of them absurdly large.
    pub fn new(bore_m: f64, length_m: f64, discharge: f64, fuel: &Fuel) -> Result<LiquidJet> {
        require(0.0 < bore_m && bore_m < 0.1, "bore_m", bore_m, "above zero, below 0.1")?;
        require((0.0..1.0).contains(&length_m), "length_m", length_m, "zero or more, below 1")?;
        require(0.0 < discharge && discharge <= 1.0, "discharge", discharge, "above 0, to 1")?;
        let Fuel { density_kg_m3: density, viscosity_pa_s: viscosity, .. } = *fuel;
        require(0.0 < density && density < 2000.0, "density_kg_m3", density, "above zero, below 2000")?;
        require((0.0..1.0).contains(&viscosity), "viscosity_pa_s", viscosity, "zero or more, below 1")?;
        let area = 0.25 * PI * bore_m * bore_m;
        Ok(LiquidJet {
            viscous: 32.0 * viscosity * length_m / (density * area * bore_m * bore_m),
            inertial: 0.5 / (density * (discharge * area) * (discharge * area)),
        })
    }

    /// Mass flow at a drop, *ṁ* \[kg/s\].
    ///
    /// ```text
    /// Δp = a ṁ + b ṁ²,   a = 32 μ L/(ρ A d²),   b = 1/[2 ρ (C∞ A)²]
    /// ```
    ///
    /// which is `1/C² = 1/C∞² + 64 (L/d)/Re`: the coefficient falls with the Reynolds number.
    ///
    /// | symbol | argument | meaning | unit | domain |
    /// |:---:|---|---|:---:|---|
    /// | *Δp* | `drop_pa` | pressure before the jet less pressure behind it | Pa | any; nothing flows below zero |
    ///
    /// - **Source** none: derived here from laminar pipe flow and an orifice in series.
    /// - **Assumes** that fuel does not flow back through a jet: the well fills from the bowl only.
    /// - **Departs** from measured short-tube correlations by up to 0.1 of *C* at a Reynolds number
    ///   of some hundreds (they differ among themselves by as much).
    pub fn flow_kg_s(&self, drop_pa: f64) -> f64 {
        if drop_pa <= 0.0 {
            return 0.0;
        }
        // The root in the form that does not cancel for small drops.
        let root = (self.viscous * self.viscous + 4.0 * self.inertial * drop_pa).sqrt();
        2.0 * drop_pa / (self.viscous + root)
    }
}
