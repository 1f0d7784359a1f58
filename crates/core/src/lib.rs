//! Every computation of Bellmouth: values in, values out.
//!
//! No clock, file, socket or environment is read here, and nothing is random that the caller did
//! not seed. Each room is named for the trade and answers one question:
//!
//! | room | question |
//! |------|----------|
//! | [`engine::layout`] | which cylinder fires when? |
//! | [`sound`] | how fast is it turning, and how evenly? |
//! | [`idle`] | where should the mixture screw stand? |
//!
//! Below them stand [`quantity`] (what a length or a turn is), [`error`] (a refusal), [`caveat`]
//! (a reservation) and [`bibliography`] (a source). A question that means nothing is an
//! [`Error`]; an answer with reservations is [`With`] its caveats.

pub mod bibliography;
pub mod caveat;
pub mod engine;
pub mod error;
pub mod idle;
pub mod quantity;
pub mod sound;

pub use bibliography::Bibliography;
pub use caveat::{Caveat, With};
pub use error::{Error, Result};
