//! What must hold of every engine with its carburettors, and of what is refused.

mod physics;

use bellmouth_core::air::Air;
use bellmouth_core::carburettor::{
    Carburettor, DIMENSIONS, Dimension, Fitted, LeakReaches, Machine, Network, TransitionHole,
};
use bellmouth_core::engine::{Feed, Intake, MixtureTorque, Operation, Running};
use bellmouth_core::flow::Tip;
use bellmouth_core::fuel::Petrol;
use bellmouth_core::practice::{Dice, Population, draw};
use physics::drawn;

#[test]
fn air_drawn_is_air_delivered_and_lambda_is_of_the_flows() {
    for drawn in drawn(24, 20) {
        for turns in [1.5, 3.0, 5.0] {
            let running = drawn.turned(turns);
            for rpm in [600.0, 1000.0, 2000.0, 3300.0] {
                let held = running.at(rpm);
                let want = held.air_kg_s * drawn.air.dry_share()
                    / (held.fuel_kg_s * drawn.fuel.stoichiometric_ratio);
                assert!((held.lambda / want - 1.0).abs() < 1e-12, "{held:?}");
                let turning = running.turning_at(rpm);
                let gas_constant = drawn.air.pressure_over_density() / drawn.air.temperature_k();
                let (mut delivered, mut mean_pa) = (0.0, 0.0);
                for (feed, &manifold_pa) in running.feeds().iter().zip(&turning.manifold_pa) {
                    let share = f64::from(feed.cylinders) / f64::from(drawn.machine.engine.cylinders);
                    let charge = feed.intake.charge(manifold_pa, rpm);
                    let air_kg_s = charge.mixture_air_kg_s + charge.leak_air_kg_s;
                    let outside_pa = drawn.air.pressure_pa();
                    let engine = &drawn.machine.engine;
                    let taken = engine.air_drawn_kg_s(manifold_pa, rpm, outside_pa, share, gas_constant);
                    assert!((air_kg_s / taken - 1.0).abs() < 1e-6, "{air_kg_s} in, {taken} drawn");
                    delivered += f64::from(feed.alike) * air_kg_s;
                    mean_pa += f64::from(feed.alike) * share * manifold_pa;
                }
                assert!((delivered / held.air_kg_s - 1.0).abs() < 1e-6, "{delivered} {held:?}");
                assert!((mean_pa - held.manifold_pa).abs() < 1e-3, "{mean_pa} {held:?}");
            }
        }
    }
}

fn numbers(held: &Operation) -> [f64; 9] {
    [
        held.rpm,
        held.manifold_pa,
        held.air_kg_s,
        held.fuel_kg_s,
        held.lambda,
        held.leanest_richness,
        held.richest_richness,
        held.burning,
        held.surplus_pa,
    ]
}

fn assert_same(one: &Operation, other: &Operation) {
    for (a, b) in numbers(one).into_iter().zip(numbers(other)) {
        assert!((a - b).abs() <= 1e-9 * (1.0 + a.abs()), "{one:?}\n{other:?}");
    }
}

/// A four with its carburettors: reckoned once, each for itself, and as one that feeds a quarter.
#[test]
fn carburettors_that_do_not_differ_are_one_each() {
    let (air, fuel) = (Air::standard(300.0).unwrap(), Petrol::default().at(298.15).unwrap());
    let mut machine = Machine::new(Carburettor::constant_depression());
    machine.engine.cylinders = 4;
    machine.carburettors = 4;
    machine.carburettor.throttle.bore_m = 30e-3;
    let together = machine.running(&air, &fuel).unwrap();
    assert_eq!(together.feeds().len(), 1);
    let fitted = Fitted {
        displacement_m3: 0.25 * machine.engine.displacement_m3,
        leak_m2: 0.0,
        plate_rad: machine.carburettor.stop_rad,
    };
    let feed = Feed {
        intake: Network::new(&machine.carburettor, &fitted, &air, &fuel).unwrap(),
        cylinders: 1,
        alike: 1,
        leak_into_one: false,
    };
    let apart = Running::new(machine.engine.clone(), vec![feed; 4], &air, &fuel).unwrap();
    let mut single = machine.clone();
    single.engine.cylinders = 1;
    single.engine.displacement_m3 *= 0.25;
    single.carburettors = 1;
    let single = single.running(&air, &fuel).unwrap();
    for rpm in [500.0, 1000.0, 1800.0, 3300.0] {
        assert_same(&together.at(rpm), &apart.at(rpm));
        let one = single.at(rpm);
        let four = Operation { air_kg_s: 4.0 * one.air_kg_s, fuel_kg_s: 4.0 * one.fuel_kg_s, ..one };
        assert_same(&together.at(rpm), &four);
    }
}

