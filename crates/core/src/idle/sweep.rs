//! A sweep answered: edge, setting, next position, verdicts, curve.

use crate::caveat::{Caveat, With};
use crate::error::{Error, Result, require};
use crate::idle::fit::{Data, MOST_OFFSETS, Posterior, Reading, fit};
use crate::idle::plan::{Plan, SoFar, plan, scatter};
use crate::idle::question::{Cooling, Question, Rule};
use crate::idle::response::EDGE_FALL;
use crate::idle::verdict::{Verdict, verdicts};
use crate::idle::{Hold, Outcome, StallCause};
use crate::quantity::{GRID_TURNS, TurnsOut};

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
    /// The rule's stable name: `maker`, `margin` or `middle`.
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
/// A speed below this share of the fastest is on the droop, or on the lean cliff.
const DROOPED: f64 = 0.97;
/// Machines drawn for bands, gains and the maker's procedure.
const DRAWN: usize = 200;

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

fn check(holds: &[Hold]) -> Result<()> {
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
        if let Some(at) = hold.at_s {
            require(at.is_finite(), "at_s", at, "a number of seconds")?;
        }
    }
    Ok(())
}

/// Readings and stalls in richness, and the block behind each offset (0: the block asked about).
fn gather(holds: &[&Hold], question: &Question) -> (Data, Vec<u32>) {
    let ran = || holds.iter().filter(|hold| matches!(hold.outcome, Outcome::Ran { .. }));
    let mut blocks: Vec<u32> = Vec::new();
    for hold in ran().rev() {
        if !blocks.contains(&hold.block) && blocks.len() <= MOST_OFFSETS {
            blocks.push(hold.block);
        }
    }
    let timed: Vec<f64> = ran().filter_map(|hold| hold.at_s).collect();
    let mean_s = timed.iter().sum::<f64>() / timed.len().max(1) as f64;
    let mut data = Data {
        readings: Vec::new(),
        lean_stalls: Vec::new(),
        rich_stalls: Vec::new(),
        offsets: 0,
        level_rpm: 0.0,
    };
    for hold in holds {
        let richness = question.richness(hold.turns.0);
        match hold.outcome {
            Outcome::Ran { rpm, se_rpm } => {
                let Some(offset) = blocks.iter().position(|&block| block == hold.block) else { continue };
                let at_min = hold.at_s.map(|at| (at - mean_s) / 60.0);
                data.readings.push(Reading { richness, rpm, se_rpm, at_min, offset });
            }
            Outcome::Stalled(StallCause::Lean) => data.lean_stalls.push(richness),
            Outcome::Stalled(StallCause::Rich) => data.rich_stalls.push(richness),
            Outcome::Stalled(StallCause::OutOfFuel | StallCause::Unknown) => {}
        }
    }
    data.offsets = blocks.len().saturating_sub(1);
    // The plateau is guessed from the fastest readings, one of which may be an outlier.
    let mut speeds: Vec<f64> = data.readings.iter().map(|reading| reading.rpm).collect();
    speeds.sort_by(|a, b| b.total_cmp(a));
    data.level_rpm = match speeds.len() {
        0 => 0.0,
        1..=3 => speeds[0],
        _ => speeds[1],
    };
    (data, blocks)
}

fn answer(
    holds: &[&Hold],
    question: &Question,
    data: &Data,
    posterior: &Posterior,
    mut caveats: Vec<Caveat>,
) -> With<Sweep> {
    let (domain_lean, domain_rich) = question.domain();
    let [lean, middle, rich] =
        posterior.edge_quantiles([0.05, 0.5, 0.95]).map(|edge| edge.clamp(domain_lean, domain_rich));
    let (a, b) = (question.turns(lean), question.turns(rich));
    let edge = Interval {
        best: question.turns(middle),
        low: TurnsOut(a.0.min(b.0)),
        high: TurnsOut(a.0.max(b.0)),
        confidence: 0.9,
    };
    let (plateau_rpm, between) = posterior.mean_and_sd(|cell| cell.level_rpm);
    let within = posterior.mean(|cell| cell.level_sd_rpm.powi(2));
    let plateau_sd_rpm = (between * between + within).sqrt();

    let (setting, rule_name, rule_words) = setting(question, posterior, middle, plateau_rpm, &mut caveats);
    let on_grid = question.on_richer_grid(setting);

    let so_far = so_far(holds, question, 0.5 * (rich - lean));
    let (enough, next) = match plan(posterior, question, &so_far) {
        Plan::Enough => (true, None),
        Plan::Next(place) => (false, Some(question.turns(place))),
    };

    remarks(holds, question, data, posterior, middle, &mut caveats);
    let has_times = data.readings.iter().all(|reading| reading.at_min.is_some());
    With {
        value: Sweep {
            edge,
            setting: question.turns(setting),
            setting_on_grid: question.turns(on_grid),
            rule_name,
            rule_words,
            next,
            enough,
            plateau_rpm,
            plateau_sd_rpm,
            gain_rpm: gain(holds, data, question, posterior, on_grid),
            verdicts: verdicts(question, &posterior.findings),
            curve: curve(data, question, posterior),
            drift_rpm_per_min: has_times.then(|| posterior.mean(|cell| cell.drift_rpm_per_min)),
        },
        caveats,
    }
}

