//! The habits of the trade, on the same machines with the same readings.

use bellmouth_core::quantity::{Screw, TurnsOut};

use crate::machines::Subject;
use crate::person::{Person, Read};
use crate::score::Outcome;

/// Nobody turns a screw further out than this, turns: the spring does not hold it.
const MOST_TURNS: f64 = 4.5;
/// The grid, turns.
const STEP_TURNS: f64 = 0.125;
/// The engine is labouring below this share of the fastest: nobody goes on in that direction.
const LABOURS: f64 = 0.9;
/// A gain that is called a difference, rpm: what a good ear or a needle on a dial tells apart.
const DIFFERENCE_RPM: f64 = 15.0;

/// One eighth of a turn towards rich, in turns.
fn richer(screw: Screw) -> f64 {
    let sign = screw.richness(TurnsOut(1.0)).0 - screw.richness(TurnsOut(0.0)).0;
    STEP_TURNS * sign.signum()
}

/// Speeds at every eighth of a turn, from as found to rich, then to lean, each until it labours or dies.
fn every_eighth(person: &mut Person) -> Vec<(f64, f64)> {
    let mut read: Vec<(f64, f64)> = Vec::new();
    let step = richer(person.screw());
    for direction in [step, -step] {
        let mut turns = if read.is_empty() { person.found_turns } else { person.found_turns + direction };
        while (0.0..=MOST_TURNS).contains(&turns) {
            let Read::Ran { rpm, .. } = person.hold(turns) else { break };
            read.push((turns, rpm));
            if rpm < LABOURS * fastest(&read).1 {
                break;
            }
            turns += direction;
        }
    }
    read
}

fn fastest(read: &[(f64, f64)]) -> (f64, f64) {
    read.iter().copied().max_by(|a, b| a.1.total_cmp(&b.1)).unwrap_or((0.0, 0.0))
}

pub(crate) fn every_eighth_fastest(subject: &Subject, person: &mut Person) -> Outcome {
    let read = every_eighth(person);
    Outcome::of(subject, person, fastest(&read).0)
}

pub(crate) fn every_eighth_within(subject: &Subject, person: &mut Person) -> Outcome {
    let read = every_eighth(person);
    let enough = 0.99 * fastest(&read).1;
    let screw = person.screw();
    let leanest = read
        .iter()
        .filter(|(_, rpm)| enough <= *rpm)
        .min_by(|a, b| screw.richness(TurnsOut(a.0)).0.total_cmp(&screw.richness(TurnsOut(b.0)).0))
        .map_or(person.found_turns, |place| place.0);
    Outcome::of(subject, person, leanest)
}

/// The golden section of the screw's reach on what was read, until an eighth is left.
pub(crate) fn golden_section(subject: &Subject, person: &mut Person) -> Outcome {
    const GOLDEN: f64 = 0.618_033_988_749_894_9;
    let mut speed = |turns: f64| match person.hold(turns) {
        Read::Ran { rpm, .. } => rpm,
        Read::Died { .. } => 0.0,
    };
    let (mut low, mut high) = (0.0, MOST_TURNS);
    let (mut a, mut b) = (high - GOLDEN * (high - low), low + GOLDEN * (high - low));
    let (mut at_a, mut at_b) = (speed(a), speed(b));
    while STEP_TURNS < high - low {
        if at_a < at_b {
            (low, a, at_a) = (a, b, at_b);
            b = low + GOLDEN * (high - low);
            at_b = speed(b);
        } else {
            (high, b, at_b) = (b, a, at_a);
            a = high - GOLDEN * (high - low);
            at_a = speed(a);
        }
    }
    Outcome::of(subject, person, if at_a < at_b { b } else { a })
}

/// In towards lean by quarters until it clearly falls, then back out by eighths until that makes no difference.
pub(crate) fn until_no_difference(subject: &Subject, person: &mut Person) -> Outcome {
    let step = richer(person.screw());
    let mut turns = person.found_turns;
    let mut top: f64 = 0.0;
    let mut before = 0.0;
    while let Read::Ran { rpm, .. } = person.hold(turns) {
        top = top.max(rpm);
        before = rpm;
        if rpm < top - 2.0 * DIFFERENCE_RPM {
            break;
        }
        let leaner = turns - 2.0 * step;
        if !(0.0..=MOST_TURNS).contains(&leaner) {
            break;
        }
        turns = leaner;
    }
    loop {
        let next = turns + step;
        if !(0.0..=MOST_TURNS).contains(&next) {
            break;
        }
        turns = next;
        let Read::Ran { rpm, .. } = person.hold(turns) else { continue };
        if rpm < before + DIFFERENCE_RPM {
            break;
        }
        before = rpm;
    }
    Outcome::of(subject, person, turns)
}
