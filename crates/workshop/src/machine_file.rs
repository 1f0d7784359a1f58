//! The file of a machine: what is known of it, in a line for each key; the rest is assumed.
//!
//! Keys are flat and carry their units. A file that says only `kind = "constant-depression"` is
//! complete; every value it does not give is assumed and told. [`keys`] has them all, with their ranges.

mod key;
mod lines;
mod refused;
mod value;

pub use key::{Key, Takes, keys};
pub use value::Value;
pub(crate) use value::six_digits;

use std::path::Path;

use bellmouth_core::Result as CoreResult;
use bellmouth_core::air::{Air, LAPSE_K_PER_M};
use bellmouth_core::carburettor::{Carburettor, DIMENSIONS, LeakReaches, Machine, TransitionHole};
use bellmouth_core::flow::Tip;
use bellmouth_core::fuel::{Fuel, Petrol};
use bellmouth_core::quantity::Screw;

use crate::refusal::Refusal;
use key::KINDS;
use lines::Lines;

/// A machine as its file has it, with what was assumed.
#[derive(Clone, Debug, PartialEq)]
pub struct MachineFile {
    /// The kind of carburettor.
    pub kind: &'static str,
    /// Engine and carburettors, the stop where it is held.
    pub machine: Machine,
    /// The air and the fuel.
    pub day: Day,
    /// The day on which the stop was set, where the file gives `idle_rpm`.
    pub stop_set_on: Option<Day>,
    /// Every key that the file does not give, with its value, in the order of [`keys`]; what has no
    /// meaning for this machine is not among them.
    pub assumed: Vec<(&'static str, Value)>,
    /// Keys that the file gives and that change nothing on this machine.
    pub unused_keys: Vec<&'static str>,
}

/// The air and the fuel of a day.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Day {
    /// Altitude, m.
    pub altitude_m: f64,
    /// Temperature of the air, °C.
    pub temp_c: f64,
    /// Relative humidity, %.
    pub rh_pct: f64,
    /// The fuel at the pump.
    pub petrol: Petrol,
    /// Temperature of the fuel in the bowl, °C.
    pub fuel_temp_c: f64,
}

/// Temperature of the air at sea level where none is given, °C.
const WARM_DAY_C: f64 = 25.0;

/// Temperatures between which petrol is known, °C.
const BOWL_C: (f64, f64) = (-20.0, 60.0);

fn warm_day_c(altitude_m: f64) -> f64 {
    six_digits(WARM_DAY_C - LAPSE_K_PER_M * altitude_m)
}

impl Day {
    /// The air.
    ///
    /// # Errors
    ///
    /// Where there is no such air.
    pub fn air(&self) -> CoreResult<Air> {
        Air::at_altitude(self.altitude_m, kelvin(self.temp_c), 0.01 * self.rh_pct)
    }

    /// The fuel in the bowl.
    ///
    /// # Errors
    ///
    /// Where there is no such fuel.
    pub fn fuel(&self) -> CoreResult<Fuel> {
        self.petrol.at(kelvin(self.fuel_temp_c))
    }
}

fn kelvin(celsius: f64) -> f64 {
    celsius + 273.15
}

/// Reads a machine's file.
///
/// # Errors
///
/// As [`read`], with the file's name before what is wrong; a file that cannot be read.
pub fn read_file(path: &Path) -> Result<MachineFile, Refusal> {
    let bytes = lines::bytes_of(path)?;
    read(&bytes)
        .map_err(|refusal| Refusal { message: format!("{}: {}", path.display(), refusal.message), ..refusal })
}

/// Reads a machine from the bytes of its file.
///
/// # Errors
///
/// [`Refusal`] with the offending value, its line, what is allowed, and what to do.
pub fn read(bytes: &[u8]) -> Result<MachineFile, Refusal> {
    Reading { lines: Lines::of(lines::text_of(bytes)?)?, assumed: Vec::new() }.machine_file()
}

