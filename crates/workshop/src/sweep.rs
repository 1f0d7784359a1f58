//! A sweep on paper: a table of holds read, answered, and said.

mod table;

pub(crate) use table::other_than_text;
pub use table::{Table, read};

use std::path::Path;

use bellmouth_core::With;
use bellmouth_core::idle::{Cooling, Question, Rule, Sweep};
use bellmouth_core::quantity::{Screw, TurnsOut};
use serde::Serialize;

use crate::refusal::{Fault, Refusal, in_words};

/// The answer to a sweep as JSON.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SweepAnswer {
    /// The lean edge, turns out from lightly seated.
    pub edge_turns: f64,
    /// Lower end of its interval.
    pub edge_low_turns: f64,
    /// Upper end of its interval.
    pub edge_high_turns: f64,
    /// Probability that the edge lies in the interval.
    pub confidence: f64,
    /// Where to leave the screw, not rounded.
    pub set_turns: f64,
    /// The rule behind it: `maker`, `margin` or `middle`.
    pub set_rule: &'static str,
    /// Where to blip the throttle at last, leanest first: the pick-up decides.
    pub pick_up_turns: Vec<f64>,
    /// Where to hold next.
    pub next_turns: Option<f64>,
    /// Whether enough is known.
    pub enough: bool,
    /// The highest speed, drift removed.
    pub plateau_rpm: f64,
    /// Speed gained over as found; `None` where no hold is marked as found.
    pub gain_rpm: Option<f64>,
    /// Findings, most believed first.
    pub verdicts: Vec<SweepVerdict>,
    /// Name of the first.
    pub verdict: &'static str,
    /// Reservations.
    pub caveats: Vec<SweepCaveat>,
}

/// A finding as JSON.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SweepVerdict {
    /// Stable name.
    pub name: &'static str,
    /// Share of belief.
    pub probability: f64,
    /// Readings of it, and what to do.
    pub because: String,
}

/// A reservation as JSON.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct SweepCaveat {
    /// Stable name.
    pub name: &'static str,
    /// The sentence.
    pub says: String,
}

/// Rounds to what a reader can use, so that the last digits do not pretend.
fn thousandths(x: f64) -> f64 {
    (x * 1000.0).round() / 1000.0 + 0.0
}

impl From<&With<Sweep>> for SweepAnswer {
    fn from(answered: &With<Sweep>) -> Self {
        let sweep = &answered.value;
        SweepAnswer {
            edge_turns: thousandths(sweep.edge.best.0),
            edge_low_turns: thousandths(sweep.edge.low.0),
            edge_high_turns: thousandths(sweep.edge.high.0),
            confidence: sweep.edge.confidence,
            set_turns: thousandths(sweep.setting.0),
            set_rule: sweep.rule_name,
            pick_up_turns: sweep.pick_up.iter().map(|place| place.0).collect(),
            next_turns: sweep.next.map(|next| next.0),
            enough: sweep.enough,
            plateau_rpm: thousandths(sweep.plateau_rpm),
            gain_rpm: sweep.gain_rpm.map(|(mean, _)| thousandths(mean)),
            verdicts: sweep
                .verdicts
                .iter()
                .map(|verdict| SweepVerdict {
                    name: verdict.name,
                    probability: verdict.probability,
                    because: verdict.because.clone(),
                })
                .collect(),
            verdict: sweep.verdicts.first().map_or("cannot-tell-yet", |first| first.name),
            caveats: answered
                .caveats
                .iter()
                .map(|caveat| SweepCaveat { name: caveat.name, says: caveat.says.clone() })
                .collect(),
        }
    }
}

/// What was typed about the machine; [`Asked::question`] says what it means.
#[derive(Clone, Copy, Debug)]
pub struct Asked {
    /// Which way the screw works.
    pub screw: Screw,
    /// What cools the engine.
    pub cooling: Cooling,
    /// Screws, of which one is turned.
    pub carburettors: u32,
    /// The rule by name; `None`: the maker's where a drop is given, pick-up where that is, else the margin.
    pub rule: Option<RuleName>,
    /// The maker's drop, rpm.
    pub drop_rpm: Option<f64>,
    /// The maker's way back, turns.
    pub back_out_turns: Option<f64>,
    /// Where it picked up best, turns.
    pub picked_up_turns: Option<f64>,
    /// The maker's base position, turns.
    pub base_turns: Option<f64>,
    /// The floor speed, rpm.
    pub floor_rpm: Option<f64>,
}

