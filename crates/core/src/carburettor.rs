//! Which circuit feeds what, and what does each part change?
//!
//! ```text
//! outside ─ filter ─ air box p₁ ─ slide or venturi ─ [throat p_v] ─ p_b ─ plate ─ manifold p_m ─ engine
//! bowl ─ pilot jet ─ well (+ pilot air jet, covered holes) ─ screw and open holes ──────────┘
//! bowl ─ main jet ─ well (+ main air jet) ─ needle and its jet ─ [throat p_v]
//! outside ─ leak ─ manifold p_m
//! ```
//!
//! A [`Carburettor`] is what one can measure with a caliper and what can only be guessed. Fitted to an
//! engine, in the air and with the fuel of the day, it is a [`Network`]: every element of [`flow`](crate::flow)
//! in its place, an [`Intake`](crate::engine::Intake) of the engine. A [`Machine`] is engine and carburettors together.
//!
//! Absolute mixture is not predictable from part sizes alone: the two-phase constants, which nobody
//! has measured on any carburettor, move it by half. Differences are far better determined.

mod air_side;
mod dimension;
mod machine;
mod network;
mod wells;

pub use dimension::{DIMENSIONS, Dimension};
pub use machine::{CurvePlace, IdleCurve, LeakReaches, Machine};
pub use network::{Fitted, Network, State};
pub use wells::Drawn;

use std::f64::consts::PI;

use crate::error::{Result, require};
use crate::flow::{Butterfly, MixtureScrew, Tip};
use crate::quantity::Screw;

/// One carburettor.
#[derive(Clone, Debug, PartialEq)]
pub struct Carburettor {
    /// What the air passes before the plate.
    pub throat: Throat,
    /// The plate in its bore.
    pub throttle: Butterfly,
    /// Where the stop holds the plate: angle from square across the bore, rad.
    pub stop_rad: f64,
    /// What leaks past the closed plate, m².
    pub plate_leak_m2: f64,
    /// Discharge coefficient of the plate, –.
    pub throttle_discharge: f64,
    /// Mean over steady depression with the throttle open, –; 1 is steady flow.
    pub pulsation: f64,
    /// Loss of the air filter, Pa s²/kg².
    pub filter_pa_s2_kg2: f64,
    /// The idle circuit.
    pub pilot: Pilot,
    /// The main circuit, as far as it concerns an idling engine.
    pub main: Main,
}

/// What the air passes before the plate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Throat {
    /// A slide that the depression lifts.
    ConstantDepression(Slide),
    /// A fixed venturi.
    FixedVenturi {
        /// Bore, m.
        bore_m: f64,
        /// Share of the depression that is regained behind it, –.
        recovery: f64,
        /// Discharge coefficient, –.
        discharge: f64,
    },
}

/// The slide of a constant-depression carburettor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Slide {
    /// Round bore of the same area as the throat at full lift, m.
    pub bore_m: f64,
    /// Height left open under the closed slide, m.
    pub recess_m: f64,
    /// Way from one stop to the other, m.
    pub stroke_m: f64,
    /// Discharge coefficient under the slide, –.
    pub discharge: f64,
    /// Area of the diaphragm that lifts, m².
    pub diaphragm_m2: f64,
    /// Mass of the slide, kg.
    pub mass_kg: f64,
    /// Force of the spring on the closed slide, N.
    pub spring_n: f64,
    /// Its rate, N/m.
    pub spring_n_m: f64,
}

/// The idle circuit.
#[derive(Clone, Debug, PartialEq)]
pub struct Pilot {
    /// Bore of the pilot jet, m.
    pub jet_m: f64,
    /// Length of its bore, m.
    pub jet_length_m: f64,
    /// Its discharge coefficient at high Reynolds numbers, –.
    pub jet_discharge: f64,
    /// Bore of the pilot air jet, m.
    pub air_jet_m: f64,
    /// Discharge coefficient of air jets, –.
    pub air_discharge: f64,
    /// How far the fuel stands below the outlet, m.
    pub level_m: f64,
    /// How much fuel and air hinder one another in the outlet, –.
    pub interaction: f64,
    /// Which way the screw works.
    pub screw: Screw,
    /// The screw and its seat.
    pub tip: MixtureScrew,
    /// Turns out from lightly seated.
    pub turns: f64,
    /// Discharge coefficient of screw and holes, –.
    pub outlet_discharge: f64,
    /// Bore of the outlet where the screw meters air, m.
    pub outlet_m: f64,
    /// The holes that the plate's edge passes as it opens.
    pub holes: Vec<TransitionHole>,
}

/// A hole in the wall that the plate's edge passes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TransitionHole {
    /// Its middle, upstream of where the closed plate touches, m.
    pub upstream_m: f64,
    /// Its bore, m.
    pub bore_m: f64,
}

/// The main circuit with its needle's straight part in the jet.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Main {
    /// Bore of the main jet, m.
    pub jet_m: f64,
    /// Length of its bore, m.
    pub jet_length_m: f64,
    /// Its discharge coefficient at high Reynolds numbers, –.
    pub jet_discharge: f64,
    /// Bore of the main air jet, m.
    pub air_jet_m: f64,
    /// Bore of the needle jet, or of the nozzle of a fixed venturi, m.
    pub nozzle_m: f64,
    /// Diameter of the needle's straight part, m; 0 without a needle.
    pub needle_m: f64,
    /// Discharge coefficient of what is left open between them, –.
    pub nozzle_discharge: f64,
    /// How far the fuel stands below the nozzle, m.
    pub level_m: f64,
    /// How much fuel and air hinder one another there, –.
    pub interaction: f64,
}

