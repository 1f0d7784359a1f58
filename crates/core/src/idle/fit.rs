//! The fit: which edge and which shape the holds speak for.
//!
//! Level, drift and block offsets enter linearly and are integrated in closed form; the edge and
//! the shape stand on a grid. Each reading may be an outlier, and its position is only as good as
//! the hand that set it. Two rivals have no edge at all: a screw without effect, and an engine
//! whose speed wanders whatever the screw does.

use crate::idle::question::Question;
use crate::idle::response::Shape;

/// A held speed, ready for the fit.
#[derive(Clone, Copy, Debug)]
pub(super) struct Reading {
    pub(super) richness: f64,
    pub(super) rpm: f64,
    pub(super) se_rpm: Option<f64>,
    /// Minutes from the mean time of all readings.
    pub(super) at_min: Option<f64>,
    /// 0: the block whose curve is asked for; others have an offset each.
    pub(super) offset: usize,
}

/// What the fit is given.
#[derive(Clone, Debug)]
pub(super) struct Data {
    pub(super) readings: Vec<Reading>,
    /// Positions where the engine died of leanness, and of richness.
    pub(super) lean_stalls: Vec<f64>,
    pub(super) rich_stalls: Vec<f64>,
    /// Blocks with an offset.
    pub(super) offsets: usize,
    /// A first guess of the plateau, rpm.
    pub(super) level_rpm: f64,
}

/// Findings about the machine, in the order of [`Posterior::findings`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Finding {
    Normal,
    OutsideWindow,
    Starved,
    Flooded,
    NoEffect,
    Unsteady,
}

pub(super) const FINDINGS: [Finding; 6] = [
    Finding::Normal,
    Finding::OutsideWindow,
    Finding::Starved,
    Finding::Flooded,
    Finding::NoEffect,
    Finding::Unsteady,
];

/// Belief in each finding before the first hold (common practice, no source).
pub(super) const PRIOR: [f64; 6] = [0.52, 0.21, 0.10, 0.08, 0.05, 0.04];

/// One cell of the grid that is still believed in.
#[derive(Clone, Copy, Debug)]
pub(super) struct Cell {
    pub(super) shape: usize,
    /// Richness of the lean edge.
    pub(super) edge: f64,
    /// Share of belief among the cells.
    pub(super) weight: f64,
    pub(super) level_rpm: f64,
    pub(super) level_sd_rpm: f64,
    pub(super) drift_rpm_per_min: f64,
    finding: usize,
    largest_offset: (usize, f64),
}

/// What is believed after the holds.
pub(super) struct Posterior {
    pub(super) shapes: Vec<Shape>,
    /// Sorted by edge; weights sum to 1.
    pub(super) cells: Vec<Cell>,
    /// Width of a cell, turns.
    cell_turns: f64,
    /// Probability of each finding.
    pub(super) findings: [f64; 6],
    pub(super) noise_rpm: f64,
}

/// Spacing of the first grid and of the second, turns.
const COARSE_TURNS: f64 = 0.125;
const FINE_TURNS: f64 = COARSE_TURNS / 4.0;
/// Members of the prior family.
const SHAPES: usize = 320;
/// How far beyond the reach of the screw an edge is still imagined, turns.
const BEYOND_LEAN: f64 = 1.5;
const BEYOND_RICH: f64 = 1.0;
/// Cells this much less likely than the best, as a logarithm, are dropped.
const NEGLIGIBLE: f64 = 12.0;
/// One shape in so many looks ahead, and edges this hopeless for all of them are passed over.
const LOOK_AHEAD: usize = 8;
const HOPELESS: f64 = 30.0;
/// With more cells than this left over, the coarse grid is fine enough.
const MANY: usize = 5000;

/// Standard deviation of level about its first guess, as a share of it.
const LEVEL_SD: f64 = 0.12;
/// Of drift, rpm per minute, and of the offset of a block, rpm.
const DRIFT_SD: f64 = 4.0;
const OFFSET_SD: f64 = 30.0;
/// What no shape of the family can follow, as a share of level (per screw turned).
const MISFIT_SD: f64 = 0.0012;
/// How often a reading is an outlier, and how far out, as a share of level.
const OUTLIER_SHARE: f64 = 0.04;
const OUTLIER_SD: f64 = 0.05;
/// Wander of an engine that hunts or hangs, as a share of level.
const UNSTEADY_SD: f64 = 0.03;
/// Where an engine dies, as a share of its highest speed, and how sharply that is known.
const STALL_AT: f64 = 0.62;
const STALL_WIDTH: f64 = 0.05;
/// How often the cause of a stall is misjudged.
const MISJUDGED: f64 = 0.02;
/// Standard errors thought possible where none is stated, rpm, with their weights.
const UNKNOWN_SE: [(f64, f64); 3] = [(4.0, 0.35), (9.0, 0.4), (22.0, 0.25)];

