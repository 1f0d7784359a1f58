//! What bears witness that a rhythm is an engine's: numbers about a frame that do not depend on level.
//!
//! The comb says at which speed a rhythm fits best. Given that speed, loudness is folded over the working
//! cycle: what repeats from cycle to cycle is explained, and its shape tells pulses from notes. A fold, like
//! every average here, stays within frames that hang together, so nothing before an engine's start speaks
//! against it.

use std::collections::VecDeque;

use super::constants::{ALIKE_FRAMES, FOLD_FRAMES, JUMP_CELLS, LIKELY, STEP};
use super::ears::{LANES, Lanes};
use crate::engine::layout::Firing;

/// Parts of a cycle over which loudness is folded.
const PARTS: usize = 32;
/// Orders of the cycle whose strength in the fold is looked at.
const ORDERS: usize = 15;
/// Numbers a fold gives.
const FOLDED: usize = 9;
/// Numbers that bear witness.
pub const WITNESSES: usize = 21;
/// Loudness further from its mean than this counts no more, in its logarithm.
const LOUDEST: f32 = 3.0;

/// What each witness is, in the order of [`Testimony::witnesses`].
pub const NAMES: [&str; WITNESSES] = [
    "best_rhythm",
    "mean_rhythm",
    "agreement",
    "depth",
    "skewness",
    "attack",
    "implied",
    "between",
    "rest",
    "evidence",
    "steadiness",
    "near",
    "none",
    "jerk",
    "wander",
    "tone",
    "firings",
    "cycles",
    "alike",
    "frames",
    "still",
];

/// What the chain believes of one frame.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Glimpse {
    /// Probability of no engine.
    pub(crate) none: f32,
    /// Probability that the speed lies within about a tenth of the best one, an engine given or not.
    pub(crate) near: f32,
    /// Place of the best speed on the grid.
    pub(crate) cell: f32,
    /// Evidence of the best speed over noise.
    pub(crate) evidence: f32,
    /// Share of the spectrum that stands out as tones.
    pub(crate) tone: f64,
}

/// What is kept of one frame.
#[derive(Clone, Debug)]
pub(crate) struct Account {
    pub(crate) glimpse: Glimpse,
    folded: [f32; FOLDED],
    /// Loudness over the cycle; nothing where less than a cycle and a half hangs together.
    shape: Option<Box<[Lanes; PARTS]>>,
}

/// What bears witness about one frame.
#[derive(Clone, Debug, PartialEq)]
pub struct Testimony {
    /// The time of the frame, seconds from the start of the sound.
    pub t_s: f64,
    /// Numbers named by [`NAMES`], each finite and without a unit.
    pub witnesses: [f64; WITNESSES],
    /// Logarithm of the odds for an engine that is heard at its right speed.
    pub log_odds: f64,
}

/// Keeps the loudness of the last seconds, frame by frame, and folds it.
pub(crate) struct Witness {
    slices: VecDeque<Vec<Lanes>>,
    /// Frame of the first slice.
    first: usize,
    /// Cycles per second at the first speed of the grid.
    first_hz: f64,
    loudness_hz: f64,
    bands: usize,
    /// Firings in a cycle.
    firings: f64,
    /// Strength of each order that the firing angles imply, from the first.
    implied: [f32; ORDERS],
}

impl Witness {
    pub(crate) fn new(firing: &Firing, lowest_rpm: f64, loudness_hz: f64, bands: usize) -> Witness {
        Witness {
            slices: VecDeque::new(),
            first: 0,
            first_hz: firing.cycles_per_second(lowest_rpm),
            loudness_hz,
            bands,
            firings: firing.angles_deg().len() as f64,
            implied: std::array::from_fn(|order| firing.order_strength(order + 1) as f32),
        }
    }

    /// Takes the loudness of the next frame.
    pub(crate) fn hear(&mut self, slice: Vec<Lanes>) {
        self.slices.push_back(slice);
    }

    /// Forgets frames before one.
    pub(crate) fn forget(&mut self, before: usize) {
        while self.first < before && self.slices.pop_front().is_some() {
            self.first += 1;
        }
    }

