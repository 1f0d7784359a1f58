//! The elements of flow and torque against printed numbers.
//!
//! The simple carburettors are exercises of three textbooks: M. L. Mathur and R. P. Sharma, *Internal
//! Combustion Engines*, chapter 11 ([`Bibliography::MathurSharma`]); R. K. Rajput, *A Textbook of Internal
//! Combustion Engines*, chapter 11 ([`Bibliography::Rajput`]); H. N. Gupta, *Fundamentals of Internal
//! Combustion Engines*, chapter 9 ([`Bibliography::Gupta`]). The numbers were read in November 2026 in the
//! published companion notebooks to the books, not in the books: a printed answer is the notebook's. It
//! says itself that the book's answer to Mathur and Sharma's 11.3 and 11.4 is wrong, and its own is used.
//!
//! [`Bibliography::MathurSharma`]: bellmouth_core::Bibliography::MathurSharma
//! [`Bibliography::Rajput`]: bellmouth_core::Bibliography::Rajput
//! [`Bibliography::Gupta`]: bellmouth_core::Bibliography::Gupta

mod common;

use std::f64::consts::PI;

use bellmouth_core::air::Air;
use bellmouth_core::engine::MixtureTorque;
use bellmouth_core::flow::{Gas, LiquidJet, two_phase_drop};
use bellmouth_core::fuel::Fuel;
use common::assert_printed;

/// The exercises' gravity, m/s².
const G: f64 = 9.81;
/// Gas constant of the exercises' air, J/(kg K).
const R: f64 = 287.0;

fn area_m2(bore_m: f64) -> f64 {
    0.25 * PI * bore_m * bore_m
}

/// The exercises know neither viscosity nor the length of a jet.
fn jet(bore_m: f64, discharge: f64, density_kg_m3: f64) -> LiquidJet {
    let fuel = Fuel { density_kg_m3, viscosity_pa_s: 0.0, stoichiometric_ratio: 14.7 };
    LiquidJet::new(bore_m, 0.0, discharge, &fuel).expect("it can be built")
}

/// Depression of a choke, Pa: all of them reckon air as incompressible there.
fn choke_drop_pa(air_kg_s: f64, bore_m: f64, discharge: f64, air_kg_m3: f64) -> f64 {
    two_phase_drop(0.0, air_kg_s, discharge * area_m2(bore_m), 750.0, air_kg_m3, 2.0)
}

/// Where a rising function reaches a value.
fn reaches(value: f64, low: f64, high: f64, f: impl Fn(f64) -> f64) -> f64 {
    let (mut low, mut high) = (low, high);
    for _ in 0..100 {
        let middle = 0.5 * (low + high);
        if f(middle) < value { low = middle } else { high = middle }
    }
    0.5 * (low + high)
}

fn jet_mm(fuel_kg_s: f64, discharge: f64, density_kg_m3: f64, drop_pa: f64) -> f64 {
    reaches(fuel_kg_s, 0.01, 20.0, |mm| jet(1e-3 * mm, discharge, density_kg_m3).flow_kg_s(drop_pa))
}

/// Mathur and Sharma 11.3 (the notebook's answer; it calls the book's wrong); Rajput 11.1; Gupta 9.4.
#[test]
fn published_depression_of_a_choke() {
    let swept_m3 = 4.0 * area_m2(0.100) * 0.120;
    let air_kg_s = 0.70 * swept_m3 * 2000.0 / 120.0 * 1.2;
    assert_printed(choke_drop_pa(air_kg_s, 0.030, 0.80, 1.2) / 1e5, "0.0363");
    let air_kg_s = 0.75 * swept_m3 * 1800.0 / 120.0 * 1.2;
    assert_printed(choke_drop_pa(air_kg_s, 0.028, 0.80, 1.2), "4447.61");
    let air_kg_m3 = 1.013e5 / (R * 298.0);
    let air_kg_s = 0.80 * swept_m3 * 3000.0 / 120.0 * air_kg_m3;
    assert_printed(choke_drop_pa(air_kg_s, 0.035, 0.82, air_kg_m3) / 1e5, "0.054");
}

