//! What air is this?
//!
//! Air at rest, before an engine draws it: its pressure, its temperature and the water vapour in
//! it. From these follow the density that meters the fuel and the share of dry air that burns it.
//!
//! *Dry air* is air without its water vapour. *Relative humidity* is the vapour's pressure over its
//! saturation pressure above liquid water, below freezing too, as weather stations report it.
//! *Altitude* is the geopotential altitude of the standard atmosphere; up to 3000 m it differs
//! from the height on a map by less than 1.5 m.
//!
//! Air and vapour are reckoned as a mixture of ideal gases. Real air is 0.03 to 0.06 % denser at
//! ground level; the full equation of [CIPM-2007](Bibliography::Cipm2007) would be a sibling of
//! [`Air::density_kg_m3`].

#[cfg(doc)]
use crate::bibliography::Bibliography;
use crate::error::{Result, require};

/// Gas constant of dry air, *R*, J/(kg K), of [ISO 2533](Bibliography::Iso2533).
pub const GAS_CONSTANT_DRY_AIR: f64 = 287.05287;

/// Pressure of the standard atmosphere at altitude zero, *p₀*, Pa.
pub const STANDARD_PRESSURE_PA: f64 = 101_325.0;

/// Temperature of the standard atmosphere at altitude zero, *T₀*, K.
pub const STANDARD_TEMPERATURE_K: f64 = 288.15;

/// How much the standard atmosphere cools with altitude below 11 km, *L*, K/m.
pub const LAPSE_K_PER_M: f64 = 0.0065;

/// Standard gravity, *g₀*, m/s².
pub const STANDARD_GRAVITY_M_S2: f64 = 9.80665;

/// Molar mass of water over that of dry air, *ε*, of [CIPM-2007](Bibliography::Cipm2007).
pub const VAPOUR_MOLAR_RATIO: f64 = 18.01528 / 28.96546;

/// Moist air at rest.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Air {
    // Invariant: all finite, temperature and pressure inside the domains of `new`,
    // 0 <= vapour_pa < pressure_pa.
    pressure_pa: f64,
    temperature_k: f64,
    vapour_pa: f64,
}

impl Air {
    /// Air of this pressure, temperature and relative humidity.
    ///
    /// | argument            | meaning                             | unit | domain           |
    /// |---------------------|-------------------------------------|:----:|------------------|
    /// | `pressure_pa`       | absolute pressure of the moist air  | Pa   | 20 000–200 000   |
    /// | `temperature_k`     | temperature                         | K    | 213–344    |
    /// | `relative_humidity` | vapour over saturation above water  | –    | 0–1              |
    ///
    /// # Errors
    ///
    /// [`Error::OutOfDomain`](crate::Error::OutOfDomain) outside the domains above, or where the
    /// vapour would need more pressure than the air has.
    pub fn new(pressure_pa: f64, temperature_k: f64, relative_humidity: f64) -> Result<Air> {
        require(
            (20_000.0..=200_000.0).contains(&pressure_pa),
            "pressure_pa",
            pressure_pa,
            "20000 to 200000 Pa, absolute",
        )?;
        require(
            (0.0..=1.0).contains(&relative_humidity),
            "relative_humidity",
            relative_humidity,
            "0 to 1; write 60 % as 0.6",
        )?;
        let vapour_pa = relative_humidity * saturation_pressure_pa(temperature_k)?;
        require(
            vapour_pa < pressure_pa,
            "relative_humidity",
            relative_humidity,
            "so low that the vapour's pressure stays below the air's; lower it or the temperature",
        )?;
        Ok(Air { pressure_pa, temperature_k, vapour_pa })
    }

    /// Dry air of the standard atmosphere at this altitude.
    ///
    /// Pressure and temperature are those of [`standard_pressure_pa`] and
    /// [`standard_temperature_k`].
    ///
    /// # Errors
    ///
    /// [`Error::OutOfDomain`](crate::Error::OutOfDomain) unless the altitude lies in −500–11 000 m.
    pub fn standard(altitude_m: f64) -> Result<Air> {
        Air::at_altitude(altitude_m, standard_temperature_k(altitude_m)?, 0.0)
    }

