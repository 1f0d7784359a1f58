//! What a mechanic knows of idle mixture must come out of the network, not be drawn into it.
//!
//! Directions are facts of the trade (common practice, no source). Positions are those of the
//! machine of the defaults, where the reference script in `oracle/` gives the same to an eighth of a turn.

use bellmouth_core::air::Air;
use bellmouth_core::carburettor::{Carburettor, IdleCurve, LeakReaches, Machine};
use bellmouth_core::engine::{Idle, Operation};
use bellmouth_core::fuel::{Fuel, Petrol};
use bellmouth_core::quantity::Screw;

/// A warm day at the sea.
fn day() -> (Air, Fuel) {
    let air = Air::at_altitude(0.0, 298.15, 0.0).expect("an ordinary day");
    (air, Petrol::default().at(298.15).expect("ordinary petrol"))
}

fn twin() -> Machine {
    Machine::new(Carburettor::constant_depression())
}

fn curve(machine: &Machine) -> IdleCurve {
    let (air, fuel) = day();
    machine.idle_curve(&air, &fuel).expect("the machine can be reckoned")
}

/// Turns, speed and mixture at the highest speed.
fn best(machine: &Machine) -> (f64, Operation) {
    let curve = curve(machine);
    let place = curve.best().expect("it idles somewhere");
    (place.turns, *place.idle.operation().expect("it idles at its best"))
}

fn edge(machine: &Machine) -> f64 {
    curve(machine).lean_edge_turns().expect("it idles somewhere")
}

fn with_jet(bore_mm: f64) -> Machine {
    let mut machine = twin();
    machine.carburettor.pilot.jet_m = 1e-3 * bore_mm;
    machine
}

fn with_leak(leak_mm2: f64) -> Machine {
    Machine { leak_m2: 1e-6 * leak_mm2, ..twin() }
}

/// The same machine with its stop set so that it idles at a speed at these turns.
fn reset(machine: &Machine, turns: f64, rpm: f64) -> Machine {
    let (air, fuel) = day();
    let mut machine = machine.clone();
    machine.carburettor.pilot.turns = turns;
    machine.with_idle_at(rpm, &air, &fuel).expect("the stop reaches that speed")
}

#[test]
fn best_idle_lies_near_two_and_three_quarter_turns_at_best_power_mixture() {
    let (turns, operation) = best(&twin());
    assert!((turns - 2.75).abs() <= 0.125, "best at {turns} turns");
    // NACA TR-189: best power at a fuel-air ratio of 0.07 to 0.08, with 14.7 to one 1.03 to 1.18.
    let richness = 1.0 / operation.lambda;
    assert!((1.03..=1.18).contains(&richness), "richness {richness}");
    assert!((1000.0..1100.0).contains(&operation.rpm), "{} rpm", operation.rpm);
}

#[test]
fn lean_is_steep_and_rich_droops_gently() {
    let (air, fuel) = day();
    let rpm = |turns: f64| match twin().idle(turns, &air, &fuel).unwrap() {
        Idle::Runs(operation) => operation.rpm,
        other => panic!("{other:?} at {turns}"),
    };
    let (turns, operation) = best(&twin());
    let (leaner, richer) = (operation.rpm - rpm(turns - 1.0), operation.rpm - rpm(turns + 1.0));
    assert!(4.0 * richer < leaner, "a turn leaner costs {leaner} rpm, a turn richer {richer}");
    assert_eq!(twin().idle(1.0, &air, &fuel).unwrap(), Idle::Stalls);
}

#[test]
fn a_smaller_pilot_jet_moves_the_best_out() {
    let turns: Vec<f64> =
        [0.52, 0.50, 0.48, 0.46, 0.44, 0.42].iter().map(|&jet| best(&with_jet(jet)).0).collect();
    assert!(turns.windows(2).all(|pair| pair[0] < pair[1]), "{turns:?}");
    assert!(3.0 < best(&with_jet(0.44)).0, "a size too small needs more than three turns");
}

#[test]
fn a_jet_some_sizes_too_small_cannot_be_rescued_by_the_screw() {
    // Once the hole is open, more turns open little: the last turn buys a seventh of what the third does on a
    // sound machine.
    let (air, fuel) = day();
    let starved = with_jet(0.36);
    let lambda = |turns: f64| starved.idle(turns, &air, &fuel).unwrap().operation().map(|o| o.lambda);
    let (five, six) = (lambda(5.0).expect("runs"), lambda(6.0).expect("runs"));
    assert_eq!(best(&starved).0, 6.0, "still gaining at the last turn");
    assert!(five / six - 1.0 < 0.045, "from {five} to {six}");
    let sound = |turns: f64| twin().idle(turns, &air, &fuel).unwrap().operation().map(|o| o.lambda);
    let (two, three) = (sound(2.0).expect("runs"), sound(3.0).expect("runs"));
    assert!(0.3 < two / three - 1.0, "from {two} to {three} on the sound machine");
    assert!(edge(&starved) > 4.0, "its edge lies beyond where a screw keeps its spring");
}

#[test]
fn a_leak_moves_the_best_out_while_the_stop_is_untouched() {
    let turns: Vec<(f64, f64)> = [0.0, 0.5, 1.0, 2.0, 4.0]
        .iter()
        .map(|&leak| best(&with_leak(leak)))
        .map(|(turns, operation)| (turns, operation.rpm))
        .collect();
    assert!(turns.windows(2).all(|pair| pair[0].0 < pair[1].0 && pair[0].1 < pair[1].1), "{turns:?}");
}

