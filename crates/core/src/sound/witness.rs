//! What bears witness that a rhythm is an engine's: numbers about a frame that do not depend on level.
//!
//! The comb says at which speed a rhythm fits best. Given that speed, loudness is folded over the working
//! cycle: what repeats from cycle to cycle is explained, and its shape tells pulses from notes. A fold, like
//! every average here, stays within frames that hang together, so nothing before an engine's start speaks
//! against it.

mod course;
mod fold;

use std::collections::VecDeque;

use super::FRAME_S;
use super::constants::{FOLD_FRAMES, JUMP_CELLS, LIKELY, STEP};
use super::ears::Lanes;
use crate::engine::layout::Firing;
use course::{jerk, slope, together, wander};
use fold::{FOLDED, Fold, ORDERS, Shape, alike};

/// Numbers that bear witness.
pub const WITNESSES: usize = 22;

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
    "slope",
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
    shape: Option<Box<Shape>>,
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
        let mut account = Account { glimpse, folded: [0.0; FOLDED], shape: None };
        if glimpse.none > LIKELY {
            return account;
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
            let step = self.cycles_hz(glimpse) / self.loudness_hz;
            fold.add(slice, step);
        }
        if let Some((folded, shape)) = fold.finish(&self.implied) {
            (account.folded, account.shape) = (folded, Some(Box::new(shape)));
        }
        account
    }

    fn cycles_hz(&self, glimpse: &Glimpse) -> f64 {
        self.first_hz * (STEP * f64::from(glimpse.cell)).exp()
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
        let cycles_hz = self.cycles_hz(&accounts[at].glimpse);
        numbers[16] = (cycles_hz * self.firings).ln();
        numbers[17] = cycles_hz.ln();
        let shapes: Vec<Option<&Shape>> = around.iter().map(|account| account.shape.as_deref()).collect();
        numbers[18] = alike(&shapes, at - from, self.bands);
        numbers[19] = (around.len() as f64).ln();
        numbers[21] = (0.01 + STEP * slope(&cells).abs() / FRAME_S).ln();
        numbers.iter().all(|number| number.is_finite()).then_some(numbers)
    }
}

/// Whether two neighbouring frames belong to the same run of an engine.
pub(crate) fn hangs(one: &Glimpse, next: &Glimpse) -> bool {
    one.none <= LIKELY && next.none <= LIKELY && (one.cell - next.cell).abs() < JUMP_CELLS
}

#[cfg(test)]
mod tests {
    use super::fold::PARTS;
    use super::*;
    use crate::sound::ears::LANES;

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
}
