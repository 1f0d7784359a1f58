//! The network against the reference script in `oracle/`: elements, states, idle speeds.
//!
//! Both solve the same equations, so agreement shows that they are solved alike, not that they are
//! right. The script's own constants are used throughout.

#[path = "network/reference.rs"]
mod reference;

use bellmouth_core::air::GAS_CONSTANT_DRY_AIR;
use bellmouth_core::carburettor::{Carburettor, Fitted, Machine, Network, State};
use bellmouth_core::engine::{Engine, Idle};
use bellmouth_core::flow::{Butterfly, Gas, LiquidJet, MixtureScrew, Tip, segment_area, two_phase_drop};
use bellmouth_core::fuel::Fuel;
use reference::{air, assert_close, carburettor, engine, fuel, number};
use serde_json::Value;

/// Elements are closed forms: only rounding differs, and the script's powers near 1 cancel to 3e-11.
const ELEMENT: f64 = 1e-9;
/// States: both find their roots to 1e-9 or better; small drops divide that by themselves.
const STATE: f64 = 1e-7;
/// Idle speeds: ours is found to 1e-6 rpm and 1e-4 Pa.
const IDLE: f64 = 1e-6;

fn read(text: &str) -> Value {
    serde_json::from_str(text).expect("the reference numbers are JSON")
}

fn elements(name: &str) -> Vec<Value> {
    let all = read(include_str!("oracle/elements.json"));
    let some = all[name].as_array().expect("a list of points").clone();
    assert!(3 <= some.len(), "{name} has {} points", some.len());
    some
}

#[test]
fn oracle_gas_through_an_orifice() {
    for point in elements("gas_orifice") {
        let gas = Gas::new(1.4, 287.05 * number(&point, "temperature_k")).unwrap();
        let (area, up, down) = (
            number(&point, "effective_area_m2"),
            number(&point, "upstream_pa"),
            number(&point, "downstream_pa"),
        );
        assert_close("flow", gas.flow_kg_s(area, up, down), number(&point, "value"), ELEMENT);
    }
    for point in elements("gas_head") {
        let gas = Gas::new(number(&point, "gamma"), 287.05 * 298.15).unwrap();
        let head = gas.head_pa(number(&point, "upstream_pa"), number(&point, "downstream_pa"));
        assert_close("head", head, number(&point, "value"), ELEMENT);
    }
}

#[test]
fn oracle_fuel_through_a_jet_and_with_air_through_an_outlet() {
    for point in elements("liquid_jet") {
        let fuel = Fuel {
            density_kg_m3: number(&point, "density_kg_m3"),
            viscosity_pa_s: number(&point, "viscosity_pa_s"),
            stoichiometric_ratio: 14.7,
        };
        let jet = LiquidJet::new(
            number(&point, "bore_m"),
            number(&point, "length_m"),
            number(&point, "discharge"),
            &fuel,
        );
        let flow = jet.unwrap().flow_kg_s(number(&point, "drop_pa"));
        assert_close("jet", flow, number(&point, "value"), ELEMENT);
    }
    for point in elements("two_phase_drop") {
        let drop = two_phase_drop(
            number(&point, "liquid_kg_s"),
            number(&point, "gas_kg_s"),
            number(&point, "effective_area_m2"),
            number(&point, "liquid_kg_m3"),
            number(&point, "gas_kg_m3"),
            number(&point, "interaction"),
        );
        assert_close("two-phase drop", drop, number(&point, "value"), ELEMENT);
    }
}

#[test]
fn oracle_openings() {
    for point in elements("screw_area") {
        let screw = MixtureScrew {
            seat_m: number(&point, "seat_m"),
            pitch_m: number(&point, "pitch_m"),
            tip: Tip::Cone { half_angle_rad: number(&point, "half_angle_rad") },
        };
        // The script leaves 1e-12 m² open in a closed screw; here the well does.
        let area = screw.area_m2(number(&point, "turns")) + 1e-12;
        assert_close("screw", area, number(&point, "value"), ELEMENT);
    }
    for point in elements("circular_segment") {
        let area = segment_area(number(&point, "height_m"), number(&point, "bore_m"));
        let theirs = number(&point, "value");
        // The script keeps a height of 1e-9 m where nothing is open, 1e-17 of the bore's area.
        assert!((area - theirs).abs() <= ELEMENT * theirs + 1e-15, "segment: {area} here, {theirs} there");
    }
    for point in elements("plate_area") {
        let throttle = Butterfly {
            bore_m: number(&point, "bore_m"),
            closed_rad: number(&point, "closed_angle_rad"),
            shaft_ratio: 0.0,
        };
        let area = throttle.area_m2(number(&point, "plate_angle_rad")) + number(&point, "leak_m2");
        assert_close("plate", area, number(&point, "value"), ELEMENT);
    }
}

