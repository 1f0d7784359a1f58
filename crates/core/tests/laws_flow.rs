//! What must hold of every orifice, jet, screw and plate.

use std::f64::consts::{FRAC_PI_2, PI};

use bellmouth_core::flow::{
    Butterfly, Gas, LiquidJet, MixtureScrew, Tip, critical_pressure_ratio, homogeneous_interaction,
    segment_area, two_phase_drop,
};
use bellmouth_core::fuel::Fuel;
use bellmouth_core::practice::Dice;

const ROUNDING: f64 = 1e-12;

/// Gases with two pressures: the edges, then drawn ones.
fn states() -> Vec<(f64, Gas, f64, f64)> {
    let mut dice = Dice::new(3);
    let mut states = Vec::new();
    for gamma in [1.2, 1.4, 1.6] {
        let gas = Gas::new(gamma, 287.0 * 298.0).expect("it can be built");
        let critical = critical_pressure_ratio(gamma).expect("it can be built");
        for ratio in [1.0, 1.0 - 1e-9, 0.9999, 0.9, critical + 1e-9, critical, critical - 1e-9, 0.1, 1e-6] {
            states.push((gamma, gas, 101_325.0, ratio * 101_325.0));
        }
    }
    for _ in 0..300 {
        let gamma = dice.between(1.1, 1.66);
        let gas = Gas::new(gamma, dice.between(5e4, 1.2e5)).expect("it can be built");
        states.push((gamma, gas, dice.between(2e4, 2e5), dice.between_in_ratio(1.0, 2e5)));
    }
    states
}

#[test]
fn flow_changes_sign_when_the_sides_are_swapped() {
    for (_, gas, here, there) in states() {
        assert_eq!(gas.flow_kg_s(1e-6, here, there), -gas.flow_kg_s(1e-6, there, here));
        assert_eq!(gas.head_pa(here, there), -gas.head_pa(there, here));
        assert_eq!(gas.flow_kg_s(1e-6, here, here), 0.0);
    }
}

#[test]
fn a_wider_orifice_or_a_larger_difference_never_flows_less() {
    for (_, gas, from, to) in states() {
        let flow = gas.flow_kg_s(1e-6, from, to);
        assert!(flow.abs() < gas.flow_kg_s(1.01e-6, from, to).abs() || flow == 0.0);
        // What is choked stays as it is.
        let slack = 1e-13 * flow.abs();
        assert!(flow <= gas.flow_kg_s(1e-6, 1.001 * from, to) + slack, "{from} {to}");
        assert!(gas.flow_kg_s(1e-6, from, 1.001 * to) <= flow + slack, "{from} {to}");
    }
}

/// At the critical ratio the slope is zero from both sides, so that nothing jumps and nothing bends.
#[test]
fn flow_is_smooth_through_choking() {
    const STEP: f64 = 1e-5;
    let mut dice = Dice::new(4);
    for _ in 0..100 {
        let gamma = dice.between(1.05, 1.66);
        let gas = Gas::new(gamma, 287.0 * 290.0).unwrap();
        let critical = critical_pressure_ratio(gamma).unwrap();
        let head = |ratio: f64| gas.head_pa(1e5, ratio * 1e5) / 1e5;
        let slope = |ratio: f64| (head(ratio + STEP) - head(ratio)) / STEP;
        assert!((head(critical + 1e-12) - head(critical - 1e-12)).abs() < ROUNDING, "γ {gamma}: a jump");
        // The curve bends by less than 3 per unit squared.
        assert!(slope(critical).abs() < 3.0 * STEP, "γ {gamma}: {} above", slope(critical));
        assert!(
            slope(critical - STEP).abs() < ROUNDING / STEP,
            "γ {gamma}: {} below",
            slope(critical - STEP)
        );
        // Further up it is no longer flat: the largest flow is where it chokes, not elsewhere.
        assert!(slope(critical + 0.05) < -0.01, "γ {gamma}");
    }
}

/// H/Δp = 1 − 3/(2γ) · Δp/p and so on: to first order the drop itself, and the next order by expansion.
#[test]
fn head_tends_to_the_drop_for_small_drops() {
    for gamma in [1.1, 1.2, 1.4, 1.6] {
        let gas = Gas::new(gamma, 8e4).unwrap();
        for drop_pa in [50.0, 200.0, 1000.0] {
            let short = 1.0 - gas.head_pa(1e5, 1e5 - drop_pa) / drop_pa;
            let first_order = 1.5 / gamma * drop_pa / 1e5;
            assert!((short / first_order - 1.0).abs() < 0.02, "γ {gamma}, {drop_pa} Pa: {short}");
        }
    }
}

