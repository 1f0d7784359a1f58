//! Keys: UUIDs, made here or by a page.

use std::fmt;
use std::str::FromStr;

use rusqlite::ToSql;
use rusqlite::types::{FromSql, FromSqlError, FromSqlResult, ToSqlOutput, ValueRef};
use uuid::Uuid;

use crate::error::Error;

/// The key of a row: a UUID, written in small letters with hyphens.
///
/// Version 7 sorts by the time it was made and is what [`Id::new`] gives; any other version but the
/// nil one is taken too, since a page may have only random ones to offer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Id(Uuid);

impl Id {
    /// A new key, from the clock and the system's randomness.
    #[expect(clippy::new_without_default, reason = "each is another one; a default would hide that")]
    pub fn new() -> Id {
        Id(Uuid::now_v7())
    }
}

impl fmt::Display for Id {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.as_hyphenated().fmt(out)
    }
}

impl FromStr for Id {
    type Err = Error;

    /// Reads a key as a page sends it.
    ///
    /// # Errors
    ///
    /// [`Error::Invalid`] unless it is a UUID of 36 characters, and not the nil one.
    fn from_str(text: &str) -> Result<Id, Error> {
        match Uuid::try_parse(text) {
            Ok(uuid) if text.len() == 36 && !uuid.is_nil() => Ok(Id(uuid)),
            _ => {
                Err(Error::invalid("id", text, "a UUID of 36 characters, such as crypto.randomUUID() makes"))
            }
        }
    }
}

impl ToSql for Id {
    fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
        Ok(self.to_string().into())
    }
}

impl FromSql for Id {
    fn column_result(value: ValueRef<'_>) -> FromSqlResult<Id> {
        value.as_str()?.parse().map_err(|refused: Error| FromSqlError::Other(Box::new(refused)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_key_survives_being_written_and_read() {
        let id = Id::new();
        assert_eq!(id.to_string().parse(), Ok(id));
        assert_eq!(id.to_string().to_uppercase().parse(), Ok(id));
    }

    #[test]
    fn later_keys_sort_later() {
        let ids: Vec<Id> = (0..100).map(|_| Id::new()).collect();
        assert!(ids.is_sorted());
    }

    #[test]
    fn what_is_no_key_is_refused() {
        for text in ["", "7", "00000000-0000-0000-0000-000000000000", "018f4e5ab3c77a1e9f3d2b1c0a9e8d7c"] {
            assert!(text.parse::<Id>().is_err(), "{text:?} was taken");
        }
    }
}
