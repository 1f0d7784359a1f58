//! A machine whose innards are hidden: to practise on, and to hold the bench to account.
//!
//! Two populations are drawn from a seed. *Network* machines spread every unmeasured constant of the
//! network over its believable range. *Alien* machines break its assumptions: another law of torque,
//! another shape of screw, a fixed venturi, several carburettors that differ, a leak into one
//! cylinder, turns miscounted. What sets a screw may know neither; `tidy` checks that this room does
//! not know the one that does.
//!
//! A machine that is [`Started`] runs in time and is heard, while its screw is turned.
//!
//! A drawn machine is a [row of numbers](Hidden::row) with [names](COLUMNS), rounded before it is
//! built, so that a table of rows is the population and a curve is computed when it is asked for.

pub mod bystanders;
mod draw;
mod hidden;
mod started;
pub mod voice;

pub use crate::numeric::Dice;
pub use draw::{Population, draw};
pub use hidden::{COLUMNS, Hidden};
pub use started::Started;
