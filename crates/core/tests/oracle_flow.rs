//! Gas through an orifice against another program. `oracle/flow.py` made the table and names it.

use bellmouth_core::flow::{Gas, critical_pressure_ratio};

const FLOW: &str = include_str!("oracle/flow.csv");
const FROM_PA: f64 = 101_325.0;
const PRESSURE_OVER_DENSITY: f64 = 287.05 * 293.15;

/// γ, critical ratio, ratio of pressures, head in Pa.
fn rows() -> Vec<[f64; 4]> {
    let rows: Vec<[f64; 4]> = FLOW
        .lines()
        .skip(1)
        .map(|line| {
            let cells: Vec<f64> = line.split(',').map(|cell| cell.parse().expect("a number")).collect();
            cells.try_into().expect("four numbers")
        })
        .collect();
    assert!(40 <= rows.len(), "the table lost its rows");
    rows
}

/// The table has ten decimals.
#[test]
fn oracle_critical_pressure_ratio() {
    const PRINTED: f64 = 0.51e-10;
    for [gamma, critical, ..] in rows() {
        let ours = critical_pressure_ratio(gamma).unwrap();
        assert!((ours - critical).abs() < PRINTED, "γ {gamma}: {ours}, wanted {critical}");
    }
}

/// The ratio has ten decimals: 1e-5 Pa, and the head moves by no more.
#[test]
fn oracle_head_of_isentropic_flow_to_its_choking() {
    const PRINTED_PA: f64 = 2e-5;
    for [gamma, critical, ratio, head_pa] in rows() {
        let gas = Gas::new(gamma, PRESSURE_OVER_DENSITY).unwrap();
        let ours = gas.head_pa(FROM_PA, ratio * FROM_PA);
        assert!((ours - head_pa).abs() < PRINTED_PA, "γ {gamma}, {ratio}: {ours}, wanted {head_pa}");
        if ratio == critical {
            for choked in [0.99 * critical, 0.2, 1e-6] {
                let ours = gas.head_pa(FROM_PA, choked * FROM_PA);
                assert!((ours - head_pa).abs() < PRINTED_PA, "γ {gamma}, {choked}: {ours}");
            }
        }
    }
}

/// St Venant and Wantzel's mass flow through a square centimetre. Below some pascals ours is straight
/// on purpose; at the least drop of the table, 507 Pa, that takes (2/507)²/4.
#[test]
fn oracle_mass_flow_of_st_venant_and_wantzel() {
    const STRAIGHT_PART: f64 = 5e-6;
    for [gamma, _, ratio, head_pa] in rows() {
        let gas = Gas::new(gamma, PRESSURE_OVER_DENSITY).unwrap();
        let want = 1e-4 * (2.0 * FROM_PA / PRESSURE_OVER_DENSITY * head_pa).sqrt();
        let ours = gas.flow_kg_s(1e-4, FROM_PA, ratio * FROM_PA);
        assert!((ours / want - 1.0).abs() < STRAIGHT_PART, "γ {gamma}, {ratio}: {ours}, wanted {want}");
    }
}
