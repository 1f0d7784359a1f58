//! Every dimension of a machine by its name: what it is, in which unit, and what is believable.
//!
//! One table serves the machine's file, the refusals, the list of what was assumed, and the columns
//! of a drawn population, so that a name means the same everywhere.

use super::{Carburettor, Machine, Throat};
use crate::engine::{Engine, MixtureTorque};
use crate::error::{Result, require};
use crate::flow::Tip;

/// One dimension.
#[derive(Clone, Copy)]
pub struct Dimension {
    /// Its name with its unit, as the machine's file spells it.
    pub key: &'static str,
    /// What it is.
    pub says: &'static str,
    /// The least believable value, in the unit of the key.
    pub least: f64,
    /// The greatest.
    pub most: f64,
    /// What is allowed, in words.
    allowed: &'static str,
    /// One unit of the key in SI.
    scale: f64,
    /// SI value where the key says zero.
    zero: f64,
    place: Place,
}

/// Where a dimension stands in a machine.
#[derive(Clone, Copy)]
enum Place {
    Carburettor(fn(&Carburettor) -> Option<&f64>, fn(&mut Carburettor) -> Option<&mut f64>),
    Engine(fn(&Engine) -> Option<&f64>, fn(&mut Engine) -> Option<&mut f64>),
}

impl std::fmt::Debug for Dimension {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(out, "Dimension({})", self.key)
    }
}

impl Dimension {
    /// The dimension of a name.
    pub fn named(key: &str) -> Option<&'static Dimension> {
        DIMENSIONS.iter().find(|dimension| dimension.key == key)
    }

    /// Its value in a machine, in the unit of the key; `None` where this kind of machine has none.
    pub fn of(&self, machine: &Machine) -> Option<f64> {
        let si = match self.place {
            Place::Carburettor(get, _) => get(&machine.carburettor),
            Place::Engine(get, _) => get(&machine.engine),
        };
        si.map(|si| self.in_unit(*si))
    }

    /// Gives it a value in the unit of the key.
    ///
    /// # Errors
    ///
    /// [`Error::OutOfDomain`](crate::Error::OutOfDomain) where the value is not believable, or this kind of
    /// machine has no such dimension.
    pub fn set(&self, machine: &mut Machine, value: f64) -> Result<()> {
        require(self.least <= value && value <= self.most, self.key, value, self.allowed)?;
        let si = match self.place {
            Place::Carburettor(_, get) => get(&mut machine.carburettor),
            Place::Engine(_, get) => get(&mut machine.engine),
        };
        let exists = si.is_some();
        if let Some(si) = si {
            *si = self.zero + value * self.scale;
        }
        require(exists, self.key, value, "left out: this kind of carburettor has no such part")
    }

    /// Refuses a carburettor in which it is not believable.
    pub(super) fn check(&self, carburettor: &Carburettor) -> Result<()> {
        let Place::Carburettor(get, _) = self.place else { return Ok(()) };
        let Some(si) = get(carburettor) else { return Ok(()) };
        let value = self.in_unit(*si);
        // A rounding error of the conversion is no offence.
        let slack = 1e-9 * self.most.abs();
        require(self.least - slack <= value && value <= self.most + slack, self.key, value, self.allowed)
    }

    fn in_unit(&self, si: f64) -> f64 {
        (si - self.zero) / self.scale
    }
}

/// A dimension of every carburettor.
macro_rules! carburettor {
    ($($path:ident).+) => {
        Place::Carburettor(|c| Some(&c.$($path).+), |c| Some(&mut c.$($path).+))
    };
}

/// A dimension that only some kinds have: a pattern that binds `it`.
macro_rules! some_kinds {
    ($($path:ident).+, $pattern:pat => $it:expr) => {
        Place::Carburettor(
            |c| match &c.$($path).+ { $pattern => Some(&$it), _ => None },
            |c| match &mut c.$($path).+ { $pattern => Some(&mut $it), _ => None },
        )
    };
}

