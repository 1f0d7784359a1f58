//! A refusal a person can act on: what is wrong, where, and what to do.

pub use bellmouth_logbook::in_words;
use serde::Serialize;

/// Whose fault it is, and with it the exit status of a command.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fault {
    /// The command or request was misused: exit 2.
    Misused,
    /// This input cannot be answered: exit 3.
    Unanswerable,
    /// Our own fault: exit 1.
    Ours,
}

/// Why there is no answer, and the remedy.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Refusal {
    /// Whose fault it is.
    #[serde(skip)]
    pub fault: Fault,
    /// What is wrong: the offending value and its place (line, second, field).
    pub message: String,
    /// What to do about it.
    pub remedy: String,
}

impl Refusal {
    /// A refusal of a misused command or request.
    pub fn misused(message: impl Into<String>, remedy: impl Into<String>) -> Self {
        Refusal { fault: Fault::Misused, message: message.into(), remedy: remedy.into() }
    }

    /// A refusal of an input that cannot be answered.
    pub fn unanswerable(message: impl Into<String>, remedy: impl Into<String>) -> Self {
        Refusal { fault: Fault::Unanswerable, message: message.into(), remedy: remedy.into() }
    }

    /// A failure of our own.
    pub fn ours(message: impl Into<String>, remedy: impl Into<String>) -> Self {
        Refusal { fault: Fault::Ours, message: message.into(), remedy: remedy.into() }
    }

    /// The exit status of a command that ends with this refusal.
    pub fn exit_status(&self) -> u8 {
        match self.fault {
            Fault::Ours => 1,
            Fault::Misused => 2,
            Fault::Unanswerable => 3,
        }
    }
}

impl std::fmt::Display for Refusal {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(out, "{}; {}", self.message, self.remedy)
    }
}

impl std::error::Error for Refusal {}

impl From<bellmouth_logbook::Error> for Refusal {
    fn from(error: bellmouth_logbook::Error) -> Refusal {
        use bellmouth_logbook::Error;
        let fault = match &error {
            Error::Invalid { .. } | Error::Exists { .. } => Fault::Misused,
            Error::Unforeseen { .. } => Fault::Ours,
            _ => Fault::Unanswerable,
        };
        Refusal { fault, message: error.to_string(), remedy: error.remedy() }
    }
}
