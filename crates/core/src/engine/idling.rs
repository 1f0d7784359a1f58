//! Where the engine idles: torque against friction and pumping, air delivered against air drawn.

use super::{Engine, LEAST_RPM, Turning};
use crate::air::Air;
use crate::error::{Result, require};
use crate::fuel::Fuel;
use crate::numeric::{root, root_near};

/// What an intake delivers at a manifold pressure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Charge {
    /// Air that brings the fuel along, kg/s.
    pub mixture_air_kg_s: f64,
    /// Air that came in behind the carburettor, kg/s.
    pub leak_air_kg_s: f64,
    /// Fuel, kg/s.
    pub fuel_kg_s: f64,
}

impl Charge {
    fn air_kg_s(&self) -> f64 {
        self.mixture_air_kg_s + self.leak_air_kg_s
    }
}

/// Anything that delivers air and fuel into a manifold.
pub trait Intake {
    /// What it delivers at a manifold pressure \[Pa\] and an engine speed \[rpm\].
    ///
    /// Air must fall, or stay, as the pressure rises, and reach nothing at the pressure outside.
    fn charge(&self, manifold_pa: f64, rpm: f64) -> Charge;

    /// The air of [`Intake::charge`], kg/s, where that is all that is asked for.
    fn air_kg_s(&self, manifold_pa: f64, rpm: f64) -> f64 {
        self.charge(manifold_pa, rpm).air_kg_s()
    }
}

/// An intake and the cylinders it feeds.
#[derive(Clone, Debug, PartialEq)]
pub struct Feed<I> {
    /// What feeds them.
    pub intake: I,
    /// How many cylinders one such intake feeds.
    pub cylinders: u32,
    /// How many such intakes the engine has.
    pub alike: u32,
    /// Whether its leak reaches one of its cylinders only.
    pub leak_into_one: bool,
}

/// An engine, what feeds it, and the air and fuel of the day.
#[derive(Clone, Debug, PartialEq)]
pub struct Running<I> {
    pub(super) engine: Engine,
    pub(super) feeds: Vec<Feed<I>>,
    pub(super) outside_pa: f64,
    pub(super) gas_constant: f64,
    dry_share: f64,
    stoichiometric_ratio: f64,
}

/// An engine held at a speed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Operation {
    /// Speed, rpm.
    pub rpm: f64,
    /// Manifold pressure, mean over the cylinders, Pa.
    pub manifold_pa: f64,
    /// Air drawn, kg/s.
    pub air_kg_s: f64,
    /// Fuel burnt or not, kg/s.
    pub fuel_kg_s: f64,
    /// Dry air over the air its fuel needs, –; infinite without fuel.
    pub lambda: f64,
    /// Equivalence ratio of the leanest cylinder, –.
    pub leanest_richness: f64,
    /// Equivalence ratio of the richest cylinder, –.
    pub richest_richness: f64,
    /// Share of cycles that burn, –.
    pub burning: f64,
    /// Mean pressure left over after friction and pumping, Pa: zero where it idles.
    pub surplus_pa: f64,
}

/// Where an engine idles.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Idle {
    /// It runs steadily.
    Runs(Operation),
    /// It dies: no steady speed above [`LEAST_RPM`].
    Stalls,
    /// It runs away beyond 3500 rpm: not an idle any more.
    Races,
}

impl Idle {
    /// The steady operation, where there is one.
    pub fn operation(&self) -> Option<&Operation> {
        match self {
            Idle::Runs(operation) => Some(operation),
            Idle::Stalls | Idle::Races => None,
        }
    }
}

/// Above this an engine does not idle, rpm (common practice, no source).
const MOST_RPM: f64 = 3500.0;
/// Ratio of neighbouring speeds in the search from above.
const SEARCH_RATIO: f64 = 0.89;
/// How exactly manifold pressure is found while a balance is looked for, Pa, and once it is bracketed.
const SEARCH_PA: f64 = 1.0;
const EXACT_PA: f64 = 1e-4;

/// What the cylinders of one feed make of their charge.
#[derive(Default)]
struct Made {
    torque: f64,
    burning: f64,
    leanest: f64,
    richest: f64,
}