    /// Air of the standard atmosphere's pressure at this altitude, and of today's temperature and
    /// relative humidity.
    ///
    /// A barometer read on the spot beats it: weather moves the pressure by some 3 % either way
    /// (common knowledge, no source).
    ///
    /// # Errors
    ///
    /// [`Error::OutOfDomain`](crate::Error::OutOfDomain) unless the altitude lies in −500–11 000 m
    /// and the rest in the domains of [`Air::new`].
    ///
    /// # Example
    ///
    /// A pass at 2000 m on a warm day: a fifth less air than at sea level.
    ///
    /// ```
    /// # use bellmouth_core::air::Air;
    /// let pass = Air::at_altitude(2000.0, 298.15, 0.4)?;
    /// let sea = Air::at_altitude(0.0, 298.15, 0.4)?;
    /// assert_eq!(format!("{:.2}", pass.density_kg_m3() / sea.density_kg_m3()), "0.78");
    /// # Ok::<(), bellmouth_core::Error>(())
    /// ```
    pub fn at_altitude(altitude_m: f64, temperature_k: f64, relative_humidity: f64) -> Result<Air> {
        Air::new(standard_pressure_pa(altitude_m)?, temperature_k, relative_humidity)
    }

    /// Absolute pressure of the moist air, *p*, Pa.
    pub fn pressure_pa(&self) -> f64 {
        self.pressure_pa
    }

    /// Temperature, *T*, K.
    pub fn temperature_k(&self) -> f64 {
        self.temperature_k
    }

    /// Partial pressure of the water vapour, *p*ᵥ, Pa.
    pub fn vapour_pa(&self) -> f64 {
        self.vapour_pa
    }

    /// Density of the moist air, *ρ* \[kg/m³\].
    ///
    /// ```text
    /// ρ = [p − (1−ε)·pᵥ] / (R·T)
    /// ```
    ///
    /// | symbol | where it is            | meaning                         | unit     | domain  |
    /// |:------:|------------------------|---------------------------------|:--------:|---------|
    /// | *p*    | `pressure_pa`          | absolute pressure               | Pa       | > *p*ᵥ  |
    /// | *p*ᵥ   | `vapour_pa`            | partial pressure of the vapour  | Pa       | ≥ 0     |
    /// | *T*    | `temperature_k`        | temperature                     | K        | > 0     |
    /// | *R*    | [`GAS_CONSTANT_DRY_AIR`] | gas constant of dry air       | J/(kg K) |         |
    /// | *ε*    | [`VAPOUR_MOLAR_RATIO`] | molar mass of water over air's  | –        |         |
    ///
    /// - **Source** the laws of Dalton and of ideal gases; *R* of [ISO 2533](Bibliography::Iso2533),
    ///   *ε* of [CIPM-2007](Bibliography::Cipm2007).
    /// - **Assumes** ideal gases that ignore one another: 0.03 to 0.06 % too thin at ground level.
    /// - **Departs** from CIPM-2007 by leaving out compressibility and the enhancement factor.
    ///
    /// # Example
    ///
    /// ```
    /// # use bellmouth_core::air::Air;
    /// let garage = Air::new(101_325.0, 293.15, 0.5)?;
    /// assert_eq!(format!("{:.3}", garage.density_kg_m3()), "1.199");
    /// # Ok::<(), bellmouth_core::Error>(())
    /// ```
    pub fn density_kg_m3(&self) -> f64 {
        let weighed_pa = self.pressure_pa - (1.0 - VAPOUR_MOLAR_RATIO) * self.vapour_pa;
        weighed_pa / (GAS_CONSTANT_DRY_AIR * self.temperature_k)
    }

