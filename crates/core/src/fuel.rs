//! What fuel is this?
//!
//! Petrol with or without ethanol, as a jet and a flame meet it: its density, its viscosity, and
//! the dry air a kilogram of it needs to burn completely, no oxygen left over (its
//! *stoichiometric ratio*). Shares by volume are of the liquids at 15 °C before they were mixed,
//! as a pump states them.

#[cfg(doc)]
use crate::bibliography::Bibliography;
use crate::error::{Result, require};

/// The temperature at which the density of a fuel is stated, K.
pub const STATED_AT_K: f64 = 288.15;

/// Density of ethanol at 15 °C, kg/m³: the reference equation of the literature as
/// [CoolProp](Bibliography::Coolprop2014) evaluates it. The 789 often printed is the density at 20 °C.
pub const ETHANOL_DENSITY_15C_KG_M3: f64 = 793.7;

/// Expansion of ethanol at 15 °C, 1/K, from the same equation.
pub const ETHANOL_EXPANSION_PER_K: f64 = 1.0732e-3;

/// Hydrogen and oxygen atoms per carbon atom of ethanol, C₂H₅OH.
const ETHANOL_RATIOS: (f64, f64) = (3.0, 0.5);

/// What flows through a jet and what it needs to burn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fuel {
    /// Density, kg/m³.
    pub density_kg_m3: f64,
    /// Dynamic viscosity, Pa s.
    pub viscosity_pa_s: f64,
    /// Kilograms of dry air that burn a kilogram of fuel completely.
    pub stoichiometric_ratio: f64,
}

/// Petrol with or without ethanol, as it stands on the pump.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Petrol {
    /// Hydrogen atoms per carbon atom of the petrol without its ethanol, 1–2.5.
    pub hydrogen_to_carbon: f64,
    /// Density of the petrol without its ethanol at 15 °C, 653–770 kg/m³.
    pub density_15c_kg_m3: f64,
    /// Volume share of ethanol, 0–1: 0.1 for E10, 0.85 for E85.
    pub ethanol_volume_share: f64,
}

impl Default for Petrol {
    /// Petrol without ethanol of middling density: CH₁.₈₅, 745 kg/m³ (common practice, no source).
    fn default() -> Self {
        Petrol { hydrogen_to_carbon: 1.85, density_15c_kg_m3: 745.0, ethanol_volume_share: 0.0 }
    }
}

impl Petrol {
    /// This petrol at this temperature, from −20 to 60 °C.
    ///
    /// # Errors
    ///
    /// [`Error::OutOfDomain`](crate::Error::OutOfDomain) when a field or the temperature lies outside
    /// its domain.
    ///
    /// # Example
    ///
    /// A tenth of ethanol takes 4 % off the air that a kilogram needs:
    ///
    /// ```
    /// # use bellmouth_core::fuel::Petrol;
    /// let plain = Petrol::default().at(298.15)?;
    /// let e10 = Petrol { ethanol_volume_share: 0.1, ..Petrol::default() }.at(298.15)?;
    /// assert_eq!(format!("{:.2}", plain.stoichiometric_ratio), "14.57");
    /// assert_eq!(format!("{:.2}", e10.stoichiometric_ratio), "13.98");
    /// # Ok::<(), bellmouth_core::Error>(())
    /// ```
    pub fn at(&self, temperature_k: f64) -> Result<Fuel> {
        Ok(Fuel {
            density_kg_m3: self.density_kg_m3(temperature_k)?,
            viscosity_pa_s: self.viscosity_pa_s(temperature_k)?,
            stoichiometric_ratio: self.stoichiometric_ratio()?,
        })
    }