/// Chance that an engine dies at a share of its highest speed.
pub(super) fn stall_chance(relative_speed: f64) -> f64 {
    1.0 / (1.0 + ((relative_speed - STALL_AT) / STALL_WIDTH).exp())
}

/// Most columns of the linear part: level, drift, offsets.
const COLUMNS: usize = 6;
/// Most blocks with an offset of their own.
pub(super) const MOST_OFFSETS: usize = COLUMNS - 2;

type Row = [f64; COLUMNS];

/// The first unit vector.
const UNIT: Row = [1.0, 0.0, 0.0, 0.0, 0.0, 0.0];
/// Readings further out than this, in squared standard deviations, are suspected as outliers.
const SUSPECT: f64 = 3.0;

/// The linear part: prior and sizes, the same for every cell.
struct Linear {
    columns: usize,
    has_drift: bool,
    /// Prior precision of each column; prior means are zero (level counts from its guess).
    precision: Row,
}

/// What the closed form gives for one cell.
struct Evidence {
    ln: f64,
    mean: Row,
    level_sd: f64,
}

impl Linear {
    fn new(data: &Data) -> Self {
        let has_drift = data.readings.iter().all(|reading| reading.at_min.is_some())
            && data.readings.iter().any(|reading| reading.at_min.is_some_and(|at| 0.05 < at.abs()));
        let columns = 1 + usize::from(has_drift) + data.offsets;
        let mut precision = [0.0; COLUMNS];
        precision[0] = (LEVEL_SD * data.level_rpm).powi(-2);
        for value in precision.iter_mut().take(columns).skip(1) {
            *value = OFFSET_SD.powi(-2);
        }
        if has_drift {
            precision[1] = DRIFT_SD.powi(-2);
        }
        Linear { columns, has_drift, precision }
    }

    fn row(&self, reading: &Reading, relative_speed: f64) -> Row {
        let mut row = [0.0; COLUMNS];
        row[0] = relative_speed;
        let mut next = 1;
        if self.has_drift {
            row[1] = reading.at_min.unwrap_or(0.0);
            next = 2;
        }
        if 0 < reading.offset {
            row[next + reading.offset - 1] = 1.0;
        }
        row
    }

    /// Probability of the residuals, level, drift and offsets integrated, each reading an outlier
    /// with a small chance and at most one of them at a time.
    fn evidence(
        &self,
        rows: &[Row],
        residuals: &[f64],
        variances: &[f64],
        outlier_variance: f64,
    ) -> Evidence {
        let p = self.columns;
        let mut m = [[0.0; COLUMNS]; COLUMNS];
        let mut b = [0.0; COLUMNS];
        let (mut chi, mut spread) = (0.0, 1.0);
        for ((row, &y), &variance) in rows.iter().zip(residuals).zip(variances) {
            let weight = 1.0 / variance;
            chi += weight * y * y;
            spread *= variance * 1e-2;
            for i in 0..p {
                let scaled = weight * row[i];
                b[i] += scaled * y;
                for j in 0..=i {
                    m[i][j] += scaled * row[j];
                }
            }
        }
        let mut ln_det = 0.0;
        for (i, (row, precision)) in m.iter_mut().zip(&self.precision).enumerate().take(p) {
            row[i] += precision;
            ln_det -= precision.ln();
        }
        let (factor, ln_det_m) = cholesky(&m, p);
        let mean = solve(&factor, &b, p);
        let explained = dot(&b, &mean, p);
        let ln_plain = -0.5 * (chi - explained + spread.ln() + ln_det + ln_det_m);
        // One outlier: its weight falls, which changes the normal equations by one rank. A reading
        // that fits could be one too, but hardly changes anything.
        let count = rows.len() as f64;
        let odds = OUTLIER_SHARE / (1.0 - OUTLIER_SHARE);
        let mut sum = 1.0;
        let mut best = mean;
        let mut best_share = 1.0;
        if 2 < rows.len() {
            for ((row, &y), &variance) in rows.iter().zip(residuals).zip(variances) {
                let s = dot(row, &mean, p);
                if (y - s) * (y - s) < SUSPECT * variance {
                    continue;
                }
                let v = solve(&factor, row, p);
                let h = dot(row, &v, p);
                let lowered = 1.0 / (variance + outlier_variance);
                let change = lowered - 1.0 / variance;
                let kept = 1.0 + change * h;
                // The quadratic form falls by this much, level and drift fitted anew.
                let gain = -0.5 * change * (y - s) * (y - s) / kept;
                let ratio = odds * gain.min(300.0).exp() * (lowered * variance / kept).sqrt();
                sum += ratio;
                if best_share < ratio {
                    best_share = ratio;
                    for i in 0..p {
                        best[i] = mean[i] + change * (y - s) / kept * v[i];
                    }
                }
            }
        }
        let unit = solve(&factor, &UNIT, p);
        Evidence {
            ln: ln_plain + sum.ln() + count * (1.0 - OUTLIER_SHARE).ln(),
            mean: best,
            level_sd: unit[0].sqrt(),
        }
    }
}