/// A square root would start upright; this one is straight below some pascals and a root above.
#[test]
fn gas_has_a_finite_slope_at_rest_and_is_a_square_root_beyond() {
    let gas = Gas::new(1.4, 8e4).unwrap();
    let slope = |drop_pa: f64| gas.flow_kg_s(1e-6, 1e5, 1e5 - drop_pa) / drop_pa;
    assert!((slope(1e-4) / slope(1e-3) - 1.0).abs() < 1e-5, "{} {}", slope(1e-4), slope(1e-3));
    for (drop_pa, off) in [(50.0, 5e-4), (10.0, 1.1e-2)] {
        let root = 1e-6 * (2.0 * gas.density_kg_m3(1e5) * gas.head_pa(1e5, 1e5 - drop_pa)).sqrt();
        let short = 1.0 - gas.flow_kg_s(1e-6, 1e5, 1e5 - drop_pa) / root;
        assert!((0.5 * off..off).contains(&short), "{drop_pa} Pa: {short}");
    }
}

/// Bore, length, coefficient and fuel of a jet.
fn jets() -> Vec<(f64, f64, f64, Fuel)> {
    let mut dice = Dice::new(5);
    let draw = |_| {
        let fuel = Fuel {
            density_kg_m3: dice.between(650.0, 800.0),
            viscosity_pa_s: dice.between(3e-4, 2e-3),
            stoichiometric_ratio: 14.5,
        };
        let bore_m = dice.between_in_ratio(2e-4, 3e-3);
        (bore_m, bore_m * dice.between(0.5, 8.0), dice.between(0.5, 1.0), fuel)
    };
    (0..50).map(draw).collect()
}

const DROPS_PA: [f64; 7] = [1e-6, 0.1, 10.0, 300.0, 2e3, 2e4, 1e6];

/// Δp = a ṁ + b ṁ² with a = 32 μ L/(ρ A d²) of laminar pipe flow and b of an orifice.
#[test]
fn the_drop_of_a_jet_is_a_viscous_part_and_an_inertial_part() {
    for (bore_m, length_m, discharge, fuel) in jets() {
        let jet = LiquidJet::new(bore_m, length_m, discharge, &fuel).unwrap();
        let area_m2 = 0.25 * PI * bore_m * bore_m;
        for drop_pa in DROPS_PA {
            let flow = jet.flow_kg_s(drop_pa);
            let speed_m_s = flow / (fuel.density_kg_m3 * area_m2);
            let viscous = 32.0 * fuel.viscosity_pa_s * length_m * speed_m_s / (bore_m * bore_m);
            let inertial = 0.5 * fuel.density_kg_m3 * (speed_m_s / discharge).powi(2);
            assert!(((viscous + inertial) / drop_pa - 1.0).abs() < ROUNDING, "{bore_m}: {drop_pa} Pa");
        }
        assert_eq!(jet.flow_kg_s(0.0), 0.0);
        assert_eq!(jet.flow_kg_s(-100.0), 0.0);
        // A square root would be a thousand times steeper here than a millionth part further on.
        assert!((jet.flow_kg_s(1e-9) / jet.flow_kg_s(2e-9) - 0.5).abs() < 1e-4);
    }
}

#[test]
fn the_coefficient_of_a_jet_rises_with_reynolds_number_to_its_end() {
    for (bore_m, length_m, discharge, fuel) in jets() {
        let jet = LiquidJet::new(bore_m, length_m, discharge, &fuel).unwrap();
        let area_m2 = 0.25 * PI * bore_m * bore_m;
        let coefficient =
            |drop_pa: f64| jet.flow_kg_s(drop_pa) / (area_m2 * (2.0 * fuel.density_kg_m3 * drop_pa).sqrt());
        for pair in DROPS_PA.windows(2) {
            assert!(coefficient(pair[0]) < coefficient(pair[1]), "{bore_m}: {pair:?}");
            assert!(coefficient(pair[1]) < discharge, "{bore_m}: {pair:?}");
        }
        assert!(0.999 * discharge < coefficient(1e12), "{bore_m}: {}", coefficient(1e12));
    }
}

