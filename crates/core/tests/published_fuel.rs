//! Fuel against printed tables: *ASHRAE Handbook – Fundamentals*, SI edition, 2021, chapter 28, table 1,
//! air required for complete combustion, kg per kg of fuel
//! ([`Bibliography::Ashrae2021`](bellmouth_core::Bibliography::Ashrae2021)), read in November 2026 as
//! extracted text.

mod common;

use bellmouth_core::fuel::{Petrol, stoichiometric_ratio};
use common::assert_printed;

/// The table reckons with atomic masses and an air of its own, which it does not print. Carbon,
/// propane and the alkenes agree to its last digit; methane (17.24) and butane (15.47) are 0.03 and
/// 0.06 % off and lose one digit here. Its rows disagree among themselves as much: its own carbon
/// (11.51) and hydrogen (34.28) make butane 15.46 and methane 17.23.
#[test]
fn published_air_required_by_fuels() {
    let rows = [
        ("carbon", 0.0, "11.51"),
        ("methane", 4.0, "17.2"),
        ("propane", 8.0 / 3.0, "15.68"),
        ("butane", 10.0 / 4.0, "15.5"),
        ("alkenes", 2.0, "14.78"),
    ];
    for (fuel, hydrogen_to_carbon, printed) in rows {
        let ratio = stoichiometric_ratio(hydrogen_to_carbon, 0.0).unwrap();
        println!("{fuel}: {ratio}");
        assert_printed(ratio, printed);
    }
}

/// Common practice, no source: ratios that every workshop manual prints, within their custom.
#[test]
fn common_ratios_lie_in_their_sanity_bands() {
    let petrol = |share| Petrol { ethanol_volume_share: share, ..Petrol::default() };
    for (share, said, within) in
        [(0.0, 14.7, 0.015), (0.05, 14.3, 0.01), (0.1, 14.1, 0.01), (0.85, 9.8, 0.01), (1.0, 9.0, 0.002)]
    {
        let ratio = petrol(share).stoichiometric_ratio().unwrap();
        assert!((ratio / said - 1.0).abs() < within, "{share}: {ratio}, said {said}");
    }
    for (name, y, z, said) in [
        ("isooctane", 2.25, 0.0, 15.13),
        ("n-heptane", 16.0 / 7.0, 0.0, 15.18),
        ("toluene", 8.0 / 7.0, 0.0, 13.50),
        ("methanol", 4.0, 1.0, 6.47),
    ] {
        let ratio = stoichiometric_ratio(y, z).unwrap();
        assert!((ratio / said - 1.0).abs() < 0.002, "{name}: {ratio}, said {said}");
    }
}
