//! Where a machine idles at each position of its screw: reckoned from its file, answered, and said.

mod mind;
mod words;

pub use words::words;

use std::path::Path;

use bellmouth_core::Caveat;
use bellmouth_core::air::Air;
use bellmouth_core::carburettor::{CurvePlace, IdleCurve, Machine};
use bellmouth_core::engine::Idle;
use bellmouth_core::fuel::Fuel;
use serde::{Serialize, Serializer};

use crate::machine_file::{MachineFile, Value, read, read_file, six_digits};
use crate::refusal::Refusal;

/// What is asked of a machine.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Asked {
    /// Positions of every screw, turns out; none: ½ to 5 by ¼.
    pub screw_turns: Vec<f64>,
    /// A leak beside the file's, the stop untouched, mm².
    pub leak_mm2: Option<f64>,
    /// The altitude instead of the file's, the stop untouched, m.
    pub altitude_m: Option<f64>,
}

/// The answer as JSON.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct IdleAnswer {
    /// The positions asked for, in their order.
    pub points: Vec<IdlePoint>,
    /// Where it idles fastest, 0 to 6 turns out; `None` where it idles nowhere or runs away somewhere.
    pub best_turns: Option<f64>,
    /// The speed there.
    pub best_rpm: Option<f64>,
    /// The leanest position within 1 % of that speed.
    pub lean_edge_turns: Option<f64>,
    /// Where the stop holds the plate, degrees from square across.
    pub stop_plate_deg: f64,
    /// What the file does not give, and what was assumed for it, in the unit of the key.
    #[serde(serialize_with = "by_key")]
    pub assumed: Vec<(&'static str, Value)>,
    /// Reservations.
    pub caveats: Vec<IdleCaveat>,
    /// The machine in one line.
    #[serde(skip)]
    pub title: String,
}

/// A position of the screw.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct IdlePoint {
    /// Turns out from lightly seated.
    pub turns: f64,
    /// The speed; `None` where it stalls or races.
    pub rpm: Option<f64>,
    /// Air over the air that its fuel needs.
    pub lambda: Option<f64>,
    /// Absolute pressure in the manifold.
    pub manifold_kpa: Option<f64>,
    /// Whether the engine dies.
    pub stalled: bool,
}

/// A reservation as JSON.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct IdleCaveat {
    /// Stable name.
    pub name: &'static str,
    /// The sentence.
    pub says: String,
}

impl From<Caveat> for IdleCaveat {
    fn from(caveat: Caveat) -> Self {
        IdleCaveat { name: caveat.name, says: caveat.says }
    }
}