/// Mathur and Sharma 11.4 (the notebook's answer; it calls the book's wrong); Rajput 11.3; Gupta 9.4:
/// the jet that meets a choke's depression less the lip.
#[test]
fn published_bore_of_a_jet_below_its_lip() {
    let sized = |fuel_kg_h: f64, ratio: f64, kelvin: f64, choke: (f64, f64), discharge: f64, lip_m: f64| {
        let fuel_kg_s = fuel_kg_h / 3600.0;
        let drop_pa = choke_drop_pa(ratio * fuel_kg_s, choke.0, choke.1, 1.013e5 / (R * kelvin));
        jet_mm(fuel_kg_s, discharge, 750.0, drop_pa - 750.0 * G * lip_m)
    };
    assert_printed(sized(7.5, 15.0, 298.0, (0.022, 0.82), 0.70, 0.004), "1.228");
    assert_printed(sized(7.2, 15.0, 300.0, (0.024, 0.80), 0.70, 0.0042), "1.32");
    let swept_m3 = 4.0 * area_m2(0.100) * 0.120;
    let fuel_kg_h = 3600.0 * 0.80 * swept_m3 * 25.0 * 1.013e5 / (R * 298.0) / 15.0;
    assert_printed(sized(fuel_kg_h, 15.0, 298.0, (0.035, 0.82), 0.70, 0.005), "1.953");
}

/// Rajput 11.2, 5 kg/h through 2 mm² below a lip of 5 mm; Gupta 9.5, 6 kg/h through 1.2 mm below 3 mm,
/// in millimetres of water, and the choke that air at 15.3 to 1 then needs.
#[test]
fn published_depression_that_draws_a_flow_of_fuel() {
    let drawing = |jet: LiquidJet, fuel_kg_h: f64| {
        reaches(fuel_kg_h / 3600.0, 0.0, 1e5, |drop_pa| jet.flow_kg_s(drop_pa))
    };
    let bore_m = (4.0 * 2e-6 / PI).sqrt();
    assert_printed(drawing(jet(bore_m, 0.80, 750.0), 5.0) + 750.0 * G * 0.005, "539.13");
    let depression_pa = drawing(jet(1.2e-3, 0.65, 750.0), 6.0) + 750.0 * G * 0.003;
    assert_printed(depression_pa / G, "351.6");
    let air_kg_m3 = 1.013e5 / (R * 294.0);
    // A wider choke needs less depression for the same air.
    let choke_m = reaches(-depression_pa, 0.005, 0.1, |bore_m| {
        -choke_drop_pa(15.3 * 6.0 / 3600.0, bore_m, 0.80, air_kg_m3)
    });
    assert_printed(1e3 * choke_m, "21.12");
}

/// Mathur and Sharma 11.8 and Gupta 9.6: air over fuel without a lip, and with one.
#[test]
fn published_mixture_of_a_simple_carburettor() {
    let ratio = |choke: (f64, f64), bore: (f64, f64), lip_m: f64, drop_pa: f64| {
        let air_kg_s = reaches(drop_pa, 0.0, 1.0, |air| choke_drop_pa(air, choke.0, choke.1, 1.2));
        air_kg_s / jet(bore.0, bore.1, 750.0).flow_kg_s(drop_pa - 750.0 * G * lip_m)
    };
    assert_printed(ratio((0.020, 0.85), (1.25e-3, 0.66), 0.0, 7e3), "13.2");
    assert_printed(ratio((0.020, 0.85), (1.25e-3, 0.66), 0.005, 7e3), "13.223");
    assert_printed(ratio((0.022, 0.82), (1.2e-3, 0.70), 0.0, 7.5e3), "15.75");
    assert_printed(ratio((0.022, 0.82), (1.2e-3, 0.70), 0.004, 7.5e3), "15.78");
}

/// Mathur and Sharma 11.9, Gupta 9.8, Rajput 11.5: a bowl open to the atmosphere and an air cleaner, whose
/// loss the jet feels and the choke does not. The cleaners' 30, 37.5 and 30 mm of mercury are the
/// notebooks' 0.04, 0.05 and 0.0400 bar.
#[test]
fn published_mixture_with_an_air_cleaner() {
    let enriched = |ratio: f64, drop_pa: f64, cleaner_pa: f64| {
        let jet = jet(1.25e-3, 0.66, 750.0);
        ratio * jet.flow_kg_s(drop_pa) / jet.flow_kg_s(drop_pa + cleaner_pa)
    };
    assert_printed(enriched(14.0, 0.179e5, 0.04e5), "12.66");
    assert_printed(enriched(14.5, 0.188e5, 0.05e5), "12.887");
    assert_printed(enriched(15.0, 0.2e5, 13_600.0 * G * 0.030), "13.69");
}