impl MachineFile {
    /// The machine elsewhere, its stop untouched; where the file gives no temperature, the air is as
    /// much cooler as a warm day is there, and the bowl with it.
    ///
    /// # Errors
    ///
    /// A misuse where the bowl would be colder than petrol is known at.
    pub fn at_altitude(mut self, altitude_m: f64) -> Result<MachineFile, Refusal> {
        let temp_c = warm_day_c(altitude_m);
        let assumed = |key: &str, file: &MachineFile| file.assumed.iter().any(|(name, _)| *name == key);
        let (air_assumed, fuel_assumed) = (assumed("temp_c", &self), assumed("fuel_temp_c", &self));
        self.day.altitude_m = altitude_m;
        if air_assumed {
            self.day.temp_c = temp_c;
        }
        if fuel_assumed {
            self.day.fuel_temp_c = self.day.temp_c;
        }
        let (coldest_c, hottest_c) = BOWL_C;
        if !(coldest_c..=hottest_c).contains(&self.day.fuel_temp_c) {
            return Err(Refusal::misused(
                format!(
                    "at {altitude_m} m the fuel in the bowl is assumed at {} °C, but must be from {coldest_c} to \
                     {hottest_c}",
                    self.day.fuel_temp_c
                ),
                "give a lower altitude, or fuel_temp_c in the file",
            ));
        }
        // Where the stop was set at the file's altitude, what was assumed of that day still counts.
        if self.stop_set_on.is_none() {
            self.assumed.retain(|(key, _)| *key != "altitude_m");
            for (key, value) in &mut self.assumed {
                match *key {
                    "temp_c" => *value = Value::Number(self.day.temp_c),
                    "fuel_temp_c" => *value = Value::Number(self.day.fuel_temp_c),
                    _ => {}
                }
            }
        }
        Ok(self)
    }
}

/// A file while it is read.
struct Reading<'a> {
    lines: Lines<'a>,
    assumed: Vec<(&'static str, Value)>,
}

