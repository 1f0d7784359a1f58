//! The reference script's inputs as this program's types; see `tests/oracle/README.md`.

use bellmouth_core::air::{Air, GAS_CONSTANT_DRY_AIR};
use bellmouth_core::carburettor::{Carburettor, Main, Pilot, Slide, Throat, TransitionHole};
use bellmouth_core::engine::Engine;
use bellmouth_core::flow::{Butterfly, MixtureScrew, Tip};
use bellmouth_core::fuel::Fuel;
use bellmouth_core::quantity::Screw;
use serde_json::Value;

/// A number of the script; a misspelt name must not read as zero.
#[track_caller]
pub(crate) fn number(of: &Value, name: &str) -> f64 {
    of[name].as_f64().unwrap_or_else(|| panic!("no number `{name}` in {of}"))
}

/// Its carburettor. The plate has no shaft there, and a needle only its straight part here.
pub(crate) fn carburettor(base: &Value, differs: &Value) -> Carburettor {
    let get = |name: &str| differs[name].as_f64().unwrap_or_else(|| number(base, name));
    let discharge = get("slide_discharge");
    Carburettor {
        throat: match base["kind"].as_str() {
            Some("constant_depression") => Throat::ConstantDepression(Slide {
                bore_m: get("throat_m"),
                recess_m: get("recess_m"),
                stroke_m: get("stroke_m"),
                discharge,
                diaphragm_m2: get("diaphragm_m2"),
                mass_kg: get("slide_kg"),
                spring_n: get("spring_n"),
                spring_n_m: get("spring_n_m"),
            }),
            Some("fixed_venturi") => {
                Throat::FixedVenturi { bore_m: get("throat_m"), recovery: get("recovery"), discharge }
            }
            other => panic!("kind {other:?} is not reckoned"),
        },
        throttle: Butterfly { bore_m: get("bore_m"), closed_rad: get("plate_closed_rad"), shaft_ratio: 0.0 },
        stop_rad: get("plate_idle_rad"),
        plate_leak_m2: get("plate_leak_m2"),
        throttle_discharge: get("throttle_discharge"),
        pulsation: get("pulsation_open"),
        filter_pa_s2_kg2: get("filter_pa_s2_kg2"),
        pilot: Pilot {
            jet_m: get("pilot_jet_m"),
            jet_length_m: get("pilot_jet_length_m"),
            jet_discharge: get("pilot_jet_discharge"),
            air_jet_m: get("pilot_air_jet_m"),
            air_discharge: get("air_jet_discharge"),
            level_m: get("pilot_head_m"),
            interaction: get("pilot_interaction"),
            screw: Screw::Fuel,
            tip: MixtureScrew {
                seat_m: get("screw_seat_m"),
                pitch_m: get("screw_pitch_m"),
                tip: Tip::Cone { half_angle_rad: get("screw_half_angle_rad") },
            },
            turns: get("turns"),
            outlet_discharge: get("screw_discharge"),
            outlet_m: 0.85e-3,
            holes: base["ports_m"]
                .as_array()
                .expect("a list of holes")
                .iter()
                .map(|hole| TransitionHole {
                    upstream_m: hole[0].as_f64().expect("a place"),
                    bore_m: hole[1].as_f64().expect("a bore"),
                })
                .collect(),
        },
        main: Main {
            jet_m: get("main_jet_m"),
            jet_length_m: get("main_jet_length_m"),
            jet_discharge: get("main_jet_discharge"),
            air_jet_m: get("main_air_jet_m"),
            nozzle_m: get("needle_jet_m"),
            needle_m: base["needle_m"][0][1].as_f64().expect("a needle"),
            nozzle_discharge: get("annulus_discharge"),
            level_m: get("main_head_m"),
            interaction: get("main_interaction"),
        },
    }
}

/// The script's gas constant over ours. Its states meet ours exactly where *R T* is the same, so every
/// temperature is taken by this ratio.
pub(crate) const GAS_CONSTANT_RATIO: f64 = 287.05 / GAS_CONSTANT_DRY_AIR;

/// Its air; dry.
pub(crate) fn air(of: &Value) -> Air {
    assert_eq!(number(of, "relative_humidity"), 0.0);
    let temperature_k = number(of, "temperature_k") * GAS_CONSTANT_RATIO;
    Air::new(number(of, "pressure_pa"), temperature_k, 0.0).expect("the script's air")
}

/// Its engine: the same as ours by default.
pub(crate) fn engine() -> Engine {
    let ours = Engine::default();
    Engine { charge_k: ours.charge_k * GAS_CONSTANT_RATIO, ..ours }
}

/// Its fuel.
pub(crate) fn fuel(of: &Value) -> Fuel {
    Fuel {
        density_kg_m3: number(of, "density_kg_m3"),
        viscosity_pa_s: number(of, "viscosity_pa_s"),
        stoichiometric_ratio: number(of, "stoichiometric_ratio"),
    }
}

/// Asserts agreement within a relative tolerance.
#[track_caller]
pub(crate) fn assert_close(what: &str, ours: f64, theirs: f64, tolerance: f64) {
    let scale = theirs.abs().max(f64::MIN_POSITIVE);
    assert!((ours - theirs).abs() <= tolerance * scale, "{what}: {ours} here, {theirs} there");
}