fn cholesky(m: &[Row; COLUMNS], p: usize) -> ([Row; COLUMNS], f64) {
    let mut l = [[0.0; COLUMNS]; COLUMNS];
    let mut product = 1.0;
    for i in 0..p {
        for j in 0..=i {
            let sum = m[i][j] - dot(&l[i], &l[j], j);
            if i == j {
                // The prior's precision on the diagonal keeps this above zero.
                let root = sum.max(1e-30).sqrt();
                l[i][i] = root;
                product *= sum.max(1e-30);
            } else {
                l[i][j] = sum / l[j][j];
            }
        }
    }
    (l, product.ln())
}

fn solve(l: &[Row; COLUMNS], b: &Row, p: usize) -> Row {
    let mut x = [0.0; COLUMNS];
    for i in 0..p {
        let mut sum = b[i];
        for k in 0..i {
            sum -= l[i][k] * x[k];
        }
        x[i] = sum / l[i][i];
    }
    for i in (0..p).rev() {
        let mut sum = x[i];
        for k in i + 1..p {
            sum -= l[k][i] * x[k];
        }
        x[i] = sum / l[i][i];
    }
    x
}

fn dot(a: &Row, b: &Row, p: usize) -> f64 {
    (0..p).map(|i| a[i] * b[i]).sum()
}

/// The fit of one set of data; scratch space is kept between cells.
struct Fit<'a> {
    data: &'a Data,
    linear: Linear,
    hand_variance: f64,
    misfit_variance: f64,
    outlier_variance: f64,
    rows: Vec<Row>,
    residuals: Vec<f64>,
    variances: Vec<f64>,
}

impl Fit<'_> {
    fn stated_variance(&self, reading: &Reading, unknown_se: f64) -> f64 {
        let se = reading.se_rpm.unwrap_or(unknown_se).max(0.5);
        se * se + self.misfit_variance
    }

    fn cell(&mut self, shape: &Shape, edge: f64, unknown_se: f64) -> Evidence {
        let level = self.data.level_rpm;
        self.rows.clear();
        self.residuals.clear();
        self.variances.clear();
        for reading in &self.data.readings {
            let (relative, slope) = shape.at(reading.richness - edge);
            self.rows.push(self.linear.row(reading, relative));
            self.residuals.push(reading.rpm - level * relative);
            let tilt = slope * level;
            let variance = self.stated_variance(reading, unknown_se) + self.hand_variance * tilt * tilt;
            self.variances.push(variance);
        }
        let mut evidence =
            self.linear.evidence(&self.rows, &self.residuals, &self.variances, self.outlier_variance);
        for &place in &self.data.lean_stalls {
            let died = if place < edge + shape.best { stall_chance(shape.at(place - edge).0) } else { 0.0 };
            evidence.ln += (MISJUDGED + (1.0 - MISJUDGED) * died).ln();
        }
        for &place in &self.data.rich_stalls {
            let died = if edge + shape.best < place { stall_chance(shape.at(place - edge).0) } else { 0.0 };
            evidence.ln += (MISJUDGED + (1.0 - MISJUDGED) * died).ln();
        }
        evidence
    }

    /// A rival without an edge: one level, with extra scatter or without.
    fn flat(&mut self, extra_variance: f64, unknown_se: f64) -> f64 {
        let level = self.data.level_rpm;
        self.rows.clear();
        self.residuals.clear();
        self.variances.clear();
        for reading in &self.data.readings {
            self.rows.push(self.linear.row(reading, 1.0));
            self.residuals.push(reading.rpm - level);
            self.variances.push(self.stated_variance(reading, unknown_se) + extra_variance);
        }
        let stalls = self.data.lean_stalls.len() + self.data.rich_stalls.len();
        self.linear.evidence(&self.rows, &self.residuals, &self.variances, self.outlier_variance).ln
            + stalls as f64 * 0.05f64.ln()
    }
}