/// Mathur and Sharma 11.7, Rajput 11.11, Gupta 9.7: the same choke and jet at altitude, each in its own
/// atmosphere. A choke's head so small that the air does not expand: the exercises' air is incompressible.
#[test]
fn published_mixture_at_altitude() {
    const HEAD_PA: f64 = 5.0;
    let ratio = |pressure_pa: f64, kelvin: f64| {
        let air = Air::new(pressure_pa, kelvin, 0.0).unwrap();
        let gas = Gas::new(1.4, air.pressure_over_density()).unwrap();
        gas.flow_kg_s(area_m2(0.020), pressure_pa, pressure_pa - HEAD_PA)
            / jet(1.25e-3, 0.66, 750.0).flow_kg_s(HEAD_PA)
    };
    let thinner = |sea: (f64, f64), high: (f64, f64)| ratio(high.0, high.1) / ratio(sea.0, sea.1);
    let high = (1.013e5 * 10f64.powf(-5000.0 / 19_200.0), 300.0 - 0.0065 * 5000.0);
    assert_printed(14.0 * thinner((1.013e5, 300.0), high), "10.99");
    let high = (1.013e5 * 10f64.powf(-4500.0 / 19_300.0), 298.0 - 0.0064 * 4500.0);
    assert_printed(14.0 * thinner((1.013e5, 298.0), high), "11.26");
    let high = (1.013e5 * 10f64.powf(-0.2083), 295.0 - 26.0);
    assert_printed(14.7 * thinner((1.013e5, 295.0), high), "12.11");
}

fn laws_of_torque() -> [MixtureTorque; 2] {
    [MixtureTorque::default(), MixtureTorque::crossley_and_cook()]
}

/// [`Bibliography::Naca189`](bellmouth_core::Bibliography::Naca189), summary, read in November 2026: maximum
/// power at 0.07 to 0.08 kg of fuel per kg of air. 14.7 is what turns them into equivalence ratios.
#[test]
fn published_best_power_lies_between_fuel_air_ratios_of_7_and_8_in_100() {
    for law in laws_of_torque() {
        let best = (400..2000).map(|i| 1e-3 * f64::from(i)).max_by(|a, b| law.at(*a).total_cmp(&law.at(*b)));
        let best = best.unwrap();
        assert!((best - law.best_richness()).abs() < 1e-3, "{law:?}: {best}");
        assert!((0.07..=0.08).contains(&(best / 14.7)), "{law:?}: {best}");
    }
}

/// The same summary: specific consumption is nearly at its minimum where leaning has taken 5 % of the
/// power. "Nearly" is read as 2.5 %; at constant air, consumption goes with richness over torque.
#[test]
fn published_consumption_is_nearly_least_at_95_percent_of_power() {
    for law in laws_of_torque() {
        let lean: Vec<f64> =
            (400..2000).map(|i| 1e-3 * f64::from(i)).filter(|&r| r < law.best_richness()).collect();
        let consumption = |richness: f64| richness / law.at(richness);
        let least = lean.iter().map(|&r| consumption(r)).fold(f64::INFINITY, f64::min);
        let leaned = lean.iter().copied().find(|&r| 0.95 <= law.at(r)).unwrap();
        let over = consumption(leaned) / least - 1.0;
        assert!((0.0..0.025).contains(&over), "{law:?}: {over} at {leaned}");
    }
}

/// [`Bibliography::CrossleyCook1991`](bellmouth_core::Bibliography::CrossleyCook1991): torque goes with
/// 21.91 (A/F) − 0.85 (A/F)², in N m. A hundred newton metres is our reading of the engine's size.
#[test]
fn published_regression_of_torque_on_air_over_fuel() {
    let regression = |ratio: f64| 21.91 * ratio - 0.85 * ratio * ratio;
    let law = MixtureTorque::crossley_and_cook();
    for ratio in [10.5, 12.0, 13.0, 14.7, 16.5, 18.0] {
        let lost_nm = regression(21.91 / 1.70) - regression(ratio);
        assert!((100.0 * (1.0 - law.at(14.7 / ratio)) - lost_nm).abs() < 1e-9, "{ratio}: {lost_nm}");
    }
}
