//! What must hold of every carburettor, wherever it is fitted.

mod physics;

use bellmouth_core::air::{Air, STANDARD_GRAVITY_M_S2};
use bellmouth_core::carburettor::{
    Carburettor, DIMENSIONS, Dimension, Fitted, LeakReaches, Machine, Network, State, Throat, TransitionHole,
};
use bellmouth_core::engine::{Feed, Intake, Operation, Running};
use bellmouth_core::flow::Tip;
use bellmouth_core::fuel::{Fuel, Petrol};
use bellmouth_core::practice::{Dice, Population, draw};
use bellmouth_core::quantity::Screw;
use physics::drawn;

/// Manifold pressure in Pa and speed in rpm: choked and not, stalling and racing.
const STATES: [(f64, f64); 8] = [
    (22e3, 2500.0),
    (35e3, 900.0),
    (42e3, 1100.0),
    (52e3, 1000.0),
    (60e3, 500.0),
    (70e3, 3400.0),
    (90e3, 1500.0),
    (99e3, 3000.0),
];

/// A carburettor in its place.
#[derive(Clone)]
struct Case {
    carburettor: Carburettor,
    fitted: Fitted,
    air: Air,
    fuel: Fuel,
}

impl Case {
    fn network(&self) -> Network {
        Network::new(&self.carburettor, &self.fitted, &self.air, &self.fuel).expect("it can be built")
    }

    /// The states below this day's pressure.
    fn states(&self) -> Vec<State> {
        let network = self.network();
        let below = STATES.into_iter().filter(|&(pa, _)| pa < 0.999 * self.air.pressure_pa());
        below.map(|(pa, rpm)| network.state(pa, rpm)).collect()
    }

    fn changed(&self, change: impl Fn(&mut Case)) -> Case {
        let mut case = self.clone();
        change(&mut case);
        case
    }
}

/// Both kinds as they stand, then those of drawn machines; at the stop and further open, where the main
/// circuit feeds too.
fn cases() -> Vec<Case> {
    let mut dice = Dice::new(21);
    let (air, fuel) = (Air::standard(0.0).unwrap(), Petrol::default().at(298.15).unwrap());
    let mut cases: Vec<Case> = [Carburettor::constant_depression(), Carburettor::fixed_venturi()]
        .into_iter()
        .map(|carburettor| {
            let fitted = Fitted { displacement_m3: 1.2e-3, leak_m2: 0.0, plate_rad: carburettor.stop_rad };
            Case { carburettor, fitted, air, fuel }
        })
        .collect();
    cases.extend(drawn(22, 15).into_iter().map(|drawn| {
        let carburettor = drawn.machine.carburettor.clone();
        let displacement_m3 = drawn.machine.engine.displacement_m3 / f64::from(drawn.machine.carburettors);
        let fitted =
            Fitted { displacement_m3, leak_m2: drawn.machine.leak_m2, plate_rad: carburettor.stop_rad };
        Case { carburettor, fitted, air: drawn.air, fuel: drawn.fuel }
    }));
    let opened: Vec<Case> = cases
        .iter()
        .map(|case| {
            let by_rad = dice.between(2.0, 50.0).to_radians();
            case.changed(|case| case.fitted.plate_rad += by_rad)
        })
        .collect();
    cases.extend(opened);
    cases
}

fn richness(state: &State) -> f64 {
    state.fuel_kg_s() / state.air_kg_s()
}

/// Nothing viscous, and a screw that is open, so that every area is one.
fn inviscid() -> Vec<Case> {
    let mut dice = Dice::new(23);
    let mut inviscid = cases();
    for case in &mut inviscid {
        case.fuel.viscosity_pa_s = 0.0;
        case.carburettor.pilot.turns = dice.between(0.7, 5.0);
        // Each hole wholly passed or wholly covered: what is passed must not change with its bore.
        for hole in &mut case.carburettor.pilot.holes {
            hole.upstream_m = if dice.chance(0.5) { -5e-3 } else { 20e-3 };
        }
    }
    inviscid
}

