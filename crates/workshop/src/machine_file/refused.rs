//! What core refuses of a machine, said of its file: the line, or that it was assumed.

use bellmouth_core::Error;

use super::key::{KINDS, keys};
use super::{Reading, six_digits};
use crate::refusal::Refusal;

impl Reading<'_> {
    /// A part that this kind of carburettor, or of screw, does not have.
    pub(super) fn no_such_part(&self, key: &'static str, kind: &str) -> Refusal {
        let line = self.lines.line_of(key).unwrap_or_default();
        let other = KINDS.iter().find(|other| **other != kind).unwrap_or(&kind);
        Refusal::unanswerable(
            format!("line {line} gives `{key}`, and a {kind} carburettor has no such part"),
            format!("delete the line, or give kind = \"{other}\""),
        )
    }

    /// A refusal of core.
    pub(super) fn refused(&self, error: &Error) -> Refusal {
        let Error::OutOfDomain { argument, got, allowed } = error else {
            return Refusal::unanswerable(error.to_string(), "change the values it depends on");
        };
        // Core speaks of air and fuel in its own units, the file in the trade's.
        let (key, got, allowed) = match *argument {
            "relative_humidity" => {
                ("rh_pct", 100.0 * got, "so low that the vapour stays below the pressure of the air")
            }
            "temperature_k" => ("fuel_temp_c", got - 273.15, "from -20 to 60"),
            key => (key, *got, *allowed),
        };
        let typed = self.lines.typed(key);
        if let ("idle_rpm", Some((line, typed))) = (key, &typed) {
            return Refusal::unanswerable(
                format!(
                    "line {line}: `{key}` is {typed}, and no place of the stop gives that speed with the screw \
                     where it stands"
                ),
                "give another speed or another `screw_turns`, or `stop_plate_deg` instead",
            );
        }
        let others = self.others(key, allowed);
        let or = others.map_or(String::new(), |others| format!(", or {others}"));
        match typed {
            Some((line, typed)) => Refusal::unanswerable(
                format!("line {line}: `{key}` is {typed}, but must be {allowed}"),
                format!("give another value{or}"),
            ),
            None => Refusal::unanswerable(
                format!(
                    "`{key}` is not given, and the {} assumed for it does not fit: it must be {allowed}",
                    six_digits(got)
                ),
                format!("give `{key}`{or}"),
            ),
        }
    }

    /// The other keys that a range speaks of, and what to do about them.
    fn others(&self, key: &str, allowed: &str) -> Option<String> {
        let others: Vec<String> = keys()
            .iter()
            .filter(|other| other.name != key && other.name != "screw")
            .filter(|other| {
                allowed.split(|c: char| !c.is_alphanumeric() && c != '_').any(|word| word == other.name)
            })
            .map(|other| match self.lines.line_of(other.name) {
                Some(line) => format!("change `{}` on line {line}", other.name),
                None => {
                    let assumed = self.assumed.iter().find(|(name, _)| *name == other.name);
                    let value = assumed.map_or(String::new(), |(_, value)| format!(" ({value} was assumed)"));
                    format!("give `{}`{value}", other.name)
                }
            })
            .collect();
        (!others.is_empty()).then(|| others.join(", or "))
    }
}