impl Reading<'_> {
    fn machine_file(mut self) -> Result<MachineFile, Refusal> {
        let Some(kind) = self.lines.word("kind", KINDS)? else {
            return Err(Refusal::unanswerable(
                "no line gives `kind`",
                format!("add kind = {}", Takes::Word(KINDS)),
            ));
        };
        let carburettor = match kind {
            "fixed-venturi" => Carburettor::fixed_venturi(),
            _ => Carburettor::constant_depression(),
        };
        let mut machine = Machine::new(carburettor);
        self.shape(&mut machine)?;
        self.one_of("idle_rpm", "stop_plate_deg")?;
        self.one_of("screw_tip_mm", "screw_taper_deg")?;
        if self.lines.line_of("screw_tip_mm").is_some() {
            // The length itself is set as every other dimension is.
            machine.carburettor.pilot.tip.tip = Tip::Even { length_m: 1e-3 };
        }
        self.dimensions(&mut machine, kind)?;
        let day = self.day()?;
        self.leak(&mut machine)?;
        self.assumed.sort_by_key(|(name, _)| keys().iter().position(|key| key.name == *name));

        let air = day.air().map_err(|error| self.refused(&error))?;
        let fuel = day.fuel().map_err(|error| self.refused(&error))?;
        let idle_rpm = self.lines.within("idle_rpm", 450.0, 3500.0)?;
        if let Some(rpm) = idle_rpm {
            // The stop was set when nothing leaked.
            let leak_m2 = std::mem::take(&mut machine.leak_m2);
            machine = machine.with_idle_at(rpm, &air, &fuel).map_err(|error| self.refused(&error))?;
            machine.leak_m2 = leak_m2;
        }
        machine.running(&air, &fuel).map_err(|error| self.refused(&error))?;
        let unused_keys = match machine.carburettor.pilot.screw {
            Screw::Fuel if self.lines.line_of("outlet_mm").is_some() => vec!["outlet_mm"],
            _ => Vec::new(),
        };
        Ok(MachineFile {
            kind,
            machine,
            day,
            stop_set_on: idle_rpm.map(|_| day),
            assumed: self.assumed,
            unused_keys,
        })
    }

    /// Refuses two keys of which a machine has one.
    fn one_of(&self, one: &str, other: &str) -> Result<(), Refusal> {
        match (self.lines.line_of(one), self.lines.line_of(other)) {
            (Some(first), Some(second)) => Err(Refusal::unanswerable(
                format!(
                    "line {first} gives `{one}` and line {second} `{other}`, and one stands instead of the other"
                ),
                "keep one of them",
            )),
            _ => Ok(()),
        }
    }

    /// What is counted, chosen or listed.
    fn shape(&mut self, machine: &mut Machine) -> Result<(), Refusal> {
        let cylinders = self.lines.count("cylinders", 1, 12)?;
        machine.engine.cylinders = self.or("cylinders", cylinders, machine.engine.cylinders, Value::Count);
        let carburettors = self.lines.count("carburettors", 1, 12)?;
        machine.carburettors = self.or("carburettors", carburettors, machine.carburettors, Value::Count);
        let screw = self.lines.word("screw", &["fuel", "air"])?;
        machine.carburettor.pilot.screw = match self.or("screw", screw, "fuel", Value::Word) {
            "air" => Screw::Air,
            _ => Screw::Fuel,
        };
        let offsets = self.lines.numbers("screw_offsets_turns", -4.0, 4.0)?;
        if let (Some(line), Some(given)) = (self.lines.line_of("screw_offsets_turns"), &offsets)
            && (machine.carburettors as usize) < given.len()
        {
            return Err(Refusal::unanswerable(
                format!(
                    "line {line}: `screw_offsets_turns` has {} values, and `carburettors` is {}",
                    given.len(),
                    machine.carburettors
                ),
                "give a value for each carburettor, or fewer, or change `carburettors`",
            ));
        }
        machine.screw_offsets_turns = self.or("screw_offsets_turns", offsets, Vec::new(), Value::Numbers);
        let usual = machine.carburettor.pilot.holes.iter();
        let usual = usual.map(|hole| [hole.upstream_m, hole.bore_m].map(|m| six_digits(1e3 * m))).collect();
        let holes = self.lines.pairs("transition_holes_mm", (-5.0, 20.0), (0.1, 3.0))?;
        machine.carburettor.pilot.holes = self
            .or("transition_holes_mm", holes, usual, Value::Pairs)
            .iter()
            .map(|[upstream, bore]| TransitionHole { upstream_m: 1e-3 * upstream, bore_m: 1e-3 * bore })
            .collect();
        Ok(())
    }

    fn dimensions(&mut self, machine: &mut Machine, kind: &str) -> Result<(), Refusal> {
        for dimension in DIMENSIONS {
            let given = self.lines.number(dimension.key)?;
            let usual = dimension.of(machine);
            let value = match (given, usual) {
                (Some(_), None) => return Err(self.no_such_part(dimension.key, kind)),
                (Some(given), _) => given,
                (None, None) => continue,
                (None, Some(usual)) => {
                    let value = six_digits(usual);
                    let means_nothing = match dimension.key {
                        "stop_plate_deg" => self.lines.line_of("idle_rpm").is_some(),
                        "outlet_mm" => machine.carburettor.pilot.screw == Screw::Fuel,
                        _ => false,
                    };
                    if !means_nothing {
                        self.assumed.push((dimension.key, Value::Number(value)));
                    }
                    value
                }
            };
            // What was assumed is set like what was given, so that both give the same machine.
            dimension.set(machine, value).map_err(|error| self.refused(&error))?;
        }
        Ok(())
    }

    fn day(&mut self) -> Result<Day, Refusal> {
        let altitude_m = self.number("altitude_m", -500.0, 11_000.0, 0.0)?;
        let temp_c = self.number("temp_c", -60.0, 70.0, warm_day_c(altitude_m))?;
        let usual = Petrol::default();
        Ok(Day {
            altitude_m,
            temp_c,
            rh_pct: self.number("rh_pct", 0.0, 100.0, 0.0)?,
            petrol: Petrol {
                hydrogen_to_carbon: self.number("hydrogen_to_carbon", 1.0, 2.5, usual.hydrogen_to_carbon)?,
                density_15c_kg_m3: self.number("density_15c_kg_m3", 653.0, 770.0, usual.density_15c_kg_m3)?,
                ethanol_volume_share: 0.01
                    * self.number("ethanol_pct", 0.0, 100.0, 100.0 * usual.ethanol_volume_share)?,
            },
            fuel_temp_c: self.number("fuel_temp_c", BOWL_C.0, BOWL_C.1, temp_c)?,
        })
    }

    fn leak(&mut self, machine: &mut Machine) -> Result<(), Refusal> {
        machine.leak_m2 = 1e-6 * self.number("leak_mm2", 0.0, 100.0, 1e6 * machine.leak_m2)?;
        let reaches = self.lines.word("leak_reaches", &["all", "one"])?;
        machine.leak_reaches = match self.or("leak_reaches", reaches, "all", Value::Word) {
            "one" => LeakReaches::One,
            _ => LeakReaches::All,
        };
        Ok(())
    }

    fn number(&mut self, key: &'static str, least: f64, most: f64, usual: f64) -> Result<f64, Refusal> {
        let given = self.lines.within(key, least, most)?;
        Ok(self.or(key, given, usual, Value::Number))
    }

    /// What is given, or else the usual, which is then among what was assumed.
    fn or<T: Clone>(
        &mut self,
        key: &'static str,
        given: Option<T>,
        usual: T,
        value: impl FnOnce(T) -> Value,
    ) -> T {
        given.unwrap_or_else(|| {
            self.assumed.push((key, value(usual.clone())));
            usual
        })
    }
}