    /// The account of the frame `at` of some glimpses, the first of which is of frame `first`.
    pub(crate) fn account(&self, glimpses: &[Glimpse], first: usize, at: usize) -> Account {
        let glimpse = glimpses[at];
        let nothing = Account { glimpse, folded: [0.0; FOLDED], shape: None };
        if glimpse.none > LIKELY {
            return nothing;
        }
        let run = |reach: (usize, usize)| {
            together(glimpses.len(), at, reach, |i| hangs(&glimpses[i], &glimpses[i + 1]))
        };
        // At an edge the fold reaches further the other way.
        let (from, to) = run((FOLD_FRAMES, FOLD_FRAMES));
        let (from, to) = run((2 * FOLD_FRAMES + at - to, 2 * FOLD_FRAMES + from - at));
        let mut fold = Fold::new(self.bands);
        for (i, glimpse) in glimpses.iter().enumerate().take(to + 1).skip(from) {
            let slice = (first + i).checked_sub(self.first).and_then(|slice| self.slices.get(slice));
            let Some(slice) = slice else { continue };
            let step = self.first_hz * (STEP * f64::from(glimpse.cell)).exp() / self.loudness_hz;
            fold.add(slice, step);
        }
        match fold.finish(&self.implied) {
            Some((folded, shape)) => Account { glimpse, folded, shape: Some(Box::new(shape)) },
            None => nothing,
        }
    }

    /// What bears witness about the frame `at` of some accounts, so many frames before and after it looked at.
    pub(crate) fn testimony(
        &self,
        accounts: &[Account],
        at: usize,
        reach: (usize, usize),
    ) -> Option<[f64; WITNESSES]> {
        if accounts[at].glimpse.none > LIKELY {
            return None;
        }
        let (from, to) =
            together(accounts.len(), at, reach, |i| hangs(&accounts[i].glimpse, &accounts[i + 1].glimpse));
        let around = &accounts[from..=to];
        let folds: Vec<&Account> = around.iter().filter(|account| account.shape.is_some()).collect();
        if folds.is_empty() {
            return None;
        }
        let mut numbers = [0.0; WITNESSES];
        for account in &folds {
            for (number, folded) in numbers.iter_mut().zip(&account.folded) {
                *number += f64::from(*folded) / folds.len() as f64;
            }
        }
        let mean = |f: &dyn Fn(&Glimpse) -> f64| {
            around.iter().map(|account| f(&account.glimpse)).sum::<f64>() / around.len() as f64
        };
        let log_odds = |p: f32| (f64::from(p).max(1e-5) / (1.0 - f64::from(p)).max(1e-5)).ln();
        let evidence = mean(&|glimpse| f64::from(glimpse.evidence.max(0.0)));
        let squared = mean(&|glimpse| f64::from(glimpse.evidence.max(0.0)).powi(2));
        numbers[9] = (1.0 + evidence).ln();
        numbers[10] = (squared - evidence * evidence).max(0.0).sqrt() / (1.0 + evidence);
        numbers[11] = mean(&|glimpse| log_odds(glimpse.near));
        numbers[12] = mean(&|glimpse| log_odds(glimpse.none));
        let cells: Vec<f64> = around.iter().map(|account| f64::from(account.glimpse.cell)).collect();
        numbers[13] = (1e-4 + STEP * jerk(&cells)).ln();
        let (wander, usual) = wander(&cells);
        numbers[14] = (1e-4 + STEP * wander).ln();
        numbers[20] = (1e-4 + STEP * usual).ln();
        numbers[15] = mean(&|glimpse| glimpse.tone).sqrt();
        let cycles_hz = self.first_hz * (STEP * f64::from(accounts[at].glimpse.cell)).exp();
        numbers[16] = (cycles_hz * self.firings).ln();
        numbers[17] = cycles_hz.ln();
        numbers[18] = alike(around, at - from, self.bands);
        numbers[19] = (around.len() as f64).ln();
        numbers.iter().all(|number| number.is_finite()).then_some(numbers)
    }
}

/// Whether two neighbouring frames belong to the same run of an engine.
pub(crate) fn hangs(one: &Glimpse, next: &Glimpse) -> bool {
    one.none <= LIKELY && next.none <= LIKELY && (one.cell - next.cell).abs() < JUMP_CELLS
}

/// The first and the last of the places about one, up to so many before and after it, that hang together;
/// `hangs` tells whether a place and its next do.
fn together(count: usize, at: usize, reach: (usize, usize), hangs: impl Fn(usize) -> bool) -> (usize, usize) {
    let mut from = at;
    while from > 0 && at < from + reach.0 && hangs(from - 1) {
        from -= 1;
    }
    let mut to = at;
    while to + 1 < count && to < at + reach.1 && hangs(to) {
        to += 1;
    }
    (from, to)
}

