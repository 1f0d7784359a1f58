//! The pages: each a function from what is known to markup. Nothing here computes or stores.

pub(crate) mod shell;
