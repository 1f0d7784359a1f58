//! One hidden machine, as a row of numbers and as a machine.

use crate::air::Air;
use crate::carburettor::{
    Carburettor, CurvePlace, Dimension, IdleCurve, LeakReaches, Machine, TransitionHole,
};
use crate::engine::{Burning, Idle, MixtureTorque};
use crate::error::{Error, Result, require};
use crate::flow::Tip;
use crate::fuel::{Fuel, Petrol};
use crate::quantity::Screw;

/// The names of a row's numbers. Those that are [dimensions](crate::carburettor::DIMENSIONS) mean what they mean
/// there and are left blank (not a number) where a machine has no such part; the others:
///
/// | name | meaning |
/// |---|---|
/// | `fixed_venturi`, `air_screw`, `leak_reaches_one` | 1: yes, 0: no |
/// | `cylinders`, `carburettors` | how many |
/// | `air_fuel_curvature`, `best_lambda` | law of torque as a parabola in air over fuel; blank: two parabolas in richness |
/// | `hole_N_upstream_mm`, `hole_N_mm` | place and bore of a transition hole; blank: none |
/// | `screw_offset_N_turns` | how much further out each screw stands than counted |
/// | `leak_mm2` | leak behind the first carburettor |
/// | `altitude_m`, `temp_c`, `rh_pct`, `ethanol_pct` | the day and the fuel |
/// | `miscount_turns`, `miscount_share` | turns are counted as (true − miscount) / (1 + share) |
pub const COLUMNS: &[&str] = &[
    "fixed_venturi",
    "air_screw",
    "cylinders",
    "carburettors",
    "displacement_cm3",
    "compression_ratio",
    "charge_temp_c",
    "volumetric_efficiency",
    "volumetric_peak_rpm",
    "indicated_efficiency",
    "idle_efficiency",
    "best_richness",
    "lean_curvature",
    "rich_curvature",
    "air_fuel_curvature",
    "best_lambda",
    "lean_limit",
    "lean_limit_width",
    "friction",
    "inertia_kg_m2",
    "manifold_cm3",
    "throttle_bore_mm",
    "closed_plate_deg",
    "stop_plate_deg",
    "shaft_ratio",
    "plate_leak_mm2",
    "throttle_discharge",
    "pulsation",
    "filter_pa_s2_kg2",
    "slide_bore_mm",
    "slide_recess_mm",
    "slide_discharge",
    "diaphragm_mm2",
    "slide_mass_g",
    "spring_n",
    "venturi_mm",
    "venturi_recovery",
    "pilot_jet_mm",
    "pilot_jet_length_mm",
    "pilot_jet_discharge",
    "pilot_air_jet_mm",
    "air_jet_discharge",
    "pilot_level_mm",
    "pilot_interaction",
    "screw_seat_mm",
    "screw_pitch_mm",
    "screw_taper_deg",
    "screw_tip_mm",
    "outlet_discharge",
    "outlet_mm",
    "main_jet_mm",
    "main_air_jet_mm",
    "needle_jet_mm",
    "needle_mm",
    "main_level_mm",
    "main_interaction",
    "hole_1_upstream_mm",
    "hole_1_mm",
    "hole_2_upstream_mm",
    "hole_2_mm",
    "hole_3_upstream_mm",
    "hole_3_mm",
    "screw_offset_1_turns",
    "screw_offset_2_turns",
    "screw_offset_3_turns",
    "screw_offset_4_turns",
    "leak_mm2",
    "leak_reaches_one",
    "altitude_m",
    "temp_c",
    "rh_pct",
    "ethanol_pct",
    "miscount_turns",
    "miscount_share",
];

/// Temperature of the fuel in the bowl above the air's, K: a warm engine stands beside it.
const BOWL_WARMER_K: f64 = 10.0;

/// A machine that keeps its innards to itself: one turns its screw and sees it run or die.
#[derive(Clone, Debug, PartialEq)]
pub struct Hidden {
    row: Vec<f64>,
    machine: Machine,
    air: Air,
    fuel: Fuel,
    counting: Counting,
}

/// How turns are counted by hand: as (true − miscount) / (1 + share).
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Counting {
    miscount_turns: f64,
    miscount_share: f64,
}

impl Counting {
    /// How far the screw is out truly, turns.
    pub(super) fn true_turns(self, counted_turns: f64) -> f64 {
        let turns = self.miscount_turns + counted_turns * (1.0 + self.miscount_share);
        // Not `max`, which would make a seated screw of what is no number.
        if turns < 0.0 { 0.0 } else { turns }
    }
}