/// A dimension of every engine.
macro_rules! engine {
    ($($path:ident).+) => {
        Place::Engine(|e| Some(&e.$($path).+), |e| Some(&mut e.$($path).+))
    };
}

/// A constant of the law of torque against mixture that has one.
macro_rules! parabolas {
    ($name:ident) => {
        Place::Engine(
            |e| match &e.mixture_torque {
                MixtureTorque::Parabolas { $name, .. } => Some($name),
                MixtureTorque::AirFuelParabola { .. } => None,
            },
            |e| match &mut e.mixture_torque {
                MixtureTorque::Parabolas { $name, .. } => Some($name),
                MixtureTorque::AirFuelParabola { .. } => None,
            },
        )
    };
}

const fn plain(
    key: &'static str,
    says: &'static str,
    range: (f64, f64),
    allowed: &'static str,
    place: Place,
) -> Dimension {
    Dimension { key, says, least: range.0, most: range.1, allowed, scale: 1.0, zero: 0.0, place }
}

impl Dimension {
    const fn per(self, scale: f64) -> Dimension {
        Dimension { scale, ..self }
    }

    const fn from(self, zero: f64) -> Dimension {
        Dimension { zero, ..self }
    }
}

const MM: f64 = 1e-3;
const MM2: f64 = 1e-6;
const CM3: f64 = 1e-6;
const DEGREE: f64 = std::f64::consts::PI / 180.0;

