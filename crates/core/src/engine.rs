//! How much air does the engine draw, which torque does it make of it, and where does it idle?
//!
//! The engine does not know what feeds it: anything that says how much air and fuel it delivers at a
//! manifold pressure is an [`Intake`]. Steady speeds are [`Running::idle`], a speed held from outside
//! is [`Running::at`], and [`Running::step`] lets it turn, settle and die.

mod burning;
mod dynamics;
mod idling;
pub mod layout;

pub use burning::{Burning, MixtureTorque};
pub use dynamics::{LEAST_RPM, Turning};
pub use idling::{Charge, Feed, Idle, Intake, Operation, Running};

use crate::error::{Result, require};
use crate::numeric::smoothstep;

/// A four-stroke engine, warm, seen from its intake and its crankshaft.
#[derive(Clone, Debug, PartialEq)]
pub struct Engine {
    /// Displacement of all cylinders, m³.
    pub displacement_m3: f64,
    /// How many cylinders.
    pub cylinders: u32,
    /// Compression ratio, –.
    pub compression_ratio: f64,
    /// Temperature of the charge in the manifold, K.
    pub charge_k: f64,
    /// Volumetric efficiency at its peak, –.
    pub volumetric_efficiency: f64,
    /// Speed of that peak, rpm.
    pub volumetric_peak_rpm: f64,
    /// How fast it falls away from the peak, –.
    pub volumetric_curvature: f64,
    /// Indicated efficiency at best mixture and full charge, –.
    pub indicated_efficiency: f64,
    /// What is left of it at idle, –: residual gas and heat loss.
    pub idle_efficiency: f64,
    /// Torque against mixture, every cycle burning.
    pub mixture_torque: MixtureTorque,
    /// Which cycles burn.
    pub burning: Burning,
    /// Friction over that of a motored car engine of the 1980s, –.
    pub friction: f64,
    /// Moment of inertia of everything that turns with the crankshaft, kg m².
    pub inertia_kg_m2: f64,
    /// Volume between throttle and valves, of all manifolds together, m³.
    pub manifold_m3: f64,
}

impl Default for Engine {
    /// A warm 1200 cm³ twin: typical magnitudes, from memory.
    fn default() -> Self {
        Engine {
            displacement_m3: 1.2e-3,
            cylinders: 2,
            compression_ratio: 9.0,
            charge_k: 318.0,
            volumetric_efficiency: 0.82,
            volumetric_peak_rpm: 3600.0,
            volumetric_curvature: 0.20,
            indicated_efficiency: 0.30,
            idle_efficiency: 0.64,
            mixture_torque: MixtureTorque::default(),
            burning: Burning::default(),
            friction: 0.85,
            inertia_kg_m2: 0.12,
            manifold_m3: 0.5e-3,
        }
    }
}

/// Heat released by one kilogram of air that burns with its share of petrol, J/kg: 44 MJ/kg over 14.7,
/// and 3 % more work from the products than from air (typical, from memory).
const HEAT_PER_AIR_J_KG: f64 = 44e6 / 14.7 * 1.03;

/// Exponent of the expansion of the residual gas, –.
const RESIDUAL_EXPONENT: f64 = 1.0 / 1.3;

impl Engine {
    /// Refuses an engine that cannot be.
    pub(crate) fn check(&self) -> Result<()> {
        let cm3 = 1e6 * self.displacement_m3;
        require((20.0..=10_000.0).contains(&cm3), "displacement_cm3", cm3, "from 20 to 10000")?;
        let cylinders = f64::from(self.cylinders);
        require((1.0..=12.0).contains(&cylinders), "cylinders", cylinders, "from 1 to 12")?;
        let bounded = [
            ("compression_ratio", self.compression_ratio, 4.0, 16.0, "from 4 to 16"),
            ("charge_temp_c", self.charge_k - 273.15, -20.0, 150.0, "from -20 to 150"),
            ("volumetric_efficiency", self.volumetric_efficiency, 0.3, 1.3, "from 0.3 to 1.3"),
            ("volumetric_peak_rpm", self.volumetric_peak_rpm, 1500.0, 16_000.0, "from 1500 to 16000"),
            ("volumetric_curvature", self.volumetric_curvature, 0.0, 0.5, "from 0 to 0.5"),
            ("indicated_efficiency", self.indicated_efficiency, 0.1, 0.5, "from 0.1 to 0.5"),
            ("idle_efficiency", self.idle_efficiency, 0.3, 1.0, "from 0.3 to 1"),
            ("friction", self.friction, 0.2, 3.0, "from 0.2 to 3"),
            ("inertia_kg_m2", self.inertia_kg_m2, 1e-4, 5.0, "from 0.0001 to 5"),
            ("manifold_cm3", 1e6 * self.manifold_m3, 5.0, 20_000.0, "from 5 to 20000"),
        ];
        for (key, value, least, most, allowed) in bounded {
            require(least <= value && value <= most, key, value, allowed)?;
        }
        self.mixture_torque.check()?;
        self.burning.check()
    }

