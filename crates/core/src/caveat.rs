//! Reservations: an answer that stands, and what to keep in mind with it.

/// One reservation about an answer.
///
/// `name` is stable and short, for tests and pages to look for; `says` is the sentence a person
/// reads, with the numbers that matter in it.
#[derive(Clone, Debug, PartialEq)]
pub struct Caveat {
    /// A stable name in kebab case, such as `position-error`.
    pub name: &'static str,
    /// The sentence.
    pub says: String,
}

impl Caveat {
    /// A reservation by its stable name and its sentence.
    pub fn new(name: &'static str, says: impl Into<String>) -> Self {
        Caveat { name, says: says.into() }
    }
}

/// A value and the reservations that travel with it.
#[derive(Clone, Debug, PartialEq)]
pub struct With<T> {
    /// The answer.
    pub value: T,
    /// What to keep in mind; a page and a command show every one.
    pub caveats: Vec<Caveat>,
}

impl<T> With<T> {
    /// A value without reservations.
    pub fn plain(value: T) -> Self {
        With { value, caveats: Vec::new() }
    }
}
