//! The two wells: fuel from a jet and air from bleeds, drawn out together through one opening.

use super::air_side::GRAVITY_M_S2;
use super::{Carburettor, round_m2};
use crate::error::Result;
use crate::flow::{Gas, LiquidJet, two_phase_drop};
use crate::fuel::Fuel;
use crate::numeric::{root_near, smoothstep, zero_or_more};
use crate::quantity::Screw;

/// What a well delivers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Drawn {
    /// Fuel, kg/s.
    pub fuel_kg_s: f64,
    /// Air bled in, kg/s.
    pub air_kg_s: f64,
    /// Pressure in the well, Pa.
    pub well_pa: f64,
}

/// A well with its jet, its bleeds and its outlet.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Well {
    jet: LiquidJet,
    /// Effective area of the bleed from the air box, m².
    bleed_m2: f64,
    /// Effective area of the bleed from behind the slide, m².
    covered_m2: f64,
    /// Effective area of the outlet, m².
    outlet_m2: f64,
    /// Pressure of the column of fuel between bowl and outlet, Pa.
    column_pa: f64,
    fuel_kg_m3: f64,
    interaction: f64,
    /// About the well's depression over the outlet's head: where the search begins, –.
    draw: f64,
    air: Gas,
    /// The mixture in the outlet, as a gas.
    mixture: Gas,
}

/// Below this difference over the well nothing is drawn, Pa.
const LEAST_DRAW_PA: f64 = 1.0;
/// Area of a closed screw, m²: no seat is perfectly tight, and no outlet vanishes.
const CLOSED_M2: f64 = 1e-12;

impl Well {
    /// The idle circuit: fuel from the pilot jet, air from its air jet and the holes the plate still
    /// covers, out through the screw and the holes it has passed.
    ///
    /// ```text
    /// w_i = smoothstep[(s − s_i)/d_i + ½],   s = (D/2)(sin ψ − sin ψ₀)       share of hole i passed
    /// ```
    ///
    /// An air screw takes the place of the bleed, in series with its passage; the outlet is fixed.
    ///
    /// - **Source** the description of idle systems in workshop texts; equations ours.
    /// - **Assumes** the bowl vented into the air box.
    pub(super) fn pilot(
        carburettor: &Carburettor,
        plate_rad: f64,
        air: Gas,
        mixture: Gas,
        fuel: &Fuel,
    ) -> Result<Well> {
        let pilot = &carburettor.pilot;
        let travel = carburettor.throttle.edge_travel_m(plate_rad);
        let (mut passed_m2, mut covered_m2) = (0.0, 0.0);
        for hole in &pilot.holes {
            let passed = smoothstep((travel - hole.upstream_m) / hole.bore_m + 0.5);
            passed_m2 += passed * round_m2(hole.bore_m);
            covered_m2 += (1.0 - passed) * round_m2(hole.bore_m);
        }
        let screw_m2 = pilot.tip.area_m2(pilot.turns) + CLOSED_M2;
        let air_jet_m2 = round_m2(pilot.air_jet_m);
        let (bleed_m2, outlet_m2) = match pilot.screw {
            Screw::Fuel => (air_jet_m2, screw_m2),
            Screw::Air => (screw_m2 * air_jet_m2 / screw_m2.hypot(air_jet_m2), round_m2(pilot.outlet_m)),
        };
        let bleed_m2 = pilot.air_discharge * bleed_m2;
        let covered_m2 = pilot.outlet_discharge * covered_m2;
        let outlet_m2 = pilot.outlet_discharge * (outlet_m2 + passed_m2);
        let jet_m2 = pilot.jet_discharge * round_m2(pilot.jet_m);
        Ok(Well {
            draw: draw(jet_m2, bleed_m2 + covered_m2, outlet_m2, pilot.interaction),
            jet: LiquidJet::new(pilot.jet_m, pilot.jet_length_m, pilot.jet_discharge, fuel)?,
            bleed_m2,
            covered_m2,
            outlet_m2,
            column_pa: fuel.density_kg_m3 * GRAVITY_M_S2 * pilot.level_m,
            fuel_kg_m3: fuel.density_kg_m3,
            interaction: pilot.interaction,
            air,
            mixture,
        })
    }

    /// The main circuit: fuel from the main jet, air from its air jet, out past the needle.
    pub(super) fn main(carburettor: &Carburettor, air: Gas, fuel: &Fuel) -> Result<Well> {
        let main = &carburettor.main;
        let bleed_m2 = carburettor.pilot.air_discharge * round_m2(main.air_jet_m);
        let outlet_m2 = main.nozzle_discharge * (round_m2(main.nozzle_m) - round_m2(main.needle_m));
        let jet_m2 = main.jet_discharge * round_m2(main.jet_m);
        Ok(Well {
            draw: draw(jet_m2, bleed_m2, outlet_m2, main.interaction),
            jet: LiquidJet::new(main.jet_m, main.jet_length_m, main.jet_discharge, fuel)?,
            bleed_m2,
            covered_m2: 0.0,
            outlet_m2,
            column_pa: fuel.density_kg_m3 * GRAVITY_M_S2 * main.level_m,
            fuel_kg_m3: fuel.density_kg_m3,
            interaction: main.interaction,
            air,
            mixture: air,
        })
    }

