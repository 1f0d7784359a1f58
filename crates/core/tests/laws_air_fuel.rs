//! What must hold of any air and any fuel.

use bellmouth_core::Error;
use bellmouth_core::air::{
    Air, STANDARD_PRESSURE_PA, STANDARD_TEMPERATURE_K, saturation_pressure_pa, standard_pressure_pa,
};
use bellmouth_core::fuel::{
    ETHANOL_DENSITY_15C_KG_M3, Petrol, STATED_AT_K, ethanol_mass_share, petrol_expansion_per_k,
    stoichiometric_ratio, volume_correction,
};

const ROUNDING: f64 = 1e-12;

fn airs() -> Vec<Air> {
    let mut airs = Vec::new();
    for pressure_pa in [25e3, 60e3, 80e3, 101_325.0, 110e3, 180e3] {
        for celsius in [-55.0, -20.0, 0.0, 15.0, 30.0, 45.0] {
            for humidity in [0.0, 0.3, 0.7, 1.0] {
                airs.push(Air::new(pressure_pa, celsius + 273.15, humidity).expect("air of this kind"));
            }
        }
    }
    airs
}

#[test]
fn density_and_pressure_fall_with_altitude() {
    let climb: Vec<Air> =
        (-5..=110).map(|hundreds| Air::standard(100.0 * f64::from(hundreds)).unwrap()).collect();
    for step in climb.windows(2) {
        assert!(step[1].density_kg_m3() < step[0].density_kg_m3());
        assert!(step[1].pressure_pa() < step[0].pressure_pa());
        assert!(step[1].temperature_k() < step[0].temperature_k());
    }
    assert_eq!(standard_pressure_pa(0.0).unwrap(), STANDARD_PRESSURE_PA);
    assert_eq!(Air::standard(0.0).unwrap().temperature_k(), STANDARD_TEMPERATURE_K);
}

/// dp/dH = −ρ·g₀: the column of air carries itself.
#[test]
fn the_standard_atmosphere_carries_its_own_weight() {
    for altitude_m in [0.0, 700.0, 2500.0, 9000.0] {
        let (below, above) = (altitude_m - 1.0, altitude_m + 1.0);
        let slope = (standard_pressure_pa(above).unwrap() - standard_pressure_pa(below).unwrap()) / 2.0;
        let weight = Air::standard(altitude_m).unwrap().density_kg_m3() * 9.80665;
        assert!((slope / -weight - 1.0).abs() < 1e-7, "{altitude_m} m: {slope}, {weight}");
    }
}

#[test]
fn humidity_lowers_density_and_dry_share() {
    for pair in airs().windows(2).filter(|pair| pair[0].temperature_k() == pair[1].temperature_k()) {
        if pair[0].pressure_pa() == pair[1].pressure_pa() {
            assert!(pair[1].density_kg_m3() < pair[0].density_kg_m3());
            assert!(pair[1].dry_share() < pair[0].dry_share());
            assert!(pair[0].pressure_over_density() < pair[1].pressure_over_density());
        }
    }
}

#[test]
fn density_follows_pressure_and_falls_with_temperature() {
    let dry = |pressure_pa, kelvin| Air::new(pressure_pa, kelvin, 0.0).unwrap().density_kg_m3();
    assert!((dry(50e3, 280.0) * 2.0 - dry(100e3, 280.0)).abs() < ROUNDING);
    assert!((dry(90e3, 330.0) * 330.0 - dry(90e3, 275.0) * 275.0).abs() < 1e-9);
}

#[test]
fn dry_air_and_vapour_add_up() {
    for air in airs() {
        let vapour = air.density_kg_m3() * (1.0 - air.dry_share());
        // What the vapour would weigh alone: its gas constant is the universal one over 18.01528.
        let alone = air.vapour_pa() / (287.05287 * 28.96546 / 18.01528 * air.temperature_k());
        assert!((vapour - alone).abs() < ROUNDING, "{air:?}");
        assert!(0.0 < air.dry_share() && air.dry_share() <= 1.0, "{air:?}");
        let product = air.pressure_over_density() * air.density_kg_m3();
        assert!((product / air.pressure_pa() - 1.0).abs() < ROUNDING, "{air:?}");
    }
}