    /// Kilograms of dry air that burn a kilogram of this petrol completely, *s* \[–\].
    ///
    /// ```text
    /// s = (1−w)·s_petrol + w·s_ethanol
    /// ```
    ///
    /// | symbol | where it is              | meaning                           | unit | domain |
    /// |:------:|--------------------------|-----------------------------------|:----:|--------|
    /// | *w*    | [`ethanol_mass_share`]   | mass share of ethanol             | –    | 0–1    |
    /// | *s*ₚ…  | [`stoichiometric_ratio`] | of CHᵧ without oxygen, and of ethanol, C₂H₅OH | – | *y* of 1–2.5 |
    ///
    /// - **Source** a balance of mass.
    /// - **Assumes** no other oxygenate in the petrol.
    /// - **Departs** from the source in nothing.
    ///
    /// # Errors
    ///
    /// [`Error::OutOfDomain`](crate::Error::OutOfDomain) when a field lies outside its domain.
    ///
    /// # Example
    ///
    /// ```
    /// # use bellmouth_core::fuel::Petrol;
    /// let e85 = Petrol { ethanol_volume_share: 0.85, ..Petrol::default() };
    /// assert_eq!(format!("{:.1}", e85.stoichiometric_ratio()?), "9.8");
    /// # Ok::<(), bellmouth_core::Error>(())
    /// ```
    pub fn stoichiometric_ratio(&self) -> Result<f64> {
        self.check()?;
        let (hydrogen, oxygen) = ETHANOL_RATIOS;
        let mass_share =
            ethanol_mass_share(self.ethanol_volume_share, self.density_15c_kg_m3, ETHANOL_DENSITY_15C_KG_M3)?;
        Ok((1.0 - mass_share) * stoichiometric_ratio(self.hydrogen_to_carbon, 0.0)?
            + mass_share * stoichiometric_ratio(hydrogen, oxygen)?)
    }

    /// Density, *ρ* \[kg/m³\].
    ///
    /// ```text
    /// ρ = [(1−v)·ρₚ + v·ρₑ] / [(1−v)/Fₚ + v/Fₑ]
    /// ```
    ///
    /// | symbol   | where it is            | meaning                                       | unit  | domain  |
    /// |:--------:|------------------------|-----------------------------------------------|:-----:|---------|
    /// | *v*      | `ethanol_volume_share` | volume share of ethanol at 15 °C              | –     | 0–1     |
    /// | *ρ*ₚ     | `density_15c_kg_m3`    | density of the petrol part at 15 °C           | kg/m³ | 653–770 |
    /// | *ρ*ₑ     | [`ETHANOL_DENSITY_15C_KG_M3`] | density of ethanol at 15 °C            | kg/m³ |         |
    /// | *F*      | [`volume_correction`]  | of petrol ([`petrol_expansion_per_k`]) and of ethanol ([`ETHANOL_EXPANSION_PER_K`]) | – | |
    /// | *T*      | `temperature_k`        | temperature, enters by *F*                    | K     | 253–334 |
    ///
    /// - **Source** [ASTM D1250-80](Bibliography::AstmTable54b), table 54B, for the petrol part;
    ///   [CoolProp](Bibliography::Coolprop2014) for ethanol.
    /// - **Assumes** that the volumes add when the liquids are mixed; they add to within a few
    ///   thousandths (common knowledge, no source).
    /// - **Departs** from the table, which is for petroleum, by lending its form to ethanol: within
    ///   0.03 % of the reference equation from −20 to 40 °C, 0.11 % at 60 °C.
    ///
    /// # Errors
    ///
    /// [`Error::OutOfDomain`](crate::Error::OutOfDomain) outside the domains above.
    ///
    /// # Example
    ///
    /// ```
    /// # use bellmouth_core::fuel::Petrol;
    /// assert_eq!(format!("{:.1}", Petrol::default().density_kg_m3(303.15)?), "731.4");
    /// # Ok::<(), bellmouth_core::Error>(())
    /// ```
    pub fn density_kg_m3(&self, temperature_k: f64) -> Result<f64> {
        self.check()?;
        let (petrol, ethanol) = (1.0 - self.ethanol_volume_share, self.ethanol_volume_share);
        let mass = petrol * self.density_15c_kg_m3 + ethanol * ETHANOL_DENSITY_15C_KG_M3;
        let petrol_corrects =
            volume_correction(petrol_expansion_per_k(self.density_15c_kg_m3)?, temperature_k)?;
        let ethanol_corrects = volume_correction(ETHANOL_EXPANSION_PER_K, temperature_k)?;
        Ok(mass / (petrol / petrol_corrects + ethanol / ethanol_corrects))
    }

