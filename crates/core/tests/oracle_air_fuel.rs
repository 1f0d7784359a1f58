//! Air and fuel against other programs. `oracle/air_fuel.py` made the tables and names the programs
//! and their versions.

use bellmouth_core::air::{Air, saturation_pressure_pa};
use bellmouth_core::fuel::{Petrol, petrol_expansion_per_k};

const AIR: &str = include_str!("oracle/air.csv");
const ATMOSPHERE: &str = include_str!("oracle/atmosphere.csv");
const LIQUIDS: &str = include_str!("oracle/liquids.csv");

/// The table's numbers from column `from` on, each row with its first cell; the head is left out.
fn rows(table: &str, from: usize) -> Vec<(&str, Vec<f64>)> {
    let rows: Vec<(&str, Vec<f64>)> = table
        .lines()
        .skip(1)
        .map(|line| {
            let cells: Vec<&str> = line.split(',').collect();
            (cells[0], cells[from..].iter().map(|cell| cell.parse().expect("a number")).collect())
        })
        .collect();
    assert!(10 <= rows.len(), "the table lost its rows");
    rows
}

#[track_caller]
fn assert_near(what: &str, got: f64, want: f64, relative: f64) {
    let off = got / want - 1.0;
    assert!(off.abs() <= relative, "{what}: {got}, wanted {want} (off by {off:+.1e})");
}

/// The numbers are rounded to seven digits and the library's gas constant is 8.31432/28.9644,
/// 2e-7 off.
#[test]
fn oracle_standard_atmosphere() {
    const ROUNDING: f64 = 1e-6;
    for (name, row) in rows(ATMOSPHERE, 0) {
        let air = Air::standard(row[0]).unwrap();
        assert_near(name, air.temperature_k(), row[1], ROUNDING);
        assert_near(name, air.pressure_pa(), row[2], ROUNDING);
        assert_near(name, air.density_kg_m3(), row[3], ROUNDING);
    }
}

/// Both are ideal mixtures. Theirs has a gas constant of 287.042 J/(kg K), 3.8e-5 lower, and another
/// saturation formula, 1.5e-4 apart, which counts by the vapour's share in the weight, up to 5 %.
#[test]
fn oracle_ideal_moist_air() {
    const THEIR_CONSTANTS: f64 = 5e-5;
    for (name, row) in rows(AIR, 0) {
        let air = Air::new(row[1], row[0] + 273.15, row[2]).unwrap();
        assert_near(name, air.density_kg_m3(), row[4], THEIR_CONSTANTS);
    }
}

/// Real air is denser by its compressibility, up to 6e-4 at 0 °C and less when warmer.
#[test]
fn oracle_real_moist_air() {
    for (name, row) in rows(AIR, 0) {
        let air = Air::new(row[1], row[0] + 273.15, row[2]).unwrap();
        let thinner = 1.0 - air.density_kg_m3() / row[5];
        assert!((1e-4..7e-4).contains(&thinner), "{name} °C: {thinner:+.1e}");
    }
}

/// Two good formulas of the same measurements: 1.5e-4 apart at 20 °C.
#[test]
fn oracle_saturation_pressure() {
    const TWO_GOOD_FORMULAS: f64 = 5e-4;
    for (name, row) in rows(AIR, 0) {
        assert_near(name, saturation_pressure_pa(row[0] + 273.15).unwrap(), row[3], TWO_GOOD_FORMULAS);
    }
}

/// Pure ethanol from −20 to 60 °C: the borrowed form of expansion and the two-constant viscosity.
#[test]
fn oracle_ethanol() {
    const BORROWED_FORM: f64 = 1.2e-3;
    const TWO_CONSTANTS: f64 = 0.03;
    let ethanol = Petrol { ethanol_volume_share: 1.0, ..Petrol::default() };
    let mut seen = 0;
    for (_, row) in rows(LIQUIDS, 1).iter().filter(|(name, _)| *name == "Ethanol") {
        let fuel = ethanol.at(row[0] + 273.15).unwrap();
        assert_near("density", fuel.density_kg_m3, row[1], BORROWED_FORM);
        assert_near("viscosity", fuel.viscosity_pa_s, row[2], TWO_CONSTANTS);
        // Where a fuel mostly is, both are better.
        if row[0] <= 40.0 {
            assert_near("density", fuel.density_kg_m3, row[1], 3e-4);
        }
        if (0.0..=40.0).contains(&row[0]) {
            assert_near("viscosity", fuel.viscosity_pa_s, row[2], 0.006);
        }
        seen += 1;
    }
    assert_eq!(seen, 7);
}

/// Petrol is a mixture whose thin and thick ends n-heptane and toluene stand for.
#[test]
fn oracle_petrol_is_thicker_than_heptane_and_thinner_than_toluene() {
    let table = rows(LIQUIDS, 1);
    let of = |name: &str| -> Vec<Vec<f64>> {
        table.iter().filter(|(liquid, _)| *liquid == name).map(|(_, row)| row.clone()).collect()
    };
    let (heptane, toluene, isooctane) = (of("n-Heptane"), of("Toluene"), of("isooctane"));
    for ((thin, thick), middle) in heptane.iter().zip(&toluene).zip(&isooctane) {
        let fuel = Petrol::default().at(thin[0] + 273.15).unwrap();
        assert!(thin[2] < fuel.viscosity_pa_s && fuel.viscosity_pa_s < thick[2], "{} °C", thin[0]);
        assert!(thin[1] < fuel.density_kg_m3 && fuel.density_kg_m3 < thick[1], "{} °C", thin[0]);
        assert_near("isooctane's viscosity", fuel.viscosity_pa_s, middle[2], 0.08);
    }
    assert_eq!(heptane.len(), 7);
}

/// A petrol of isooctane's density expands much like isooctane (1.18e-3 per K); light petrols more,
/// by the butane in them.
#[test]
fn oracle_expansion_of_petrol_is_a_hydrocarbon_s() {
    const BY_COMPOSITION: f64 = 0.2;
    let table = rows(LIQUIDS, 1);
    let at = |celsius: f64| {
        let row = table.iter().find(|(name, row)| *name == "isooctane" && row[0] == celsius);
        row.expect("a row of isooctane").1[1]
    };
    let isooctane = (at(0.0) / at(25.0)).ln() / 25.0;
    assert_near("expansion", petrol_expansion_per_k(at(15.0)).unwrap(), isooctane, BY_COMPOSITION);
}