/// Median second difference.
fn jerk(cells: &[f64]) -> f64 {
    let mut jerks: Vec<f64> = cells.windows(3).map(|c| (c[0] - 2.0 * c[1] + c[2]).abs()).collect();
    jerks.sort_unstable_by(f64::total_cmp);
    jerks.get(jerks.len() / 2).copied().unwrap_or(0.0)
}

/// Distance from the line that fits best: its root mean square, and its median. Mains and drum machines
/// keep time better than any engine, but for a jump from note to note.
fn wander(cells: &[f64]) -> (f64, f64) {
    let count = cells.len() as f64;
    let (mean, middle) = (cells.iter().sum::<f64>() / count, 0.5 * (count - 1.0));
    let (mut xy, mut xx) = (0.0, 1e-9);
    for (i, cell) in cells.iter().enumerate() {
        let x = i as f64 - middle;
        xy += x * (cell - mean);
        xx += x * x;
    }
    let slope = xy / xx;
    let mut off: Vec<f64> =
        cells.iter().enumerate().map(|(i, cell)| (cell - mean - slope * (i as f64 - middle)).abs()).collect();
    let squares: f64 = off.iter().map(|x| x * x).sum();
    off.sort_unstable_by(f64::total_cmp);
    ((squares / count).sqrt(), off[off.len() / 2])
}

/// How much the shape of a cycle is that of some time before and after: the best correlation over all
/// shifts, for the mean is not known where a cycle begins.
fn alike(around: &[Account], at: usize, bands: usize) -> f64 {
    let pairs = [
        (at.saturating_sub(ALIKE_FRAMES), at),
        (at, (at + ALIKE_FRAMES).min(around.len() - 1)),
        (0, around.len() - 1),
    ];
    let (mut sum, mut count) = (0.0, 0.0);
    for (one, other) in pairs {
        let apart = other - one >= ALIKE_FRAMES;
        let shapes = (around[one].shape.as_deref(), around[other].shape.as_deref());
        if let (true, (Some(one), Some(other))) = (apart, shapes) {
            sum += f64::from(correlation(one, other, bands));
            count += 1.0;
        }
    }
    if count > 0.0 { sum / count } else { 0.5 }
}

fn correlation(one: &[Lanes; PARTS], other: &[Lanes; PARTS], bands: usize) -> f32 {
    let power =
        |shape: &[Lanes; PARTS]| shape.iter().flat_map(|part| &part[..bands]).map(|x| x * x).sum::<f32>();
    let norm = (power(one) * power(other)).sqrt().max(1e-9);
    let shifted = |shift: usize| {
        (0..PARTS)
            .map(|i| {
                let (a, b) = (&one[i], &other[(i + shift) % PARTS]);
                (0..bands).map(|band| a[band] * b[band]).sum::<f32>()
            })
            .sum::<f32>()
    };
    (0..PARTS).map(shifted).fold(0.0, f32::max) / norm
}

/// Loudness folded over the cycle.
struct Fold {
    bands: usize,
    phase: f64,
    counts: [f32; PARTS],
    sums: [Lanes; PARTS],
    total: Lanes,
    squares: Lanes,
    values: f32,
    /// Sum and number of values of each cycle.
    cycles: Vec<(Lanes, f32)>,
}

impl Fold {
    fn new(bands: usize) -> Fold {
        Fold {
            bands,
            phase: 0.0,
            counts: [0.0; PARTS],
            sums: [[0.0; LANES]; PARTS],
            total: [0.0; LANES],
            squares: [0.0; LANES],
            values: 0.0,
            cycles: Vec::new(),
        }
    }

    /// Takes values between which the cycle proceeds by `step`.
    fn add(&mut self, slice: &[Lanes], step: f64) {
        for value in slice {
            let cycle = self.phase as usize;
            let part = ((self.phase.fract() * PARTS as f64) as usize).min(PARTS - 1);
            if self.cycles.len() <= cycle {
                self.cycles.resize(cycle + 1, ([0.0; LANES], 0.0));
            }
            self.counts[part] += 1.0;
            self.values += 1.0;
            let (sum, count) = &mut self.cycles[cycle];
            *count += 1.0;
            for band in 0..self.bands {
                let x = value[band].clamp(-LOUDEST, LOUDEST);
                self.sums[part][band] += x;
                self.total[band] += x;
                self.squares[band] += x * x;
                sum[band] += x;
            }
            self.phase += step;
        }
    }

