//! Where an engine idles: how long that takes, beside the reference script in the same run.
//!
//! The script is `crates/core/tests/oracle/reference_network.py`; a virtual environment for it is made
//! below `target` the first time, with the versions its README names.

use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Instant;

use bellmouth_core::air::Air;
use bellmouth_core::carburettor::{Carburettor, Fitted, Machine, Network};
use bellmouth_core::fuel::{Fuel, Petrol};
use bellmouth_core::practice::{Population, draw};

/// The packages of the reference script, as its README names them.
const PACKAGES: [&str; 2] = ["numpy==2.4.6", "scipy==1.17.1"];

fn main() {
    let air = Air::at_altitude(0.0, 298.15, 0.0).expect("an ordinary day");
    let fuel = Petrol::default().at(298.15).expect("ordinary petrol");
    let machine = Machine::new(Carburettor::constant_depression());
    let ours = [
        ("operating_point_at_idle", operating_point(&machine, &air, &fuel)),
        ("idle_equilibrium", equilibrium(&machine, &air, &fuel)),
        ("idle_sweep_100", sweep_100(&machine, &air, &fuel)),
    ];
    let script = reference();
    println!("{:<26} {:>12} {:>14} {:>8}", "one core", "here, ms", "script, ms", "times");
    for (name, seconds) in ours {
        let theirs = script.iter().find(|(known, _)| known == name).map(|(_, seconds)| *seconds);
        let (there, times) = theirs.map_or(("–".to_owned(), "–".to_owned()), |theirs| {
            (format!("{:.2}", 1e3 * theirs), format!("{:.0}", theirs / seconds))
        });
        println!("{name:<26} {:>12.4} {there:>14} {times:>8}", 1e3 * seconds);
    }
    drawn();
}

/// Median seconds of some work, which is done until half a second has passed.
fn median_seconds(mut work: impl FnMut()) -> f64 {
    work();
    let begun = Instant::now();
    let mut taken = Vec::new();
    while begun.elapsed().as_secs_f64() < 0.5 {
        let start = Instant::now();
        work();
        taken.push(start.elapsed().as_secs_f64());
    }
    taken.sort_by(f64::total_cmp);
    taken[taken.len() / 2]
}

/// Every pressure and flow at a speed, manifold pressure found.
fn operating_point(machine: &Machine, air: &Air, fuel: &Fuel) -> f64 {
    let running = machine.running(air, fuel).expect("the machine can be reckoned");
    let fitted = Fitted { displacement_m3: 1.2e-3, leak_m2: 0.0, plate_rad: machine.carburettor.stop_rad };
    let network = Network::new(&machine.carburettor, &fitted, air, fuel).expect("it can be reckoned");
    median_seconds(|| {
        let held = running.at(1000.0);
        let state = network.state(held.manifold_pa, 1000.0);
        assert!((state.air_kg_s() / held.air_kg_s - 1.0).abs() < 1e-6, "air in is air drawn");
    })
}

fn equilibrium(machine: &Machine, air: &Air, fuel: &Fuel) -> f64 {
    median_seconds(|| {
        let idle = machine.idle(2.5, air, fuel).expect("the machine can be reckoned");
        let rpm = idle.operation().expect("it idles").rpm;
        assert!((rpm - 1050.0).abs() < 10.0, "{rpm} rpm");
    })
}

/// The positions of the script: ½ to 6 turns, stalls among them.
fn sweep_100(machine: &Machine, air: &Air, fuel: &Fuel) -> f64 {
    median_seconds(|| {
        let ran = (0..100)
            .map(|i| 0.5 + 5.5 * f64::from(i) / 99.0)
            .filter(|&turns| machine.idle(turns, air, fuel).is_ok_and(|idle| idle.operation().is_some()))
            .count();
        assert!((75..95).contains(&ran), "{ran} of 100 positions idle");
    })
}

/// Drawing both populations, and one curve of each machine.
fn drawn() {
    for (name, population) in [("network", Population::Network), ("alien", Population::Alien)] {
        let begun = Instant::now();
        let machines = draw(population, 1, 200).expect("machines can be drawn");
        let drawing = begun.elapsed().as_secs_f64() / 200.0;
        let begun = Instant::now();
        let edges = machines
            .iter()
            .filter(|hidden| hidden.idle_curve().is_ok_and(|curve| curve.lean_edge_turns().is_some()))
            .count();
        let curve = begun.elapsed().as_secs_f64() / 200.0;
        println!(
            "{name:<8} a machine drawn in {:.1} ms, its curve of 97 positions in {:.1} ms; {edges} of 200 have an edge",
            1e3 * drawing,
            1e3 * curve
        );
    }
}

/// Seconds by name, as the script prints them; empty where no interpreter can be had.
fn reference() -> Vec<(String, f64)> {
    let script =
        Path::new(env!("CARGO_MANIFEST_DIR")).join("../crates/core/tests/oracle/reference_network.py");
    let python = match environment() {
        Ok(python) => python,
        Err(why) => {
            println!("the reference script is left out: {why}");
            return Vec::new();
        }
    };
    let output = Command::new(python).arg(script).arg("time").output();
    match output {
        Ok(output) if output.status.success() => String::from_utf8_lossy(&output.stdout)
            .lines()
            .filter_map(|line| {
                let (name, seconds) = line.split_once(' ')?;
                Some((name.to_owned(), seconds.trim().parse().ok()?))
            })
            .collect(),
        Ok(output) => {
            println!("the reference script failed: {}", String::from_utf8_lossy(&output.stderr));
            Vec::new()
        }
        Err(error) => {
            println!("the reference script could not be started: {error}");
            Vec::new()
        }
    }
}

/// The interpreter of the script's virtual environment, made where it is missing.
fn environment() -> Result<PathBuf, String> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("target/reference-env");
    let python = folder.join("bin/python");
    if !python.exists() {
        run(Command::new("python3").args(["-m", "venv"]).arg(&folder))?;
    }
    let installed = Command::new(&python).args(["-c", "import numpy, scipy"]).output();
    if !installed.is_ok_and(|output| output.status.success()) {
        run(Command::new(&python).args(["-m", "pip", "install", "-q"]).args(PACKAGES))?;
    }
    Ok(python)
}

fn run(command: &mut Command) -> Result<(), String> {
    let output = command.output().map_err(|error| format!("{command:?}: {error}"))?;
    if output.status.success() { Ok(()) } else { Err(String::from_utf8_lossy(&output.stderr).into_owned()) }
}