    /// Dynamic viscosity, *μ* \[Pa s\].
    ///
    /// ```text
    /// ln μ = (1−v)·ln μₚ + v·ln μₑ      μᵢ = μ₂₅ · exp[b·(1/T − 1/298.15 K)]
    /// petrol:  μ₂₅ = 0.50e−3 Pa s    b = 1060 K
    /// ethanol: μ₂₅ = 1.0824e−3 Pa s  b = 1705 K
    /// ```
    ///
    /// | symbol | where it is            | meaning                          | unit | domain        |
    /// |:------:|------------------------|----------------------------------|:----:|---------------|
    /// | *T*    | `temperature_k`        | temperature                      | K    | 253–334 |
    /// | *v*    | `ethanol_volume_share` | volume share of ethanol at 15 °C | –    | 0–1           |
    ///
    /// - **Source** the exponential form is Andrade's, as told in [Nature](Bibliography::Viscosity1932);
    ///   the constants of ethanol and petrol's *b*, the mean of isooctane's and toluene's from 0 to
    ///   40 °C, are [CoolProp](Bibliography::Coolprop2014)'s and the library `thermo`'s; 0.50 mPa s at
    ///   25 °C and the mixing of logarithms by volume are common practice, no source.
    /// - **Assumes** one petrol for all, between n-heptane, thinner, and toluene, thicker; a given petrol
    ///   may be a quarter thinner or thicker (an estimate, no source).
    /// - **Departs** from reference values of pure ethanol by up to 0.5 % from 0 to 40 °C, 2.5 % at
    ///   −20 °C and 1.6 % at 60 °C.
    ///
    /// # Errors
    ///
    /// [`Error::OutOfDomain`](crate::Error::OutOfDomain) outside the domains above.
    ///
    /// # Example
    ///
    /// ```
    /// # use bellmouth_core::fuel::Petrol;
    /// let e10 = Petrol { ethanol_volume_share: 0.1, ..Petrol::default() };
    /// assert_eq!(format!("{:.2e}", e10.viscosity_pa_s(298.15)?), "5.40e-4");
    /// # Ok::<(), bellmouth_core::Error>(())
    /// ```
    pub fn viscosity_pa_s(&self, temperature_k: f64) -> Result<f64> {
        self.check()?;
        check_temperature(temperature_k)?;
        let colder = 1.0 / temperature_k - 1.0 / 298.15;
        let petrol_ln = 0.50e-3_f64.ln() + 1060.0 * colder;
        let ethanol_ln = 1.0824e-3_f64.ln() + 1705.0 * colder;
        let share = self.ethanol_volume_share;
        Ok(((1.0 - share) * petrol_ln + share * ethanol_ln).exp())
    }

    /// Refuses a petrol whose fields lie outside their domains.
    fn check(&self) -> Result<()> {
        let Petrol { hydrogen_to_carbon, density_15c_kg_m3, ethanol_volume_share } = *self;
        require(
            (1.0..=2.5).contains(&hydrogen_to_carbon),
            "hydrogen_to_carbon",
            hydrogen_to_carbon,
            "1 to 2.5, as of liquid hydrocarbons; petrol has about 1.85",
        )?;
        require(
            (653.0..=770.0).contains(&density_15c_kg_m3),
            "density_15c_kg_m3",
            density_15c_kg_m3,
            "653 to 770 kg/m³, petrol without its ethanol at 15 °C",
        )?;
        check_share(ethanol_volume_share)
    }
}

