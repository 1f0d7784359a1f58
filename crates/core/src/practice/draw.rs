//! Drawing machines from a seed.

use super::{COLUMNS, Dice, Hidden};
use crate::carburettor::{Fitted, Network};
use crate::engine::Intake;
use crate::error::{Error, Result};

/// Which machines are drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Population {
    /// The network, every unmeasured constant anywhere in its range.
    Network,
    /// Machines that break its assumptions.
    Alien,
}

/// Draws machines.
///
/// Dimensions are spread over believable ranges (typical magnitudes, from memory). Then pilot jet and
/// stop are chosen as a maker would, so that the engine makes its best torque at a drawn position of
/// the screw and a drawn idle speed; one machine in eight has a jet that is wrong by some sizes, one in
/// four leaks. What cannot be built is drawn again.
///
/// # Errors
///
/// [`Error::TooLittle`] where so much cannot be built that the ranges themselves must be wrong.
pub fn draw(population: Population, seed: u64, count: usize) -> Result<Vec<Hidden>> {
    let mut machines = Vec::with_capacity(count);
    let mut dice = Dice::new(seed);
    for _ in 0..count * 20 {
        if machines.len() == count {
            return Ok(machines);
        }
        let drawn = Draft::draw(population, &mut dice).built(&mut dice);
        machines.extend(drawn);
    }
    if machines.len() == count {
        return Ok(machines);
    }
    Err(Error::TooLittle {
        what: "machines could be built",
        got: machines.len(),
        needed: count,
        remedy: "narrow the ranges they are drawn from",
    })
}

/// A row while it is drawn.
struct Draft {
    row: Vec<f64>,
    /// Where the screw stands at best torque, turns.
    best_turns: f64,
    /// At which speed, rpm.
    idle_rpm: f64,
}

impl Draft {
    fn set(&mut self, column: &str, value: f64) {
        let index = COLUMNS
            .iter()
            .position(|&name| name == column)
            .expect("every column is in COLUMNS because the tests draw them all");
        self.row[index] = rounded(value);
    }

    fn draw(population: Population, dice: &mut Dice) -> Draft {
        let mut draft = Draft {
            row: vec![f64::NAN; COLUMNS.len()],
            best_turns: dice.between(1.4, 3.4),
            idle_rpm: dice.between(850.0, 1300.0),
        };
        let alien = population == Population::Alien;
        let (fixed_venturi, air_screw) = (alien && dice.chance(0.5), dice.chance(0.3));
        draft.set("fixed_venturi", f64::from(u8::from(fixed_venturi)));
        draft.set("air_screw", f64::from(u8::from(air_screw)));
        draft.engine(population, dice);
        draft.air_side(fixed_venturi, dice);
        draft.pilot(alien, dice);
        draft.main(fixed_venturi, dice);
        draft.faults(alien, dice);
        draft
    }

    fn get(&self, column: &str) -> f64 {
        COLUMNS.iter().position(|&name| name == column).map_or(f64::NAN, |index| self.row[index])
    }