    /// The numbers of the fold and its shape; nothing for less than a cycle and a half.
    fn finish(self, implied: &[f32; ORDERS]) -> Option<([f32; FOLDED], [Lanes; PARTS])> {
        if self.phase < 1.5 {
            return None;
        }
        let filled = self.counts.iter().filter(|&&count| count > 0.0).count() as f32;
        let mut shape = [[0.0_f32; LANES]; PARTS];
        let mut explained = [0.0_f32; LANES];
        let (mut rests, mut between) = ([0.0_f32; LANES], 0.0);
        for band in 0..self.bands {
            let mean = self.total[band] / self.values;
            let variance = (self.squares[band] / self.values - mean * mean).max(1e-9);
            let mut by_parts = 0.0;
            for part in 0..PARTS {
                // A part that no value fell into repeats the one before.
                shape[part][band] = if self.counts[part] > 0.0 {
                    self.sums[part][band] / self.counts[part] - mean
                } else if part > 0 {
                    shape[part - 1][band]
                } else {
                    0.0
                };
                by_parts += self.counts[part] * shape[part][band].powi(2);
            }
            let rest =
                (variance - by_parts / self.values).max(1e-9) * self.values / (self.values - filled).max(1.0);
            explained[band] = (1.0 - rest / variance).clamp(0.0, 1.0);
            rests[band] = rest;
            between += self.between(band, mean, rest) / variance / self.bands as f32;
        }
        let best = (0..self.bands).max_by(|&a, &b| explained[a].total_cmp(&explained[b])).unwrap_or(0);
        let all: f32 = explained.iter().sum();
        let power =
            |band: usize| shape.iter().map(|part| part[band] * part[band]).sum::<f32>() / PARTS as f32;
        let (mut skewness, mut attack) = (0.0, 0.0);
        for band in 0..self.bands {
            let weight = explained[band] / all.max(1e-6);
            skewness += weight * skew((0..PARTS).map(|i| shape[i][band]));
            attack += weight * skew((0..PARTS).map(|i| shape[(i + 1) % PARTS][band] - shape[i][band]));
        }
        let folded = [
            explained[best],
            all / self.bands as f32,
            agreement(&shape, best, self.bands),
            (1e-3 + power(best)).ln(),
            skewness,
            attack,
            implied_share(&shape, implied, self.bands),
            between,
            (1e-3 + rests[best]).ln(),
        ];
        Some((folded, shape))
    }

    /// Variance of the means of whole cycles, less what chance gives them.
    fn between(&self, band: usize, mean: f32, rest: f32) -> f32 {
        let whole = &self.cycles[..self.phase as usize];
        if whole.is_empty() {
            return 0.0;
        }
        let squares: f32 = whole
            .iter()
            .filter(|(_, count)| *count > 0.0)
            .map(|(sum, count)| (sum[band] / count - mean).powi(2) - rest / count)
            .sum();
        squares / whole.len() as f32
    }
}

/// Third moment over the spread cubed.
fn skew(values: impl Iterator<Item = f32> + Clone) -> f32 {
    let mean = values.clone().sum::<f32>() / PARTS as f32;
    let moment = |power: i32| values.clone().map(|x| (x - mean).powi(power)).sum::<f32>() / PARTS as f32;
    moment(3) / moment(2).max(1e-6).powf(1.5)
}

/// Mean correlation of the other bands' shapes with the best one's.
fn agreement(shape: &[Lanes; PARTS], best: usize, bands: usize) -> f32 {
    let product = |a: usize, b: usize| shape.iter().map(|part| part[a] * part[b]).sum::<f32>();
    let own = product(best, best).max(1e-6);
    let others = (0..bands).filter(|&band| band != best);
    let sum: f32 =
        others.map(|band| product(best, band) / (own * product(band, band).max(1e-6)).sqrt()).sum();
    sum / (bands.max(2) - 1) as f32
}