#[test]
fn a_leak_hides_once_the_idle_has_been_reset() {
    let sound = reset(&twin(), 2.75, 1050.0);
    for leak in [1.0, 2.0, 4.0] {
        let moved = edge(&reset(&with_leak(leak), 2.75, 1050.0)) - edge(&sound);
        assert!(moved.abs() < 0.05, "{leak} mm² moves the edge by {moved} turns");
    }
}

#[test]
fn a_leak_at_one_port_splits_the_cylinders_and_does_not_hide() {
    let at_one = |leak_mm2: f64| Machine { leak_reaches: LeakReaches::One, ..with_leak(leak_mm2) };
    let (_, sound) = best(&at_one(0.0));
    assert_eq!(sound.leanest_richness, sound.richest_richness);
    let (_, split) = best(&at_one(2.0));
    assert!(1.1 < split.richest_richness / split.leanest_richness, "{split:?}");
    let (sound, leaking) = (reset(&at_one(0.0), 2.75, 1050.0), reset(&at_one(2.0), 2.75, 1050.0));
    assert!(0.2 < edge(&leaking) - edge(&sound), "the edge tells of it though the idle is the same");
}

#[test]
fn the_lean_edge_moves_out_with_the_plate_until_it_passes_the_holes() {
    let with_stop = |degrees: f64| {
        let mut machine = twin();
        machine.carburettor.stop_rad += degrees.to_radians();
        machine
    };
    let (closed, stop, open) = (with_stop(-0.15), with_stop(0.0), with_stop(0.15));
    assert!(edge(&closed) < edge(&stop) && edge(&stop) < edge(&open));
    // About an eighth of a turn for forty revolutions: why blocks at different idle speeds share no curve.
    let per_40_rpm = 40.0 * (edge(&open) - edge(&closed)) / (best(&open).1.rpm - best(&closed).1.rpm);
    assert!((0.06..0.25).contains(&per_40_rpm), "{per_40_rpm} turns per 40 rpm");
    // Plate past the first holes: they feed by themselves, and the screw has less to do.
    assert!(edge(&with_stop(1.0)) < edge(&stop));
}

#[test]
fn altitude_heat_and_a_larger_jet_ask_for_less_ethanol_and_cold_for_more() {
    let (air, fuel) = day();
    let edge_in = |air: &Air, fuel: &Fuel| twin().idle_curve(air, fuel).unwrap().lean_edge_turns().unwrap();
    let home = edge_in(&air, &fuel);
    let pass = Air::at_altitude(1500.0, 298.15 - 9.75, 0.0).unwrap();
    assert!(edge_in(&pass, &fuel) < home - 0.1, "a pass");
    let cold = (Air::at_altitude(0.0, 278.15, 0.0).unwrap(), Petrol::default().at(278.15).unwrap());
    assert!(home + 0.05 < edge_in(&cold.0, &cold.1), "a cold morning");
    let blend = Petrol { ethanol_volume_share: 0.10, ..Petrol::default() }.at(298.15).unwrap();
    assert!(home + 0.1 < edge_in(&air, &blend), "a tenth of ethanol");
}

#[test]
fn an_air_screw_works_the_other_way_and_the_advice_in_richness_is_the_same() {
    let (air, fuel) = day();
    let mut machine = twin();
    machine.carburettor.pilot.screw = Screw::Air;
    let lambdas: Vec<f64> = (0..12)
        .filter_map(|quarters| {
            machine.idle(0.25 * f64::from(quarters), &air, &fuel).unwrap().operation().map(|o| o.lambda)
        })
        .collect();
    assert_eq!(lambdas.len(), 12);
    assert!(lambdas.windows(2).all(|pair| pair[0] < pair[1]), "out is leaner: {lambdas:?}");
    // The lean edge is the furthest out here, and beyond it speed has fallen by a hundredth.
    let (turns, operation) = best(&machine);
    assert!(turns < edge(&machine));
    let beyond = machine.idle(edge(&machine) + 0.25, &air, &fuel).unwrap();
    assert!(beyond.operation().is_none_or(|o| o.rpm < 0.99 * operation.rpm));
}

#[test]
fn fuel_level_hardly_moves_the_screw() {
    let mut low = twin();
    low.carburettor.pilot.level_m += 3e-3;
    low.carburettor.main.level_m += 3e-3;
    assert!((edge(&low) - edge(&twin())).abs() < 0.05);
}

#[test]
fn an_idle_speed_asked_for_is_reached_or_refused_with_the_reason() {
    let (air, fuel) = day();
    for rpm in [850.0, 1000.0, 1250.0] {
        let set = reset(&twin(), 2.5, rpm);
        let idle = set.idle(2.5, &air, &fuel).unwrap();
        assert!((idle.operation().expect("it idles").rpm - rpm).abs() < 0.01, "{idle:?}");
    }
    let refused = twin().with_idle_at(3600.0, &air, &fuel).map(|_| ()).unwrap_err().to_string();
    assert!(refused.contains("idle_rpm") && refused.contains("3600"), "{refused}");
}