/// The setting in richness by the rule, the rule's name, and its words.
fn setting(
    question: &Question,
    posterior: &Posterior,
    edge: f64,
    plateau_rpm: f64,
    caveats: &mut Vec<Caveat>,
) -> (f64, &'static str, String) {
    let rich_end = posterior.mean(|cell| cell.edge + posterior.shapes[cell.shape].rich_end).max(edge);
    let (wanted, name, words) = match question.rule {
        Rule::Margin => {
            let margin = question.cooling.margin_turns();
            let why = match question.cooling {
                Cooling::Air => "air-cooled",
                Cooling::Liquid => "liquid-cooled",
            };
            let margin_words = TurnsOut(margin);
            (edge + margin, "margin", format!("{margin_words} turn richer than the lean edge, because {why}"))
        }
        Rule::Maker { drop_rpm, back_out_turns } => {
            let drawn = posterior.sample(DRAWN);
            let part = f64::from(question.carburettors);
            let share = (drop_rpm / plateau_rpm).min(0.35 / part);
            let fallen = drawn
                .iter()
                .map(|cell| cell.edge + posterior.shapes[cell.shape].lean_fall(share))
                .sum::<f64>()
                / drawn.len().max(1) as f64;
            let words = format!(
                "the maker's procedure: lean to a drop of {drop_rpm:.0} rpm, then {back_out_turns} turns richer"
            );
            (fallen + back_out_turns, "maker", words)
        }
        Rule::Middle => (0.5 * (edge + rich_end), "middle", "the middle of the plateau".to_owned()),
    };
    if rich_end < wanted && question.rule == Rule::Margin {
        caveats.push(Caveat::new(
            "plateau-too-narrow",
            "plateau too narrow for the margin: jet, ignition or split cylinders; the setting was held at its rich end",
        ));
        return (rich_end, name, words);
    }
    let (lean_most, rich_most) = question.advisable();
    let kept = wanted.clamp(lean_most, rich_most);
    if kept != wanted {
        caveats.push(Caveat::new(
            "setting-beyond-the-screw",
            format!(
                "the rule asks for a position the screw should not stand at (from {} to {} turns is advised); the setting was held at the limit",
                TurnsOut(question.least_turns),
                TurnsOut(question.advise_to_turns)
            ),
        ));
    }
    (kept, name, words)
}

fn so_far(holds: &[&Hold], question: &Question, half_width_turns: f64) -> SoFar {
    let place = |hold: &&&Hold| question.richness(hold.turns.0);
    let ran: Vec<f64> = holds
        .iter()
        .filter(|hold| matches!(hold.outcome, Outcome::Ran { .. }))
        .map(|hold| place(&hold))
        .collect();
    let first = ran.first().copied().unwrap_or(0.0);
    let richest = ran.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let fastest_where = |wanted: &dyn Fn(f64) -> bool| {
        let speeds =
            holds.iter().filter(|hold| wanted(question.richness(hold.turns.0))).filter_map(|hold| match hold
                .outcome
            {
                Outcome::Ran { rpm, .. } => Some(rpm),
                Outcome::Stalled(_) => None,
            });
        speeds.fold(0.0, f64::max)
    };
    let drooped =
        fastest_where(&|place| richest - 0.5 * GRID_TURNS < place) < DROOPED * fastest_where(&|_| true);
    let near = |other: &&f64| (**other - first).abs() < 0.5 * GRID_TURNS;
    SoFar {
        first,
        first_repeated: 1 < ran.iter().filter(near).count(),
        last: holds.last().map_or(first, |hold| place(&hold)),
        leanest: ran.iter().copied().fold(f64::INFINITY, f64::min),
        richest,
        drooped,
        ran: ran.len(),
        half_width_turns,
    }
}

/// Speed at the setting less the speed that was read as found, mean and standard deviation.
///
/// As found the screw stood where it was found, whatever the hand counted later: the reading itself is
/// compared, put to the time of the other holds by the drift. A reading of an earlier block ran under
/// another stop; there the fitted curve stands in for it.
fn gain(
    holds: &[&Hold],
    data: &Data,
    question: &Question,
    posterior: &Posterior,
    setting: f64,
) -> Option<(f64, f64)> {
    let ran = || holds.iter().filter(|hold| matches!(hold.outcome, Outcome::Ran { .. }));
    let found = ran().find(|hold| hold.as_found)?;
    let position = question.richness(found.turns.0);
    let same_block = ran().next_back().is_some_and(|last| last.block == found.block);
    // Readings stand in the order of the holds; those of blocks left out were taken from both.
    let index = ran().position(|hold| std::ptr::eq(*hold, *found))?;
    let reading = data.readings.get(index).filter(|_| same_block && data.readings.len() == ran().count());
    let Some(reading) = reading else {
        return Some(posterior.mean_and_sd(|cell| {
            let shape = &posterior.shapes[cell.shape];
            cell.level_rpm * (shape.at(setting - cell.edge).0 - shape.at(position - cell.edge).0)
        }));
    };
    let since_min = reading.at_min.unwrap_or(0.0);
    let (mean, between) = posterior.mean_and_sd(|cell| {
        let set = cell.level_rpm * posterior.shapes[cell.shape].at(setting - cell.edge).0;
        set - (reading.rpm - cell.drift_rpm_per_min * since_min)
    });
    let within = posterior.mean(|cell| cell.level_sd_rpm.powi(2));
    let read = reading.se_rpm.unwrap_or(posterior.noise_rpm);
    Some((mean, (between * between + within + read * read).sqrt()))
}