/// Share of the power of a shape's orders that the firing angles imply.
fn implied_share(shape: &[Lanes; PARTS], implied: &[f32; ORDERS], bands: usize) -> f32 {
    let turn: [(f32, f32); PARTS] =
        std::array::from_fn(|i| (std::f32::consts::TAU * i as f32 / PARTS as f32).sin_cos());
    let (mut of_these, mut all) = (0.0, 1e-6);
    for (order, strength) in implied.iter().enumerate() {
        let (mut real, mut imaginary) = ([0.0_f32; LANES], [0.0_f32; LANES]);
        for (i, part) in shape.iter().enumerate() {
            let (sine, cosine) = turn[(order + 1) * i % PARTS];
            for band in 0..LANES {
                real[band] += part[band] * cosine;
                imaginary[band] += part[band] * sine;
            }
        }
        let power: f32 = (0..bands).map(|band| real[band].powi(2) + imaginary[band].powi(2)).sum();
        of_these += strength * power;
        all += power;
    }
    of_these / all
}

#[cfg(test)]
mod tests {
    use super::*;

    fn folded(value: impl Fn(f64) -> f32) -> [f32; FOLDED] {
        let mut fold = Fold::new(LANES);
        // Nine cycles of a hundred values and a bit, so that no value repeats its place.
        let step = 1.0 / 100.3;
        let values: Vec<Lanes> = (0..900).map(|i| [value(f64::from(i) * step); LANES]).collect();
        values.chunks(50).for_each(|slice| fold.add(slice, step));
        fold.finish(&[1.0; ORDERS]).expect("nine cycles are enough").0
    }

    #[test]
    fn what_repeats_every_cycle_is_explained_and_what_does_not_is_not() {
        let pulses = folded(|phase| if phase.fract() < 0.2 { 1.0 } else { -0.25 });
        let other_rhythm = folded(|phase| (phase * 2.7).sin() as f32);
        assert!(pulses[0] > 0.95, "{pulses:?}");
        assert!(other_rhythm[0] < 0.2, "{other_rhythm:?}");
        assert!(pulses[7] < 0.01 && other_rhythm[7] > 0.1, "{pulses:?} {other_rhythm:?}");
    }

    #[test]
    fn pulses_are_skewed_and_their_mirror_image_the_other_way() {
        let pulses = folded(|phase| if phase.fract() < 0.2 { 1.0 } else { -0.25 });
        let gaps = folded(|phase| if phase.fract() < 0.2 { -1.0 } else { 0.25 });
        assert!(pulses[4] > 1.0, "{pulses:?}");
        assert!((pulses[4] + gaps[4]).abs() < 1e-3, "{pulses:?} {gaps:?}");
    }

    #[test]
    fn a_run_ends_where_two_neighbours_do_not_hang_together() {
        let hangs = |i: usize| i != 3 && i != 9;
        assert_eq!(together(20, 6, (10, 10), hangs), (4, 9));
        assert_eq!(together(20, 6, (1, 2), hangs), (5, 8));
        assert_eq!(together(20, 15, (10, 10), hangs), (10, 19));
    }

    #[test]
    fn nothing_before_a_start_bears_witness() {
        let twin = Firing::new(&[0.0, 315.0], 720.0).unwrap();
        let account = |none: f32, cell: f32, number: f32| Account {
            glimpse: Glimpse { none, near: 0.99, cell, evidence: 50.0, tone: f64::from(number) },
            folded: [number; FOLDED],
            shape: Some(Box::new([[number; LANES]; PARTS])),
        };
        let before = |number| account(0.9, 40.0, number);
        let after: Vec<Account> = (0..30).map(|i| account(0.01, 210.0 + 0.1 * (i % 3) as f32, 0.5)).collect();
        let witness = Witness::new(&twin, 400.0, 1000.0, LANES);
        let alone = witness.testimony(&after, 4, (40, 36));
        assert!(alone.is_some());
        for number in [0.0, 0.9] {
            let mut all = vec![before(number); 20];
            all.extend(after.iter().cloned());
            assert_eq!(witness.testimony(&all, 24, (40, 36)), alone);
            assert_eq!(witness.testimony(&all, 19, (40, 36)), None);
        }
    }

    #[test]
    fn a_steady_climb_is_no_wander() {
        let climb: Vec<f64> = (0..40).map(|i| 3.0 * f64::from(i)).collect();
        let (wander, usual) = wander(&climb);
        assert!(wander < 1e-6 && usual < 1e-6, "{wander} {usual}");
        assert!(jerk(&climb) < 1e-9);
    }
}
