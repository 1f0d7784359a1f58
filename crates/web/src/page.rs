//! The pages: each a function from what is known to markup. Nothing here computes or stores.

pub(crate) mod before;
pub(crate) mod dial;
mod firings;
pub(crate) mod garage;
pub(crate) mod idle;
pub(crate) mod job;
pub(crate) mod left;
pub(crate) mod machine;
pub(crate) mod shell;