/// A rule by its name.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RuleName {
    /// The maker's procedure.
    Maker,
    /// The edge plus a margin.
    Margin,
    /// The middle of the plateau.
    Middle,
    /// The margin from where the first of the cylinders weakens.
    FirstToWeaken,
    /// Where it picked up best.
    PickUp,
}

/// Turns back out where the maker's are not given (common practice, no source: ¾ to 1).
const BACK_OUT_TURNS: f64 = 0.75;

impl Asked {
    /// The question meant.
    ///
    /// # Errors
    ///
    /// A misuse where a rule lacks what it goes by, or that is given for another rule.
    pub fn question(&self) -> Result<Question, Refusal> {
        if let (
            Some(turns),
            Some(RuleName::Maker | RuleName::Margin | RuleName::Middle | RuleName::FirstToWeaken),
        ) = (self.picked_up_turns, self.rule)
        {
            return Err(Refusal::misused(
                format!(
                    "{turns} turns was given as where it picked up best, but the rule chosen does not use it"
                ),
                "choose --rule pick-up, or leave --picked-up-turns out",
            ));
        }
        if let (None, Some(turns), None) = (self.rule, self.picked_up_turns, self.drop_rpm) {
            return Asked { rule: Some(RuleName::PickUp), picked_up_turns: Some(turns), ..*self }.question();
        }
        let rule = match (self.rule, self.drop_rpm) {
            (None | Some(RuleName::Maker), Some(drop_rpm)) => {
                Rule::Maker { drop_rpm, back_out_turns: self.back_out_turns.unwrap_or(BACK_OUT_TURNS) }
            }
            (Some(RuleName::Maker), None) => {
                return Err(Refusal::misused(
                    "the maker's rule needs the maker's drop in speed, and none was given",
                    "add --drop-rpm with the figure from the workshop manual, or choose --rule margin",
                ));
            }
            (
                Some(RuleName::Margin | RuleName::Middle | RuleName::FirstToWeaken | RuleName::PickUp),
                Some(drop),
            ) => {
                return Err(Refusal::misused(
                    format!("a drop of {drop} rpm was given, but the rule chosen does not use one"),
                    "choose --rule maker, or leave --drop-rpm out",
                ));
            }
            (Some(RuleName::PickUp), None) => {
                let turns = self.picked_up_turns.ok_or_else(|| {
                    Refusal::misused(
                        "pick-up decides, and where it picked up best was not given",
                        "blip it at the positions that the sweep names and add --picked-up-turns with the best, or choose --rule margin",
                    )
                })?;
                Rule::PickUp { turns: TurnsOut(turns) }
            }
            (Some(RuleName::Middle), None) => Rule::Middle,
            (Some(RuleName::FirstToWeaken), None) => Rule::FirstToWeaken,
            (None | Some(RuleName::Margin), None) => Rule::Margin,
        };
        Ok(Question {
            cooling: self.cooling,
            carburettors: self.carburettors,
            rule,
            shares_intake: rule == Rule::FirstToWeaken,
            base_turns: self.base_turns,
            floor_rpm: self.floor_rpm,
            ..Question::new(self.screw)
        })
    }
}

/// Reads a table and answers it.
///
/// # Errors
///
/// A misuse where the question means nothing; otherwise an input that cannot be answered, with the
/// offending value, its place and what to do.
pub fn answer(bytes: &[u8], asked: &Asked) -> Result<With<Sweep>, Refusal> {
    let question = asked.question()?;
    let Table { holds, caveats } = read(bytes)?;
    let mut answered =
        bellmouth_core::idle::sweep(&holds, &question).map_err(|refused| refuse(&refused, &question))?;
    answered.caveats.extend(caveats);
    if asked.drop_rpm.is_some() && asked.back_out_turns.is_none() {
        answered.caveats.push(bellmouth_core::Caveat::new(
            "back-out-assumed",
            format!(
                "the way back out was not given: {} turn was assumed (common practice is ¾ to 1)",
                TurnsOut(BACK_OUT_TURNS)
            ),
        ));
    }
    Ok(answered)
}