/// Kilograms of dry air that burn a kilogram of CHᵧO_z completely, *s* \[–\].
///
/// ```text
/// s = (1 + y/4 − z/2) · (32.00 + 3.773·28.16) / (12.011 + 1.008·y + 15.999·z)
/// ```
///
/// | symbol | argument             | meaning                          | unit | domain            |
/// |:------:|----------------------|----------------------------------|:----:|-------------------|
/// | *y*    | `hydrogen_to_carbon` | hydrogen atoms per carbon atom   | –    | 0–4               |
/// | *z*    | `oxygen_to_carbon`   | oxygen atoms per carbon atom     | –    | 0 to below 2 + *y*/2 |
///
/// - **Source** a balance of atoms. Air is 20.95 % oxygen by volume, the rest lumped as a nitrogen
///   that weighs 28.16 g/mol with its argon and carbon dioxide (common knowledge, no source);
///   checked against [ASHRAE](Bibliography::Ashrae2021), chapter 28, table 1.
/// - **Assumes** dry air; all carbon to CO₂, all hydrogen to H₂O.
/// - **Departs** from the schoolbook's air of O₂ + 3.76 N₂, which gives 0.7 % less.
///
/// # Errors
///
/// [`Error::OutOfDomain`](crate::Error::OutOfDomain) outside the domains above.
///
/// # Example
///
/// Propane, C₃H₈:
///
/// ```
/// # use bellmouth_core::fuel::stoichiometric_ratio;
/// assert_eq!(format!("{:.2}", stoichiometric_ratio(8.0 / 3.0, 0.0)?), "15.68");
/// # Ok::<(), bellmouth_core::Error>(())
/// ```
pub fn stoichiometric_ratio(hydrogen_to_carbon: f64, oxygen_to_carbon: f64) -> Result<f64> {
    let (y, z) = (hydrogen_to_carbon, oxygen_to_carbon);
    require((0.0..=4.0).contains(&y), "hydrogen_to_carbon", y, "0 to 4; methane has 4")?;
    let oxygen_needed = 1.0 + y / 4.0 - z / 2.0;
    require(
        0.0 <= z && 0.0 < oxygen_needed,
        "oxygen_to_carbon",
        z,
        "zero or more, and less than the fuel needs to burn; ethanol has 0.5",
    )?;
    Ok(oxygen_needed * (32.00 + 3.773 * 28.16) / (12.011 + 1.008 * y + 15.999 * z))
}

/// Mass share of ethanol in petrol, *w* \[–\].
///
/// ```text
/// w = v·ρₑ / [v·ρₑ + (1−v)·ρₚ]
/// ```
///
/// | symbol | argument                | meaning                                       | unit  | domain |
/// |:------:|-------------------------|-----------------------------------------------|:-----:|--------|
/// | *v*    | `ethanol_volume_share`  | volume share of ethanol before mixing         | –     | 0–1    |
/// | *ρ*ₚ   | `petrol_density_kg_m3`  | density of the petrol part                    | kg/m³ | > 0    |
/// | *ρ*ₑ   | `ethanol_density_kg_m3` | density of ethanol at the same temperature    | kg/m³ | > 0    |
///
/// - **Source** a balance of mass.
/// - **Assumes** shares measured before mixing, so that no volume is lost.
/// - **Departs** from the source in nothing.
///
/// # Errors
///
/// [`Error::OutOfDomain`](crate::Error::OutOfDomain) outside the domains above.
///
/// # Example
///
/// ```
/// # use bellmouth_core::fuel::ethanol_mass_share;
/// assert_eq!(format!("{:.4}", ethanol_mass_share(0.1, 745.0, 793.7)?), "0.1058");
/// # Ok::<(), bellmouth_core::Error>(())
/// ```
pub fn ethanol_mass_share(
    ethanol_volume_share: f64,
    petrol_density_kg_m3: f64,
    ethanol_density_kg_m3: f64,
) -> Result<f64> {
    check_share(ethanol_volume_share)?;
    for (argument, density) in
        [("petrol_density_kg_m3", petrol_density_kg_m3), ("ethanol_density_kg_m3", ethanol_density_kg_m3)]
    {
        require(0.0 < density && density.is_finite(), argument, density, "above zero and finite")?;
    }
    let ethanol = ethanol_volume_share * ethanol_density_kg_m3;
    Ok(ethanol / (ethanol + (1.0 - ethanol_volume_share) * petrol_density_kg_m3))
}