    /// Pressure over density, *p/ρ* \[J/kg\]: the moist air's own gas constant times its temperature.
    ///
    /// ```text
    /// p/ρ = R·T / [1 − (1−ε)·pᵥ/p]
    /// ```
    ///
    /// Symbols, **Source**, **Assumes** and **Departs** are those of [`Air::density_kg_m3`]. A flow
    /// through a nozzle knows the air by this and by its pressure alone.
    ///
    /// # Example
    ///
    /// ```
    /// # use bellmouth_core::air::{Air, GAS_CONSTANT_DRY_AIR};
    /// let dry = Air::new(95_000.0, 300.0, 0.0)?;
    /// assert!((dry.pressure_over_density() / (GAS_CONSTANT_DRY_AIR * 300.0) - 1.0).abs() < 1e-12);
    /// # Ok::<(), bellmouth_core::Error>(())
    /// ```
    pub fn pressure_over_density(&self) -> f64 {
        self.pressure_pa / self.density_kg_m3()
    }

    /// Mass share of dry air, *d* \[–\]: what of each kilogram can burn fuel.
    ///
    /// ```text
    /// d = (p − pᵥ) / [p − (1−ε)·pᵥ]
    /// ```
    ///
    /// | symbol | where it is            | meaning                         | unit | domain |
    /// |:------:|------------------------|---------------------------------|:----:|--------|
    /// | *p*    | `pressure_pa`          | absolute pressure               | Pa   | > *p*ᵥ |
    /// | *p*ᵥ   | `vapour_pa`            | partial pressure of the vapour  | Pa   | ≥ 0    |
    /// | *ε*    | [`VAPOUR_MOLAR_RATIO`] | molar mass of water over air's  | –    |        |
    ///
    /// - **Source** the law of Dalton; *ε* of [CIPM-2007](Bibliography::Cipm2007).
    /// - **Assumes** ideal gases: the vapour of saturated air comes out about ½ % too small.
    /// - **Departs** from CIPM-2007 by leaving out the enhancement factor.
    ///
    /// # Example
    ///
    /// Hot and damp: 3 % of the air is not air, and the mixture as much richer.
    ///
    /// ```
    /// # use bellmouth_core::air::Air;
    /// let damp = Air::new(101_325.0, 308.15, 0.9)?;
    /// assert_eq!(format!("{:.3}", damp.dry_share()), "0.968");
    /// # Ok::<(), bellmouth_core::Error>(())
    /// ```
    pub fn dry_share(&self) -> f64 {
        (self.pressure_pa - self.vapour_pa) / (self.pressure_pa - (1.0 - VAPOUR_MOLAR_RATIO) * self.vapour_pa)
    }
}

/// Pressure of saturated water vapour above liquid water, *p*ₛᵥ \[Pa\].
///
/// ```text
/// pₛᵥ = exp(A·T² + B·T + C + D/T) · 1 Pa
/// A = 1.2378847e−5 K⁻²   B = −1.9121316e−2 K⁻¹   C = 33.93711047   D = −6.3431645e3 K
/// ```
///
/// | symbol | argument        | meaning     | unit | domain        | checked over                  |
/// |:------:|-----------------|-------------|:----:|---------------|-------------------------------|
/// | *T*    | `temperature_k` | temperature | K    | 213–344 | 273.15–333.15, within 0.05 %  |
///
/// - **Source** [CIPM-2007](Bibliography::Cipm2007), appendix, vapour pressure at saturation.
/// - **Assumes** liquid water; below freezing it is undercooled, not ice.
/// - **Departs** in the domain: the source speaks of 15 to 27 °C. Below freezing nothing was
///   compared, but below −10 °C the vapour is less than 0.3 % of the air.
///
/// # Errors
///
/// [`Error::OutOfDomain`](crate::Error::OutOfDomain) outside the domain above.
///
/// # Example
///
/// ```
/// # use bellmouth_core::air::saturation_pressure_pa;
/// assert_eq!(format!("{:.3}", saturation_pressure_pa(293.15)?), "2339.163");
/// # Ok::<(), bellmouth_core::Error>(())
/// ```
pub fn saturation_pressure_pa(temperature_k: f64) -> Result<f64> {
    let t = temperature_k;
    require((213.0..=344.0).contains(&t), "temperature_k", t, "213 to 344 K (−60 to 70 °C)")?;
    let (a, b, c, d) = (1.237_884_7e-5, -1.912_131_6e-2, 33.937_110_47, -6.343_164_5e3);
    Ok((a * t * t + b * t + c + d / t).exp())
}