fn assert_scaled(before: &[State], after: &[State], k: f64, tolerance: f64) {
    assert_eq!(before.len(), after.len());
    for (b, a) in before.iter().zip(after) {
        for (b, a) in [(b.pilot, a.pilot), (b.main, a.main)] {
            assert!((a.well_pa / b.well_pa - 1.0).abs() < tolerance, "{k}: {b:?} {a:?}");
            assert!(
                (a.fuel_kg_s - k * b.fuel_kg_s).abs() < tolerance * (b.fuel_kg_s + 1e-5),
                "{k}: {b:?} {a:?}"
            );
            assert!(
                (a.air_kg_s - k * b.air_kg_s).abs() < tolerance * (b.air_kg_s + 1e-5),
                "{k}: {b:?} {a:?}"
            );
        }
    }
}

/// Every effective area times k, by its coefficient.
#[test]
fn all_areas_times_k_leave_the_wells_and_scale_the_flows() {
    let mut feeding = 0;
    for case in inviscid() {
        let before = case.states();
        feeding += before.iter().filter(|state| 0.0 < state.main.fuel_kg_s).count();
        for k in [0.6, 0.9, 1.1] {
            let scaled = case.changed(|case| {
                let Carburettor { pilot, main, .. } = &mut case.carburettor;
                let discharges =
                    [&mut pilot.jet_discharge, &mut pilot.air_discharge, &mut pilot.outlet_discharge];
                let of_main = [&mut main.jet_discharge, &mut main.nozzle_discharge];
                discharges.into_iter().chain(of_main).for_each(|discharge| *discharge *= k);
            });
            assert_scaled(&before, &scaled.states(), k, 1e-10);
        }
    }
    assert!(50 < feeding, "the main circuit fed in {feeding} states only");
}

/// The same by every bore: squares of lengths. A seat leaks 1e-12 m² that no bore scales.
#[test]
fn all_bores_times_a_root_do_the_same() {
    const SEAT: f64 = 3e-5;
    for case in inviscid() {
        for k in [0.8f64, 1.2] {
            let scaled = case.changed(|case| {
                let Carburettor { pilot, main, .. } = &mut case.carburettor;
                let mut lengths = vec![&mut pilot.jet_m, &mut pilot.air_jet_m, &mut pilot.outlet_m];
                lengths.extend([&mut pilot.tip.seat_m, &mut pilot.tip.pitch_m]);
                if let Tip::Even { length_m } = &mut pilot.tip.tip {
                    lengths.push(length_m);
                }
                lengths.extend(pilot.holes.iter_mut().map(|hole| &mut hole.bore_m));
                lengths.extend([
                    &mut main.jet_m,
                    &mut main.air_jet_m,
                    &mut main.nozzle_m,
                    &mut main.needle_m,
                ]);
                lengths.into_iter().for_each(|length| *length *= k.sqrt());
            });
            assert_scaled(&case.states(), &scaled.states(), k, SEAT);
        }
    }
}

/// d ln(fuel)/d ln(area), summed over all areas, by central differences of 1e-4: their square, and
/// pressures of the wells found to 1e-7 Pa.
#[test]
fn elasticities_of_an_inviscid_fuel_sum_to_one() {
    const STEP: f64 = 1e-4;
    const FLOOR: f64 = 2e-5;
    let areas: [fn(&mut Carburettor) -> &mut f64; 5] = [
        |c| &mut c.pilot.jet_discharge,
        |c| &mut c.pilot.air_discharge,
        |c| &mut c.pilot.outlet_discharge,
        |c| &mut c.main.jet_discharge,
        |c| &mut c.main.nozzle_discharge,
    ];
    for case in inviscid() {
        let with = |area: fn(&mut Carburettor) -> &mut f64, by: f64| {
            case.changed(|case| *area(&mut case.carburettor) *= by).states()
        };
        let moved: Vec<_> =
            areas.iter().map(|&area| (with(area, 1.0 - STEP), with(area, 1.0 + STEP))).collect();
        for (index, state) in case.states().iter().enumerate() {
            // Where next to nothing is drawn there is no ratio; at the onset there is a corner.
            if state.fuel_kg_s() < 1e-6 || (0.0 < state.main.fuel_kg_s && state.main.fuel_kg_s < 5e-5) {
                continue;
            }
            let sum: f64 = moved
                .iter()
                .map(|(less, more)| (more[index].fuel_kg_s() / less[index].fuel_kg_s()).ln() / (2.0 * STEP))
                .sum();
            assert!((sum - 1.0).abs() < FLOOR, "{sum} at {state:?}");
        }
    }
}