/// Fits the data.
pub(super) fn fit(data: &Data, question: &Question) -> Posterior {
    let (domain_lean, domain_rich) = question.domain();
    let (first_edge, last_edge) = (domain_lean - BEYOND_LEAN, domain_rich + BEYOND_RICH);
    let shapes = question.response.shapes(question.carburettors, SHAPES);
    let part = 1.0 / f64::from(question.carburettors);
    let mut fit = Fit {
        data,
        linear: Linear::new(data),
        hand_variance: question.hand_sd_turns.powi(2),
        misfit_variance: (MISFIT_SD * part * data.level_rpm).powi(2),
        outlier_variance: (OUTLIER_SD * data.level_rpm).powi(2),
        rows: Vec::new(),
        residuals: Vec::new(),
        variances: Vec::new(),
    };

    // What each place of the grid would mean, and how many places share each meaning.
    let steps = ((last_edge - first_edge) / COARSE_TURNS).round() as usize + 1;
    let place = |step: usize| first_edge + step as f64 * COARSE_TURNS;
    let mut counts = [0.0; 6];
    for shape in &shapes {
        for step in 0..steps {
            counts[finding(question, place(step), shape) as usize] += 1.0;
        }
    }
    let ln_prior: Vec<f64> = (0..6).map(|index| (PRIOR[index] / f64::max(counts[index], 1.0)).ln()).collect();

    let all_stated = data.readings.iter().all(|reading| reading.se_rpm.is_some());
    let errors: &[(f64, f64)] = if all_stated { &[(1.0, 1.0)] } else { &UNKNOWN_SE };

    let mut flat = [f64::NEG_INFINITY; 2];
    for &(se, share) in errors {
        for (index, extra) in [0.0, (UNSTEADY_SD * data.level_rpm).powi(2)].into_iter().enumerate() {
            let ln = share.ln() + PRIOR[4 + index].ln() + fit.flat(extra, se);
            flat[index] = ln_add(flat[index], ln);
        }
    }

    // A look ahead with a few of the shapes: errors and edges that are out of the question.
    let mut ahead = vec![f64::NEG_INFINITY; errors.len() * steps];
    for (which, &(se, share)) in errors.iter().enumerate() {
        for shape in shapes.iter().step_by(LOOK_AHEAD) {
            for step in 0..steps {
                let ln = share.ln() + fit.cell(shape, place(step), se).ln;
                let highest = &mut ahead[which * steps + step];
                *highest = highest.max(ln);
            }
        }
    }
    let best_ahead = ahead.iter().copied().fold(f64::NEG_INFINITY, f64::max);

    // First pass: the coarse grid.
    let mut coarse: Vec<(usize, usize, usize, f64)> = Vec::with_capacity(shapes.len() * steps);
    let mut best = f64::NEG_INFINITY;
    for (which, &(se, share)) in errors.iter().enumerate() {
        for step in 0..steps {
            if ahead[which * steps + step] < best_ahead - HOPELESS {
                continue;
            }
            let edge = place(step);
            for (index, shape) in shapes.iter().enumerate() {
                let class = finding(question, edge, shape) as usize;
                let ln = share.ln() + ln_prior[class] + fit.cell(shape, edge, se).ln;
                best = best.max(ln);
                coarse.push((which, index, step, ln));
            }
        }
    }
    coarse.retain(|&(_, _, _, ln)| best - NEGLIGIBLE < ln);

    // Second pass: finer around what is left, unless so much is left that nothing is narrow.
    let within: &[f64] = if coarse.len() < MANY { &[-1.5, -0.5, 0.5, 1.5] } else { &[0.0] };
    let cell_turns = COARSE_TURNS / within.len() as f64;
    let first_offset = 1 + usize::from(fit.linear.has_drift);
    let mut cells = Vec::with_capacity(coarse.len() * within.len());
    let mut lns = Vec::with_capacity(coarse.len() * within.len());
    for &(which, index, step, _) in &coarse {
        for quarters in within {
            let edge = place(step) + quarters * FINE_TURNS;
            let shape = &shapes[index];
            let class = finding(question, edge, shape) as usize;
            let evidence = fit.cell(shape, edge, errors[which].0);
            lns.push(errors[which].1.ln() + ln_prior[class] - (within.len() as f64).ln() + evidence.ln);
            let mut largest = (0, 0.0);
            for offset in 0..data.offsets {
                let value = evidence.mean[first_offset + offset];
                if f64::abs(largest.1) < value.abs() {
                    largest = (offset + 1, value);
                }
            }
            cells.push(Cell {
                shape: index,
                edge,
                weight: errors[which].0,
                level_rpm: data.level_rpm + evidence.mean[0],
                level_sd_rpm: evidence.level_sd,
                drift_rpm_per_min: if fit.linear.has_drift { evidence.mean[1] } else { 0.0 },
                finding: class,
                largest_offset: largest,
            });
        }
    }

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
    findings[4] = (flat[0] - top).exp();
    findings[5] = (flat[1] - top).exp();
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
    cells.sort_by(|a, b| a.edge.total_cmp(&b.edge));
    let stated: Vec<f64> = data.readings.iter().filter_map(|reading| reading.se_rpm).collect();
    let noise_rpm = if stated.is_empty() {
        if 0.0 < noise.1 { noise.0 / noise.1 } else { UNKNOWN_SE[1].0 }
    } else {
        stated.iter().sum::<f64>() / stated.len() as f64
    };
    Posterior { shapes, cells, cell_turns, findings, noise_rpm }
}

