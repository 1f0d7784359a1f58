//! A value of a machine's file, as it is assumed and as it is written.

use std::fmt;

use serde::Serialize;

/// A value as the file spells it; its display can stand in a file.
#[derive(Clone, Debug, PartialEq, Serialize)]
#[serde(untagged)]
pub enum Value {
    /// A word.
    Word(&'static str),
    /// A whole number.
    Count(u32),
    /// A number.
    Number(f64),
    /// A list of numbers.
    Numbers(Vec<f64>),
    /// A list of pairs.
    Pairs(Vec<[f64; 2]>),
}

impl fmt::Display for Value {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let list = |items: Vec<String>| format!("[{}]", items.join(", "));
        match self {
            Value::Word(word) => write!(out, "\"{word}\""),
            Value::Count(count) => write!(out, "{count}"),
            Value::Number(number) => write!(out, "{number}"),
            Value::Numbers(numbers) => out.write_str(&list(numbers.iter().map(f64::to_string).collect())),
            Value::Pairs(pairs) => {
                out.write_str(&list(pairs.iter().map(|[a, b]| format!("[{a}, {b}]")).collect()))
            }
        }
    }
}

/// Six significant digits: what a conversion of units left behind is no part of a number.
pub(crate) fn six_digits(value: f64) -> f64 {
    format!("{value:.5e}").parse().unwrap_or(value)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn six_digits_leave_nothing_of_a_conversion() {
        assert_eq!(six_digits(11.600_000_000_000_001), 11.6);
        assert_eq!(six_digits(0.0), 0.0);
        assert_eq!(six_digits(-1_234_567.0), -1_234_570.0);
    }
}
