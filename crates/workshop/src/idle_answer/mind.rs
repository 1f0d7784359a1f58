//! What to keep in mind with a reckoned idle.

use bellmouth_core::Caveat;
use bellmouth_core::carburettor::CurvePlace;
use bellmouth_core::engine::{Idle, Operation};
use bellmouth_core::quantity::{Screw, TurnsOut};

use super::Reckoned;
use crate::machine_file::MachineFile;

/// Cylinders whose richness differs by more are told of, –.
const SPLIT: f64 = 1.03;
/// A slide that lifts less still rests on its stop, m.
const LIFTED_M: f64 = 5e-5;

/// Every reservation that holds.
pub(super) fn caveats(file: &MachineFile, reckoned: &Reckoned) -> Vec<Caveat> {
    let mut all = vec![Caveat::new(
        "absolute-mixture",
        "part sizes alone do not settle the mixture: constants that nobody has measured move lambda by half \
         either way; differences between two positions, parts or days are far better known",
    )];
    if !file.assumed.is_empty() {
        let (count, values) =
            (file.assumed.len(), if file.assumed.len() == 1 { "value is" } else { "values are" });
        all.push(Caveat::new("assumed", format!("{count} {values} assumed, not given by the file")));
    }
    all.extend(sizes_of_another(file));
    for key in &file.unused_keys {
        all.push(Caveat::new(
            "key-unused",
            format!("`{key}` changes nothing here: the screw of this machine meters fuel"),
        ));
    }
    all.extend(stop_set_elsewhere(file));
    let places = &reckoned.curve.places;
    if let Some(first) = places.iter().find(|place| place.idle == Idle::Races) {
        all.push(Caveat::new(
            "races",
            format!(
                "it runs away beyond 3500 rpm, as at {} turns: that is no idle, so no speed is given there, \
                 nor a fastest position; close the stop",
                first.turns
            ),
        ));
    } else if let Some((turns, _)) = reckoned.points.iter().find(|(_, idle)| *idle == Idle::Races) {
        let says =
            format!("at {turns} turns it runs away beyond 3500 rpm: that is no idle, and no speed is given");
        all.push(Caveat::new("races", says));
    }
    if let Some(best) = reckoned.best() {
        all.extend(at_best(reckoned, best));
    } else if places.iter().all(|place| place.idle == Idle::Stalls) {
        all.push(Caveat::new(
            "stalls-everywhere",
            "it stalls at every position from seated to 6 turns: the pilot jet, the stop or an assumed value \
             does not suit this engine",
        ));
    }
    all
}

/// Sizes that go with what a carburettor feeds, and are assumed for one that feeds all of a 1200 cm³ twin.
const SIZES: [&str; 4] = ["throttle_bore_mm", "stop_plate_deg", "pilot_jet_mm", "pilot_air_jet_mm"];
const ASSUMED_FOR_CM3: f64 = 1200.0;

fn sizes_of_another(file: &MachineFile) -> Option<Caveat> {
    let cm3 = 1e6 * file.machine.engine.displacement_m3 / f64::from(file.machine.carburettors);
    let assumed = |size: &&str| file.assumed.iter().any(|(key, _)| *key == *size);
    let sizes: Vec<String> = SIZES.iter().copied().filter(|s| assumed(s)).map(|s| format!("`{s}`")).collect();
    let much_else = !(0.7..=1.4).contains(&(cm3 / ASSUMED_FOR_CM3));
    (much_else && !sizes.is_empty()).then(|| {
        Caveat::new(
            "sizes-of-another",
            format!(
                "assumed sizes are those of a carburettor that feeds {ASSUMED_FOR_CM3} cm³, and here each feeds \
                 {cm3:.0}: give {} (for the stop, `idle_rpm` serves too)",
                sizes.join(", ")
            ),
        )
    })
}

fn stop_set_elsewhere(file: &MachineFile) -> Option<Caveat> {
    let set_on = file.stop_set_on.filter(|day| *day != file.day)?;
    let place = |altitude_m: f64, temp_c: f64| format!("{altitude_m} m and {temp_c} °C");
    Some(Caveat::new(
        "stop-set-elsewhere",
        format!(
            "the stop was set for `idle_rpm` at {}, and stays there at {}",
            place(set_on.altitude_m, set_on.temp_c),
            place(file.day.altitude_m, file.day.temp_c)
        ),
    ))
}

/// What holds where it idles fastest.
fn at_best(reckoned: &Reckoned, best: &CurvePlace) -> Vec<Caveat> {
    let mut all = Vec::new();
    let Some(there) = best.idle.operation() else { return all };
    let last = reckoned.curve.places.last().map_or(0.0, |place| place.turns);
    if best.turns == last {
        all.push(Caveat::new(
            "best-at-end",
            format!(
                "the fastest idle lies at the end of the range looked at, {last} turns out: the plateau was \
                 not reached, and the lean edge is that of this range only"
            ),
        ));
    }
    if best.turns == 0.0 {
        let richer_or_leaner = match reckoned.machine.carburettor.pilot.screw {
            Screw::Fuel => "leaner",
            Screw::Air => "richer",
        };
        all.push(Caveat::new(
            "best-at-end",
            format!(
                "the fastest idle lies at the seated screw: the engine wants it {richer_or_leaner} still"
            ),
        ));
    }
    let split = there.richest_richness / there.leanest_richness;
    if SPLIT < split {
        all.push(Caveat::new(
            "cylinders-split",
            format!(
                "its cylinders differ: at {} turns the richest has {:.0} % more fuel for its air than the leanest",
                TurnsOut(best.turns),
                100.0 * (split - 1.0)
            ),
        ));
    }
    all.extend(main_and_slide(reckoned, best.turns, there));
    all
}

/// Whether the main circuit and the slide are at work at a position.
fn main_and_slide(reckoned: &Reckoned, turns: f64, there: &Operation) -> Vec<Caveat> {
    let mut machine = reckoned.machine.clone();
    machine.carburettor.pilot.turns = turns;
    let Ok(running) = machine.running(&reckoned.air, &reckoned.fuel) else { return Vec::new() };
    let (mut main, mut fuel, mut lift_m) = (0.0, 0.0, 0.0_f64);
    for feed in running.feeds() {
        // Where carburettors differ, so do their manifolds a little; for a yes or no the mean serves.
        let state = feed.intake.state(there.manifold_pa, there.rpm);
        main += f64::from(feed.alike) * state.main.fuel_kg_s;
        fuel += f64::from(feed.alike) * state.fuel_kg_s();
        lift_m = lift_m.max(state.lift_m);
    }
    let mut all = Vec::new();
    if 0.0 < main {
        all.push(Caveat::new(
            "main-feeds",
            format!(
                "the main circuit feeds at idle, about {:.1} % of the fuel at {} turns: the screw sets only \
                 the rest",
                100.0 * main / fuel,
                TurnsOut(turns)
            ),
        ));
    }
    if LIFTED_M < lift_m {
        all.push(Caveat::new(
            "slide-lifted",
            format!("the slide hangs {:.1} mm off its stop at idle", 1e3 * lift_m),
        ));
    }
    all
}
