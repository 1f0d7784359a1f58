//! The fit: which edge and which shape the holds speak for.
//!
//! Level, drift and block offsets enter linearly and are integrated in closed form; the edge and
//! the shape stand on a grid. Each reading may be an outlier, and its position is only as good as
//! the hand that set it. Two rivals have no edge at all: a screw without effect, and an engine
//! whose speed wanders whatever the screw does.

use std::panic::resume_unwind;

use crate::idle::data::{Data, Reading};
use crate::idle::linear::{Evidence, Linear, Term};
use crate::idle::posterior::{Cell, Finding, PRIOR, Posterior, finding};
use crate::idle::question::Question;
use crate::idle::roughness::{ALONE, Roughness, SHARED};
use crate::idle::shape::Shape;

/// Spacing of the first grid and of the second, turns.
const COARSE_TURNS: f64 = 0.125;
const FINE_TURNS: f64 = COARSE_TURNS / 4.0;
/// How far beyond the reach of the screw an edge is still imagined, turns.
const BEYOND_LEAN: f64 = 1.5;
const BEYOND_RICH: f64 = 1.0;
/// Cells this much less likely than the best, as a logarithm, are dropped.
const NEGLIGIBLE: f64 = 10.0;
/// One shape in so many looks ahead, and edges this hopeless for all of them are passed over.
const LOOK_AHEAD: usize = 8;
const HOPELESS: f64 = 14.0;
/// The same of a reading error that nobody stated: what such an error explains at best, all shapes alike.
const HOPELESS_ERROR: f64 = 7.0;
/// Cells this much less likely than the likeliest so far, outliers allowed for, need no care.
const OUT_OF_REACH: f64 = 14.0;
/// With more cells than this left over, the coarse grid is fine enough.
const MANY: usize = 4000;

/// What no shape of the family can follow, as a share of level (per screw turned).
const MISFIT_SD: f64 = 0.0012;
/// How far out an outlier is, as a share of level.
const OUTLIER_SD: f64 = 0.05;
/// What the hand adds anew at each place, as a share of what adds up over four turns.
const FRESH_HAND: f64 = 0.5;
/// Wander of an engine that hunts or hangs, as a share of level.
const UNSTEADY_SD: f64 = 0.03;
/// Where an engine dies, as a share of its highest speed, and how sharply that is known.
const STALL_AT: f64 = 0.62;
const STALL_WIDTH: f64 = 0.05;
/// How often an engine dies elsewhere, and the cause is misjudged.
const MISJUDGED: f64 = 0.002;
/// Standard errors thought possible where none is stated, rpm, with their weights.
const UNKNOWN_SE: [(f64, f64); 3] = [(4.0, 0.35), (9.0, 0.4), (22.0, 0.25)];

/// Chance that an engine dies at a share of its highest speed.
pub(super) fn stall_chance(relative_speed: f64) -> f64 {
    1.0 / (1.0 + ((relative_speed - STALL_AT) / STALL_WIDTH).exp())
}

/// The fit of one set of data; scratch space is kept between cells.
struct Fit<'a> {
    data: &'a Data,
    linear: Linear,
    /// What the hand does to each reading: its slow error, and the variance of the rest, turns and turns².
    hand: Vec<(f64, f64)>,
    misfit_variance: f64,
    roughness: Option<&'a Roughness>,
    terms: Vec<Term>,
    /// The likeliest cell so far, as a logarithm.
    likeliest: f64,
}

impl<'a> Fit<'a> {
    fn new(data: &'a Data, question: &Question, roughness: Option<&'a Roughness>) -> Self {
        let part = 1.0 / f64::from(question.carburettors);
        Fit {
            data,
            linear: Linear::new(data, (OUTLIER_SD * data.level_rpm).powi(2)),
            hand: hand(data, question.hand_sd_turns),
            misfit_variance: (MISFIT_SD * part * data.level_rpm).powi(2),
            roughness,
            terms: Vec::new(),
            likeliest: f64::NEG_INFINITY,
        }
    }