impl<I: Intake> Running<I> {
    /// An engine with its feeds, in this air and with this fuel.
    ///
    /// # Errors
    ///
    /// [`Error::OutOfDomain`](crate::Error::OutOfDomain) where the engine cannot be, or the feeds do not add up
    /// to its cylinders.
    pub fn new(engine: Engine, feeds: Vec<Feed<I>>, air: &Air, fuel: &Fuel) -> Result<Running<I>> {
        engine.check()?;
        let fed: u32 = feeds.iter().map(|feed| feed.cylinders * feed.alike).sum();
        require(
            fed == engine.cylinders && feeds.iter().all(|feed| 0 < feed.cylinders * feed.alike),
            "cylinders",
            f64::from(engine.cylinders),
            "as many as the carburettors feed together",
        )?;
        let ratio = fuel.stoichiometric_ratio;
        require(1.0 < ratio && ratio < 100.0, "stoichiometric_ratio", ratio, "from 1 to 100")?;
        Ok(Running {
            engine,
            feeds,
            outside_pa: air.pressure_pa(),
            gas_constant: air.pressure_over_density() / air.temperature_k(),
            dry_share: air.dry_share(),
            stoichiometric_ratio: ratio,
        })
    }

    /// Its intakes, in the order they were given.
    pub fn feeds(&self) -> &[Feed<I>] {
        &self.feeds
    }

    /// Where it idles: the highest speed at which torque balances friction and pumping and falls with
    /// speed.
    ///
    /// ```text
    /// p_i(N) · mean over cylinders of f(φ) b(φ, x_r) = p_f(N) + (p₀ − p_m)
    /// ```
    ///
    /// The lean branch has a second, unstable root below; the search therefore comes from above, and
    /// looks into every hump it passes, so that a balance that hardly exists is not missed.
    ///
    /// - **Source** none: a balance of mean pressures, derived here.
    /// - **Assumes** a warm engine, constant ignition timing, an unchanged load.
    /// - **Departs** from real idling in having no cycle-to-cycle variation.
    pub fn idle(&self) -> Idle {
        let mut pressures: Vec<f64> = vec![0.5 * self.outside_pa; self.feeds.len()];
        let mut surplus = |rpm: f64| self.at_near(rpm, &mut pressures, SEARCH_PA).surplus_pa;
        let mut above = (MOST_RPM, surplus(MOST_RPM));
        if 0.0 < above.1 {
            return Idle::Races;
        }
        let mut before = above;
        while LEAST_RPM < above.0 {
            let rpm = (above.0 * SEARCH_RATIO).max(LEAST_RPM);
            let here = (rpm, surplus(rpm));
            if 0.0 < here.1 {
                return Idle::Runs(self.between(here.0, above.0));
            }
            // Invariant: a hump can only hide between the neighbours of the highest of three, or beside an
            // end of the search that is higher than its one neighbour.
            let highest = before.1 <= above.1 && here.1 < above.1;
            let ends_highest = here.0 <= LEAST_RPM && above.1 < here.1;
            let high_rpm = if ends_highest { above.0 } else { before.0 };
            if (highest || ends_highest)
                && let Some(top) = positive_within(here.0, high_rpm, &mut surplus)
            {
                return Idle::Runs(self.between(top, high_rpm));
            }
            before = above;
            above = here;
        }
        Idle::Stalls
    }

    /// The engine held at a speed above zero, rpm.
    pub fn at(&self, rpm: f64) -> Operation {
        self.at_near(rpm, &mut vec![0.5 * self.outside_pa; self.feeds.len()], EXACT_PA)
    }

    /// Share of cycles that burn as it turns at an instant, –: as [`Operation::burning`], but with the manifolds
    /// as full as they are.
    pub fn burning(&self, turning: &Turning) -> f64 {
        let of_feed = |(feed, &manifold_pa): (&Feed<I>, &f64)| {
            let charge = feed.intake.charge(manifold_pa, turning.rpm);
            let drawn = self.drawn_kg_s(feed, manifold_pa, turning.rpm);
            let burning = self.made(feed, &charge, drawn, manifold_pa).burning;
            self.share_of(feed) * f64::from(feed.alike) * burning
        };
        self.feeds.iter().zip(&turning.manifold_pa).map(of_feed).sum()
    }

