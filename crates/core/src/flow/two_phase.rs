//! Fuel and air together through one outlet.

/// Pressure drop of liquid and gas through one opening, *Δp* \[Pa\].
///
/// ```text
/// Δp = [ṁ_l²/ρ_l + ṁ_g²/ρ_g + C ṁ_l ṁ_g/√(ρ_l ρ_g)] / [2 (C_d A)²]
/// ```
///
/// | symbol | argument | meaning | unit | domain |
/// |:---:|---|---|:---:|---|
/// | *ṁ_l*, *ṁ_g* | `liquid_kg_s`, `gas_kg_s` | mass flows | kg/s | zero or more |
/// | *C_d A* | `effective_area_m2` | effective area | m² | above zero |
/// | *ρ_l*, *ρ_g* | `liquid_kg_m3`, `gas_kg_m3` | densities | kg/m³ | above zero |
/// | *C* | `interaction` | how much the streams hinder one another | – | 2 (they share the area) to [`homogeneous_interaction`] |
///
/// - **Source** the form of Lockhart, Martinelli and Chisholm for tubes; its use for an idle outlet is
///   ours. The constant is not measured for any carburettor: a calibration number.
/// - **Assumes** steady, separated streams; no slip is prescribed.
/// - **Departs** from the source in the constant, 4 for a needle jet and 12 for an idle outlet.
///
/// # Example
///
/// Fuel alone obeys the orifice equation:
///
/// ```
/// use bellmouth_core::flow::two_phase_drop;
/// let drop = two_phase_drop(1e-4, 0.0, 5e-7, 740.0, 1.2, 12.0);
/// assert!((drop - (1e-4f64 / 5e-7).powi(2) / (2.0 * 740.0)).abs() < 1e-9);
/// ```
pub fn two_phase_drop(
    liquid_kg_s: f64,
    gas_kg_s: f64,
    effective_area_m2: f64,
    liquid_kg_m3: f64,
    gas_kg_m3: f64,
    interaction: f64,
) -> f64 {
    let (l, g) = (liquid_kg_s / liquid_kg_m3.sqrt(), gas_kg_s / gas_kg_m3.sqrt());
    (l * l + g * g + interaction * l * g) / (2.0 * effective_area_m2 * effective_area_m2)
}

/// The interaction at which [`two_phase_drop`] is that of a homogeneous mixture, *C* \[–\].
///
/// ```text
/// C = √(ρ_l/ρ_g) + √(ρ_g/ρ_l)
/// ```
///
/// | symbol | argument | meaning | unit | domain |
/// |:---:|---|---|:---:|---|
/// | *ρ_l*, *ρ_g* | `liquid_kg_m3`, `gas_kg_m3` | densities | kg/m³ | above zero |
///
/// - **Source** none: algebra.
/// - **Assumes** both phases at one speed.
/// - **Departs** from nothing.
pub fn homogeneous_interaction(liquid_kg_m3: f64, gas_kg_m3: f64) -> f64 {
    let ratio = (liquid_kg_m3 / gas_kg_m3).sqrt();
    ratio + 1.0 / ratio
}