/// Thermal expansion of petrol at 15 °C, *α* \[1/K\].
///
/// ```text
/// α = K₀/ρ² + K₁/ρ      K₀ = 346.4228   K₁ = 0.4388
/// ```
///
/// | symbol | argument            | meaning          | unit  | domain  |
/// |:------:|---------------------|------------------|:-----:|---------|
/// | *ρ*    | `density_15c_kg_m3` | density at 15 °C | kg/m³ | 653–770 |
///
/// - **Source** [ASTM D1250-80](Bibliography::AstmTable54b), table 54B, gasolines.
/// - **Assumes** petrol without ethanol.
/// - **Departs** from the standard's procedure by not rounding between its steps.
///
/// # Errors
///
/// [`Error::OutOfDomain`](crate::Error::OutOfDomain) outside the domain above.
///
/// # Example
///
/// ```
/// # use bellmouth_core::fuel::petrol_expansion_per_k;
/// assert_eq!(format!("{:.6}", petrol_expansion_per_k(745.0)?), "0.001213");
/// # Ok::<(), bellmouth_core::Error>(())
/// ```
pub fn petrol_expansion_per_k(density_15c_kg_m3: f64) -> Result<f64> {
    let rho = density_15c_kg_m3;
    require((653.0..=770.0).contains(&rho), "density_15c_kg_m3", rho, "653 to 770 kg/m³")?;
    Ok(346.4228 / (rho * rho) + 0.4388 / rho)
}

/// Volume at 15 °C over volume at this temperature, *F* \[–\].
///
/// ```text
/// F = exp[−α·ΔT·(1 + 0.8·α·ΔT)]      ΔT = T − 288.15 K
/// ```
///
/// | symbol | argument          | meaning             | unit | domain        |
/// |:------:|-------------------|---------------------|:----:|---------------|
/// | *α*    | `expansion_per_k` | expansion at 15 °C  | 1/K  | 0–0.002       |
/// | *T*    | `temperature_k`   | temperature         | K    | 253–334 |
///
/// - **Source** [ASTM D1250-80](Bibliography::AstmTable54b), table 54B.
/// - **Assumes** the pressure of the atmosphere.
/// - **Departs** from the standard's procedure by not rounding between its steps.
///
/// # Errors
///
/// [`Error::OutOfDomain`](crate::Error::OutOfDomain) outside the domains above.
///
/// # Example
///
/// ```
/// # use bellmouth_core::fuel::{petrol_expansion_per_k, volume_correction};
/// let factor = volume_correction(petrol_expansion_per_k(745.0)?, 303.15)?;
/// assert_eq!(format!("{factor:.6}"), "0.981707");
/// # Ok::<(), bellmouth_core::Error>(())
/// ```
pub fn volume_correction(expansion_per_k: f64, temperature_k: f64) -> Result<f64> {
    require(
        (0.0..=0.002).contains(&expansion_per_k),
        "expansion_per_k",
        expansion_per_k,
        "0 to 0.002 per K",
    )?;
    check_temperature(temperature_k)?;
    let swelling = expansion_per_k * (temperature_k - STATED_AT_K);
    Ok((-swelling * (1.0 + 0.8 * swelling)).exp())
}

fn check_temperature(temperature_k: f64) -> Result<()> {
    require(
        (253.0..=334.0).contains(&temperature_k),
        "temperature_k",
        temperature_k,
        "253 to 334 K (−20 to 60 °C)",
    )
}

fn check_share(ethanol_volume_share: f64) -> Result<()> {
    require(
        (0.0..=1.0).contains(&ethanol_volume_share),
        "ethanol_volume_share",
        ethanol_volume_share,
        "0 to 1; write E10 as 0.1",
    )
}
