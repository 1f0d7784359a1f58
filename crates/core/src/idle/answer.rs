//! What is told of a fit: edge, setting, gain, curve, and what to keep in mind.

use crate::caveat::{Caveat, With};
use crate::idle::data::Data;
use crate::idle::plan::{Plan, SoFar, plan, scatter};
use crate::idle::posterior::Posterior;
use crate::idle::question::{Cooling, Question, Rule};
use crate::idle::shape::EDGE_FALL;
use crate::idle::sweep::{CurvePoint, Interval, Sweep};
use crate::idle::verdict::verdicts;
use crate::idle::ways::stalls_against_and_for;
use crate::idle::{Hold, Outcome, StallCause};
use crate::quantity::{GRID_TURNS, Screw, TurnsOut};

/// A speed below this share of the fastest is on the droop, or on the lean cliff.
const DROOPED: f64 = 0.97;

/// Rougher than this share of its speed, and so many times its calmest hold, an engine is not run leaner again
/// (common practice, no source: a big twin wanders by 2 to 3 %).
const TOO_ROUGH: f64 = 0.04;
const TIMES_CALMEST: f64 = 2.5;

/// Machines drawn for bands, gains and the maker's procedure.
const DRAWN: usize = 200;

pub(super) fn answer(
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

    let so_far = so_far(holds, question, data, 0.5 * (rich - lean));
    let (enough, next) = match plan(posterior, question, &so_far) {
        Plan::Enough => (true, None),
        Plan::Next(place) => (false, Some(question.turns(place))),
    };

    if posterior.lacks_edge() {
        caveats.push(Caveat::new(
            "no-lean-edge-in-reach",
            "the screw loses its effect before it makes the engine lean: no lean edge lies within its reach, and the one given is the end of the screw",
        ));
    }
    remarks(holds, question, data, posterior, middle, &mut caveats);
    let has_times = data.readings.iter().all(|reading| reading.at_min.is_some());
    With {
        value: Sweep {
            edge,
            setting: question.turns(setting),
            setting_on_grid: question.turns(on_grid),
            pick_up: pick_up(question, posterior, middle),
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
    let leanest = question.domain().0;
    // Where the plateau reaches to the lean end of the screw, no margin can be counted from an edge.
    let no_edge = posterior.lacks_edge();
    let rich_end = posterior.rich_end().max(edge);
    let margin = question.cooling.margin_turns();
    let rule_name = if question.rule == Rule::FirstToWeaken { "first-to-weaken" } else { "margin" };
    let (wanted, name, words) = match question.rule {
        Rule::Margin | Rule::FirstToWeaken if no_edge => {
            let fastest = posterior.mean(|cell| cell.anchor + posterior.shapes[cell.shape].best);
            let words = "where it runs fastest, because no lean edge lies within the screw's reach";
            (fastest, rule_name, words.to_owned())
        }
        Rule::Margin => {
            let why = match question.cooling {
                Cooling::Air => "air-cooled",
                Cooling::Liquid => "liquid-cooled",
            };
            let words = format!("{} turn richer than the lean edge, because {why}", TurnsOut(margin));
            (edge + margin, rule_name, words)
        }
        Rule::Maker { drop_rpm, back_out_turns } => {
            let part = f64::from(question.carburettors);
            let share = (drop_rpm / plateau_rpm).min(0.35 / part);
            let falls: Vec<f64> = posterior.shapes.iter().map(|shape| shape.lean_fall(share)).collect();
            let fallen = posterior.mean(|cell| (cell.anchor + falls[cell.shape]).max(leanest));
            let words = format!(
                "the maker's procedure: lean to a drop of {drop_rpm:.0} rpm, then {back_out_turns} turns richer"
            );
            (fallen + back_out_turns, "maker", words)
        }
        Rule::Middle => (0.5 * (edge + rich_end), "middle", "the middle of the plateau".to_owned()),
        Rule::FirstToWeaken => {
            let weakens = posterior.first_to_weaken();
            if weakens.is_none() {
                caveats.push(Caveat::new(
                    "no-unevenness-read",
                    "where the first cylinder weakens shows in unevenness, and too few holds carry it: the margin was counted from the edge of the mean speed",
                ));
            }
            let from = if weakens.is_some() { "where the first cylinder weakens" } else { "the lean edge" };
            let words = format!("{} turn richer than {from}; they share an intake", TurnsOut(margin));
            (weakens.unwrap_or(edge) + margin, rule_name, words)
        }
        Rule::PickUp { turns } => {
            let picked = question.richness(turns.0);
            if picked < edge - 0.5 * GRID_TURNS || rich_end + 0.5 * GRID_TURNS < picked {
                caveats.push(Caveat::new(
                    "picked-up-outside-the-plateau",
                    format!("{turns} turns lies outside the plateau ({} to {}): good pick-up there hides something else", question.turns(edge), question.turns(rich_end)),
                ));
            }
            (picked, "pick-up", format!("where it picked up best, tried at {turns} turns"))
        }
    };
    if rich_end < wanted && matches!(question.rule, Rule::Margin | Rule::FirstToWeaken) && !no_edge {
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

/// Three to five positions from the edge to the rich end of the plateau, as far as the screw is advised to go.
fn pick_up(question: &Question, posterior: &Posterior, edge: f64) -> Vec<TurnsOut> {
    let (lean, rich) = question.advisable();
    let (first, last) = (question.on_richer_grid(edge.max(lean)), posterior.rich_end().min(rich));
    let steps = ((last - first) / GRID_TURNS + 1e-6).floor();
    if steps < 4.0 {
        return Vec::new();
    }
    let apart = (steps / 4.0).floor().max(2.0);
    let count = (steps / apart).floor().min(4.0) as u32;
    (0..=count).map(|index| question.turns(first + f64::from(index) * apart * GRID_TURNS)).collect()
}

fn so_far(holds: &[&Hold], question: &Question, data: &Data, half_width_turns: f64) -> SoFar {
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
        died: (
            data.lean_stalls.iter().copied().fold(f64::NEG_INFINITY, f64::max),
            data.rich_stalls.iter().copied().fold(f64::INFINITY, f64::min),
        ),
        too_rough: too_rough(data),
        ran: ran.len(),
        half_width_turns,
    }
}

/// The richest place on the lean side of the fastest hold where it ran too roughly to be sent there again: misfires
/// spit back and shake what is loose.
fn too_rough(data: &Data) -> f64 {
    let heard = || data.readings.iter().filter_map(|reading| Some((reading, reading.roughness?)));
    let calmest = heard().map(|(_, roughness)| roughness).fold(f64::INFINITY, f64::min);
    let limit = TOO_ROUGH.max(TIMES_CALMEST * calmest);
    let fastest =
        heard().max_by(|a, b| a.0.rpm.total_cmp(&b.0.rpm)).map_or(0.0, |(reading, _)| reading.richness);
    heard()
        .filter(|(reading, roughness)| limit < *roughness && reading.richness < fastest)
        .map(|(reading, _)| reading.richness)
        .fold(f64::NEG_INFINITY, f64::max)
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
            cell.level_rpm * (shape.at(setting - cell.anchor).0 - shape.at(position - cell.anchor).0)
        }));
    };
    let since_min = reading.at_min.unwrap_or(0.0);
    let (mean, between) = posterior.mean_and_sd(|cell| {
        let set = cell.level_rpm * posterior.shapes[cell.shape].at(setting - cell.anchor).0;
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
                level * posterior.shapes[cell.shape].at(richness - cell.anchor).0
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
    if edge < leanest && data.lean_stalls.is_empty() && !posterior.lacks_edge() {
        caveats.push(Caveat::new(
            "no-lean-fall-seen",
            "no hold lies on the lean side of the edge: the edge is where such machines have it, not where this one showed it",
        ));
    }
    let (against, for_it) = stalls_against_and_for(data);
    if for_it < against {
        let (other, out) = match question.screw {
            Screw::Fuel => ("an air screw", "leaner"),
            Screw::Air => ("a fuel screw", "richer"),
        };
        caveats.push(Caveat::new(
            "screw-may-work-the-other-way",
            format!(
                "what it is said to have died of fits {other}: look on which side of the body the screw is. If it is one, out is {out}, and every advice here is the wrong way round"
            ),
        ));
    }
    let uninformative = holds
        .iter()
        .any(|hold| matches!(hold.outcome, Outcome::Stalled(StallCause::OutOfFuel | StallCause::Unknown)));
    if uninformative {
        caveats.push(Caveat::new("stall-not-used", "a stall whose cause is not lean or rich was not used"));
    }
}