#[test]
fn dry_air_is_all_dry_and_given_air_keeps_what_was_given() {
    let air = Air::new(95e3, 300.0, 0.0).unwrap();
    assert_eq!((air.pressure_pa(), air.temperature_k(), air.vapour_pa()), (95e3, 300.0, 0.0));
    assert_eq!(air.dry_share(), 1.0);
    let damp = Air::new(95e3, 300.0, 0.5).unwrap();
    assert_eq!(damp.vapour_pa(), 0.5 * saturation_pressure_pa(300.0).unwrap());
    let aloft = Air::at_altitude(1200.0, 300.0, 0.5).unwrap();
    assert_eq!(aloft.pressure_pa(), standard_pressure_pa(1200.0).unwrap());
    assert_eq!(aloft.vapour_pa(), damp.vapour_pa());
}

#[test]
fn saturation_pressure_rises_with_temperature() {
    for celsius in -60..70 {
        let at = |celsius: i32| saturation_pressure_pa(f64::from(celsius) + 273.15).unwrap();
        assert!(at(celsius) < at(celsius + 1), "{celsius} °C");
    }
}

#[test]
fn volume_correction_is_one_at_15_c_and_falls_with_warmth() {
    for density in [653.0, 700.0, 745.0, 770.0] {
        let expansion = petrol_expansion_per_k(density).unwrap();
        assert_eq!(volume_correction(expansion, STATED_AT_K).unwrap(), 1.0);
        for celsius in -20..60 {
            let at = |celsius: i32| volume_correction(expansion, f64::from(celsius) + 273.15).unwrap();
            assert!(at(celsius + 1) < at(celsius), "{density} kg/m³, {celsius} °C");
        }
        let (above, below) = (STATED_AT_K + 0.01, STATED_AT_K - 0.01);
        let slope = (volume_correction(expansion, above).unwrap().ln()
            - volume_correction(expansion, below).unwrap().ln())
            / 0.02;
        assert!((slope / -expansion - 1.0).abs() < 1e-6, "expansion is the slope at 15 °C: {slope}");
    }
}

#[test]
fn a_fuel_at_15_c_has_its_stated_density() {
    for share in [0.0, 0.1, 0.5, 1.0] {
        let petrol = Petrol { density_15c_kg_m3: 738.0, ethanol_volume_share: share, ..Petrol::default() };
        let want = (1.0 - share) * 738.0 + share * ETHANOL_DENSITY_15C_KG_M3;
        assert!((petrol.density_kg_m3(STATED_AT_K).unwrap() / want - 1.0).abs() < ROUNDING);
    }
}

#[test]
fn blend_ends_are_the_pure_fuels() {
    let petrol = Petrol { hydrogen_to_carbon: 1.9, density_15c_kg_m3: 730.0, ethanol_volume_share: 0.0 };
    let ethanol = Petrol { ethanol_volume_share: 1.0, ..petrol };
    for kelvin in [255.0, 273.15, 298.15, 330.0] {
        let (start, end) = (petrol.at(kelvin).unwrap(), ethanol.at(kelvin).unwrap());
        let expansion = petrol_expansion_per_k(730.0).unwrap();
        let want = 730.0 * volume_correction(expansion, kelvin).unwrap();
        assert!((start.density_kg_m3 / want - 1.0).abs() < ROUNDING);
        assert_eq!(start.stoichiometric_ratio, stoichiometric_ratio(1.9, 0.0).unwrap());
        assert_eq!(end.stoichiometric_ratio, stoichiometric_ratio(3.0, 0.5).unwrap());
        // Nothing of the petrol is left in pure ethanol.
        assert_eq!(end, Petrol { ethanol_volume_share: 1.0, ..Petrol::default() }.at(kelvin).unwrap());
    }
    assert_eq!(ethanol_mass_share(0.0, 745.0, 789.0).unwrap(), 0.0);
    assert_eq!(ethanol_mass_share(1.0, 745.0, 789.0).unwrap(), 1.0);
}

#[test]
fn ethanol_makes_fuel_denser_thicker_and_in_need_of_less_air() {
    for kelvin in [255.0, 288.15, 298.15, 330.0] {
        for tenths in 0..10 {
            let at = |tenths: u8| {
                let ethanol_volume_share = f64::from(tenths) / 10.0;
                Petrol { ethanol_volume_share, ..Petrol::default() }.at(kelvin).unwrap()
            };
            let (less, more) = (at(tenths), at(tenths + 1));
            assert!(less.density_kg_m3 < more.density_kg_m3);
            assert!(less.viscosity_pa_s < more.viscosity_pa_s);
            assert!(more.stoichiometric_ratio < less.stoichiometric_ratio);
        }
    }
}

