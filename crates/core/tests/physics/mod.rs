//! Machines to hold the laws against: drawn from both populations, with the air and fuel of their day.

use bellmouth_core::air::Air;
use bellmouth_core::carburettor::{Machine, Network};
use bellmouth_core::engine::Running;
use bellmouth_core::fuel::Fuel;
use bellmouth_core::practice::{Population, draw};

/// A machine and its day.
// Not every file of tests turns a screw.
#[allow(dead_code)]
pub(crate) struct Drawn {
    pub(crate) machine: Machine,
    pub(crate) air: Air,
    pub(crate) fuel: Fuel,
}

#[allow(dead_code)]
impl Drawn {
    /// The same machine with every screw at a position, turns out.
    pub(crate) fn turned(&self, turns: f64) -> Running<Network> {
        let mut machine = self.machine.clone();
        machine.carburettor.pilot.turns = turns;
        machine.running(&self.air, &self.fuel).expect("a drawn machine can be built")
    }
}

/// So many machines of each population, the same on every run.
pub(crate) fn drawn(seed: u64, of_each: usize) -> Vec<Drawn> {
    [Population::Network, Population::Alien]
        .into_iter()
        .flat_map(|population| draw(population, seed, of_each).expect("machines that can be built"))
        .map(|hidden| {
            let (machine, air, fuel) = hidden.opened();
            Drawn { machine: machine.clone(), air: *air, fuel: *fuel }
        })
        .collect()
}
