//! A sweep answered: edge, setting, next position, verdicts, curve.

use crate::caveat::{Caveat, With};
use crate::error::{Error, Result, require};
use crate::idle::answer::answer;
use crate::idle::data::gather;
use crate::idle::fit::fit;
use crate::idle::question::Question;
use crate::idle::verdict::Verdict;
use crate::idle::{Hold, Outcome};
use crate::quantity::TurnsOut;

/// A position with its interval; `low` and `high` are in turns, whichever way is richer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interval {
    /// The median.
    pub best: TurnsOut,
    /// The lower end.
    pub low: TurnsOut,
    /// The upper end.
    pub high: TurnsOut,
    /// Probability that the position lies between them.
    pub confidence: f64,
}

/// A point of the fitted curve, drift removed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CurvePoint {
    /// Position.
    pub turns: TurnsOut,
    /// Median speed, rpm.
    pub rpm: f64,
    /// Lower end of the 90 % band, rpm.
    pub low_rpm: f64,
    /// Upper end of the 90 % band, rpm.
    pub high_rpm: f64,
}

/// The answer to a sweep.
#[derive(Clone, Debug, PartialEq)]
pub struct Sweep {
    /// The lean edge: the leanest position with speed within 1 % (1 %/n for one screw of n) of the highest.
    pub edge: Interval,
    /// Where to leave the screw, by the rule.
    pub setting: TurnsOut,
    /// The same, rounded to the richer step of the eighth-turn grid.
    pub setting_on_grid: TurnsOut,
    /// Positions on the plateau to blip the throttle at, leanest first: pick-up decides last. Three to five,
    /// on the grid; empty where the plateau is narrower than half a turn.
    pub pick_up: Vec<TurnsOut>,
    /// The rule's stable name: `maker`, `margin`, `middle`, `first-to-weaken` or `pick-up`.
    pub rule_name: &'static str,
    /// The rule in words.
    pub rule_words: String,
    /// Where to hold next; `None` when enough is known.
    pub next: Option<TurnsOut>,
    /// Whether enough is known, or no position promises to help.
    pub enough: bool,
    /// The highest speed, rpm, drift removed.
    pub plateau_rpm: f64,
    /// Its standard deviation, rpm.
    pub plateau_sd_rpm: f64,
    /// Speed gained by the setting over as found, mean and standard deviation, rpm.
    pub gain_rpm: Option<(f64, f64)>,
    /// Findings, most believed first; their probabilities sum to 1.
    pub verdicts: Vec<Verdict>,
    /// The fitted curve with its 90 % band, every 1/16 turn across the holds and half a turn beyond.
    pub curve: Vec<CurvePoint>,
    /// Drift of the idle speed, rpm per minute; `None` when the holds carry no times.
    pub drift_rpm_per_min: Option<f64>,
}

/// Blocks further than this apart in speed may not share a curve, because the edge moves with the plate.
const SAME_IDLE: f64 = 0.03;

/// Answers a sweep: where the lean edge is, where to leave the screw, where to hold next.
///
/// The holds are taken in the order in which they were made. The last block whose engine ran is the
/// one asked about; earlier blocks help through an offset of their own if their idle speed is
/// within 3 %.
///
/// # Errors
///
/// [`Error::TooLittle`] when the engine ran at no hold; [`Error::OutOfDomain`] for a position
/// outside 0 to 8 turns, a speed outside 50 to 20 000 rpm, a negative error or a question that
/// means nothing.
///
/// # Example
///
/// ```
/// use bellmouth_core::idle::{Hold, Outcome, Question, sweep};
/// use bellmouth_core::quantity::{Screw, TurnsOut};
///
/// let held = [(2.5, 1055.0), (3.0, 1060.0), (2.0, 982.0), (3.5, 1048.0), (2.25, 1028.0), (2.625, 1059.0)];
/// let holds: Vec<Hold> = held
///     .iter()
///     .map(|&(turns, rpm)| Hold {
///         turns: TurnsOut(turns),
///         outcome: Outcome::Ran { rpm, se_rpm: Some(4.0) },
///         spread_rpm: None,
///         at_s: None,
///         block: 0,
///         as_found: turns == 2.5,
///     })
///     .collect();
/// let answer = sweep(&holds, &Question::new(Screw::Fuel))?.value;
/// assert!(answer.edge.low.0 < 2.45 && 2.45 < answer.edge.high.0);
/// # Ok::<(), bellmouth_core::Error>(())
/// ```
pub fn sweep(holds: &[Hold], question: &Question) -> Result<With<Sweep>> {
    question.check()?;
    check(holds)?;
    let mut caveats = Vec::new();
    let mut used: Vec<&Hold> = holds.iter().collect();
    let (mut data, mut blocks) = gather(&used, question);
    if data.readings.is_empty() {
        return Err(Error::TooLittle {
            what: "holds at which the engine ran",
            got: 0,
            needed: 1,
            remedy: "go half a turn richer and hold again",
        });
    }
    let mut posterior = fit(&data, question);
    // Blocks at another idle speed are left out, the most different first.
    while let Some((offset, rpm)) = posterior.largest_offset() {
        if rpm.abs() <= SAME_IDLE * data.level_rpm {
            break;
        }
        let block = blocks[offset];
        used.retain(|hold| hold.block != block);
        caveats.push(Caveat::new(
            "block-left-out",
            format!(
                "block {block} idled {:.0} rpm {} than the last one, more than 3 %: the edge moves with the throttle plate, so its holds were left out",
                rpm.abs(),
                if 0.0 < rpm { "faster" } else { "slower" }
            ),
        ));
        (data, blocks) = gather(&used, question);
        posterior = fit(&data, question);
    }
    Ok(answer(&used, question, &data, &posterior, caveats))
}

pub(super) fn check(holds: &[Hold]) -> Result<()> {
    for hold in holds {
        require((0.0..=8.0).contains(&hold.turns.0), "turns", hold.turns.0, "from 0 (seated) to 8")?;
        if let Outcome::Ran { rpm, se_rpm } = hold.outcome {
            require((50.0..=20_000.0).contains(&rpm), "rpm", rpm, "from 50 to 20000")?;
            if let Some(se) = se_rpm {
                require(
                    (0.0..=1_000_000.0).contains(&se),
                    "se_rpm",
                    se,
                    "zero or more, and at most 1000000",
                )?;
            }
        }
        if let Some(spread) = hold.spread_rpm {
            require((0.0..=10_000.0).contains(&spread), "spread_rpm", spread, "from 0 to 10000")?;
        }
        if let Some(at) = hold.at_s {
            require(at.is_finite(), "at_s", at, "a number of seconds")?;
        }
    }
    Ok(())
}
