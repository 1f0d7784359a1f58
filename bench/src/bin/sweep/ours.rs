//! Following the advice of `core::idle` until it says enough, nine holds at most.

use bellmouth_core::idle::{self, Hold, Question, StallCause};
use bellmouth_core::quantity::TurnsOut;

use crate::machines::Subject;
use crate::person::{Person, Read};
use crate::score::Outcome;

/// Holds after which a sweep is scored, whether or not it calls itself enough.
const MOST_HOLDS: usize = 9;

pub(crate) fn sweep(subject: &Subject, person: &mut Person) -> Outcome {
    let question = Question::new(person.screw());
    let mut holds: Vec<Hold> = Vec::new();
    let mut to = person.found_turns;
    loop {
        let at_s = person.clock_s;
        let (outcome, spread_rpm) = match person.hold(to) {
            Read::Ran { rpm, se_rpm, spread_rpm } => {
                (idle::Outcome::Ran { rpm, se_rpm: Some(se_rpm) }, Some(spread_rpm))
            }
            Read::Died { lean } => {
                let cause = match lean {
                    Some(true) => StallCause::Lean,
                    Some(false) => StallCause::Rich,
                    None => StallCause::Unknown,
                };
                (idle::Outcome::Stalled(cause), None)
            }
        };
        holds.push(Hold {
            turns: TurnsOut(to),
            outcome,
            spread_rpm,
            at_s: Some(at_s),
            block: 0,
            as_found: holds.is_empty(),
        });
        match idle::sweep(&holds, &question) {
            Ok(answered) => {
                let sweep = answered.value;
                match sweep.next {
                    Some(next) if holds.len() < MOST_HOLDS => to = next.0,
                    _ => {
                        let mut outcome = Outcome::of(subject, person, sweep.edge.best.0);
                        outcome.interval = Some((sweep.edge.low.0, sweep.edge.high.0));
                        outcome.enough = Some(sweep.enough);
                        outcome.verdict = sweep.verdicts.first().map(|verdict| verdict.name);
                        return outcome;
                    }
                }
            }
            // It died at the first hold: the screw goes back to where it was found, as anyone would.
            Err(_) if holds.len() < MOST_HOLDS => to = person.found_turns,
            Err(_) => return Outcome::of(subject, person, person.found_turns),
        }
    }
}