    fn term(
        &self,
        reading: &Reading,
        relative: f64,
        extra_variance: f64,
        slow: f64,
        unknown_se: f64,
    ) -> Term {
        let se = reading.se_rpm.unwrap_or(unknown_se).max(0.5);
        Term {
            relative,
            residual: reading.rpm - self.data.level_rpm * relative,
            variance: se * se + self.misfit_variance + extra_variance,
            at_min: reading.at_min.unwrap_or(0.0),
            offset: reading.offset,
            slow,
        }
    }

    fn cell(&mut self, shape: &Shape, anchor: f64, unknown_se: f64) -> Evidence {
        self.terms.clear();
        for (reading, &(slow, rest)) in self.data.readings.iter().zip(&self.hand) {
            let (relative, slope) = shape.at(reading.richness - anchor);
            let tilt = slope * self.data.level_rpm;
            let term = self.term(reading, relative, rest * tilt * tilt, slow * tilt, unknown_se);
            self.terms.push(term);
        }
        let mut evidence = self.linear.evidence(&self.terms, self.likeliest - OUT_OF_REACH);
        self.likeliest = self.likeliest.max(evidence.ln);
        if let Some(roughness) = self.roughness {
            evidence.ln += if shape.has_edge { roughness.of_edge(anchor) } else { roughness.of_none() };
        }
        for &place in &self.data.lean_stalls {
            let lean = place < anchor + shape.best;
            let died = if lean { stall_chance(shape.at(place - anchor).0) } else { 0.0 };
            evidence.ln += (MISJUDGED + (1.0 - MISJUDGED) * died).ln();
        }
        for &place in &self.data.rich_stalls {
            let rich = anchor + shape.best < place;
            let died = if rich { stall_chance(shape.at(place - anchor).0) } else { 0.0 };
            evidence.ln += (MISJUDGED + (1.0 - MISJUDGED) * died).ln();
        }
        evidence
    }

    /// A rival without an edge: one level, with extra scatter or without.
    fn flat(&mut self, extra_variance: f64, unknown_se: f64) -> f64 {
        self.terms.clear();
        for reading in &self.data.readings {
            let term = self.term(reading, 1.0, extra_variance, 0.0, unknown_se);
            self.terms.push(term);
        }
        let stalls = self.data.lean_stalls.len() + self.data.rich_stalls.len();
        let calm = self.roughness.map_or(0.0, Roughness::of_none);
        self.linear.evidence(&self.terms, f64::NEG_INFINITY).ln + stalls as f64 * 0.05f64.ln() + calm
    }
}