#[test]
fn a_leak_at_one_port_splits_the_mixture_and_keeps_its_mean() {
    let (air, fuel) = (Air::standard(0.0).unwrap(), Petrol::default().at(298.15).unwrap());
    for cylinders in [2, 3, 4] {
        // The largest is more than a fourth cylinder swallows.
        for leak_m2 in [0.0, 0.3e-6, 1e-6, 2e-6, 10e-6] {
            let mut machine = Machine::new(Carburettor::fixed_venturi());
            machine.engine.cylinders = cylinders;
            machine.leak_m2 = leak_m2;
            let all = machine.running(&air, &fuel).unwrap();
            machine.leak_reaches = LeakReaches::One;
            let one = machine.running(&air, &fuel).unwrap();
            for rpm in [700.0, 1100.0, 2000.0] {
                let (all, one) = (all.at(rpm), one.at(rpm));
                assert!((one.air_kg_s / all.air_kg_s - 1.0).abs() < 1e-9, "{one:?}");
                assert!((one.fuel_kg_s / all.fuel_kg_s - 1.0).abs() < 1e-9, "{one:?}");
                if leak_m2 == 0.0 {
                    assert_same(&one, &all);
                    continue;
                }
                let (mean, n) = (all.leanest_richness, f64::from(cylinders));
                assert_eq!(all.leanest_richness, all.richest_richness);
                assert!(one.leanest_richness < mean && mean < one.richest_richness, "{one:?} {all:?}");
                let of_all = (one.leanest_richness + (n - 1.0) * one.richest_richness) / n;
                assert!((of_all / mean - 1.0).abs() < 1e-6, "{of_all} instead of {mean}: {one:?}");
            }
        }
    }
}

#[test]
fn no_drawn_machine_answers_nan() {
    for (index, drawn) in drawn(25, 100).iter().enumerate() {
        for half_turns in 0..=6 {
            let running = drawn.turned(f64::from(half_turns));
            for rpm in [450.0, 700.0, 1000.0, 1400.0, 2100.0, 3500.0] {
                let held = running.at(rpm);
                // Without fuel, lambda is infinite.
                let finite = numbers(&held)
                    .into_iter()
                    .all(|n| n.is_finite() || held.fuel_kg_s == 0.0 && n == held.lambda);
                assert!(finite, "machine {index}, {half_turns} turns: {held:?}");
            }
        }
    }
}

/// Every dimension anywhere in its range: most such machines are absurd, and none is answered with NaN.
#[test]
fn whatever_can_be_built_answers() {
    let mut dice = Dice::new(26);
    let (air, fuel) = (Air::standard(0.0).unwrap(), Petrol::default().at(298.15).unwrap());
    let mut built = 0;
    for index in 0..400 {
        let kind =
            if index % 2 == 0 { Carburettor::constant_depression() } else { Carburettor::fixed_venturi() };
        let mut machine = Machine::new(kind);
        for dimension in DIMENSIONS {
            let edge = dice.one_of(&[0.0, 0.5, 0.5, 1.0]);
            let share = if edge == 0.5 { dice.unit() } else { edge };
            // Some kinds have no such part: then it is refused, and left as it was.
            let _ = dimension.set(&mut machine, dimension.least + share * (dimension.most - dimension.least));
        }
        let Ok(running) = machine.running(&air, &fuel) else { continue };
        built += 1;
        for rpm in [450.0, 1000.0, 3500.0] {
            let held = running.at(rpm);
            assert!(numbers(&held).into_iter().all(|number| !number.is_nan()), "{machine:?}: {held:?}");
        }
        running.idle();
    }
    assert!(20 < built, "only {built} could be built");
}

const ABSURD: [f64; 5] = [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, -1.0, 1e30];