/// Reads a file and answers it.
///
/// # Errors
///
/// As [`answer`], with the file's name before what is wrong with the table; a file that cannot be read.
pub fn answer_file(path: &Path, asked: &Asked) -> Result<With<Sweep>, Refusal> {
    let bytes = std::fs::read(path).map_err(|error| {
        Refusal::unanswerable(
            format!("{} cannot be read ({})", path.display(), in_words(&error)),
            "check the name, and that it is a file that may be read",
        )
    })?;
    answer(&bytes, asked).map_err(|refusal| match refusal.fault {
        Fault::Unanswerable => {
            Refusal { message: format!("{}: {}", path.display(), refusal.message), ..refusal }
        }
        _ => refusal,
    })
}

/// A refusal of core as the workshop's: holds were checked by the table, so what is left is the question.
fn refuse(refused: &bellmouth_core::Error, question: &Question) -> Refusal {
    match refused {
        bellmouth_core::Error::TooLittle { what, got, remedy, .. } => {
            Refusal::unanswerable(format!("the table has {got} {what}"), *remedy)
        }
        bellmouth_core::Error::OutOfDomain { argument: "base_turns", .. } => Refusal::misused(
            refused.to_string(),
            format!("give --base-turns from {} to {}", question.least_turns, question.most_turns),
        ),
        bellmouth_core::Error::OutOfDomain { argument, .. } => {
            let typed = argument.replace('_', "-");
            Refusal::misused(refused.to_string(), format!("give --{typed} a value inside that range"))
        }
        _ => Refusal::misused(refused.to_string(), "change what was typed; see `bellmouth sweep --help`"),
    }
}

/// The caution that stands under every setting.
pub const CAUTION: &str = "A plug over a mixture screw may be an emissions seal: removing it can be unlawful. \
     The sweep measures neither CO nor ignition timing.";

/// The answer in a person's words, a line each.
pub fn words(answered: &With<Sweep>, screw: Screw) -> String {
    let sweep = &answered.value;
    let richer = match screw {
        Screw::Fuel => "out",
        Screw::Air => "in",
    };
    let mut lines = vec![
        format!(
            "Lean edge   {} turns out, 9 in 10 between {} and {}",
            sweep.edge.best,
            hundredths(sweep.edge.low),
            hundredths(sweep.edge.high)
        ),
        format!("Set to      {} turns out: {} (richer is {richer})", sweep.setting_on_grid, sweep.rule_words),
    ];
    lines.push(match sweep.next {
        Some(next) => format!("Next hold   {next} turns out"),
        None => "Next hold   none: enough is known, or no position promises to tell more".to_owned(),
    });
    if sweep.enough && !sweep.pick_up.is_empty() {
        lines.push(format!("At last     {}", pick_up_words(&sweep.pick_up)));
    }
    lines.push(format!("Plateau     {:.0} ± {:.0} rpm", sweep.plateau_rpm, sweep.plateau_sd_rpm));
    if let Some((mean, sd)) = sweep.gain_rpm {
        lines.push(format!("Gain        {mean:+.0} ± {sd:.0} rpm over as found"));
    }
    if let Some(drift) = sweep.drift_rpm_per_min {
        lines.push(format!("Drift       {drift:+.1} rpm a minute"));
    }
    lines.push(String::new());
    for verdict in sweep.verdicts.iter().filter(|verdict| 0.05 <= verdict.probability).take(3) {
        lines.push(format!(
            "{:>3.0} %  {}: {}",
            100.0 * verdict.probability,
            verdict.name.replace('-', " "),
            verdict.because
        ));
    }
    if !answered.caveats.is_empty() {
        lines.push(String::new());
        lines.extend(answered.caveats.iter().map(|caveat| format!("Mind: {}", caveat.says)));
    }
    lines.push(String::new());
    lines.push(CAUTION.to_owned());
    lines.push("Stop the engine and count the screw to its seat: that is as left.".to_owned());
    lines.join("\n")
}

/// What to do at the positions where the pick-up decides.
pub fn pick_up_words(places: &[TurnsOut]) -> String {
    let places: Vec<String> = places.iter().map(ToString::to_string).collect();
    format!("pick-up decides: blip at {}; keep the one with the least sag and no hang", places.join(", "))
}

fn hundredths(turns: TurnsOut) -> String {
    format!("{:.2}", turns.0)
}