    fn engine(&mut self, population: Population, dice: &mut Dice) {
        let (cylinders, carburettors) = match population {
            Population::Network => {
                let cylinders = dice.one_of(&[1.0, 1.0, 2.0, 2.0, 4.0]);
                (cylinders, if dice.chance(0.5) { cylinders } else { 1.0 })
            }
            Population::Alien => {
                dice.one_of(&[(1.0, 1.0), (2.0, 1.0), (2.0, 2.0), (3.0, 3.0), (4.0, 4.0), (4.0, 2.0)])
            }
        };
        self.set("cylinders", cylinders);
        self.set("carburettors", carburettors);
        let each = dice.between_in_ratio(125.0, 600.0);
        self.set("displacement_cm3", cylinders * each);
        self.set("compression_ratio", dice.between(8.0, 11.5));
        self.set("charge_temp_c", dice.between(35.0, 60.0));
        self.set("volumetric_efficiency", dice.between(0.7, 1.0));
        self.set("volumetric_peak_rpm", dice.between(3200.0, 8000.0));
        self.set("indicated_efficiency", dice.between(0.27, 0.33));
        self.set("idle_efficiency", dice.between(0.5, 0.8));
        if population == Population::Network || dice.chance(0.3) {
            self.set("best_richness", dice.between(1.05, 1.20));
            self.set("lean_curvature", dice.between(1.5, 3.0));
            self.set("rich_curvature", dice.between(0.3, 1.2));
        } else {
            self.set("air_fuel_curvature", dice.between(0.006, 0.012));
            self.set("best_lambda", dice.between(0.84, 0.94));
        }
        self.set("lean_limit", dice.between(0.53, 0.62));
        self.set(
            "lean_limit_width",
            if population == Population::Alien { dice.between(0.03, 0.08) } else { dice.between(0.02, 0.04) },
        );
        self.set("friction", dice.between(0.7, 1.0));
        self.set("inertia_kg_m2", 0.1 * cylinders * each / 1000.0 * dice.between(0.6, 1.8));
        self.set("manifold_cm3", cylinders * each * dice.between(0.2, 0.6));
    }

    fn air_side(&mut self, fixed_venturi: bool, dice: &mut Dice) {
        let fed = self.get("displacement_cm3") / self.get("carburettors");
        let bore = (40.0 * (fed / 1200.0).powf(0.4) * dice.between(0.9, 1.2)).clamp(18.0, 45.0);
        self.set("throttle_bore_mm", bore);
        self.set("closed_plate_deg", dice.between(6.0, 12.0));
        self.set("shaft_ratio", dice.between(0.15, 0.25));
        self.set("plate_leak_mm2", dice.between(0.2, 1.5) * fed / 1200.0);
        self.set("throttle_discharge", dice.between(0.75, 0.95));
        self.set("pulsation", dice.between(1.0, 3.5));
        self.set("filter_pa_s2_kg2", dice.between_in_ratio(0.5e5, 5e5) * (1200.0 / fed).powi(2));
        if fixed_venturi {
            self.set("venturi_mm", bore * dice.between(0.68, 0.85));
            self.set("venturi_recovery", dice.between(0.75, 0.85));
        } else {
            self.set("slide_bore_mm", bore * dice.between(0.8, 0.95));
            self.set("slide_recess_mm", 0.175 * bore * dice.between(0.6, 1.15));
            self.set("slide_discharge", dice.between(0.75, 0.95));
            self.set("diaphragm_mm2", 1900.0 * (bore / 40.0).powi(2) * dice.between(0.8, 1.3));
            self.set("slide_mass_g", 45.0 * (bore / 40.0).powi(2) * dice.between(0.7, 1.4));
            self.set("spring_n", 2.2 * (bore / 40.0).powi(2) * dice.between(0.7, 1.4));
        }
    }

    fn pilot(&mut self, alien: bool, dice: &mut Dice) {
        let fed = self.get("displacement_cm3") / self.get("carburettors");
        let size = (fed / 1200.0).powf(0.4);
        // The jet is chosen later; this is where the search begins.
        self.set("pilot_jet_mm", 0.46 * size);
        self.set("pilot_jet_length_mm", dice.between(1.0, 4.0));
        self.set("pilot_jet_discharge", dice.between(0.65, 0.90));
        self.set("pilot_air_jet_mm", (dice.between(0.8, 1.4) * size).max(0.35));
        self.set("air_jet_discharge", dice.between(0.6, 0.85));
        self.set("pilot_level_mm", dice.between(8.0, 25.0));
        self.set("pilot_interaction", dice.between(2.0, 25.0));
        self.set("screw_seat_mm", dice.between(1.0, 1.3) * size.max(0.6));
        self.set("screw_pitch_mm", dice.one_of(&[0.5, 0.6, 0.75]));
        if alien && dice.chance(0.5) {
            self.set("screw_tip_mm", dice.between(1.8, 3.5));
        } else {
            self.set("screw_taper_deg", dice.between(5.0, 8.0));
        }
        self.set("outlet_discharge", dice.between(0.6, 0.85));
        self.set("outlet_mm", 0.85 * size * dice.between(0.8, 1.2));
        let mut upstream = dice.between(0.8, 1.8) * size;
        for (place, bore) in [
            ("hole_1_upstream_mm", "hole_1_mm"),
            ("hole_2_upstream_mm", "hole_2_mm"),
            ("hole_3_upstream_mm", "hole_3_mm"),
        ] {
            self.set(place, upstream);
            self.set(bore, dice.between(0.45, 0.75) * size);
            upstream += dice.between(0.8, 1.4) * size;
        }
    }

