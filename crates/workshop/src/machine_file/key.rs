//! Every key of a machine's file: what it is, what it takes, and which are alike.

use bellmouth_core::carburettor::DIMENSIONS;

/// A key of the file.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Key {
    /// Its name, with the unit of its value.
    pub name: &'static str,
    /// What it is.
    pub says: &'static str,
    /// What stands behind it.
    pub takes: Takes,
}

/// What stands behind a key.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Takes {
    /// One of these words.
    Word(&'static [&'static str]),
    /// A whole number from the first to the second.
    Count(u32, u32),
    /// A number from the first to the second.
    Number(f64, f64),
    /// A list of numbers, each from the first to the second.
    Numbers(f64, f64),
    /// A list of pairs: the first number of a pair, then the second, each from and to.
    Pairs((f64, f64), (f64, f64)),
}

/// The kinds of carburettor that are reckoned.
pub(super) const KINDS: &[&str] = &["constant-depression", "fixed-venturi"];

const fn key(name: &'static str, says: &'static str, takes: Takes) -> Key {
    Key { name, says, takes }
}

/// The keys that are no dimension, each after the name before it.
#[rustfmt::skip] // one key a line
const OTHERS: &[(&str, Key)] = &[
    ("", key("kind", "the kind of carburettor", Takes::Word(KINDS))),
    ("kind", key("cylinders", "how many cylinders", Takes::Count(1, 12))),
    ("cylinders", key("carburettors", "how many carburettors, each feeding as many cylinders", Takes::Count(1, 12))),
    ("stop_plate_deg", key("idle_rpm", "instead of `stop_plate_deg`: the stop is set so that the machine idles at this speed, without its leak, its screw at `screw_turns`", Takes::Number(450.0, 3500.0))),
    ("pilot_interaction", key("screw", "which way the mixture screw works: a fuel screw is richer out, an air screw leaner out", Takes::Word(&["fuel", "air"]))),
    ("screw_turns", key("screw_offsets_turns", "how much further out each carburettor's screw stands than counted", Takes::Numbers(-4.0, 4.0))),
    ("outlet_mm", key("transition_holes_mm", "the holes the plate passes as it opens, each as [distance upstream of the closed plate, bore]", Takes::Pairs((-5.0, 20.0), (0.1, 3.0)))),
    ("main_interaction", key("leak_mm2", "air leak behind the first carburettor", Takes::Number(0.0, 100.0))),
    ("leak_mm2", key("leak_reaches", "which of that carburettor's cylinders the leak reaches", Takes::Word(&["all", "one"]))),
    ("leak_reaches", key("altitude_m", "altitude; the pressure is that of the standard atmosphere", Takes::Number(-500.0, 11_000.0))),
    ("altitude_m", key("temp_c", "temperature of the air", Takes::Number(-60.0, 70.0))),
    ("temp_c", key("rh_pct", "relative humidity of the air", Takes::Number(0.0, 100.0))),
    ("rh_pct", key("hydrogen_to_carbon", "hydrogen atoms per carbon atom of the petrol without its ethanol", Takes::Number(1.0, 2.5))),
    ("hydrogen_to_carbon", key("density_15c_kg_m3", "density of the petrol without its ethanol at 15 °C", Takes::Number(653.0, 770.0))),
    ("density_15c_kg_m3", key("ethanol_pct", "share of ethanol by volume", Takes::Number(0.0, 100.0))),
    ("ethanol_pct", key("fuel_temp_c", "temperature of the fuel in the bowl", Takes::Number(-20.0, 60.0))),
];

/// Every key, in the order a file is read best.
pub fn keys() -> Vec<Key> {
    let mut all = Vec::new();
    push_after("", &mut all);
    for dimension in DIMENSIONS {
        let takes = Takes::Number(dimension.least, dimension.most);
        all.push(Key { name: dimension.key, says: dimension.says, takes });
        push_after(dimension.key, &mut all);
    }
    all
}

fn push_after(name: &str, all: &mut Vec<Key>) {
    let mut last = name;
    while let Some((_, next)) = OTHERS.iter().find(|(before, _)| *before == last) {
        all.push(*next);
        last = next.name;
    }
}

/// Less alike than this is no misspelling, of 1.
const ALIKE: f64 = 0.6;

/// The key that was meant by a name that is none.
pub(super) fn nearest(typed: &str) -> Option<&'static str> {
    let typed = typed.to_lowercase().replace('-', "_");
    keys()
        .iter()
        .map(|key| (strsim::normalized_damerau_levenshtein(&typed, key.name), key.name))
        .filter(|(alike, _)| ALIKE <= *alike)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, name)| name)
}

impl std::fmt::Display for Takes {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Takes::Word(words) => {
                let quoted: Vec<String> = words.iter().map(|word| format!("\"{word}\"")).collect();
                out.write_str(&quoted.join(" or "))
            }
            Takes::Count(least, most) => write!(out, "a whole number from {least} to {most}"),
            Takes::Number(least, most) => write!(out, "from {least} to {most}"),
            Takes::Numbers(least, most) => write!(out, "a list of numbers, each from {least} to {most}"),
            Takes::Pairs(first, second) => write!(
                out,
                "a list of pairs of numbers, the first from {} to {}, the second from {} to {}",
                first.0, first.1, second.0, second.1
            ),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_key_stands_once_and_none_is_lost() {
        let all = keys();
        assert_eq!(all.len(), DIMENSIONS.len() + OTHERS.len());
        for key in &all {
            assert_eq!(all.iter().filter(|other| other.name == key.name).count(), 1, "{}", key.name);
        }
    }

    #[test]
    fn a_misspelt_key_is_recognised_and_a_stranger_is_not() {
        assert_eq!(nearest("pilot_jet"), Some("pilot_jet_mm"));
        assert_eq!(nearest("pilot-jet-mm"), Some("pilot_jet_mm"));
        assert_eq!(nearest("cilinders"), Some("cylinders"));
        assert_eq!(nearest("colour"), None);
    }
}
