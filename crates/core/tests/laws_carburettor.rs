//! What must hold of every carburettor, wherever it is fitted.

mod physics;

use bellmouth_core::air::{Air, STANDARD_GRAVITY_M_S2};
use bellmouth_core::carburettor::{Carburettor, Drawn, Fitted, Network, State, Throat};
use bellmouth_core::engine::Intake;
use bellmouth_core::flow::{Gas, LiquidJet, Tip, segment_area, two_phase_drop};
use bellmouth_core::fuel::{Fuel, Petrol};
use bellmouth_core::practice::Dice;
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
    let (air, fuel) = (
        Air::standard(0.0).expect("it can be built"),
        Petrol::default().at(298.15).expect("it can be built"),
    );
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

/// d ln(fuel)/d ln(area), summed over all areas, by central differences of 1e-4: pressures of the wells
/// found to 1e-7 Pa, and the square of the step where a circuit has just begun to feed.
#[test]
fn elasticities_of_an_inviscid_fuel_sum_to_one() {
    const STEP: f64 = 1e-4;
    const FLOOR: f64 = 1e-4;
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
    let mut through_all = 0;
    for case in cases() {
        let carburettor = &case.carburettor;
        let air = Gas::new(1.4, case.air.pressure_over_density()).unwrap();
        let plate_m2 = carburettor.throttle.area_m2(case.fitted.plate_rad) + carburettor.plate_leak_m2;
        for state in case.states() {
            let flow = state.throttle_air_kg_s;
            let lost_pa = carburettor.filter_pa_s2_kg2 * flow * flow;
            assert!((case.air.pressure_pa() - state.airbox_pa - lost_pa).abs() < 1e-6, "{state:?}");
            let past =
                air.flow_kg_s(carburettor.throttle_discharge * plate_m2, state.behind_pa, state.manifold_pa);
            assert!((past - flow).abs() < 1e-10, "{past} past the plate, {state:?}");
            let (area_m2, discharge, recovery) = match carburettor.throat {
                Throat::ConstantDepression(slide) => {
                    let area_m2 = segment_area(slide.recess_m + state.lift_m, slide.bore_m);
                    // Borda and Carnot: of the head, what a sudden expansion does not lose.
                    let opened = area_m2 / round_m2(carburettor.throttle.bore_m);
                    (area_m2, slide.discharge, 1.0 - opened * opened - (1.0 - opened).powi(2))
                }
                Throat::FixedVenturi { bore_m, discharge, recovery } => {
                    (round_m2(bore_m), discharge, recovery)
                }
            };
            let drop_pa = state.airbox_pa - state.throat_pa;
            let lost_pa = (1.0 - recovery) * drop_pa / state.kappa;
            assert!((state.airbox_pa - state.behind_pa - lost_pa).abs() < 1e-6, "{state:?}");
            // Where the throat is held at its most depression, it limits nothing.
            if drop_pa < 0.44 * state.airbox_pa {
                through_all += 1;
                let density = air.density_kg_m3(state.airbox_pa);
                let through = discharge * area_m2 * (2.0 * density * drop_pa / state.kappa).sqrt();
                assert!((through - flow).abs() < 1e-6 * flow, "{through} through the throat, {state:?}");
            }
        }
    }
    assert!(300 < through_all, "{through_all}");
}

fn round_m2(bore_m: f64) -> f64 {
    0.25 * std::f64::consts::PI * bore_m * bore_m
}

/// A well by its elements.
struct Well {
    jet: LiquidJet,
    level_m: f64,
    bleed_m2: f64,
    covered_m2: f64,
    outlet_m2: f64,
    interaction: f64,
    mixture: Gas,
}