#[test]
fn oracle_the_engine_between_intake_and_crankshaft() {
    let engine = Engine::default();
    for point in elements("engine_demand") {
        let (pressure, rpm) = (number(&point, "manifold_pa"), number(&point, "rpm"));
        let drawn = engine.air_drawn_kg_s(pressure, rpm, number(&point, "exhaust_pa"), 1.0, 287.05);
        assert_close("air drawn", drawn, number(&point, "value"), ELEMENT);
    }
    for point in elements("engine_torque") {
        let (richness, residual) = (number(&point, "richness"), number(&point, "residual_fraction"));
        // The script lets the parabola fall below zero; no engine makes torque backwards of it.
        let torque = number(&point, "mixture_torque").max(0.0);
        let ours = engine.mixture_torque.at(richness);
        assert!((ours - torque).abs() < ELEMENT, "torque at {richness}: {ours} here, {torque} there");
        let burning = engine.burning.share(richness, residual);
        assert_close("burning", burning, number(&point, "burn_fraction"), ELEMENT);
    }
    for point in elements("engine_friction") {
        assert_close("friction", engine.friction_pa(number(&point, "rpm")), number(&point, "value"), ELEMENT);
    }
}

/// Compares a solved state, each part of it.
fn compare(solved: &State, drawn_kg_s: f64, theirs: &Value, needle_is_straight: bool) {
    let same = |what: &str, ours: f64, name: &str| assert_close(what, ours, number(theirs, name), STATE);
    same("kappa", solved.kappa, "kappa");
    same("air box", solved.airbox_pa, "airbox_pa");
    same("throat", solved.throat_pa, "throat_pa");
    same("behind the slide", solved.behind_pa, "behind_slide_pa");
    same("throttle air", solved.throttle_air_kg_s, "throttle_air_kg_s");
    same("leak", solved.leak_air_kg_s, "leak_air_kg_s");
    same("pilot fuel", solved.pilot.fuel_kg_s, "pilot_fuel_kg_s");
    same("pilot bleed", solved.pilot.air_kg_s, "pilot_bleed_kg_s");
    same("pilot well", solved.pilot.well_pa, "pilot_well_pa");
    if let Some(lift) = theirs["lift_m"].as_f64() {
        // A slide about to lift multiplies small differences of pressure: a tenth of a micrometre.
        assert!(
            (solved.lift_m - lift).abs() <= 1e-4 * lift + 1e-7,
            "lift: {} here, {lift} there",
            solved.lift_m
        );
    }
    assert_close("air drawn", solved.air_kg_s(), drawn_kg_s, STATE);
    if needle_is_straight {
        same("main bleed", solved.main.air_kg_s, "main_bleed_kg_s");
        same("main well", solved.main.well_pa, "main_well_pa");
        // Where the circuit just begins, a drop of a pascal drives it, and the well is found to 1e-7 Pa.
        let main = number(theirs, "main_fuel_kg_s");
        assert_close("main fuel", solved.main.fuel_kg_s, main, 10.0 * STATE);
    }
    // DIFFERENCE: the script counts the main bleed's air again, though it passed the throttle.
    let once = number(theirs, "engine_air_kg_s") - number(theirs, "main_bleed_kg_s");
    assert_close("air counted once", solved.air_kg_s(), once, STATE);
}

/// The needle's straight part ends at this lift, m.
const STRAIGHT_TO_M: f64 = 3.9e-3;