fn curve(data: &Data, question: &Question, posterior: &Posterior) -> Vec<CurvePoint> {
    let turns = data.readings.iter().map(|reading| question.turns(reading.richness).0);
    let (least, most) = turns.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), t| (a.min(t), b.max(t)));
    let first = ((least - 0.5).max(question.least_turns) * 16.0).floor() as i32;
    let last = ((most + 0.5) * 16.0).ceil() as i32;
    let drawn = posterior.sample(DRAWN);
    let mut speeds = Vec::with_capacity(drawn.len());
    (first..=last)
        .map(|sixteenth| {
            let turns = f64::from(sixteenth) / 16.0;
            let richness = question.richness(turns);
            speeds.clear();
            speeds.extend(drawn.iter().enumerate().map(|(index, cell)| {
                let level = cell.level_rpm + cell.level_sd_rpm * scatter(index);
                level * posterior.shapes[cell.shape].at(richness - cell.edge).0
            }));
            speeds.sort_by(f64::total_cmp);
            // Quantiles, not mean and deviation: on the lean side some of the machines fall off a cliff.
            let [low_rpm, rpm, high_rpm] = [0.05, 0.5, 0.95].map(|share| quantile(&speeds, share));
            CurvePoint { turns: TurnsOut(turns), rpm, low_rpm, high_rpm }
        })
        .collect()
}

/// The value below which a share of sorted values lies; 0 where there are none.
fn quantile(sorted: &[f64], share: f64) -> f64 {
    let index = (share * sorted.len().saturating_sub(1) as f64).round() as usize;
    sorted.get(index).copied().unwrap_or(0.0)
}

/// What to keep in mind with this answer.
fn remarks(
    holds: &[&Hold],
    question: &Question,
    data: &Data,
    posterior: &Posterior,
    edge: f64,
    caveats: &mut Vec<Caveat>,
) {
    let count = data.readings.len();
    if count < 3 {
        let hold = if count == 1 { "hold" } else { "holds" };
        caveats.push(Caveat::new(
            "few-holds",
            format!("{count} {hold} say little about an edge: what stands here is mostly what such machines are like"),
        ));
    }
    if data.readings.iter().any(|reading| reading.at_min.is_none()) {
        caveats
            .push(Caveat::new("no-times", "the holds carry no times (`at_s`), so drift was not allowed for"));
    }
    if data.readings.iter().any(|reading| reading.se_rpm.is_none()) {
        caveats.push(Caveat::new(
            "errors-inferred",
            format!(
                "reading errors were not all stated; about {:.0} rpm was inferred from the scatter",
                posterior.noise_rpm
            ),
        ));
    }
    let fall_rpm = EDGE_FALL / f64::from(question.carburettors) * data.level_rpm;
    if fall_rpm < posterior.noise_rpm {
        caveats.push(Caveat::new(
            "edge-below-noise",
            format!(
                "the fall that marks the edge is {fall_rpm:.1} rpm, less than a reading's error of {:.1} rpm: {}",
                posterior.noise_rpm,
                if 1 < question.carburettors { "turn all screws together instead" } else { "hold longer" }
            ),
        ));
    }
    let fastest = data.readings.iter().map(|reading| reading.rpm).fold(0.0, f64::max);
    if let Some(floor) = question.floor_rpm.filter(|floor| fastest < *floor) {
        caveats.push(Caveat::new(
            "idles-below-floor",
            format!(
                "it idles at {fastest:.0} rpm, below the {floor:.0} it should keep (oil pressure): set the idle with the stop \
                 first; if it will not idle there, that is the finding"
            ),
        ));
    }
    let leanest = data.readings.iter().map(|reading| reading.richness).fold(f64::INFINITY, f64::min);
    if edge < leanest && data.lean_stalls.is_empty() {
        caveats.push(Caveat::new(
            "no-lean-fall-seen",
            "no hold lies on the lean side of the edge: the edge is where such machines have it, not where this one showed it",
        ));
    }
    let uninformative = holds
        .iter()
        .any(|hold| matches!(hold.outcome, Outcome::Stalled(StallCause::OutOfFuel | StallCause::Unknown)));
    if uninformative {
        caveats.push(Caveat::new("stall-not-used", "a stall whose cause is not lean or rich was not used"));
    }
}