/// States with a value rising in steps; what is compared is held at the same manifold pressure.
fn assert_mixture(rises: bool, case: &Case, change: impl Fn(&mut Case, f64), what: &str) {
    let states: Vec<Vec<State>> =
        (0..5).map(|step| case.changed(|case| change(case, f64::from(step))).states()).collect();
    let sign = if rises { 1.0 } else { -1.0 };
    for pair in states.windows(2) {
        for (before, after) in pair[0].iter().zip(&pair[1]) {
            let gained = sign * (richness(after) - richness(before));
            let drawn = 1e-7 < before.pilot.fuel_kg_s;
            assert!(-1e-10 < gained && (0.0 < gained || !drawn), "{what}: {gained:e}, {before:?} {after:?}");
        }
    }
}

#[test]
fn parts_move_the_mixture_the_way_a_mechanic_expects() {
    for case in cases() {
        for turns in [0.5, 2.0] {
            let fuel_screw = case.carburettor.pilot.screw == Screw::Fuel;
            let turn = |case: &mut Case, step: f64| case.carburettor.pilot.turns = turns + 0.2 * step;
            assert_mixture(fuel_screw, &case, turn, "turns");
        }
        assert_mixture(
            true,
            &case,
            |case, step| case.carburettor.pilot.jet_m *= 1.0 + 0.03 * step,
            "pilot jet",
        );
        let bleed = |case: &mut Case, step: f64| case.carburettor.pilot.air_jet_m *= 1.0 + 0.05 * step;
        assert_mixture(false, &case, bleed, "pilot air jet");
        assert_mixture(false, &case, |case, step| case.fitted.leak_m2 += 1e-6 * step, "leak");
        let deeper = |case: &mut Case, step: f64| case.carburettor.pilot.level_m += 1e-3 * step;
        assert_mixture(false, &case, deeper, "depth of the fuel");
    }
}

#[test]
fn air_never_rises_with_manifold_pressure_and_falls_once_nothing_is_choked() {
    for case in cases() {
        let network = case.network();
        let outside_pa = case.air.pressure_pa();
        for rpm in [450.0, 1000.0, 3500.0] {
            let mut before = network.charge(10e3, rpm);
            for step in 1..200 {
                let manifold_pa = 10e3 + (outside_pa - 10_010.0) * f64::from(step) / 199.0;
                let here = network.charge(manifold_pa, rpm);
                let (was, is) = (
                    before.mixture_air_kg_s + before.leak_air_kg_s,
                    here.mixture_air_kg_s + here.leak_air_kg_s,
                );
                assert!(is <= was * (1.0 + 1e-9), "{manifold_pa} Pa, {rpm} rpm: {was} then {is}");
                assert!(
                    is < was || manifold_pa < 0.58 * outside_pa,
                    "{manifold_pa} Pa, {rpm} rpm: {was} then {is}"
                );
                let asked = network.air_kg_s(manifold_pa, rpm);
                assert!((asked / is - 1.0).abs() < 1e-12, "asked alone it says {asked}, not {is}");
                before = here;
            }
            let none = network.charge(outside_pa, rpm);
            assert_eq!(none.mixture_air_kg_s + none.leak_air_kg_s, 0.0, "{rpm} rpm");
        }
    }
}