#[test]
fn absurd_dimensions_are_refused() {
    let (air, fuel) = (Air::standard(0.0).unwrap(), Petrol::default().at(298.15).unwrap());
    for kind in [Carburettor::constant_depression(), Carburettor::fixed_venturi()] {
        for absurd in ABSURD {
            for dimension in DIMENSIONS {
                let mut machine = Machine::new(kind.clone());
                // A temperature of -1 °C is none.
                if absurd < dimension.least || dimension.most < absurd || absurd.is_nan() {
                    assert!(dimension.set(&mut machine, absurd).is_err(), "{} {absurd}", dimension.key);
                }
                assert_eq!(machine, Machine::new(kind.clone()), "{} was kept", dimension.key);
            }
            assert!(Dimension::named("no_such_part").is_none());
            // What reaches the machine without its name.
            let spoil: [fn(&mut Machine, f64); 16] = [
                |m, x| m.leak_m2 = x,
                |m, x| m.screw_offsets_turns = vec![x],
                |m, x| m.carburettor.stop_rad = x,
                |m, x| m.carburettor.throttle.bore_m = x,
                |m, x| m.carburettor.throttle.shaft_ratio = x,
                |m, x| m.carburettor.filter_pa_s2_kg2 = x,
                |m, x| m.carburettor.pilot.jet_m = x,
                |m, x| m.carburettor.pilot.turns = x,
                |m, x| m.carburettor.pilot.tip.tip = Tip::Even { length_m: x },
                |m, x| m.carburettor.pilot.holes[0].upstream_m = x,
                |m, x| m.carburettor.pilot.holes.push(TransitionHole { upstream_m: 1e-3, bore_m: x }),
                |m, x| m.carburettor.main.needle_m = x,
                |m, x| m.engine.displacement_m3 = x,
                |m, x| m.engine.burning.rich_limit = x,
                |m, x| m.engine.friction = x,
                |m, x| {
                    m.engine.mixture_torque =
                        MixtureTorque::AirFuelParabola { curvature: x, best_lambda: 0.9 }
                },
            ];
            for (which, spoil) in spoil.iter().enumerate() {
                // One turn leaner than counted is a screw like any other.
                if which == 1 && absurd == -1.0 {
                    continue;
                }
                let mut machine = Machine::new(kind.clone());
                spoil(&mut machine, absurd);
                assert!(machine.running(&air, &fuel).is_err(), "{which}: {absurd} was accepted");
            }
            let fitted = Fitted { displacement_m3: 1e-3, leak_m2: 0.0, plate_rad: 0.2 };
            let fits = [
                Fitted { displacement_m3: absurd, ..fitted },
                Fitted { leak_m2: absurd, ..fitted },
                Fitted { plate_rad: absurd, ..fitted },
            ];
            for fitted in fits {
                assert!(Network::new(&kind, &fitted, &air, &fuel).is_err(), "{fitted:?} was accepted");
            }
        }
    }
}

/// A state that is no number has no answer, but it ends nothing.
#[test]
fn a_speed_or_pressure_that_is_no_number_never_panics() {
    let (air, fuel) = (Air::standard(0.0).unwrap(), Petrol::default().at(298.15).unwrap());
    for kind in [Carburettor::constant_depression(), Carburettor::fixed_venturi()] {
        let fitted = Fitted { displacement_m3: 1.2e-3, leak_m2: 1e-7, plate_rad: kind.stop_rad };
        let network = Network::new(&kind, &fitted, &air, &fuel).unwrap();
        let running = Machine::new(kind).running(&air, &fuel).unwrap();
        for absurd in ABSURD.into_iter().chain([0.0]) {
            network.state(absurd, 1000.0);
            network.state(40e3, absurd);
            running.at(absurd);
            let mut turning = running.turning_at(absurd);
            running.step(&mut turning, 0.01);
        }
        assert!(network.state(f64::NAN, 1000.0).air_kg_s().is_nan(), "no pressure, yet a flow");
        assert!(network.state(40e3, f64::NAN).air_kg_s().is_nan(), "no speed, yet a flow");
        assert!(running.at(f64::NAN).surplus_pa.is_nan(), "no speed, yet a torque");
    }
    for hidden in draw(Population::Network, 27, 3).unwrap() {
        assert!(hidden.idle(f64::NAN).is_err(), "no position, yet an answer");
    }
}
