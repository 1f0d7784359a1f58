//! Every computation of Bellmouth: values in, values out.
//!
//! No clock, file, socket or environment is read here, and nothing is random that the caller did
//! not seed. Each room is named for the trade and answers one question:
//!
//! | room | question |
//! |------|----------|
//! | [`air`] | what air is this? |
//! | [`fuel`] | what fuel is this? |
//! | [`flow`] | what passes an orifice, a jet, a screw, a butterfly? |
//! | [`engine`] | how much air, which torque at which mixture, and where does it idle? |
//! | [`engine::layout`] | which cylinder fires when? |
//! | [`carburettor`] | which circuit feeds what, and what does each part change? |
//! | [`sound`] | how fast is it turning, and how evenly? |
//! | [`idle`] | where should the mixture screw stand? |
//! | [`practice`] | what would a machine with hidden innards do? |
//!
//! Below them stand [`quantity`] (what a length or a turn is), [`error`] (a refusal), [`caveat`]
//! (a reservation) and [`bibliography`] (a source). A question that means nothing is an
//! [`Error`]; an answer with reservations is [`With`] its caveats.

pub mod air;
pub mod bibliography;
pub mod carburettor;
pub mod caveat;
pub mod engine;
pub mod error;
pub mod flow;
pub mod fuel;
pub mod idle;
mod numeric;
pub mod practice;
pub mod quantity;
pub mod sound;

pub use bibliography::Bibliography;
pub use caveat::{Caveat, With};
pub use error::{Error, Result};