impl Well {
    fn assert_balanced(&self, state: &State, drawn: &Drawn, outlet_pa: f64, air: &Gas, fuel: &Fuel) {
        // The search stops within 1e-7 Pa of the well's pressure; a small outlet makes much of that.
        const PASCALS: f64 = 1e-3;
        let Drawn { fuel_kg_s, air_kg_s, well_pa } = *drawn;
        if fuel_kg_s == 0.0 {
            return;
        }
        let bled = air.flow_kg_s(self.bleed_m2, state.airbox_pa, well_pa)
            + air.flow_kg_s(self.covered_m2, state.behind_pa, well_pa);
        assert!((bled / air_kg_s - 1.0).abs() < 1e-9, "{bled} bled, {state:?}");
        let column_pa = fuel.density_kg_m3 * STANDARD_GRAVITY_M_S2 * self.level_m;
        let jetted = self.jet.flow_kg_s(state.airbox_pa - column_pa - well_pa);
        assert!((jetted / fuel_kg_s - 1.0).abs() < 1e-9, "{jetted} through the jet, {state:?}");
        let (liquid_kg_m3, gas_kg_m3) = (fuel.density_kg_m3, air.density_kg_m3(well_pa));
        let drop_pa =
            two_phase_drop(fuel_kg_s, air_kg_s, self.outlet_m2, liquid_kg_m3, gas_kg_m3, self.interaction);
        let head_pa = self.mixture.head_pa(well_pa, outlet_pa);
        assert!((drop_pa - head_pa).abs() < PASCALS + 1e-6 * head_pa, "{drop_pa}, {head_pa}, {state:?}");
    }
}

/// Jet, bleeds and outlet of a well, each put together from its elements anew.
#[test]
fn each_well_is_in_balance() {
    let mut feeding = (0, 0);
    for case in cases() {
        let (Carburettor { pilot, main, throttle, .. }, fuel) = (&case.carburettor, &case.fuel);
        let air = Gas::new(1.4, case.air.pressure_over_density()).unwrap();
        let travel_m = 0.5 * throttle.bore_m * (case.fitted.plate_rad.sin() - throttle.closed_rad.sin());
        let (mut passed_m2, mut covered_m2) = (0.0, 0.0);
        for hole in &pilot.holes {
            let z = ((travel_m - hole.upstream_m) / hole.bore_m + 0.5).clamp(0.0, 1.0);
            let passed = z * z * (3.0 - 2.0 * z);
            passed_m2 += passed * round_m2(hole.bore_m);
            covered_m2 += (1.0 - passed) * round_m2(hole.bore_m);
        }
        // Every seat leaks 1e-12 m².
        let (screw_m2, air_jet_m2) = (pilot.tip.area_m2(pilot.turns) + 1e-12, round_m2(pilot.air_jet_m));
        let (bleed_m2, outlet_m2) = match pilot.screw {
            Screw::Fuel => (air_jet_m2, screw_m2),
            // Two square laws one after the other.
            Screw::Air => ((screw_m2.powi(-2) + air_jet_m2.powi(-2)).powf(-0.5), round_m2(pilot.outlet_m)),
        };
        let needle_m2 = round_m2(main.nozzle_m) - round_m2(main.needle_m);
        let pilot_well = Well {
            jet: LiquidJet::new(pilot.jet_m, pilot.jet_length_m, pilot.jet_discharge, fuel).unwrap(),
            level_m: pilot.level_m,
            bleed_m2: pilot.air_discharge * bleed_m2,
            covered_m2: pilot.outlet_discharge * covered_m2,
            outlet_m2: pilot.outlet_discharge * (outlet_m2 + passed_m2),
            interaction: pilot.interaction,
            mixture: Gas::new(1.2, case.air.pressure_over_density()).unwrap(),
        };
        let main_well = Well {
            jet: LiquidJet::new(main.jet_m, main.jet_length_m, main.jet_discharge, fuel).unwrap(),
            level_m: main.level_m,
            bleed_m2: pilot.air_discharge * round_m2(main.air_jet_m),
            covered_m2: 0.0,
            outlet_m2: main.nozzle_discharge * needle_m2,
            interaction: main.interaction,
            mixture: air,
        };
        for state in case.states() {
            feeding.0 += usize::from(0.0 < state.pilot.fuel_kg_s);
            feeding.1 += usize::from(0.0 < state.main.fuel_kg_s);
            pilot_well.assert_balanced(&state, &state.pilot, state.manifold_pa, &air, fuel);
            main_well.assert_balanced(&state, &state.main, state.throat_pa, &air, fuel);
        }
    }
    assert!(300 < feeding.0 && 60 < feeding.1, "{feeding:?}");
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