fn by_key<S: Serializer>(assumed: &[(&'static str, Value)], out: S) -> Result<S::Ok, S::Error> {
    out.collect_map(assumed.iter().map(|(key, value)| (key, value)))
}

/// No screw is turned further out, turns.
const MOST_TURNS: f64 = 12.0;
/// More positions are no question.
const MOST_POSITIONS: usize = 500;

impl Asked {
    /// The positions asked for.
    fn positions(&self) -> Vec<f64> {
        if self.screw_turns.is_empty() {
            return (2..=20).map(|quarters| 0.25 * f64::from(quarters)).collect();
        }
        self.screw_turns.clone()
    }

    /// Refuses a question that means nothing.
    fn check(&self) -> Result<(), Refusal> {
        if MOST_POSITIONS < self.screw_turns.len() {
            return Err(Refusal::misused(
                format!("{} positions of the screw are asked for", self.screw_turns.len()),
                format!("give --screw-turns at most {MOST_POSITIONS}"),
            ));
        }
        let turns = self.screw_turns.iter().map(|turns| ("--screw-turns", *turns, 0.0, MOST_TURNS));
        let leak = self.leak_mm2.iter().map(|leak| ("--leak-mm2", *leak, 0.0, 100.0));
        let altitude = self.altitude_m.iter().map(|altitude| ("--altitude-m", *altitude, -500.0, 11_000.0));
        for (flag, value, least, most) in turns.chain(leak).chain(altitude) {
            if !(least <= value && value <= most) {
                return Err(Refusal::misused(
                    format!("`{flag}` is {value}, but must be from {least} to {most}"),
                    format!("give {flag} a value inside that range"),
                ));
            }
        }
        Ok(())
    }
}

/// Answers the file of a machine.
///
/// # Errors
///
/// A misuse where the question means nothing; otherwise a file that cannot be answered, with the
/// offending value, its line and what to do.
pub fn answer_file(path: &Path, asked: &Asked) -> Result<IdleAnswer, Refusal> {
    asked.check()?;
    of_machine(read_file(path)?, asked)
}

/// Answers the bytes of a machine's file.
///
/// # Errors
///
/// As [`answer_file`].
pub fn answer(bytes: &[u8], asked: &Asked) -> Result<IdleAnswer, Refusal> {
    asked.check()?;
    of_machine(read(bytes)?, asked)
}

/// A machine with what was asked done to it, and where it idles.
struct Reckoned {
    machine: Machine,
    air: Air,
    fuel: Fuel,
    points: Vec<(f64, Idle)>,
    curve: IdleCurve,
}

impl Reckoned {
    /// Where it idles fastest. An engine that runs away somewhere is faster there, nobody knows how fast.
    fn best(&self) -> Option<&CurvePlace> {
        let races = self.curve.places.iter().any(|place| place.idle == Idle::Races);
        self.curve.best().filter(|_| !races)
    }
}

fn of_machine(file: MachineFile, asked: &Asked) -> Result<IdleAnswer, Refusal> {
    let mut file = match asked.altitude_m {
        Some(altitude_m) => file.at_altitude(altitude_m)?,
        None => file,
    };
    file.machine.leak_m2 += 1e-6 * asked.leak_mm2.unwrap_or(0.0);
    let reckoned = reckoned(&file, asked).map_err(|error| {
        // The file's own machine runs: what does not fit came with the command.
        Refusal::misused(
            format!("with what was asked the machine cannot be reckoned: {error}"),
            "change --altitude-m or --leak-mm2",
        )
    })?;
    let best = reckoned.best();
    Ok(IdleAnswer {
        points: reckoned.points.iter().map(|(turns, idle)| point(*turns, idle)).collect(),
        best_turns: best.map(|best| best.turns),
        best_rpm: best.and_then(|best| best.idle.operation()).map(|there| six_digits(there.rpm)),
        lean_edge_turns: best.and_then(|_| reckoned.curve.lean_edge_turns()).map(six_digits),
        stop_plate_deg: six_digits(file.machine.carburettor.stop_rad.to_degrees()),
        caveats: mind::caveats(&file, &reckoned).into_iter().map(IdleCaveat::from).collect(),
        title: words::title(&file),
        assumed: file.assumed,
    })
}

fn reckoned(file: &MachineFile, asked: &Asked) -> bellmouth_core::Result<Reckoned> {
    let (air, fuel) = (file.day.air()?, file.day.fuel()?);
    let machine = file.machine.clone();
    let idle = |turns: f64| Ok((turns, machine.idle(turns, &air, &fuel)?));
    let points = asked.positions().into_iter().map(idle).collect::<bellmouth_core::Result<_>>()?;
    let curve = machine.idle_curve(&air, &fuel)?;
    Ok(Reckoned { machine, air, fuel, points, curve })
}

fn point(turns: f64, idle: &Idle) -> IdlePoint {
    let there = idle.operation();
    IdlePoint {
        turns,
        rpm: there.map(|there| six_digits(there.rpm)),
        lambda: there.map(|there| six_digits(there.lambda)),
        manifold_kpa: there.map(|there| six_digits(1e-3 * there.manifold_pa)),
        stalled: *idle == Idle::Stalls,
    }
}