impl Carburettor {
    /// A 40 mm constant-depression carburettor of a 1200 cm³ twin: typical magnitudes, from memory.
    pub fn constant_depression() -> Self {
        Carburettor {
            throat: Throat::ConstantDepression(Slide {
                bore_m: 34e-3,
                recess_m: 7e-3,
                stroke_m: 26.5e-3,
                discharge: 0.86,
                diaphragm_m2: 1.9e-3,
                mass_kg: 0.045,
                spring_n: 2.2,
                spring_n_m: 60.0,
            }),
            throttle: Butterfly { bore_m: 40e-3, closed_rad: 8f64.to_radians(), shaft_ratio: 0.2 },
            stop_rad: 11.6f64.to_radians(),
            plate_leak_m2: 1e-6,
            throttle_discharge: 0.80,
            pulsation: 2.0,
            filter_pa_s2_kg2: 1.5e5,
            pilot: Pilot {
                jet_m: 0.46e-3,
                jet_length_m: 1.5e-3,
                jet_discharge: 0.78,
                air_jet_m: 0.80e-3,
                air_discharge: 0.75,
                level_m: 18e-3,
                interaction: 12.0,
                screw: Screw::Fuel,
                tip: MixtureScrew {
                    seat_m: 1.2e-3,
                    pitch_m: 0.75e-3,
                    tip: Tip::Cone { half_angle_rad: 6.3f64.to_radians() },
                },
                turns: 2.5,
                outlet_discharge: 0.75,
                outlet_m: 0.85e-3,
                holes: vec![
                    TransitionHole { upstream_m: 1.5e-3, bore_m: 0.5e-3 },
                    TransitionHole { upstream_m: 2.5e-3, bore_m: 0.55e-3 },
                    TransitionHole { upstream_m: 3.6e-3, bore_m: 0.7e-3 },
                ],
            },
            main: Main {
                jet_m: 1.90e-3,
                jet_length_m: 4e-3,
                jet_discharge: 0.80,
                air_jet_m: 0.90e-3,
                nozzle_m: 3.0e-3,
                needle_m: 2.912e-3,
                nozzle_discharge: 0.75,
                level_m: 16e-3,
                interaction: 4.0,
            },
        }
    }

    /// A 28 mm fixed-venturi carburettor for the same engine: typical magnitudes, from memory.
    pub fn fixed_venturi() -> Self {
        let mut carburettor = Carburettor::constant_depression();
        carburettor.throat = Throat::FixedVenturi { bore_m: 28e-3, recovery: 0.80, discharge: 0.86 };
        carburettor.pulsation = 1.6;
        carburettor.pilot.air_jet_m = 0.90e-3;
        carburettor.pilot.turns = 2.0;
        carburettor.pilot.holes = vec![
            TransitionHole { upstream_m: 1.5e-3, bore_m: 0.4e-3 },
            TransitionHole { upstream_m: 2.5e-3, bore_m: 0.4e-3 },
        ];
        carburettor.main = Main {
            jet_m: 1.44e-3,
            air_jet_m: 0.70e-3,
            nozzle_m: 3.5e-3,
            needle_m: 0.0,
            level_m: 8e-3,
            interaction: 6.0,
            ..carburettor.main
        };
        carburettor
    }

    /// Refuses a carburettor that cannot be made.
    pub(crate) fn check(&self) -> Result<()> {
        for dimension in DIMENSIONS {
            dimension.check(self)?;
        }
        self.throttle.check()?;
        self.pilot.tip.check()?;
        let stop = self.stop_rad.to_degrees();
        require(
            self.throttle.closed_rad <= self.stop_rad && stop <= 40.0,
            "stop_plate_deg",
            stop,
            "from closed_plate_deg, where the plate touches, to 40",
        )?;
        let needle = 1e3 * self.main.needle_m;
        require(
            self.main.needle_m < self.main.nozzle_m,
            "needle_mm",
            needle,
            "thinner than its jet, needle_jet_mm",
        )?;
        if let Throat::ConstantDepression(slide) = self.throat {
            let recess = 1e3 * slide.recess_m;
            require(slide.recess_m < slide.bore_m, "slide_recess_mm", recess, "below slide_bore_mm")?;
        }
        for hole in &self.pilot.holes {
            let (upstream, bore) = (1e3 * hole.upstream_m, 1e3 * hole.bore_m);
            require(
                (-5.0..=20.0).contains(&upstream),
                "transition_holes_mm",
                upstream,
                "placed -5 to 20 mm upstream of the closed plate",
            )?;
            require((0.1..=3.0).contains(&bore), "transition_holes_mm", bore, "bored 0.1 to 3 mm")?;
        }
        Ok(())
    }
}

/// Area of a round hole, m².
fn round_m2(bore_m: f64) -> f64 {
    0.25 * PI * bore_m * bore_m
}