#[test]
fn oracle_states_of_both_kinds_over_the_throttle() {
    let states = read(include_str!("oracle/states.json"));
    let (engine, air, fuel) = (engine(), air(&states["air"]), fuel(&states["fuel"]));
    for kind in ["constant_depression", "fixed_venturi"] {
        let carburettor = carburettor(&states["carburettors"][kind], &Value::Null);
        for theirs in states[kind].as_array().expect("eight points") {
            let plate_rad = number(theirs, "plate_angle_rad");
            let fitted = Fitted { displacement_m3: engine.displacement_m3, leak_m2: 0.0, plate_rad };
            let network = Network::new(&carburettor, &fitted, &air, &fuel).unwrap();
            let (pressure, rpm) = (number(theirs, "manifold_pa"), number(theirs, "rpm"));
            let solved = network.state(pressure, rpm);
            let drawn = engine.air_drawn_kg_s(pressure, rpm, air.pressure_pa(), 1.0, GAS_CONSTANT_DRY_AIR);
            compare(&solved, drawn, theirs, solved.lift_m < STRAIGHT_TO_M);
        }
    }
}

#[test]
fn oracle_states_of_forty_random_carburettors() {
    let states = read(include_str!("oracle/states.json"));
    let (engine, fuel) = (engine(), fuel(&states["fuel"]));
    let perturbed = states["perturbed"].as_array().expect("forty states");
    assert_eq!(perturbed.len(), 40);
    let (mut fed_by_main, mut lifted) = (0, 0);
    for case in perturbed {
        let (air, theirs) = (air(&case["air"]), &case["state"]);
        let carburettor = carburettor(&states["carburettors"]["constant_depression"], &case["differs"]);
        let leak_m2 = case["differs"]["leak_m2"].as_f64().unwrap_or(0.0);
        let plate_rad = carburettor.stop_rad;
        let fitted = Fitted { displacement_m3: engine.displacement_m3, leak_m2, plate_rad };
        let network = Network::new(&carburettor, &fitted, &air, &fuel).unwrap();
        let (pressure, rpm) = (number(theirs, "manifold_pa"), number(theirs, "rpm"));
        let solved = network.state(pressure, rpm);
        let drawn = engine.air_drawn_kg_s(pressure, rpm, air.pressure_pa(), 1.0, GAS_CONSTANT_DRY_AIR);
        compare(&solved, drawn, theirs, solved.lift_m < STRAIGHT_TO_M);
        fed_by_main += usize::from(0.0 < solved.main.fuel_kg_s);
        lifted += usize::from(0.0 < solved.lift_m);
    }
    // The draws are wild on purpose: both branches must have been met.
    assert!(10 <= fed_by_main && 2 <= lifted, "{fed_by_main} fed by the main circuit, {lifted} lifted");
}

#[test]
fn oracle_idle_of_nineteen_cases() {
    let idle = read(include_str!("oracle/idle.json"));
    let cases = idle["cases"].as_array().expect("nineteen cases");
    assert_eq!(cases.len(), 19);
    let (mut ran, mut stalled) = (0, 0);
    for case in cases {
        let (air, fuel) = (air(&case["air"]), fuel(&case["fuel"]));
        let carburettor: Carburettor = carburettor(&idle["carburettor"], &case["differs"]);
        let machine = Machine {
            leak_m2: case["differs"]["leak_m2"].as_f64().unwrap_or(0.0),
            engine: engine(),
            ..Machine::new(carburettor)
        };
        for point in case["points_air_once"].as_array().expect("points") {
            let turns = number(point, "turns");
            match machine.idle(turns, &air, &fuel).unwrap() {
                Idle::Runs(ours) => {
                    assert_close(
                        &format!("{} at {turns}", case["name"]),
                        ours.rpm,
                        number(point, "rpm"),
                        IDLE,
                    );
                    assert_close("manifold", ours.manifold_pa, number(point, "manifold_pa"), IDLE);
                    // DIFFERENCE: as above.
                    let once = 1.0 - number(point, "main_bleed_kg_s") / number(point, "engine_air_kg_s");
                    assert_close("lambda", ours.lambda, number(point, "lambda") * once, IDLE);
                    ran += 1;
                }
                Idle::Stalls => {
                    assert!(point["rpm"].is_null(), "{} stalls at {turns} here, not there", case["name"]);
                    stalled += 1;
                }
                Idle::Races => panic!("{} races at {turns}", case["name"]),
            }
        }
    }
    assert!(90 <= ran && 2 <= stalled, "{ran} ran, {stalled} stalled");
}
