//! Engine and carburettors together: where they idle, at every position of the screw.

use super::{Carburettor, Fitted, Network};
use crate::air::Air;
use crate::engine::{Engine, Feed, Idle, Running};
use crate::error::{Result, require};
use crate::fuel::Fuel;
use crate::numeric::root_within;
use crate::quantity::Screw;

/// An engine and what feeds it.
#[derive(Clone, Debug, PartialEq)]
pub struct Machine {
    /// The engine.
    pub engine: Engine,
    /// Its carburettor, or each of its carburettors.
    pub carburettor: Carburettor,
    /// How many, each feeding as many cylinders.
    pub carburettors: u32,
    /// How far each screw stands richer or leaner than counted, turns, in their order; those not named stand
    /// as counted.
    pub screw_offsets_turns: Vec<f64>,
    /// Air leak behind the first carburettor, m².
    pub leak_m2: f64,
    /// Whom that leak reaches.
    pub leak_reaches: LeakReaches,
}

/// Which of its carburettor's cylinders a leak reaches.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LeakReaches {
    /// All alike: it lies near the carburettor.
    All,
    /// One only: it lies at its port.
    One,
}

impl Machine {
    /// A twin with one carburettor.
    pub fn new(carburettor: Carburettor) -> Machine {
        Machine {
            engine: Engine::default(),
            carburettor,
            carburettors: 1,
            screw_offsets_turns: Vec::new(),
            leak_m2: 0.0,
            leak_reaches: LeakReaches::All,
        }
    }

    /// The engine running with the screws at their places, in this air and with this fuel.
    ///
    /// # Errors
    ///
    /// [`Error::OutOfDomain`](crate::Error::OutOfDomain) names the dimension that cannot be, as the machine's
    /// file names it.
    pub fn running(&self, air: &Air, fuel: &Fuel) -> Result<Running<Network>> {
        let (cylinders, count) = (self.engine.cylinders, self.carburettors);
        require(
            1 <= count && count <= cylinders && cylinders.is_multiple_of(count),
            "carburettors",
            f64::from(count),
            "at least 1, and feeding the same number of cylinders each",
        )?;
        require(
            self.screw_offsets_turns.len() <= count as usize,
            "screw_offsets_turns",
            self.screw_offsets_turns.len() as f64,
            "as many values as there are carburettors, or fewer",
        )?;
        // Before the offsets, which would make a seated screw of a position that is no number.
        self.carburettor.check()?;
        let mut feeds: Vec<Feed<Network>> = Vec::new();
        let mut told_apart: Vec<(f64, f64)> = Vec::new();
        for index in 0..count as usize {
            let offset = self.screw_offsets_turns.get(index).copied().unwrap_or(0.0);
            require((-4.0..=4.0).contains(&offset), "screw_offsets_turns", offset, "from -4 to 4")?;
            let leak_m2 = if index == 0 { self.leak_m2 } else { 0.0 };
            // Carburettors that do not differ are reckoned once.
            if let Some(same) = told_apart.iter().position(|&known| known == (offset, leak_m2)) {
                feeds[same].alike += 1;
                continue;
            }
            told_apart.push((offset, leak_m2));
            let mut carburettor = self.carburettor.clone();
            carburettor.pilot.turns = (carburettor.pilot.turns + offset).max(0.0);
            feeds.push(Feed {
                intake: Network::new(&carburettor, &self.fitted(leak_m2), air, fuel)?,
                cylinders: cylinders / count,
                alike: 1,
                leak_into_one: self.leak_reaches == LeakReaches::One,
            });
        }
        Running::new(self.engine.clone(), feeds, air, fuel)
    }

    /// Where each of its carburettors is fitted, the plate at its stop.
    pub(crate) fn fitted(&self, leak_m2: f64) -> Fitted {
        let displacement_m3 = self.engine.displacement_m3 / f64::from(self.carburettors);
        Fitted { displacement_m3, leak_m2, plate_rad: self.carburettor.stop_rad }
    }

    /// Where it idles with every screw at a position, turns out.
    ///
    /// # Errors
    ///
    /// As [`Machine::running`].
    ///
    /// # Example
    ///
    /// ```
    /// use bellmouth_core::air::Air;
    /// use bellmouth_core::carburettor::{Carburettor, Machine};
    /// use bellmouth_core::fuel::Petrol;
    ///
    /// let twin = Machine::new(Carburettor::constant_depression());
    /// let (air, fuel) = (Air::at_altitude(0.0, 298.15, 0.0)?, Petrol::default().at(298.15)?);
    /// let idle = twin.idle(2.75, &air, &fuel)?;
    /// let rpm = idle.operation().map(|operation| operation.rpm.round());
    /// assert_eq!(rpm, Some(1057.0));
    /// # Ok::<(), bellmouth_core::Error>(())
    /// ```
    pub fn idle(&self, turns: f64, air: &Air, fuel: &Fuel) -> Result<Idle> {
        let mut machine = self.clone();
        machine.carburettor.pilot.turns = turns;
        Ok(machine.running(air, fuel)?.idle())
    }