    fn main(&mut self, fixed_venturi: bool, dice: &mut Dice) {
        let bore = self.get("throttle_bore_mm");
        self.set("main_jet_mm", 1.9 * bore / 40.0);
        self.set("main_air_jet_mm", dice.between(0.7, 1.6));
        self.set("needle_jet_mm", if fixed_venturi { 3.5 * bore / 40.0 } else { 3.0 });
        self.set("needle_mm", if fixed_venturi { 0.0 } else { 3.0 - dice.between(0.06, 0.10) });
        self.set("main_level_mm", dice.between(10.0, 25.0));
        self.set("main_interaction", dice.between(2.0, 12.0));
    }

    fn faults(&mut self, alien: bool, dice: &mut Dice) {
        let carburettors = self.get("carburettors") as usize;
        if alien {
            let names = [
                "screw_offset_1_turns",
                "screw_offset_2_turns",
                "screw_offset_3_turns",
                "screw_offset_4_turns",
            ];
            for name in names.iter().take(if carburettors == 1 { 0 } else { carburettors }) {
                self.set(name, 0.2 * dice.normal().clamp(-2.5, 2.5));
            }
        }
        let fed = self.get("displacement_cm3") / self.get("carburettors");
        let leaks = dice.chance(0.25);
        self.set("leak_mm2", if leaks { dice.between(0.2, 3.0) * fed / 1200.0 } else { 0.0 });
        self.set("leak_reaches_one", f64::from(u8::from(alien && leaks)));
        self.set(
            "altitude_m",
            if dice.chance(0.3) { dice.between(300.0, 2200.0) } else { dice.between(0.0, 300.0) },
        );
        self.set("temp_c", dice.between(5.0, 32.0));
        self.set("rh_pct", dice.between(20.0, 90.0));
        self.set("ethanol_pct", dice.one_of(&[0.0, 5.0, 10.0]));
        self.set("miscount_turns", if alien { dice.between(-0.25, 0.25) } else { 0.0 });
        self.set("miscount_share", if alien { dice.between(-0.08, 0.08) } else { 0.0 });
    }

    /// The machine with its jet and stop chosen, and with what is wrong with the jet; `None` where no
    /// jet serves.
    fn built(mut self, dice: &mut Dice) -> Option<Hidden> {
        let wrong_by_mm =
            if dice.chance(0.125) { dice.one_of(&[-0.06, -0.04, -0.02, 0.02, 0.04, 0.06]) } else { 0.0 };
        self.set("stop_plate_deg", self.get("closed_plate_deg") + 3.0);
        let rough = Hidden::from_row(&self.row).ok()?;
        let (jet_mm, stop_deg) = chosen(&rough, self.best_turns, self.idle_rpm)?;
        self.set("pilot_jet_mm", (jet_mm * 100.0).round() / 100.0 + wrong_by_mm);
        self.set("stop_plate_deg", stop_deg);
        let built = Hidden::from_row(&self.row).ok()?;
        // A machine that nobody could get to idle is not brought to a bench.
        let runs = (2..=12).any(|half_turns| {
            built.idle(0.5 * f64::from(half_turns)).is_ok_and(|idle| idle.operation().is_some())
        });
        runs.then_some(built)
    }
}