    /// The balance between a speed with torque left over and one without.
    fn between(&self, low_rpm: f64, high_rpm: f64) -> Operation {
        let mut pressures = vec![0.5 * self.outside_pa; self.feeds.len()];
        let rpm = root(low_rpm, high_rpm, 1e-6, |rpm| self.at_near(rpm, &mut pressures, EXACT_PA).surplus_pa);
        self.at_near(rpm, &mut pressures, EXACT_PA)
    }

    /// The pressure behind each intake when the engine is held at a speed, Pa.
    pub(super) fn pressures_at(&self, rpm: f64) -> Vec<f64> {
        let mut pressures = vec![0.5 * self.outside_pa; self.feeds.len()];
        self.at_near(rpm, &mut pressures, EXACT_PA);
        pressures
    }

    /// As [`Running::at`], starting the search for each manifold pressure where it was last found.
    fn at_near(&self, rpm: f64, pressures: &mut [f64], tolerance_pa: f64) -> Operation {
        let mut all = Operation {
            rpm,
            manifold_pa: 0.0,
            air_kg_s: 0.0,
            fuel_kg_s: 0.0,
            lambda: 0.0,
            leanest_richness: f64::INFINITY,
            richest_richness: 0.0,
            burning: 0.0,
            surplus_pa: -self.engine.friction_pa(rpm),
        };
        for (feed, near) in self.feeds.iter().zip(pressures) {
            let (manifold_pa, charge) = self.manifold(feed, rpm, *near, tolerance_pa);
            *near = manifold_pa;
            let (share, alike) = (self.share_of(feed), f64::from(feed.alike));
            let weight = share * alike;
            let drawn = charge.air_kg_s();
            let made = self.made(feed, &charge, drawn, manifold_pa);
            all.surplus_pa += weight * self.mean_pressure(drawn, share, rpm, manifold_pa, made.torque);
            all.manifold_pa += weight * manifold_pa;
            all.air_kg_s += alike * drawn;
            all.fuel_kg_s += alike * charge.fuel_kg_s;
            all.burning += weight * made.burning;
            all.leanest_richness = all.leanest_richness.min(made.leanest);
            all.richest_richness = all.richest_richness.max(made.richest);
        }
        all.lambda = all.air_kg_s * self.dry_share / (self.stoichiometric_ratio * all.fuel_kg_s);
        all
    }

    /// Share of the displacement that one intake of a feed has.
    pub(super) fn share_of(&self, feed: &Feed<I>) -> f64 {
        f64::from(feed.cylinders) / f64::from(self.engine.cylinders)
    }

    /// Air that one intake's cylinders draw, kg/s.
    pub(super) fn drawn_kg_s(&self, feed: &Feed<I>, manifold_pa: f64, rpm: f64) -> f64 {
        self.engine.air_drawn_kg_s(manifold_pa, rpm, self.outside_pa, self.share_of(feed), self.gas_constant)
    }

    /// Indicated mean pressure less pumping of one intake's cylinders, Pa.
    pub(super) fn mean_pressure(
        &self,
        drawn_kg_s: f64,
        share: f64,
        rpm: f64,
        manifold_pa: f64,
        torque: f64,
    ) -> f64 {
        let per_cycle = drawn_kg_s * 120.0 / (rpm * share * self.engine.displacement_m3);
        self.engine.indicated_pa(per_cycle, manifold_pa, self.outside_pa) * torque
            - (self.outside_pa - manifold_pa)
    }

