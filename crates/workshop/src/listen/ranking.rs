//! Which engine could it be? Layouts by how well they explain a sound, and what that leaves open.

use serde::Serialize;

use super::Reservation;
use crate::firings::rounded;

/// Speeds of two layouts that differ by less are the same speed, share.
const SAME_SPEED: f64 = 0.03;
/// Largest number in a factor between speeds: cylinders and strokes make no other.
const LARGEST_PART: u32 = 6;

/// One layout in the ranking.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Ranked {
    /// The layout's name; those that fire alike are one.
    pub name: String,
    /// Logarithm of how much better it explains the sound than noise does.
    pub evidence: f64,
    /// Mean speed with this layout, rpm, if an engine was heard.
    pub rpm: Option<f64>,
    /// That speed as a multiple of the best one's.
    pub speed_factor: Option<f64>,
}

/// Ranks layouts (name, evidence, mean speed), best first; those that fire alike keep the order they came in.
pub(super) fn ranked(mut rows: Vec<(String, f64, Option<f64>)>) -> Vec<Ranked> {
    rows.sort_by(|a, b| b.1.total_cmp(&a.1));
    let best = rows.first().and_then(|row| row.2);
    rows.into_iter()
        .map(|(name, evidence, rpm)| Ranked {
            name,
            evidence,
            rpm,
            speed_factor: best.zip(rpm).map(|(best, rpm)| rounded(rpm / best, 1e3)),
        })
        .collect()
}

/// What a ranking leaves open: the layout, and the factor by which the speed is uncertain with it.
pub(super) fn reservation(ranking: &[Ranked]) -> Option<Reservation> {
    let [best, next, ..] = ranking else { return None };
    let other = ranking
        .iter()
        .skip(1)
        .find(|row| row.speed_factor.is_some_and(|factor| SAME_SPEED < (factor - 1.0).abs()));
    let speed = match other.and_then(|row| Some((row, fraction(row.speed_factor?)))) {
        Some((row, factor)) => format!(
            "; the speed hangs on it: as a {} the engine would turn at {factor} that speed, so compare with a \
             tachometer once",
            row.name
        ),
        None => "; every layout that was heard gives the same speed".to_owned(),
    };
    Some(Reservation::new(
        "layout-guessed",
        format!("the layout is a guess: {} explains the sound best, {} next{speed}", best.name, next.name),
    ))
}

/// A factor as a person says it: the nearest fraction of small numbers.
fn fraction(factor: f64) -> String {
    let parts = (1..=LARGEST_PART).flat_map(|q| (1..=LARGEST_PART).map(move |p| (p, q)));
    let off = |&(p, q): &(u32, u32)| (factor * f64::from(q) / f64::from(p)).ln().abs();
    // The smallest numbers come first among equals.
    match parts.min_by(|a, b| off(a).total_cmp(&off(b)).then((a.0 + a.1).cmp(&(b.0 + b.1)))) {
        Some((p, q)) if off(&(p, q)) < SAME_SPEED => match (p, q) {
            (1, 2) => "half".to_owned(),
            (p, 1) => format!("{p} times"),
            (p, q) => format!("{p}/{q}"),
        },
        _ => format!("{factor:.2} times"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_uncertain_factor_is_named() {
        let rows = vec![
            ("single".to_owned(), 80.0, Some(1800.0)),
            ("twin-360".to_owned(), 90.0, Some(900.0)),
            ("v-twin-45".to_owned(), 70.0, None),
        ];
        let ranking = ranked(rows);
        assert_eq!(ranking[0].name, "twin-360");
        assert_eq!(ranking[1].speed_factor, Some(2.0));
        let says = reservation(&ranking).unwrap().says;
        assert!(says.contains("as a single the engine would turn at 2 times that speed"), "{says}");
    }

    #[test]
    fn factors_are_said_as_fractions() {
        assert_eq!(fraction(0.5), "half");
        assert_eq!(fraction(0.667), "2/3");
        assert_eq!(fraction(1.98), "2 times");
        assert_eq!(fraction(1.13), "1.13 times");
    }
}