#[test]
fn two_streams_meet_their_exact_limits() {
    let mut dice = Dice::new(6);
    for _ in 0..200 {
        let (liquid, gas) = (dice.between_in_ratio(1e-6, 1e-3), dice.between_in_ratio(1e-6, 1e-3));
        let (liquid_kg_m3, gas_kg_m3) = (dice.between(600.0, 1000.0), dice.between(0.2, 2.0));
        let area_m2 = dice.between_in_ratio(1e-8, 1e-5);
        let drop = |l: f64, g: f64, c: f64| two_phase_drop(l, g, area_m2, liquid_kg_m3, gas_kg_m3, c);
        // Streams that share the area and do not meet: each takes its part, and the roots add.
        let apart = drop(liquid, 0.0, 2.0).sqrt() + drop(0.0, gas, 2.0).sqrt();
        assert!((drop(liquid, gas, 2.0).sqrt() / apart - 1.0).abs() < ROUNDING);
        // One fluid of the mixture's density.
        let mixture_kg_m3 = (liquid + gas) / (liquid / liquid_kg_m3 + gas / gas_kg_m3);
        let mixed = (liquid + gas).powi(2) / (2.0 * mixture_kg_m3 * area_m2 * area_m2);
        let homogeneous = homogeneous_interaction(liquid_kg_m3, gas_kg_m3);
        assert!((drop(liquid, gas, homogeneous) / mixed - 1.0).abs() < ROUNDING);
        for interaction in [2.0, 12.0, homogeneous] {
            let here = drop(liquid, gas, interaction);
            assert!(
                here < drop(1.001 * liquid, gas, interaction)
                    && here < drop(liquid, 1.001 * gas, interaction)
            );
            assert!(here < drop(liquid, gas, 1.001 * interaction));
            // Each alone is an orifice.
            let alone = (gas / area_m2).powi(2) / (2.0 * gas_kg_m3);
            assert!((drop(0.0, gas, interaction) / alone - 1.0).abs() < ROUNDING);
        }
    }
}

fn screws() -> Vec<MixtureScrew> {
    let mut dice = Dice::new(8);
    let draw = |index: i32| MixtureScrew {
        seat_m: dice.between(0.5e-3, 2e-3),
        pitch_m: dice.between(0.3e-3, 1e-3),
        tip: if index % 2 == 0 {
            Tip::Cone { half_angle_rad: dice.between(2.0, 45.0).to_radians() }
        } else {
            Tip::Even { length_m: dice.between(0.5e-3, 5e-3) }
        },
    };
    (0..40).map(draw).collect()
}

#[test]
fn a_screw_opens_from_nothing_to_its_hole_and_never_beyond() {
    for screw in screws() {
        let hole_m2 = 0.25 * PI * screw.seat_m * screw.seat_m;
        assert_eq!(screw.area_m2(0.0), 0.0);
        assert_eq!(screw.area_m2(-1.0), 0.0);
        let areas: Vec<f64> = (0..=600).map(|step| screw.area_m2(0.02 * f64::from(step))).collect();
        for (step, pair) in areas.windows(2).enumerate() {
            assert!(pair[0] <= pair[1], "{screw:?} at step {step}: {pair:?}");
            assert!(pair[0] < pair[1] || 0.8 * hole_m2 < pair[1], "{screw:?} at step {step}: {pair:?}");
            assert!(pair[1] <= hole_m2, "{screw:?} at step {step}: {pair:?}");
            assert!(pair[1] - pair[0] < 0.25 * hole_m2, "{screw:?} at step {step}: a jump");
        }
        // Nearly closed it is a ring: circumference times the gap square to the cone.
        let height_m = 1e-3 * screw.pitch_m;
        let ring_m2 = match screw.tip {
            Tip::Cone { half_angle_rad } => PI * screw.seat_m * height_m * half_angle_rad.sin(),
            Tip::Even { length_m } => hole_m2 * height_m / length_m,
        };
        assert!((screw.area_m2(1e-3) / ring_m2 - 1.0).abs() < 3e-3, "{screw:?}");
    }
}

fn throttles() -> Vec<Butterfly> {
    let mut throttles = Vec::new();
    for degrees in [0.0f64, 5.0, 8.0, 10.0, 30.0] {
        for shaft_ratio in [0.0, 0.15, 0.2, 0.25, 0.5] {
            throttles.push(Butterfly { bore_m: 0.034, closed_rad: degrees.to_radians(), shaft_ratio });
        }
    }
    throttles
}

/// Share of the bore that a plate leaves open, integrated: what lies inside the circle and neither
/// behind the ellipse of the tilted plate nor behind the shaft.
fn integrated_share(throttle: &Butterfly, plate_rad: f64) -> f64 {
    const STRIPS: u32 = 60_000;
    let flat = plate_rad.cos() / throttle.closed_rad.cos();
    let width = FRAC_PI_2 / f64::from(STRIPS);
    let quarter: f64 = (0..STRIPS)
        .map(|strip| {
            // Along the shaft at x = sin θ, so that strips crowd where the circle is steep.
            let half_chord = (width * (f64::from(strip) + 0.5)).cos();
            (half_chord - (flat * half_chord).max(throttle.shaft_ratio)).max(0.0) * half_chord * width
        })
        .sum();
    quarter / (0.25 * PI)
}

#[test]
fn the_area_of_a_butterfly_is_that_of_its_geometry() {
    for throttle in throttles() {
        for above in [0.0f64, 0.5, 2.0, 7.0, 15.0, 25.0, 40.0, 55.0, 70.0, 80.0, 90.0] {
            let plate_rad = throttle.closed_rad + above.to_radians();
            if FRAC_PI_2 < plate_rad {
                continue;
            }
            let share = throttle.area_m2(plate_rad) / (0.25 * PI * 0.034 * 0.034);
            let want = integrated_share(&throttle, plate_rad);
            assert!((share - want).abs() < 1e-8, "{throttle:?} {above}: {share}, integrated {want}");
        }
    }
}