#[test]
fn pressures_fall_along_the_way() {
    for case in cases() {
        for state in case.states() {
            assert!(state.airbox_pa <= case.air.pressure_pa(), "{state:?}");
            assert!(state.throat_pa <= state.airbox_pa, "{state:?}");
            assert!(state.throat_pa <= state.behind_pa && state.behind_pa <= state.airbox_pa, "{state:?}");
            assert!(state.manifold_pa <= state.behind_pa, "{state:?}");
            for (well, outlet_pa) in [(state.pilot, state.manifold_pa), (state.main, state.throat_pa)] {
                assert!(outlet_pa <= well.well_pa && well.well_pa <= state.airbox_pa, "{state:?}");
                assert!(0.0 <= well.fuel_kg_s && 0.0 <= well.air_kg_s, "{state:?}");
            }
        }
    }
}

/// What the filter, the throat and the plate say of the same flow of air.
#[test]
fn filter_throat_and_plate_pass_the_same_air() {
    for case in cases() {
        for state in case.states() {
            let flow = state.throttle_air_kg_s;
            let lost_pa = case.carburettor.filter_pa_s2_kg2 * flow * flow;
            assert!((case.air.pressure_pa() - state.airbox_pa - lost_pa).abs() < 1e-6, "{state:?}");
            let (area_m2, discharge) = match case.carburettor.throat {
                Throat::ConstantDepression(slide) => {
                    let height_m = slide.recess_m + state.lift_m;
                    (bellmouth_core::flow::segment_area(height_m, slide.bore_m), slide.discharge)
                }
                Throat::FixedVenturi { bore_m, discharge, .. } => {
                    (0.25 * std::f64::consts::PI * bore_m * bore_m, discharge)
                }
            };
            let drop_pa = state.airbox_pa - state.throat_pa;
            let density = state.airbox_pa / case.air.pressure_over_density();
            let through = discharge * area_m2 * (2.0 * density * drop_pa / state.kappa).sqrt();
            assert!((through - flow).abs() < 1e-6 * flow || 0.44 * state.airbox_pa < drop_pa, "{state:?}");
        }
    }
}

#[test]
fn a_slide_rests_on_a_stop_or_is_carried() {
    let (mut low, mut carried) = (0, 0);
    for case in cases() {
        let Throat::ConstantDepression(slide) = case.carburettor.throat else { continue };
        for state in case.states() {
            let lifting_n = (state.airbox_pa - state.throat_pa) * slide.diaphragm_m2;
            let load_n =
                slide.mass_kg * STANDARD_GRAVITY_M_S2 + slide.spring_n + slide.spring_n_m * state.lift_m;
            if state.lift_m == 0.0 {
                low += 1;
                assert!(lifting_n <= load_n, "{state:?}");
            } else if state.lift_m == slide.stroke_m {
                assert!(load_n <= lifting_n, "{state:?}");
            } else {
                carried += 1;
                assert!(0.0 < state.lift_m && state.lift_m < slide.stroke_m, "{state:?}");
                assert!((lifting_n / load_n - 1.0).abs() < 1e-6, "{lifting_n} N, {load_n} N: {state:?}");
            }
        }
    }
    assert!(50 < low && 20 < carried, "{low} on the stop, {carried} carried");
}

#[test]
fn pulsation_lies_between_one_and_its_most_whatever_the_manifold() {
    let (mut steady, mut full) = (0, 0);
    for case in cases() {
        let network = case.network();
        for rpm in [450.0, 1500.0, 3500.0] {
            let kappa = network.state(40e3, rpm).kappa;
            assert!((1.0..=case.carburettor.pulsation).contains(&kappa), "{kappa}");
            steady += u32::from(kappa == 1.0);
            full += u32::from(kappa == case.carburettor.pulsation);
            for manifold_pa in [20e3, 60e3, 70e3] {
                assert_eq!(network.state(manifold_pa, rpm).kappa, kappa);
            }
        }
    }
    assert!(10 < steady && 10 < full, "{steady} steady, {full} full");
}

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
        for leak_m2 in [0.0, 0.3e-6, 1e-6, 2e-6] {
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
                    m.engine.mixture_torque = {
                        bellmouth_core::engine::MixtureTorque::AirFuelParabola {
                            curvature: x,
                            best_lambda: 0.9,
                        }
                    }
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