impl Hidden {
    /// A machine from its numbers, in the order of [`COLUMNS`].
    ///
    /// # Errors
    ///
    /// [`Error::OutOfDomain`] names the number that cannot be; [`Error::TooLittle`] where some are missing.
    pub fn from_row(row: &[f64]) -> Result<Hidden> {
        if row.len() != COLUMNS.len() {
            return Err(Error::TooLittle {
                what: "numbers in a row",
                got: row.len(),
                needed: COLUMNS.len(),
                remedy: "give one for every column, blank where a machine has no such part",
            });
        }
        let get = |name: &str| {
            COLUMNS.iter().position(|&column| column == name).map_or(f64::NAN, |index| row[index])
        };
        let mut machine = Machine::new(if get("fixed_venturi") == 1.0 {
            Carburettor::fixed_venturi()
        } else {
            Carburettor::constant_depression()
        });
        machine.engine.cylinders = get("cylinders") as u32;
        machine.carburettors = get("carburettors") as u32;
        if !get("best_lambda").is_nan() {
            machine.engine.mixture_torque = MixtureTorque::AirFuelParabola {
                curvature: get("air_fuel_curvature"),
                best_lambda: get("best_lambda"),
            };
        }
        machine.engine.burning = Burning::default();
        let carburettor = &mut machine.carburettor;
        carburettor.pilot.screw = if get("air_screw") == 1.0 { Screw::Air } else { Screw::Fuel };
        if !get("screw_tip_mm").is_nan() {
            carburettor.pilot.tip.tip = Tip::Even { length_m: 1e-3 * get("screw_tip_mm") };
        }
        let holes = [
            ("hole_1_upstream_mm", "hole_1_mm"),
            ("hole_2_upstream_mm", "hole_2_mm"),
            ("hole_3_upstream_mm", "hole_3_mm"),
        ];
        carburettor.pilot.holes = holes
            .iter()
            .map(|&(upstream, bore)| TransitionHole {
                upstream_m: 1e-3 * get(upstream),
                bore_m: 1e-3 * get(bore),
            })
            .filter(|hole| !hole.bore_m.is_nan())
            .collect();
        let offsets =
            ["screw_offset_1_turns", "screw_offset_2_turns", "screw_offset_3_turns", "screw_offset_4_turns"];
        machine.screw_offsets_turns =
            offsets.iter().map(|name| get(name)).filter(|turns| !turns.is_nan()).collect();
        machine.leak_m2 = 1e-6 * get("leak_mm2");
        machine.leak_reaches =
            if get("leak_reaches_one") == 1.0 { LeakReaches::One } else { LeakReaches::All };
        for (column, &value) in COLUMNS.iter().zip(row) {
            if let (Some(dimension), false) = (Dimension::named(column), value.is_nan()) {
                dimension.set(&mut machine, value)?;
            }
        }
        let temperature_k = get("temp_c") + 273.15;
        let air = Air::at_altitude(get("altitude_m"), temperature_k, 0.01 * get("rh_pct"))?;
        let petrol = Petrol { ethanol_volume_share: 0.01 * get("ethanol_pct"), ..Petrol::default() };
        let fuel = petrol.at(temperature_k + BOWL_WARMER_K)?;
        let (miscount_turns, miscount_share) = (get("miscount_turns"), get("miscount_share"));
        require((-1.0..=1.0).contains(&miscount_turns), "miscount_turns", miscount_turns, "from -1 to 1")?;
        require(
            (-0.3..=0.3).contains(&miscount_share),
            "miscount_share",
            miscount_share,
            "from -0.3 to 0.3",
        )?;
        // What cannot be is said now, not at the first turn of the screw.
        machine.running(&air, &fuel)?;
        Ok(Hidden {
            row: row.to_vec(),
            machine,
            air,
            fuel,
            counting: Counting { miscount_turns, miscount_share },
        })
    }

    /// Its numbers, in the order of [`COLUMNS`].
    pub fn row(&self) -> &[f64] {
        &self.row
    }

    /// Which way its screw works: that can be seen from outside.
    pub fn screw(&self) -> Screw {
        self.machine.carburettor.pilot.screw
    }

    /// How many cylinders it has: that too.
    pub fn cylinders(&self) -> u32 {
        self.machine.engine.cylinders
    }

    /// How many carburettors it has: that too.
    pub fn carburettors(&self) -> u32 {
        self.machine.carburettors
    }

    /// What it does with the screw at a position as counted, turns out.
    ///
    /// # Errors
    ///
    /// As [`Machine::running`].
    pub fn idle(&self, counted_turns: f64) -> Result<Idle> {
        self.machine.idle(self.counting.true_turns(counted_turns), &self.air, &self.fuel)
    }

    /// What it does at every position from seated to six turns, as counted.
    ///
    /// # Errors
    ///
    /// As [`Machine::running`].
    pub fn idle_curve(&self) -> Result<IdleCurve> {
        IdleCurve::of(self.screw(), |turns| Ok(CurvePlace { turns, idle: self.idle(turns)? }))
    }

    pub(super) fn counting(&self) -> Counting {
        self.counting
    }

    /// The machine with its lid off, for tests.
    pub fn opened(&self) -> (&Machine, &Air, &Fuel) {
        (&self.machine, &self.air, &self.fuel)
    }
}
