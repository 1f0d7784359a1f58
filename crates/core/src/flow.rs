//! What passes an orifice, a jet, a screw, a butterfly?
//!
//! Every element is monotone in its pressures and flows, continuous, and has a finite slope where its
//! drop is zero, so that a network of them has one answer and a bracket finds it.
//!
//! # Terms
//!
//! - *Effective area*: area times discharge coefficient, m².
//! - *Head*: the pressure that would drive an incompressible flow equally, Pa. It equals the drop
//!   where the drop is small, and stays constant once the gas is choked.

mod area;
mod gas;
mod liquid;
mod two_phase;

pub use area::{Butterfly, MixtureScrew, Tip, segment_area};
pub use gas::{Gas, critical_pressure_ratio};
pub use liquid::LiquidJet;
pub use two_phase::{homogeneous_interaction, two_phase_drop};