/// Fits the data.
pub(super) fn fit(data: &Data, question: &Question) -> Posterior {
    let (domain_lean, domain_rich) = question.domain();
    let (first_edge, last_edge) = (domain_lean - BEYOND_LEAN, domain_rich + BEYOND_RICH);
    let shapes = question.response.shapes(question.carburettors);
    let coupling = if question.shares_intake { SHARED } else { ALONE };
    let roughness = Roughness::new(data, first_edge, last_edge, coupling);
    let mut fit = Fit::new(data, question, roughness.as_ref());

    // What each place of the grid would mean, and how many places share each meaning.
    let steps = ((last_edge - first_edge) / COARSE_TURNS).round() as usize + 1;
    let place = |step: usize| first_edge + step as f64 * COARSE_TURNS;
    let mut counts = [0.0; 6];
    let classes: Vec<usize> = (0..steps)
        .flat_map(|step| shapes.iter().map(move |shape| finding(question, place(step), shape) as usize))
        .collect();
    for &class in &classes {
        counts[class] += 1.0;
    }
    let ln_prior: Vec<f64> = (0..6)
        .map(|index| {
            // Half of a screw without effect is one whose effect is too small to see.
            let prior = if index == Finding::NoEffect as usize { 0.5 * PRIOR[index] } else { PRIOR[index] };
            (prior / f64::max(counts[index], 1.0)).ln()
        })
        .collect();
    let flat_prior = [0.5 * PRIOR[Finding::NoEffect as usize], PRIOR[Finding::Unsteady as usize]];

    let all_stated = data.readings.iter().all(|reading| reading.se_rpm.is_some());
    let errors: &[(f64, f64)] = if all_stated { &[(1.0, 1.0)] } else { &UNKNOWN_SE };

    let mut flat = [f64::NEG_INFINITY; 2];
    for &(se, share) in errors {
        for (index, extra) in [0.0, (UNSTEADY_SD * data.level_rpm).powi(2)].into_iter().enumerate() {
            let ln = share.ln() + flat_prior[index].ln() + fit.flat(extra, se);
            flat[index] = ln_add(flat[index], ln);
        }
    }

    // A look ahead with a few of the shapes: errors and edges that are out of the question.
    let places: Vec<(usize, usize)> =
        (0..errors.len()).flat_map(|which| (0..steps).map(move |step| (which, step))).collect();
    let ahead = in_parts(&places, |places| {
        let mut fit = Fit::new(data, question, roughness.as_ref());
        let likeliest = |&(which, step): &(usize, usize)| {
            let (se, share) = errors[which];
            let few = shapes.iter().step_by(LOOK_AHEAD);
            highest(few.map(|shape| share.ln() + fit.cell(shape, place(step), se).ln))
        };
        places.iter().map(likeliest).collect()
    });
    let best_ahead = highest(ahead.iter().copied());

    // First pass: the coarse grid.
    let mut jobs: Vec<(usize, usize)> = Vec::with_capacity(errors.len() * steps);
    for which in 0..errors.len() {
        let ahead = &ahead[which * steps..(which + 1) * steps];
        if highest(ahead.iter().copied()) < best_ahead - HOPELESS_ERROR {
            continue;
        }
        jobs.extend(
            (0..steps).filter(|&step| best_ahead - HOPELESS <= ahead[step]).map(|step| (which, step)),
        );
    }
    let mut coarse = in_parts(&jobs, |jobs| {
        let mut fit = Fit::new(data, question, roughness.as_ref());
        let mut found = Vec::with_capacity(jobs.len() * shapes.len());
        for &(which, step) in jobs {
            let (se, share) = errors[which];
            for (index, shape) in shapes.iter().enumerate() {
                let class = classes[step * shapes.len() + index];
                let ln = share.ln() + ln_prior[class] + fit.cell(shape, place(step), se).ln;
                found.push((which, index, step, ln));
            }
        }
        found
    });
    let best = highest(coarse.iter().map(|&(_, _, _, ln)| ln));
    coarse.retain(|&(_, _, _, ln)| best - NEGLIGIBLE < ln);

    // Second pass: finer around what is left, unless so much is left that nothing is narrow.
    let within: &[f64] = if coarse.len() < MANY { &[-1.5, -0.5, 0.5, 1.5] } else { &[0.0] };
    let cell_turns = COARSE_TURNS / within.len() as f64;
    let first_offset = 1 + usize::from(fit.linear.has_drift);
    let found = in_parts(&coarse, |coarse| {
        let mut fit = Fit::new(data, question, roughness.as_ref());
        let mut found = Vec::with_capacity(coarse.len() * within.len());
        for &(which, index, step, _) in coarse {
            for quarters in within {
                let anchor = place(step) + quarters * FINE_TURNS;
                let shape = &shapes[index];
                let class = finding(question, anchor, shape) as usize;
                let evidence = fit.cell(shape, anchor, errors[which].0);
                let ln = errors[which].1.ln() + ln_prior[class] - (within.len() as f64).ln() + evidence.ln;
                let mut largest = (0, 0.0);
                for offset in 0..data.offsets {
                    let value = evidence.mean[first_offset + offset];
                    if f64::abs(largest.1) < value.abs() {
                        largest = (offset + 1, value);
                    }
                }
                let cell = Cell {
                    shape: index,
                    anchor,
                    edge: if shape.has_edge { anchor.clamp(domain_lean, domain_rich) } else { domain_lean },
                    weight: errors[which].0,
                    level_rpm: data.level_rpm + evidence.mean[0],
                    level_sd_rpm: evidence.level_sd,
                    drift_rpm_per_min: if fit.linear.has_drift { evidence.mean[1] } else { 0.0 },
                    finding: class,
                    largest_offset: largest,
                };
                found.push((cell, ln));
            }
        }
        found
    });
    let (mut cells, lns): (Vec<Cell>, Vec<f64>) = found.into_iter().unzip();

    // From logarithms to shares.
    let top = lns.iter().copied().fold(flat[0].max(flat[1]), f64::max);
    let mut findings = [0.0; 6];
    let mut noise = (0.0, 0.0);
    let mut sum = 0.0;
    for (cell, ln) in cells.iter_mut().zip(&lns) {
        let weight = (ln - top).exp();
        noise = (noise.0 + weight * cell.weight, noise.1 + weight);
        cell.weight = weight;
        findings[cell.finding] += weight;
        sum += weight;
    }
    findings[4] += (flat[0] - top).exp();
    findings[5] += (flat[1] - top).exp();
    let total: f64 = findings.iter().sum();
    for value in &mut findings {
        *value /= total;
    }
    // Where a flat rival explains all, the curve's own cells still need weights that sum to one.
    let sum = if 0.0 < sum { sum } else { 1.0 };
    for cell in &mut cells {
        cell.weight /= sum;
    }
    cells.retain(|cell| 1e-8 < cell.weight);
    cells.sort_by(|a, b| a.edge.total_cmp(&b.edge).then(a.anchor.total_cmp(&b.anchor)));
    let stated: Vec<f64> = data.readings.iter().filter_map(|reading| reading.se_rpm).collect();
    let noise_rpm = if stated.is_empty() {
        if 0.0 < noise.1 { noise.0 / noise.1 } else { UNKNOWN_SE[1].0 }
    } else {
        stated.iter().sum::<f64>() / stated.len() as f64
    };
    Posterior {
        roughness,
        shapes,
        cells,
        cell_turns,
        is_fine: 1 < within.len(),
        domain: (domain_lean, domain_rich),
        findings,
        noise_rpm,
    }
}

