//! Refusals: why a computation has no answer, and what to change.

/// The result of a computation that may refuse.
pub type Result<T> = std::result::Result<T, Error>;

/// Why a computation has no answer.
///
/// Messages are lower case without a full stop, and hold the offending value, what is allowed and
/// what to change.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum Error {
    /// An argument lies outside the domain where the question means anything.
    OutOfDomain {
        /// The argument's name.
        argument: &'static str,
        /// The value given.
        got: f64,
        /// What is allowed, in words.
        allowed: &'static str,
    },
    /// There is too little of something to answer at all.
    TooLittle {
        /// What there is too little of.
        what: &'static str,
        /// How much there is.
        got: usize,
        /// How much is needed.
        needed: usize,
        /// What to do about it.
        remedy: &'static str,
    },
}

impl std::fmt::Display for Error {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Error::OutOfDomain { argument, got, allowed } => {
                write!(out, "`{argument}` is {got}, but must be {allowed}")
            }
            Error::TooLittle { what, got, needed, remedy } => {
                write!(out, "{got} {what}, but {needed} or more are needed; {remedy}")
            }
        }
    }
}

impl std::error::Error for Error {}

/// Refuses unless `holds`, which states the condition positively so that NaN fails it too.
///
/// # Errors
///
/// [`Error::OutOfDomain`] when the condition does not hold.
pub fn require(holds: bool, argument: &'static str, got: f64, allowed: &'static str) -> Result<()> {
    if holds { Ok(()) } else { Err(Error::OutOfDomain { argument, got, allowed }) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_refusal_reads_as_a_sentence() {
        let rpm = f64::NAN;
        let refused = require(0.0 <= rpm, "rpm", rpm, "zero or more").unwrap_err();
        assert_eq!(refused.to_string(), "`rpm` is NaN, but must be zero or more");
        let few = Error::TooLittle { what: "holds", got: 0, needed: 1, remedy: "take a first hold" };
        assert_eq!(few.to_string(), "0 holds, but 1 or more are needed; take a first hold");
    }
}