/// Every dimension that is a number, in the order a file is read best.
#[rustfmt::skip] // one dimension a line
pub const DIMENSIONS: &[Dimension] = &[
    plain("displacement_cm3", "displacement of all cylinders", (20.0, 10_000.0), "from 20 to 10000", engine!(displacement_m3)).per(CM3),
    plain("compression_ratio", "compression ratio", (4.0, 16.0), "from 4 to 16", engine!(compression_ratio)),
    plain("charge_temp_c", "temperature of the charge in the manifold", (-20.0, 150.0), "from -20 to 150", engine!(charge_k)).from(273.15),
    plain("volumetric_efficiency", "volumetric efficiency at its peak", (0.3, 1.3), "from 0.3 to 1.3", engine!(volumetric_efficiency)),
    plain("volumetric_peak_rpm", "speed of that peak", (1500.0, 16_000.0), "from 1500 to 16000", engine!(volumetric_peak_rpm)),
    plain("volumetric_curvature", "how fast it falls away from the peak", (0.0, 0.5), "from 0 to 0.5", engine!(volumetric_curvature)),
    plain("indicated_efficiency", "indicated efficiency at best mixture and full charge", (0.1, 0.5), "from 0.1 to 0.5", engine!(indicated_efficiency)),
    plain("idle_efficiency", "share of it left at idle", (0.3, 1.0), "from 0.3 to 1", engine!(idle_efficiency)),
    plain("best_richness", "equivalence ratio of best torque", (0.9, 1.4), "from 0.9 to 1.4", parabolas!(best_richness)),
    plain("lean_curvature", "fall of torque lean of it", (0.0, 10.0), "from 0 to 10", parabolas!(lean_curvature)),
    plain("rich_curvature", "fall of torque rich of it", (0.0, 10.0), "from 0 to 10", parabolas!(rich_curvature)),
    plain("lean_limit", "equivalence ratio at which half the cycles burn, little residual gas", (0.3, 1.0), "from 0.3 to 1", engine!(burning.lean_limit)),
    plain("lean_limit_width", "how abruptly", (0.005, 0.2), "from 0.005 to 0.2", engine!(burning.lean_width)),
    plain("friction", "friction over that of a motored car engine", (0.2, 3.0), "from 0.2 to 3", engine!(friction)),
    plain("inertia_kg_m2", "moment of inertia at the crankshaft", (1e-4, 5.0), "from 0.0001 to 5", engine!(inertia_kg_m2)),
    plain("manifold_cm3", "volume between throttle and valves", (5.0, 20_000.0), "from 5 to 20000", engine!(manifold_m3)).per(CM3),
    plain("throttle_bore_mm", "bore of the throttle", (5.0, 100.0), "from 5 to 100", carburettor!(throttle.bore_m)).per(MM),
    plain("closed_plate_deg", "angle of the plate where it touches, from square across", (0.0, 30.0), "from 0 to 30", carburettor!(throttle.closed_rad)).per(DEGREE),
    plain("stop_plate_deg", "angle of the plate at the idle stop", (0.0, 40.0), "from 0 to 40", carburettor!(stop_rad)).per(DEGREE),
    plain("shaft_ratio", "shaft of the plate over its bore", (0.0, 0.5), "from 0 to 0.5", carburettor!(throttle.shaft_ratio)),
    plain("plate_leak_mm2", "what leaks past the closed plate", (0.0, 20.0), "from 0 to 20", carburettor!(plate_leak_m2)).per(MM2),
    plain("throttle_discharge", "discharge coefficient of the plate", (0.3, 1.0), "from 0.3 to 1", carburettor!(throttle_discharge)),
    plain("pulsation", "mean over steady depression, throttle open", (1.0, 4.0), "from 1 to 4", carburettor!(pulsation)),
    plain("filter_pa_s2_kg2", "loss of the air filter", (0.0, 1e7), "from 0 to 10000000", carburettor!(filter_pa_s2_kg2)),
    plain("slide_bore_mm", "round bore of the same area as the throat", (5.0, 100.0), "from 5 to 100", some_kinds!(throat, Throat::ConstantDepression(slide) => slide.bore_m)).per(MM),
    plain("slide_recess_mm", "height left open under the closed slide", (0.5, 30.0), "from 0.5 to 30", some_kinds!(throat, Throat::ConstantDepression(slide) => slide.recess_m)).per(MM),
    plain("slide_stroke_mm", "way of the slide from stop to stop", (1.0, 80.0), "from 1 to 80", some_kinds!(throat, Throat::ConstantDepression(slide) => slide.stroke_m)).per(MM),
    plain("slide_discharge", "discharge coefficient under the slide", (0.3, 1.0), "from 0.3 to 1", some_kinds!(throat, Throat::ConstantDepression(slide) => slide.discharge)),
    plain("diaphragm_mm2", "area of the diaphragm that lifts", (100.0, 10_000.0), "from 100 to 10000", some_kinds!(throat, Throat::ConstantDepression(slide) => slide.diaphragm_m2)).per(MM2),
    plain("slide_mass_g", "mass of the slide", (1.0, 500.0), "from 1 to 500", some_kinds!(throat, Throat::ConstantDepression(slide) => slide.mass_kg)).per(1e-3),
    plain("spring_n", "force of its spring, slide closed", (0.0, 30.0), "from 0 to 30", some_kinds!(throat, Throat::ConstantDepression(slide) => slide.spring_n)),
    plain("spring_n_m", "rate of its spring", (0.0, 2000.0), "from 0 to 2000", some_kinds!(throat, Throat::ConstantDepression(slide) => slide.spring_n_m)),
    plain("venturi_mm", "bore of the venturi", (5.0, 100.0), "from 5 to 100", some_kinds!(throat, Throat::FixedVenturi { bore_m, .. } => *bore_m)).per(MM),
    plain("venturi_recovery", "share of its depression regained behind it", (0.0, 1.0), "from 0 to 1", some_kinds!(throat, Throat::FixedVenturi { recovery, .. } => *recovery)),
    plain("venturi_discharge", "discharge coefficient of the venturi", (0.3, 1.0), "from 0.3 to 1", some_kinds!(throat, Throat::FixedVenturi { discharge, .. } => *discharge)),
    plain("pilot_jet_mm", "bore of the pilot jet", (0.1, 2.0), "from 0.1 to 2", carburettor!(pilot.jet_m)).per(MM),
    plain("pilot_jet_length_mm", "length of its bore", (0.1, 20.0), "from 0.1 to 20", carburettor!(pilot.jet_length_m)).per(MM),
    plain("pilot_jet_discharge", "its discharge coefficient, fast flow", (0.3, 1.0), "from 0.3 to 1", carburettor!(pilot.jet_discharge)),
    plain("pilot_air_jet_mm", "bore of the pilot air jet", (0.1, 5.0), "from 0.1 to 5", carburettor!(pilot.air_jet_m)).per(MM),
    plain("air_jet_discharge", "discharge coefficient of air jets", (0.3, 1.0), "from 0.3 to 1", carburettor!(pilot.air_discharge)),
    plain("pilot_level_mm", "fuel level below the idle outlet", (0.0, 80.0), "from 0 to 80", carburettor!(pilot.level_m)).per(MM),
    plain("pilot_interaction", "how much fuel and air hinder one another in the idle outlet", (2.0, 30.0), "from 2 to 30", carburettor!(pilot.interaction)),
    plain("screw_turns", "turns out of the mixture screw", (0.0, 12.0), "from 0 to 12", carburettor!(pilot.turns)),
    plain("screw_seat_mm", "seat of the mixture screw", (0.1, 5.0), "from 0.1 to 5", carburettor!(pilot.tip.seat_m)).per(MM),
    plain("screw_pitch_mm", "its way per turn", (0.1, 2.0), "from 0.1 to 2", carburettor!(pilot.tip.pitch_m)).per(MM),
    plain("screw_taper_deg", "half angle of its cone", (1.0, 45.0), "from 1 to 45", some_kinds!(pilot.tip.tip, Tip::Cone { half_angle_rad } => *half_angle_rad)).per(DEGREE),
    plain("screw_tip_mm", "length of an even tip", (0.2, 20.0), "from 0.2 to 20", some_kinds!(pilot.tip.tip, Tip::Even { length_m } => *length_m)).per(MM),
    plain("outlet_discharge", "discharge coefficient of screw and holes", (0.3, 1.0), "from 0.3 to 1", carburettor!(pilot.outlet_discharge)),
    plain("outlet_mm", "bore of the idle outlet where the screw meters air", (0.1, 5.0), "from 0.1 to 5", carburettor!(pilot.outlet_m)).per(MM),
    plain("main_jet_mm", "bore of the main jet", (0.3, 5.0), "from 0.3 to 5", carburettor!(main.jet_m)).per(MM),
    plain("main_jet_length_mm", "length of its bore", (0.1, 30.0), "from 0.1 to 30", carburettor!(main.jet_length_m)).per(MM),
    plain("main_jet_discharge", "its discharge coefficient, fast flow", (0.3, 1.0), "from 0.3 to 1", carburettor!(main.jet_discharge)),
    plain("main_air_jet_mm", "bore of the main air jet", (0.1, 6.0), "from 0.1 to 6", carburettor!(main.air_jet_m)).per(MM),
    plain("needle_jet_mm", "bore of the needle jet, or of a fixed venturi's nozzle", (0.5, 10.0), "from 0.5 to 10", carburettor!(main.nozzle_m)).per(MM),
    plain("needle_mm", "straight part of the needle; 0 without a needle", (0.0, 10.0), "from 0 to 10, thinner than needle_jet_mm", carburettor!(main.needle_m)).per(MM),
    plain("needle_jet_discharge", "discharge coefficient between them", (0.3, 1.0), "from 0.3 to 1", carburettor!(main.nozzle_discharge)),
    plain("main_level_mm", "fuel level below the needle jet's mouth", (0.0, 80.0), "from 0 to 80", carburettor!(main.level_m)).per(MM),
    plain("main_interaction", "how much fuel and air hinder one another there", (2.0, 30.0), "from 2 to 30", carburettor!(main.interaction)),
];
