//! The words by which the file calls the members of an enum.

use rusqlite::types::{FromSqlError, Type};

/// The word of a value; every member stands in its table.
pub(crate) fn word<T: PartialEq>(table: &[(T, &'static str)], value: &T) -> &'static str {
    table
        .iter()
        .find(|(member, _)| member == value)
        .map(|(_, word)| *word)
        .expect("every member stands in its table because a test walks them all")
}

/// The value of a word, when there is one.
pub(crate) fn value<T: Copy>(table: &[(T, &'static str)], word: &str) -> Option<T> {
    table.iter().find(|(_, known)| *known == word).map(|(member, _)| *member)
}

/// The value of the word in a column.
pub(crate) fn column<T: Copy>(
    table: &[(T, &'static str)],
    row: &rusqlite::Row<'_>,
    name: &str,
) -> rusqlite::Result<T> {
    let found: String = row.get(name)?;
    value(table, &found).ok_or_else(unknown)
}

/// That a column holds a word its table's check does not let in.
pub(crate) fn unknown() -> rusqlite::Error {
    rusqlite::Error::FromSqlConversionFailure(0, Type::Text, Box::new(FromSqlError::InvalidType))
}