/// The other pattern of signs in circulation, which agrees at both ends and without a shaft.
#[test]
fn the_other_pattern_of_signs_is_not_ours() {
    let throttle = Butterfly { bore_m: (4.0 / PI).sqrt(), closed_rad: 5f64.to_radians(), shaft_ratio: 0.2 };
    for (degrees, other) in [(45f64, 0.286_722_40), (75.0, 0.679_590_82)] {
        let share = throttle.area_m2(degrees.to_radians());
        assert!(1e-3 < share - other, "{degrees}°: {share}, the other {other}");
    }
}

#[test]
fn a_butterfly_opens_from_nothing_to_all_but_its_shaft() {
    for throttle in throttles() {
        let a = throttle.shaft_ratio;
        let whole = 0.25 * PI * 0.034 * 0.034;
        assert!(throttle.area_m2(throttle.closed_rad) < ROUNDING * whole, "{throttle:?}");
        assert!(throttle.area_m2(throttle.closed_rad - 0.1) < ROUNDING * whole, "{throttle:?}");
        let shaft = 2.0 / PI * (a.asin() + a * (1.0 - a * a).sqrt());
        for open_rad in [FRAC_PI_2, 2.0] {
            assert!((throttle.area_m2(open_rad) / whole - 1.0 + shaft).abs() < ROUNDING, "{throttle:?}");
        }
        let mut before = 0.0;
        for tenths in 1..=900 {
            let plate_rad = (0.1 * f64::from(tenths)).to_radians();
            let area_m2 = throttle.area_m2(plate_rad);
            let opening = throttle.closed_rad < plate_rad && a * throttle.closed_rad.cos() < plate_rad.cos();
            assert!(before < area_m2 || !opening, "{throttle:?} at {tenths} tenths of a degree");
            assert!(before - ROUNDING * whole <= area_m2, "{throttle:?} at {tenths} tenths of a degree");
            assert!(area_m2 - before < 0.01 * whole, "{throttle:?} at {tenths} tenths of a degree: a jump");
            before = area_m2;
        }
    }
}

#[test]
fn a_segment_and_the_rest_are_the_whole_bore() {
    for bore_m in [5e-3, 0.034, 0.1] {
        let whole = 0.25 * PI * bore_m * bore_m;
        for (height_m, want) in [(0.0, 0.0), (-1e-3, 0.0), (bore_m, whole), (2.0 * bore_m, whole)] {
            assert!((segment_area(height_m, bore_m) - want).abs() < ROUNDING * whole, "{height_m}");
        }
        for step in 1..100 {
            let height_m = 0.01 * f64::from(step) * bore_m;
            let area_m2 = segment_area(height_m, bore_m);
            let sum = area_m2 + segment_area(bore_m - height_m, bore_m);
            assert!((sum / whole - 1.0).abs() < ROUNDING, "{height_m}");
            // It grows by its chord.
            let h = 1e-5 * bore_m;
            let slope = (segment_area(height_m + h, bore_m) - segment_area(height_m - h, bore_m)) / (2.0 * h);
            let chord_m = 2.0 * (height_m * (bore_m - height_m)).sqrt();
            assert!((slope / chord_m - 1.0).abs() < 1e-5, "{height_m}: {slope}, chord {chord_m}");
        }
    }
}

#[test]
fn what_is_no_gas_and_no_jet_is_refused() {
    let fuel = Fuel { density_kg_m3: 740.0, viscosity_pa_s: 5e-4, stoichiometric_ratio: 14.6 };
    for absurd in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, -1.0, 1e9] {
        assert!(critical_pressure_ratio(absurd).is_err(), "{absurd}");
        assert!(Gas::new(absurd, 8e4).is_err() && Gas::new(1.4, absurd).is_err(), "{absurd}");
        let jets = [
            LiquidJet::new(absurd, 1e-3, 0.8, &fuel),
            LiquidJet::new(5e-4, absurd, 0.8, &fuel),
            LiquidJet::new(5e-4, 1e-3, absurd, &fuel),
            LiquidJet::new(5e-4, 1e-3, 0.8, &Fuel { density_kg_m3: absurd, ..fuel }),
            LiquidJet::new(5e-4, 1e-3, 0.8, &Fuel { viscosity_pa_s: absurd, ..fuel }),
        ];
        assert!(jets.iter().all(|jet| jet.is_err()), "{absurd}: {jets:?}");
    }
    for gamma in [0.0, 1.0, 1.68] {
        assert!(critical_pressure_ratio(gamma).is_err(), "{gamma}");
    }
}