#[test]
fn warmth_makes_every_fuel_thinner() {
    for share in [0.0, 0.1, 0.85, 1.0] {
        let petrol = Petrol { ethanol_volume_share: share, ..Petrol::default() };
        for celsius in -20..60 {
            let at = |celsius: i32| petrol.at(f64::from(celsius) + 273.15).unwrap();
            let (cold, warm) = (at(celsius), at(celsius + 1));
            assert!(warm.viscosity_pa_s < cold.viscosity_pa_s);
            assert!(warm.density_kg_m3 < cold.density_kg_m3);
            assert_eq!(warm.stoichiometric_ratio, cold.stoichiometric_ratio);
        }
    }
}

/// The ratio of a mixture of fuels is the mean by mass: two molecules at once burn as one.
#[test]
fn a_fuel_of_two_molecules_burns_as_both() {
    // One carbon of CH2 beside one of CH4O make C2H6O, ethanol's sum formula.
    let (alkene, methanol) = (12.011 + 2.0 * 1.008, 12.011 + 4.0 * 1.008 + 15.999);
    let apart = (alkene * stoichiometric_ratio(2.0, 0.0).unwrap()
        + methanol * stoichiometric_ratio(4.0, 1.0).unwrap())
        / (alkene + methanol);
    assert!((apart / stoichiometric_ratio(3.0, 0.5).unwrap() - 1.0).abs() < ROUNDING);
}

#[test]
fn hydrogen_needs_more_air_and_oxygen_in_the_fuel_less() {
    for tenths in 0..39 {
        let y = f64::from(tenths) / 10.0;
        let plain = stoichiometric_ratio(y, 0.0).unwrap();
        assert!(plain < stoichiometric_ratio(y + 0.1, 0.0).unwrap());
        assert!(stoichiometric_ratio(y, 0.1).unwrap() < plain);
    }
}

/// The argument a refusal names; panics on an answer.
#[track_caller]
fn refused<T: std::fmt::Debug>(answer: Result<T, Error>) -> &'static str {
    match answer {
        Err(Error::OutOfDomain { argument, .. }) => argument,
        other => panic!("not refused: {other:?}"),
    }
}

#[test]
fn impossible_air_is_refused_by_the_name_of_its_fault() {
    for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, -1.0, 1013.25, 0.0] {
        assert_eq!(refused(Air::new(bad, 293.15, 0.5)), "pressure_pa");
    }
    for bad in [f64::NAN, f64::INFINITY, -5.0, 0.0, 20.0, 400.0] {
        assert_eq!(refused(Air::new(101_325.0, bad, 0.5)), "temperature_k");
        assert_eq!(refused(saturation_pressure_pa(bad)), "temperature_k");
        assert_eq!(refused(Air::at_altitude(0.0, bad, 0.5)), "temperature_k");
    }
    for bad in [f64::NAN, f64::INFINITY, -0.01, 1.01, 60.0] {
        assert_eq!(refused(Air::new(101_325.0, 293.15, bad)), "relative_humidity");
    }
    for bad in [f64::NAN, f64::INFINITY, -501.0, 11_001.0] {
        assert_eq!(refused(Air::standard(bad)), "altitude_m");
        assert_eq!(refused(standard_pressure_pa(bad)), "altitude_m");
    }
    // Steam: at 69 °C and a quarter of an atmosphere no air is left.
    assert_eq!(refused(Air::new(25e3, 342.15, 1.0)), "relative_humidity");
}