    /// Air drawn from a manifold, *ṁ* \[kg/s\], by a share of the cylinders.
    ///
    /// ```text
    /// ṁ = η_v(N) · [r_c − (p_e/p_m)^(1/γ)]/(r_c − 1) · V_d N/120 · p_m/(R T_m)
    /// η_v(N) = η_peak [1 − k ((N − N_p)/N_p)²]
    /// ```
    ///
    /// | symbol | argument or field | meaning | unit | domain |
    /// |:---:|---|---|:---:|---|
    /// | *p_m* | `manifold_pa` | pressure in the manifold | Pa | above zero |
    /// | *N* | `rpm` | engine speed | rpm | zero or more |
    /// | *p_e* | `exhaust_pa` | pressure in the exhaust | Pa | above zero |
    /// | – | `share` | share of the displacement | – | 0 to 1 |
    /// | *R* | `gas_constant` | gas constant of the air | J/(kg K) | above zero |
    /// | *γ* | – | 1.3, expansion of the residual | – | |
    ///
    /// - **Source** the speed-density form of published mean-value engine libraries; the parabola of
    ///   volumetric efficiency is ours.
    /// - **Assumes** four strokes, a warm engine, no resonance in the pipes.
    /// - **Departs** from the source in nothing; the volume of fuel vapour is neglected.
    pub fn air_drawn_kg_s(
        &self,
        manifold_pa: f64,
        rpm: f64,
        exhaust_pa: f64,
        share: f64,
        gas_constant: f64,
    ) -> f64 {
        let expanded = (exhaust_pa / manifold_pa).powf(RESIDUAL_EXPONENT);
        let filled = ((self.compression_ratio - expanded) / (self.compression_ratio - 1.0)).max(0.0);
        let volume_per_s = self.displacement_m3 * share * rpm / 120.0;
        self.volumetric_at(rpm) * filled * volume_per_s * manifold_pa / (gas_constant * self.charge_k)
    }

    /// Share of burnt gas left in the cylinder, *x_r* \[–\].
    ///
    /// ```text
    /// x_r = (1/r_c) (p_e/p_m)^(1/γ)
    /// ```
    ///
    /// | symbol | argument | meaning | unit | domain |
    /// |:---:|---|---|:---:|---|
    /// | *p_m*, *p_e* | `manifold_pa`, `exhaust_pa` | pressures in manifold and exhaust | Pa | above zero |
    ///
    /// - **Source** none: ideal cycle, derived here.
    /// - **Assumes** no valve overlap.
    /// - **Departs** from real engines with overlap, which keep 20 to 40 % at idle (from memory).
    pub fn residual_share(&self, manifold_pa: f64, exhaust_pa: f64) -> f64 {
        (exhaust_pa / manifold_pa).powf(RESIDUAL_EXPONENT) / self.compression_ratio
    }

    /// Friction as a mean pressure, *p_f* \[Pa\].
    ///
    /// ```text
    /// p_f = s · (0.97 + 0.15 n + 0.05 n²) · 10⁵,   n = N/1000
    /// ```
    ///
    /// | symbol | argument or field | meaning | unit | domain |
    /// |:---:|---|---|:---:|---|
    /// | *N* | `rpm` | engine speed | rpm | zero or more |
    /// | *s* | `friction` | scale, 0.85 for a roller-bearing twin | – | above zero |
    ///
    /// - **Source** motored car engines, Heywood, *Internal Combustion Engine Fundamentals*, 1988,
    ///   chapter 13 (from memory: a magnitude, not evidence).
    /// - **Assumes** warm oil.
    /// - **Departs** from the source by the scale.
    pub fn friction_pa(&self, rpm: f64) -> f64 {
        let n = rpm / 1000.0;
        self.friction * 1e5 * (0.97 + 0.15 * n + 0.05 * n * n)
    }

    /// Indicated mean pressure of a cylinder at best mixture with every cycle burning, *p_i* \[Pa\].
    ///
    /// ```text
    /// p_i = η · e(p_m/p_e) · h · m_a/V_d
    /// e = e₀ + (1 − e₀) · smoothstep[(p_m/p_e − 0.30)/0.5]
    /// ```
    ///
    /// | symbol | argument or field | meaning | unit | domain |
    /// |:---:|---|---|:---:|---|
    /// | *m_a/V_d* | `air_per_cycle_kg_m3` | air per cycle over displacement | kg/m³ | zero or more |
    /// | *p_m*, *p_e* | `manifold_pa`, `exhaust_pa` | pressures in manifold and exhaust | Pa | above zero |
    /// | *η*, *e₀* | `indicated_efficiency`, `idle_efficiency` | efficiency, and what is left of it at idle | – | 0 to 1 |
    /// | *h* | – | heat per air, 3.08 MJ/kg | J/kg | |
    ///
    /// - **Source** none: an energy balance with typical magnitudes.
    /// - **Assumes** ignition at its best; every degree of wander costs some 14 rpm at idle (a model's figure).
    /// - **Departs** from real engines in the blend between idle and load.
    pub fn indicated_pa(&self, air_per_cycle_kg_m3: f64, manifold_pa: f64, exhaust_pa: f64) -> f64 {
        let loaded = smoothstep((manifold_pa / exhaust_pa - 0.30) / 0.5);
        let kept = self.idle_efficiency + (1.0 - self.idle_efficiency) * loaded;
        self.indicated_efficiency * kept * HEAT_PER_AIR_J_KG * air_per_cycle_kg_m3
    }

    fn volumetric_at(&self, rpm: f64) -> f64 {
        let away = (rpm - self.volumetric_peak_rpm) / self.volumetric_peak_rpm;
        (self.volumetric_efficiency * (1.0 - self.volumetric_curvature * away * away)).max(0.0)
    }
}