/// Temperature of the standard atmosphere, *T* \[K\].
///
/// ```text
/// T = T₀ − L·H
/// ```
///
/// | symbol | argument     | meaning                 | unit | domain      |
/// |:------:|--------------|-------------------------|:----:|-------------|
/// | *H*    | `altitude_m` | geopotential altitude   | m    | −500–11 000 |
/// | *T₀*   | [`STANDARD_TEMPERATURE_K`] | at altitude zero | K |          |
/// | *L*    | [`LAPSE_K_PER_M`] | lapse rate         | K/m  |             |
///
/// - **Source** [ISO 2533](Bibliography::Iso2533), the lowest layer.
/// - **Assumes** the standard day.
/// - **Departs** from the source in nothing.
///
/// # Errors
///
/// [`Error::OutOfDomain`](crate::Error::OutOfDomain) outside the domain above.
///
/// # Example
///
/// ```
/// # use bellmouth_core::air::standard_temperature_k;
/// assert_eq!(standard_temperature_k(2000.0)?, 275.15);
/// # Ok::<(), bellmouth_core::Error>(())
/// ```
pub fn standard_temperature_k(altitude_m: f64) -> Result<f64> {
    require(
        (-500.0..=11_000.0).contains(&altitude_m),
        "altitude_m",
        altitude_m,
        "-500 to 11000 m, the lowest layer of the standard atmosphere",
    )?;
    Ok(STANDARD_TEMPERATURE_K - LAPSE_K_PER_M * altitude_m)
}

/// Pressure of the standard atmosphere, *p* \[Pa\].
///
/// ```text
/// p = p₀ · (T/T₀)^(g₀/(R·L))
/// ```
///
/// | symbol | argument     | meaning                                        | unit     | domain      |
/// |:------:|--------------|------------------------------------------------|:--------:|-------------|
/// | *H*    | `altitude_m` | geopotential altitude, enters by *T*           | m        | −500–11 000 |
/// | *T*    |              | [`standard_temperature_k`]                     | K        |             |
/// | *p₀*, *T₀* |          | [`STANDARD_PRESSURE_PA`], [`STANDARD_TEMPERATURE_K`] | Pa, K |          |
/// | *g₀*   |              | [`STANDARD_GRAVITY_M_S2`]                      | m/s²     |             |
/// | *R*    |              | [`GAS_CONSTANT_DRY_AIR`]                       | J/(kg K) |             |
/// | *L*    |              | [`LAPSE_K_PER_M`]                              | K/m      |             |
///
/// - **Source** [ISO 2533](Bibliography::Iso2533), the lowest layer.
/// - **Assumes** the standard day: dry air in equilibrium.
/// - **Departs** from the source in nothing.
///
/// # Errors
///
/// [`Error::OutOfDomain`](crate::Error::OutOfDomain) outside the domain above.
///
/// # Example
///
/// ```
/// # use bellmouth_core::air::standard_pressure_pa;
/// assert_eq!(format!("{:.0}", standard_pressure_pa(1500.0)?), "84556");
/// # Ok::<(), bellmouth_core::Error>(())
/// ```
pub fn standard_pressure_pa(altitude_m: f64) -> Result<f64> {
    let warmth = standard_temperature_k(altitude_m)? / STANDARD_TEMPERATURE_K;
    let exponent = STANDARD_GRAVITY_M_S2 / (GAS_CONSTANT_DRY_AIR * LAPSE_K_PER_M);
    Ok(STANDARD_PRESSURE_PA * warmth.powf(exponent))
}