/// Numbers keep five significant digits: what the table shows is the machine.
fn rounded(value: f64) -> f64 {
    if value == 0.0 || !value.is_finite() {
        return value;
    }
    let digits = 4 - value.abs().log10().floor() as i32;
    let scale = 10f64.powi(digits.clamp(0, 9));
    (value * scale).round() / scale
}

/// Jet \[mm\] and stop \[deg\] that give best torque at a position of the screw and a speed.
///
/// At that speed and at best mixture, torque alone decides the manifold pressure, and breathing the
/// air; so the stop is found from the air, the jet from the fuel, each by halving.
fn chosen(hidden: &Hidden, best_turns: f64, idle_rpm: f64) -> Option<(f64, f64)> {
    let (machine, air, fuel) = hidden.opened();
    let engine = &machine.engine;
    let gas_constant = air.pressure_over_density() / air.temperature_k();
    let outside_pa = air.pressure_pa();
    let richness = engine.mixture_torque.best_richness();
    let share = 1.0 / f64::from(machine.carburettors);
    let drawn =
        |manifold_pa: f64| engine.air_drawn_kg_s(manifold_pa, idle_rpm, outside_pa, share, gas_constant);
    let surplus = |manifold_pa: f64| {
        let burning = engine.burning.share(richness, engine.residual_share(manifold_pa, outside_pa));
        let per_cycle = drawn(manifold_pa) * 120.0 / (idle_rpm * share * engine.displacement_m3);
        engine.indicated_pa(per_cycle, manifold_pa, outside_pa) * burning
            - engine.friction_pa(idle_rpm)
            - (outside_pa - manifold_pa)
    };
    let manifold_pa = halved(0.15 * outside_pa, 0.9 * outside_pa, surplus)?;
    let wanted_air = drawn(manifold_pa);
    let wanted_fuel = wanted_air * air.dry_share() * richness / fuel.stoichiometric_ratio;
    let network = |jet_mm: f64, opened_rad: f64| {
        let mut carburettor = machine.carburettor.clone();
        carburettor.pilot.turns = best_turns;
        carburettor.pilot.jet_m = 1e-3 * jet_mm;
        carburettor.stop_rad = carburettor.throttle.closed_rad + opened_rad;
        let fitted = Fitted { plate_rad: carburettor.stop_rad, ..machine.fitted(machine.leak_m2) };
        Network::new(&carburettor, &fitted, air, fuel).ok()
    };
    let opened_for = |jet_mm: f64| {
        halved(0.0, 10f64.to_radians(), |opened| {
            network(jet_mm, opened)
                .map_or(f64::NAN, |network| network.air_kg_s(manifold_pa, idle_rpm) - wanted_air)
        })
    };
    let jet_mm = halved(0.15, 0.9, |jet_mm: f64| {
        opened_for(jet_mm)
            .and_then(|opened| network(jet_mm, opened))
            .map_or(f64::NAN, |network| network.charge(manifold_pa, idle_rpm).fuel_kg_s - wanted_fuel)
    })?;
    let opened = opened_for(jet_mm)?;
    Some((jet_mm, (machine.carburettor.throttle.closed_rad + opened).to_degrees()))
}

/// Where a rising function crosses zero; `None` where it does not.
fn halved(low: f64, high: f64, f: impl Fn(f64) -> f64) -> Option<f64> {
    let (mut low, mut high) = (low, high);
    if !(f(low) <= 0.0 && 0.0 <= f(high)) {
        return None;
    }
    for _ in 0..40 {
        let middle = 0.5 * (low + high);
        if f(middle) < 0.0 { low = middle } else { high = middle }
    }
    Some(0.5 * (low + high))
}