    /// Torque share of one intake's cylinders, with a leak that reaches all or one of them.
    ///
    /// ```text
    /// s = (D/n − l)/(D − l)        share of the mixture that the leaking cylinder still draws
    /// ```
    ///
    /// Every cylinder draws the same volume *D/n*; the one with the leak *l* at its port fills part of
    /// it with the leak's air, and where the leak is larger than that, the rest thins what the others draw.
    ///
    /// - **Source** none: derived here.
    pub(super) fn torque_share(
        &self,
        feed: &Feed<I>,
        charge: &Charge,
        drawn_kg_s: f64,
        manifold_pa: f64,
    ) -> f64 {
        self.made(feed, charge, drawn_kg_s, manifold_pa).torque
    }

    fn made(&self, feed: &Feed<I>, charge: &Charge, drawn_kg_s: f64, manifold_pa: f64) -> Made {
        let residual = self.engine.residual_share(manifold_pa, self.outside_pa);
        let per_air = self.stoichiometric_ratio / self.dry_share;
        let mut made = Made { leanest: f64::INFINITY, ..Made::default() };
        let mut add = |richness: f64, weight: f64| {
            let burning = self.engine.burning.share(richness, residual);
            made.torque += weight * self.engine.mixture_torque.at(richness) * burning;
            made.burning += weight * burning;
            made.leanest = made.leanest.min(richness);
            made.richest = made.richest.max(richness);
        };
        let n = f64::from(feed.cylinders);
        // While the manifold fills or empties, what is drawn is not what arrives: the mixture counts.
        let mixed = charge.fuel_kg_s / charge.air_kg_s().max(f64::MIN_POSITIVE);
        if feed.leak_into_one && 1 < feed.cylinders && 0.0 < charge.leak_air_kg_s && 0.0 < drawn_kg_s {
            let leak = charge.leak_air_kg_s.min(drawn_kg_s / n);
            // What the leaking cylinder cannot swallow reaches the others.
            let others_air = charge.mixture_air_kg_s + (charge.leak_air_kg_s - leak);
            let strength = charge.fuel_kg_s / others_air.max(f64::MIN_POSITIVE);
            let leaking = strength * (drawn_kg_s / n - leak) / (drawn_kg_s / n);
            add(leaking * per_air, 1.0 / n);
            add(strength * per_air, (n - 1.0) / n);
        } else {
            add(mixed * per_air, 1.0);
        }
        made
    }

    /// The manifold pressure at which an intake delivers what its cylinders draw, and the charge there.
    fn manifold(&self, feed: &Feed<I>, rpm: f64, near: f64, tolerance_pa: f64) -> (f64, Charge) {
        // Below this nothing is drawn: the residual gas alone fills the cylinder.
        let least = self.outside_pa / self.engine.compression_ratio.powf(1.3);
        let most = self.outside_pa - 0.5;
        let surplus =
            |pressure: f64| feed.intake.air_kg_s(pressure, rpm) - self.drawn_kg_s(feed, pressure, rpm);
        // Where the throttle is choked, pressure goes with what is delivered over what is drawn.
        let next = |pressure: f64, surplus: f64| {
            let drawn = self.drawn_kg_s(feed, pressure, rpm).max(f64::MIN_POSITIVE);
            pressure * (1.0 + surplus / drawn).clamp(0.5, 2.0).powf(1.05)
        };
        let pressure = root_near(near, (least, most), false, tolerance_pa, next, surplus);
        (pressure, feed.intake.charge(pressure, rpm))
    }
}

/// A place within a bracket where a hump rises above zero; golden section.
fn positive_within(low: f64, high: f64, mut f: impl FnMut(f64) -> f64) -> Option<f64> {
    const GOLDEN: f64 = 0.618_033_988_749_895;
    let (mut low, mut high) = (low, high);
    let (mut left, mut right) = (high - GOLDEN * (high - low), low + GOLDEN * (high - low));
    let (mut f_left, mut f_right) = (f(left), f(right));
    while 0.1 < high - low {
        if 0.0 < f_right {
            return Some(right);
        }
        if 0.0 < f_left {
            return Some(left);
        }
        if f_left < f_right {
            (low, left, f_left) = (left, right, f_right);
            right = low + GOLDEN * (high - low);
            f_right = f(right);
        } else {
            (high, right, f_right) = (right, left, f_left);
            left = high - GOLDEN * (high - low);
            f_left = f(left);
        }
    }
    None
}
