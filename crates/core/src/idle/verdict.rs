//! What the sweep says of the machine: each finding with the share of belief it has earned.
//!
//! Everything is judged in richness. The words name the direction of the screw last.

use crate::idle::posterior::{FINDINGS, Finding, PRIOR};
use crate::idle::question::Question;
use crate::quantity::Screw;

/// A finding, the share of belief it has earned, and why.
#[derive(Clone, Debug, PartialEq)]
pub struct Verdict {
    /// Stable name: `normal`, `outside-window`, `starved`, `flooded`, `no-effect`,
    /// `hangs-or-hunts` or `cannot-tell-yet`.
    pub name: &'static str,
    /// Share of belief, 0 to 1; all verdicts together are 1.
    pub probability: f64,
    /// Readings of the finding, commonest cause first, and what to do.
    pub because: String,
}

/// Verdicts, most believed first.
///
/// A finding earns what its probability *p* has risen above its prior *π*, as a share of what it
/// could have risen:
///
/// ```text
/// q = max(0, (p − π) / (1 − π)),   cannot-tell-yet = 1 − Σ q
/// ```
///
/// so that a sweep that has told nothing acquits and convicts nobody, and larger reading errors
/// move every verdict back towards that state. (With errors as large as what the screw does,
/// nearly flat rivals explain the readings, and are believed for a while.) Findings that differ
/// in one respect only are judged together first, then apart: a plateau, and whether it lies inside
/// the window; no curve, and whether the speed wanders. Each step is earned by itself, and their
/// product counts.
pub(super) fn verdicts(question: &Question, findings: &[f64; 6]) -> Vec<Verdict> {
    // Normal or outside the window, starved, flooded, without effect or unsteady.
    let groups: [&[usize]; 4] = [&[0, 1], &[2], &[3], &[4, 5]];
    let mut share = [0.0; 6];
    for group in groups {
        let sum = |of: &[f64; 6]| group.iter().map(|&index| of[index]).sum::<f64>();
        let (together, prior) = (sum(findings), sum(&PRIOR));
        for &index in group {
            let within = if 1 < group.len() {
                earned(findings[index] / together.max(1e-300), PRIOR[index] / prior)
            } else {
                1.0
            };
            share[index] = earned(together, prior) * within;
        }
    }
    let mut told: Vec<Verdict> = FINDINGS
        .iter()
        .enumerate()
        .map(|(index, &finding)| Verdict {
            name: name(finding),
            probability: share[index],
            because: because(question, finding),
        })
        .collect();
    let told_sum: f64 = told.iter().map(|verdict| verdict.probability).sum();
    told.push(Verdict {
        name: "cannot-tell-yet",
        probability: (1.0 - told_sum).max(0.0),
        because:
            "the holds so far fit several findings about as well; take the next hold. Which way the screw \
                  works cannot be read from a plateau: only a clear fall on one side tells lean from rich"
                .to_owned(),
    });
    told.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    told
}

/// How far a probability has risen above its prior, of what it could have risen.
fn earned(probability: f64, prior: f64) -> f64 {
    ((probability - prior) / (1.0 - prior)).max(0.0)
}

fn name(finding: Finding) -> &'static str {
    match finding {
        Finding::Normal => "normal",
        Finding::OutsideWindow => "outside-window",
        Finding::Starved => "starved",
        Finding::Flooded => "flooded",
        Finding::NoEffect => "no-effect",
        Finding::Unsteady => "hangs-or-hunts",
    }
}

const NO_JET_YET: &str = "do not change a jet on a carburettor that has not been cleaned since it stood";
const NO_LEAK_VERDICT: &str =
    "a sweep alone can neither show nor rule out an air leak: check for one with the engine off";

fn because(question: &Question, finding: Finding) -> String {
    let (richest, leanest) = match question.screw {
        Screw::Fuel => ("farthest out", "nearly in"),
        Screw::Air => ("nearly in", "farthest out"),
    };
    let window = match (question.base_turns, question.screw) {
        (Some(_), _) => "the maker's base ± 1 turn",
        (None, Screw::Fuel) => "1 to 3 turns out, a guess from common practice",
        (None, Screw::Air) => "½ to 2½ turns out, a guess from common practice",
    };
    match finding {
        Finding::Normal => {
            format!("the lean edge and the plateau lie where such screws stand ({window}); {NO_LEAK_VERDICT}")
        }
        Finding::OutsideWindow => format!(
            "there is a plateau, but outside {window}; with good pick-up that is not a fault, and no reason to buy a jet; {NO_LEAK_VERDICT}"
        ),
        Finding::Starved => format!(
            "speed still gains at the richest position ({richest}). Commonest first: pilot jet partly blocked; \
             pilot jet too small; air leak; outlet blocked. The sweep cannot tell a leak from a small jet: clean first \
             ({NO_JET_YET}), then check for a leak with the engine off"
        ),
        Finding::Flooded => format!(
            "speed is best at the leanest position ({leanest}) or beyond it. Commonest first: pilot air bleed blocked; \
             choke or tap leaking fuel; pilot jet too large; float valve weeping; air filter blocked. Clean first: {NO_JET_YET}"
        ),
        Finding::NoEffect => {
            "the screw changes nothing anywhere. Commonest first: screw tip, passage or holes blocked; \
             throttle plate open past its holes (idle raised with the stop); main circuit feeding at idle"
                .to_owned()
        }
        Finding::Unsteady => {
            "speed wanders whatever the screw does. Commonest first: advance sticking; cable or stop; \
             air leak; slide sticking. Find that before the screw is judged"
                .to_owned()
        }
    }
}