#[test]
fn impossible_fuel_is_refused_by_the_name_of_its_fault() {
    let good = Petrol::default();
    for bad in [f64::NAN, f64::INFINITY, -1.0, 0.0, 0.745, 652.0, 771.0] {
        let petrol = Petrol { density_15c_kg_m3: bad, ..good };
        assert_eq!(refused(petrol.at(293.15)), "density_15c_kg_m3");
        assert_eq!(refused(petrol.stoichiometric_ratio()), "density_15c_kg_m3");
        assert_eq!(refused(petrol_expansion_per_k(bad)), "density_15c_kg_m3");
    }
    for bad in [f64::NAN, f64::INFINITY, -0.1, 1.1, 10.0] {
        let petrol = Petrol { ethanol_volume_share: bad, ..good };
        assert_eq!(refused(petrol.at(293.15)), "ethanol_volume_share");
        assert_eq!(refused(ethanol_mass_share(bad, 745.0, 789.0)), "ethanol_volume_share");
    }
    for bad in [f64::NAN, f64::INFINITY, 0.0, 0.9, 2.6] {
        assert_eq!(refused(Petrol { hydrogen_to_carbon: bad, ..good }.at(293.15)), "hydrogen_to_carbon");
    }
    for bad in [f64::NAN, f64::INFINITY, 20.0, 252.9, 334.1] {
        assert_eq!(refused(good.at(bad)), "temperature_k");
        assert_eq!(refused(good.viscosity_pa_s(bad)), "temperature_k");
        assert_eq!(refused(volume_correction(0.0012, bad)), "temperature_k");
    }
    for bad in [f64::NAN, f64::INFINITY, -0.001, 1.2] {
        assert_eq!(refused(volume_correction(bad, 293.15)), "expansion_per_k");
    }
    for bad in [f64::NAN, f64::INFINITY, -1.0, 0.0] {
        assert_eq!(refused(ethanol_mass_share(0.1, bad, 789.0)), "petrol_density_kg_m3");
        assert_eq!(refused(ethanol_mass_share(0.1, 745.0, bad)), "ethanol_density_kg_m3");
    }
    for bad in [f64::NAN, f64::INFINITY, -0.1, 5.0] {
        assert_eq!(refused(stoichiometric_ratio(bad, 0.0)), "hydrogen_to_carbon");
    }
    // Carbon dioxide and water have burnt already.
    for bad in [f64::NAN, f64::INFINITY, -0.1, 2.0, 3.0] {
        assert_eq!(refused(stoichiometric_ratio(0.0, bad)), "oxygen_to_carbon");
    }
}

#[test]
fn a_refusal_says_what_to_write_instead() {
    let said = Air::new(101_325.0, 293.15, 60.0).unwrap_err().to_string();
    assert_eq!(said, "`relative_humidity` is 60, but must be 0 to 1; write 60 % as 0.6");
    let e10 = Petrol { ethanol_volume_share: 10.0, ..Petrol::default() };
    let said = e10.at(293.15).unwrap_err().to_string();
    assert_eq!(said, "`ethanol_volume_share` is 10, but must be 0 to 1; write E10 as 0.1");
}

/// Table 54B evaluated in decimal arithmetic from the same constants; claims nothing about the table.
#[test]
fn pinned_volume_corrections() {
    for (density, celsius, factor) in [
        (720.0, 0.0, 1.019051),
        (720.0, 40.0, 0.967772),
        (745.0, 5.0, 1.012086),
        (745.0, 25.0, 0.987825),
        (760.0, 30.0, 0.982253),
    ] {
        let expansion = petrol_expansion_per_k(density).unwrap();
        let got = volume_correction(expansion, celsius + 273.15).unwrap();
        assert!((got - factor).abs() < 1e-6, "{density} kg/m³, {celsius} °C: {got}");
    }
}

/// E0, E5, E10, E15, E85 and E100 worked out apart from the same balance, with the density of ethanol
/// at 20 °C, 789 kg/m³; claims nothing about any fuel.
#[test]
fn pinned_blends_by_liquid_volume() {
    const PRINTED_DIGITS: f64 = 2e-4;
    let petrol = stoichiometric_ratio(1.85, 0.0).unwrap();
    let ethanol = stoichiometric_ratio(3.0, 0.5).unwrap();
    for (volume, mass, ratio) in [
        (0.0, 0.0, 14.5712),
        (0.05, 0.05280, 14.2772),
        (0.10, 0.10528, 13.9849),
        (0.15, 0.15746, 13.6944),
        (0.85, 0.85717, 9.7980),
        (1.0, 1.0, 9.0026),
    ] {
        let share = ethanol_mass_share(volume, 745.0, 789.0).unwrap();
        assert!((share - mass).abs() <= PRINTED_DIGITS * mass, "{volume}: {share}");
        let balance = petrol + share * (ethanol - petrol);
        assert!((balance / ratio - 1.0).abs() <= PRINTED_DIGITS, "{volume}: {balance}");
        // With the density at 15 °C, as the pump states the share, half a thousandth less.
        let blend = Petrol { ethanol_volume_share: volume, ..Petrol::default() };
        let stated = blend.stoichiometric_ratio().unwrap();
        assert!((0.0..5e-4).contains(&(1.0 - stated / balance)), "{volume}: {stated}");
    }
}

/// The formula evaluated apart from the same constants, so that a mistyped one is seen.
#[test]
fn pinned_saturation_pressures() {
    for (celsius, pascals) in [(0.0, 611.213), (5.0, 872.534), (25.0, 3169.757), (40.0, 7384.824)] {
        let got = saturation_pressure_pa(celsius + 273.15).unwrap();
        assert!((got - pascals).abs() < 1e-3, "{celsius} °C: {got}");
    }
}