    /// What is drawn out into a pressure, with the air box and the place behind the slide at theirs.
    ///
    /// ```text
    /// ṁ_l = jet(p₁ − ρ g z − p_w),   ṁ_g = bleed(p₁ → p_w) + covered holes(p_b → p_w)
    /// H(p_w, p_out) = Δp_two-phase(ṁ_l, ṁ_g)
    /// ```
    ///
    /// The left side rises with the well's pressure and the right side falls: there is one, and it
    /// lies between the outlet and the air box.
    pub(super) fn drawn(&self, airbox_pa: f64, behind_pa: f64, outlet_pa: f64) -> Drawn {
        let surplus = |well_pa: f64| self.surplus_pa(well_pa, airbox_pa, behind_pa, outlet_pa);
        if airbox_pa - outlet_pa < LEAST_DRAW_PA || surplus(airbox_pa) <= 0.0 {
            return Drawn { fuel_kg_s: 0.0, air_kg_s: 0.0, well_pa: airbox_pa };
        }
        // The drop over the outlet goes about with the depression of the well, the head hardly changes.
        let depression_pa = self.mixture.head_pa(airbox_pa, outlet_pa) * self.draw;
        let next = |well_pa: f64, surplus: f64| {
            let head_pa = self.mixture.head_pa(well_pa, outlet_pa).max(f64::MIN_POSITIVE);
            let ratio = (head_pa / (head_pa - surplus)).clamp(0.3, 3.0);
            airbox_pa - (airbox_pa - well_pa) * ratio.powf(1.03)
        };
        let near = airbox_pa - depression_pa;
        let well_pa = root_near(near, (outlet_pa, airbox_pa), true, 1e-7, next, surplus);
        self.flows(well_pa, airbox_pa, behind_pa)
    }

    /// The fuel of [`Well::drawn`], kg/s, found without a search where none is drawn.
    pub(super) fn fuel_kg_s(&self, airbox_pa: f64, behind_pa: f64, outlet_pa: f64) -> f64 {
        // Fuel stands at the lip of the jet at this pressure; a well above it draws none.
        let at_lip_pa = airbox_pa - self.column_pa;
        if at_lip_pa <= outlet_pa || self.surplus_pa(at_lip_pa, airbox_pa, behind_pa, outlet_pa) <= 0.0 {
            return 0.0;
        }
        self.drawn(airbox_pa, behind_pa, outlet_pa).fuel_kg_s
    }

    /// What flows into the well at a pressure in it.
    fn flows(&self, well_pa: f64, airbox_pa: f64, behind_pa: f64) -> Drawn {
        let fuel_kg_s = self.jet.flow_kg_s(airbox_pa - self.column_pa - well_pa);
        let mut air_kg_s = self.air.flow_kg_s(self.bleed_m2, airbox_pa, well_pa);
        if 0.0 < self.covered_m2 {
            air_kg_s += self.air.flow_kg_s(self.covered_m2, behind_pa, well_pa);
        }
        Drawn { fuel_kg_s, air_kg_s: zero_or_more(air_kg_s), well_pa }
    }

    /// Head at the outlet less what the flows into the well would need there, Pa; rises with the
    /// well's pressure.
    fn surplus_pa(&self, well_pa: f64, airbox_pa: f64, behind_pa: f64, outlet_pa: f64) -> f64 {
        let Drawn { fuel_kg_s, air_kg_s, .. } = self.flows(well_pa, airbox_pa, behind_pa);
        let air_kg_m3 = self.air.density_kg_m3(well_pa);
        self.mixture.head_pa(well_pa, outlet_pa)
            - two_phase_drop(
                fuel_kg_s,
                air_kg_s,
                self.outlet_m2,
                self.fuel_kg_m3,
                air_kg_m3,
                self.interaction,
            )
    }
}

/// About the depression of a well over the head that draws at its outlet, –: all drops square laws,
/// the column of fuel neglected.
fn draw(jet_m2: f64, bleed_m2: f64, outlet_m2: f64, interaction: f64) -> f64 {
    let passed = jet_m2 * jet_m2 + bleed_m2 * bleed_m2 + interaction * jet_m2 * bleed_m2;
    outlet_m2 * outlet_m2 / (outlet_m2 * outlet_m2 + passed)
}
