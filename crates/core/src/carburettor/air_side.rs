//! From the filter to the plate: which air flow passes at a manifold pressure, and what it leaves behind.

use super::{Carburettor, Fitted, Slide, Throat, round_m2};
use crate::flow::{Gas, segment_area};
use crate::numeric::{root, root_within, smoothstep, zero_or_more};

/// Standard gravity, m/s².
pub(super) const GRAVITY_M_S2: f64 = 9.806_65;

/// The most of the air box's pressure that a throat takes, –: beyond it the throat is choked and the
/// incompressible equation means nothing.
const MOST_DEPRESSION: f64 = 0.45;

/// Pressures and flow from the filter to the plate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct AirSide {
    /// Air past the plate, kg/s.
    pub(super) throttle_air_kg_s: f64,
    /// In the air box, Pa.
    pub(super) airbox_pa: f64,
    /// In the throat, Pa.
    pub(super) throat_pa: f64,
    /// Between slide or venturi and plate, Pa.
    pub(super) behind_pa: f64,
    /// Lift of the slide, m.
    pub(super) lift_m: f64,
}

/// What the air side is reckoned with.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct AirWay {
    outside_pa: f64,
    air: Gas,
    filter: f64,
    throat: Throat,
    bore_m2: f64,
    throttle_m2: f64,
    pulsation: f64,
    displacement_m3: f64,
}

impl AirWay {
    pub(super) fn new(carburettor: &Carburettor, fitted: &Fitted, outside_pa: f64, air: Gas) -> AirWay {
        let open_m2 = carburettor.throttle.area_m2(fitted.plate_rad) + carburettor.plate_leak_m2;
        AirWay {
            outside_pa,
            air,
            filter: carburettor.filter_pa_s2_kg2,
            throat: carburettor.throat,
            bore_m2: round_m2(carburettor.throttle.bore_m),
            throttle_m2: carburettor.throttle_discharge * open_m2,
            pulsation: carburettor.pulsation,
            displacement_m3: fitted.displacement_m3,
        }
    }

    /// Mean over steady depression, *κ* \[–\].
    ///
    /// ```text
    /// κ = 1 + (κ₀ − 1) · smoothstep[(q − 0.25)/1.4],   q = C_t A_t · 340/(V_d N/120)
    /// ```
    ///
    /// | symbol | argument or field | meaning | unit | domain |
    /// |:---:|---|---|:---:|---|
    /// | *κ₀* | `pulsation` | its value with the throttle open | – | 1 to 4 |
    /// | *C_t A_t* | – | effective area of the plate | m² | zero or more |
    /// | *V_d* | – | displacement this carburettor feeds | m³ | above zero |
    /// | *N* | `rpm` | engine speed | rpm | above zero |
    ///
    /// Air flows for a part of the cycle only; at the same mean flow the mean square is larger. A
    /// nearly closed plate smooths that out. The law does not look at manifold pressure, so that the
    /// air flow never rises with it, and falls once the plate is not choked.
    ///
    /// - **Source** none: settled on a network like this one.
    /// - **Assumes** 340 m/s for the speed of sound.
    /// - **Departs** from pulsating flow by being one number.
    pub(super) fn kappa(&self, rpm: f64) -> f64 {
        let q = self.throttle_m2 * 340.0 / (self.displacement_m3 * rpm / 120.0);
        1.0 + (self.pulsation - 1.0) * smoothstep((q - 0.25) / 1.4)
    }

    /// Air past the plate at a manifold pressure, and the pressures on its way.
    ///
    /// The flow without any loss before the plate is too much, the flow with that flow's loss too
    /// little; except under a lifted slide, behind which more is regained the further it opens: there
    /// the lower end is no flow at all.
    pub(super) fn at(&self, manifold_pa: f64, kappa: f64) -> AirSide {
        let passes =
            |pressure: f64| zero_or_more(self.air.flow_kg_s(self.throttle_m2, pressure, manifold_pa));
        let surplus = |flow: f64| passes(self.before_plate(flow, kappa).behind_pa) - flow;
        let most = passes(self.outside_pa);
        let at_most = surplus(most);
        let least = zero_or_more(most + at_most);
        let at_least = surplus(least);
        let low = if at_least < 0.0 { (0.0, most) } else { (least, at_least) };
        let flow = if at_most == 0.0 { most } else { root_within(low, (most, at_most), 1e-13, surplus) };
        self.before_plate(flow, kappa)
    }

    /// Pressures before the plate at an air flow, kg/s.
    ///
    /// ```text
    /// p₁ = p₀ − K ṁ²,   p₁ − p_v = κ ṁ²/[2 ρ₁ (C_v A_s)²],   p_b = p₁ − (1 − r)(p₁ − p_v)/κ
    /// ```
    ///
    /// - **Source** orifice equation; *r* = 2 b (1 − b), b = A_s/A_bore, is Borda and Carnot's sudden
    ///   expansion behind a slide, a constant behind a venturi.
    /// - **Assumes** incompressible flow in the throat: 2 % at 4 kPa.
    /// - **Departs**: what the wells draw from the air before the plate, and what the main well gives
    ///   to it, is not subtracted there (below 3 %).
    fn before_plate(&self, flow: f64, kappa: f64) -> AirSide {
        let airbox_pa = self.outside_pa - self.filter * flow * flow;
        let dynamic = 0.5 * flow * flow / self.air.density_kg_m3(airbox_pa);
        let depression = |effective_m2: f64| {
            (kappa * dynamic / (effective_m2 * effective_m2)).min(MOST_DEPRESSION * airbox_pa)
        };
        let (area, discharge, recovery, lift_m) = match self.throat {
            Throat::ConstantDepression(slide) => {
                let lift = slide.lift_m(depression);
                let area = slide.area_m2(lift);
                let opened = area / self.bore_m2;
                (area, slide.discharge, 2.0 * opened * (1.0 - opened), lift)
            }
            Throat::FixedVenturi { bore_m, recovery, discharge } => {
                (round_m2(bore_m), discharge, recovery, 0.0)
            }
        };
        let depression_pa = depression(discharge * area);
        AirSide {
            throttle_air_kg_s: flow,
            airbox_pa,
            throat_pa: airbox_pa - depression_pa,
            behind_pa: airbox_pa - (1.0 - recovery) * depression_pa / kappa,
            lift_m,
        }
    }
}

impl Slide {
    /// Open area under the slide at a lift, m².
    fn area_m2(&self, lift_m: f64) -> f64 {
        segment_area(self.recess_m + lift_m, self.bore_m)
    }

    /// Lift at which the depression carries slide and spring, m.
    ///
    /// ```text
    /// (p₁ − p_v) A_e = m g + F₀ + k x
    /// ```
    ///
    /// Depression falls and load rises with lift, so there is one; between the stops it is the root.
    ///
    /// - **Source** none: balance of forces.
    /// - **Assumes** a sound diaphragm, no friction, a slide that stands upright.
    fn lift_m(&self, depression: impl Fn(f64) -> f64) -> f64 {
        let weight = self.mass_kg * GRAVITY_M_S2 + self.spring_n;
        let surplus = |lift: f64| {
            depression(self.discharge * self.area_m2(lift)) * self.diaphragm_m2
                - weight
                - self.spring_n_m * lift
        };
        if surplus(0.0) <= 0.0 {
            0.0
        } else if 0.0 <= surplus(self.stroke_m) {
            self.stroke_m
        } else {
            root(0.0, self.stroke_m, 1e-12, surplus)
        }
    }
}