/// Does work on parts of some jobs side by side, and joins what came of it in their order. The parts are always the
/// same, however many processors there are, and so is the answer.
fn in_parts<Job: Sync, Found: Send>(jobs: &[Job], work: impl Fn(&[Job]) -> Vec<Found> + Sync) -> Vec<Found> {
    const PARTS: usize = 4;
    let each = jobs.len().div_ceil(PARTS).max(1);
    std::thread::scope(|scope| {
        let work = &work;
        let parts: Vec<_> = jobs.chunks(each).map(|part| scope.spawn(move || work(part))).collect();
        parts.into_iter().flat_map(|part| part.join().unwrap_or_else(|panic| resume_unwind(panic))).collect()
    })
}

/// The hand's error at each reading: it walks as the screw is turned, by `sd_turns` over four turns. Most of a
/// walk is one slow swing, half a wave over all the travel; what that leaves counts as independent, and
/// so does what the hand adds anew at each place.
fn hand(data: &Data, sd_turns: f64) -> Vec<(f64, f64)> {
    use std::f64::consts::PI;
    let most = data.readings.iter().map(|reading| reading.travel).fold(0.0, f64::max).max(1e-9);
    let fresh = (FRESH_HAND * sd_turns).powi(2);
    let sd_turns = 0.5 * sd_turns;
    let at = |reading: &Reading| {
        let slow = (8.0 * most).sqrt() / PI * (0.5 * PI * reading.travel / most).sin();
        (sd_turns * slow, sd_turns * sd_turns * (reading.travel - slow * slow).max(0.0) + fresh)
    };
    data.readings.iter().map(at).collect()
}

fn highest(values: impl Iterator<Item = f64>) -> f64 {
    values.fold(f64::NEG_INFINITY, f64::max)
}

fn ln_add(a: f64, b: f64) -> f64 {
    let (high, low) = if a < b { (b, a) } else { (a, b) };
    if low == f64::NEG_INFINITY { high } else { high + (low - high).exp().ln_1p() }
}