    /// Where it idles from seated to six turns out, the stop untouched.
    ///
    /// # Errors
    ///
    /// As [`Machine::running`].
    pub fn idle_curve(&self, air: &Air, fuel: &Fuel) -> Result<IdleCurve> {
        let mut machine = self.clone();
        IdleCurve::of(self.carburettor.pilot.screw, |turns| {
            machine.carburettor.pilot.turns = turns;
            Ok(CurvePlace { turns, idle: machine.running(air, fuel)?.idle() })
        })
    }

    /// The machine with its stop set so that it idles at a speed, its screws where they stand.
    ///
    /// # Errors
    ///
    /// [`Error::OutOfDomain`](crate::Error::OutOfDomain) where no place of the stop gives that speed; as
    /// [`Machine::running`].
    pub fn with_idle_at(&self, rpm: f64, air: &Air, fuel: &Fuel) -> Result<Machine> {
        let stopped = |opened_rad: f64| {
            let mut machine = self.clone();
            machine.carburettor.stop_rad = machine.carburettor.throttle.closed_rad + opened_rad;
            machine
        };
        // What is wrong with the machine itself is said here; then only the stop changes.
        stopped(0.0).running(air, fuel)?;
        // At a held speed the surplus of torque rises with the stop: more air, the same friction.
        let surplus = |opened_rad: f64| {
            stopped(opened_rad).running(air, fuel).map_or(f64::NAN, |running| running.at(rpm).surplus_pa)
        };
        let mut before = (0.0, surplus(0.0));
        for step in 1..=STOP_STEPS {
            let opened_rad = MOST_OPENED_RAD * f64::from(step) / f64::from(STOP_STEPS);
            let here = (opened_rad, surplus(opened_rad));
            if before.1 <= 0.0 && 0.0 < here.1 {
                let machine = stopped(root_within(before, here, 1e-10, surplus));
                let idle = machine.running(air, fuel)?.idle();
                // The root may be the unstable one: then the engine settles elsewhere, or dies.
                if idle.operation().is_some_and(|settled| (settled.rpm - rpm).abs() < 1.0) {
                    return Ok(machine);
                }
            }
            before = here;
        }
        require(
            false,
            "idle_rpm",
            rpm,
            "a speed that some place of the stop gives with the screw where it stands",
        )?;
        Ok(self.clone())
    }
}

/// The furthest a stop opens the plate, rad.
const MOST_OPENED_RAD: f64 = 12.0 * std::f64::consts::PI / 180.0;
/// Places of the stop that are tried before the one between them is found.
const STOP_STEPS: i32 = 48;
/// Where an idle curve ends, turns out.
const CURVE_TO_TURNS: f64 = 6.0;
/// Steps of an idle curve: sixteenths of a turn.
const CURVE_STEPS: i32 = 96;

/// A place on an idle curve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CurvePlace {
    /// Turns out from lightly seated.
    pub turns: f64,
    /// What the engine does there.
    pub idle: Idle,
}

impl CurvePlace {
    fn rpm(&self) -> f64 {
        self.idle.operation().map_or(0.0, |operation| operation.rpm)
    }
}

/// Idle at every position of the screw, the stop untouched.
#[derive(Clone, Debug, PartialEq)]
pub struct IdleCurve {
    screw: Screw,
    /// From seated outwards.
    pub places: Vec<CurvePlace>,
}

impl IdleCurve {
    /// The curve of whatever idles at each position.
    pub(crate) fn of(screw: Screw, mut place: impl FnMut(f64) -> Result<CurvePlace>) -> Result<IdleCurve> {
        let turns = (0..=CURVE_STEPS).map(|step| CURVE_TO_TURNS * f64::from(step) / f64::from(CURVE_STEPS));
        Ok(IdleCurve { screw, places: turns.map(&mut place).collect::<Result<_>>()? })
    }

    /// Where it idles fastest; `None` where it idles nowhere, or races somewhere: then nothing is fastest.
    pub fn best(&self) -> Option<&CurvePlace> {
        if self.places.iter().any(|place| place.idle == Idle::Races) {
            return None;
        }
        let fastest = self.places.iter().max_by(|a, b| a.rpm().total_cmp(&b.rpm()))?;
        fastest.idle.operation().map(|_| fastest)
    }

    /// The lean edge: the leanest position whose speed is within 1 % of the highest, turns out, between
    /// the places by a straight line.
    pub fn lean_edge_turns(&self) -> Option<f64> {
        let wanted = 0.99 * self.best()?.rpm();
        let from_lean: Vec<&CurvePlace> = match self.screw {
            Screw::Fuel => self.places.iter().collect(),
            Screw::Air => self.places.iter().rev().collect(),
        };
        let first = from_lean.iter().position(|place| wanted <= place.rpm())?;
        let here = from_lean[first];
        // Where the engine dies one step leaner, the edge is where it still ran.
        let leaner = first.checked_sub(1).map(|index| from_lean[index]).filter(|place| 0.0 < place.rpm());
        Some(leaner.map_or(here.turns, |leaner| {
            let share = (wanted - leaner.rpm()) / (here.rpm() - leaner.rpm());
            leaner.turns + share * (here.turns - leaner.turns)
        }))
    }
}