/// What an edge and a shape mean for this machine.
fn finding(question: &Question, edge: f64, shape: &Shape) -> Finding {
    let (advise_lean, advise_rich) = question.advisable();
    let (window_lean, window_rich) = question.window();
    let best = edge + shape.best;
    let setting = edge + question.cooling.margin_turns();
    if advise_rich < best {
        Finding::Starved
    } else if best < advise_lean + 0.25 {
        Finding::Flooded
    } else if window_lean <= setting && setting <= window_rich {
        Finding::Normal
    } else {
        Finding::OutsideWindow
    }
}

fn ln_add(a: f64, b: f64) -> f64 {
    let (high, low) = if a < b { (b, a) } else { (a, b) };
    if low == f64::NEG_INFINITY { high } else { high + (low - high).exp().ln_1p() }
}

impl Posterior {
    /// The mean of something over the cells.
    pub(super) fn mean(&self, of: impl Fn(&Cell) -> f64) -> f64 {
        self.cells.iter().map(|cell| cell.weight * of(cell)).sum()
    }

    /// Mean and standard deviation of something over the cells.
    pub(super) fn mean_and_sd(&self, of: impl Fn(&Cell) -> f64) -> (f64, f64) {
        let mean = self.mean(&of);
        let variance = self.mean(|cell| (of(cell) - mean).powi(2));
        (mean, variance.max(0.0).sqrt())
    }

    /// Richness below which the edge lies with the given probabilities, in rising order.
    pub(super) fn edge_quantiles(&self, wanted: [f64; 3]) -> [f64; 3] {
        let Some((first, last)) = self.cells.first().zip(self.cells.last()) else {
            return [f64::NAN; 3];
        };
        let width = self.cell_turns;
        let start = first.edge - 0.5 * width;
        let bins = ((last.edge - first.edge) / width).round() as usize + 1;
        let mut mass = vec![0.0; bins];
        for cell in &self.cells {
            let bin = ((cell.edge - first.edge) / width).round() as usize;
            mass[bin.min(bins - 1)] += cell.weight;
        }
        wanted.map(|share| {
            let mut below = 0.0;
            for (bin, &here) in mass.iter().enumerate() {
                if share <= below + here && 0.0 < here {
                    return start + (bin as f64 + (share - below) / here) * width;
                }
                below += here;
            }
            last.edge + 0.5 * width
        })
    }

    /// The block whose offset is largest, and that offset, rpm.
    pub(super) fn largest_offset(&self) -> Option<(usize, f64)> {
        let heaviest = self.cells.iter().max_by(|a, b| a.weight.total_cmp(&b.weight))?;
        (0 < heaviest.largest_offset.0).then_some(heaviest.largest_offset)
    }

    /// Cells drawn in proportion to their weight, evenly spaced through the sorted edges.
    pub(super) fn sample(&self, count: usize) -> Vec<Cell> {
        let mut drawn = Vec::with_capacity(count);
        let mut below = 0.0;
        let mut next = 0.5 / count as f64;
        for cell in &self.cells {
            below += cell.weight;
            while next < below && drawn.len() < count {
                drawn.push(*cell);
                next += 1.0 / count as f64;
            }
        }
        drawn
    }
}
