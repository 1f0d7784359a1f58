//! Keeps what bore witness about the last seconds, and passes the verdicts: live, and with hindsight.
//!
//! The odds of the frames that hang together with one are pooled, those before it and those after it: what one
//! frame leaves open, a run of some seconds settles.

use std::collections::VecDeque;

use super::constants::{
    AROUND_FRAMES, FOLD_FRAMES, LIKELY, LIVE_FRAMES, LIVE_POOL_FRAMES, POOL_FRAMES, RUN_FRAMES, SPEEDS_RPM,
    STARTS_FRAMES, SURE, SURE_LIVE,
};
use super::ears::Lanes;
use super::verdict::{Pool, log_odds, verdict};
use super::witness::{Account, Glimpse, Testimony, Witness, hangs};
use super::{FRAME_S, Heard};
use crate::engine::layout::Firing;

/// Frames after those to be judged of which glimpses are of use.
pub(crate) const LOOKS_AHEAD: usize = AROUND_FRAMES.1 + FOLD_FRAMES;

pub(crate) struct Judge {
    witness: Witness,
    /// Accounts of the newest provisional frames.
    recent: VecDeque<Account>,
    /// Accounts of the newest final frames.
    past: VecDeque<Account>,
    /// Odds of the run so far: of final frames, of provisional ones.
    pool: Pool,
    live_pool: Pool,
    /// Frames since none was likely, or since the sound began: of final frames.
    age: usize,
    /// What bore witness about the frames judged since it was last cleared.
    pub(crate) testimonies: Vec<Testimony>,
    /// What bore witness about the newest provisional frame.
    pub(crate) live_testimony: Option<Testimony>,
}

impl Judge {
    pub(crate) fn new(firing: &Firing, loudness_hz: f64, bands: usize) -> Judge {
        Judge {
            witness: Witness::new(firing, SPEEDS_RPM.0, loudness_hz, bands),
            recent: VecDeque::new(),
            past: VecDeque::new(),
            pool: Pool::default(),
            live_pool: Pool::default(),
            age: STARTS_FRAMES,
            testimonies: Vec::new(),
            live_testimony: None,
        }
    }

    /// Takes the loudness of the next frame.
    pub(crate) fn hear(&mut self, slice: Vec<Lanes>) {
        self.witness.hear(slice);
    }

    /// The verdict about the newest provisional frame, by itself and those before it.
    pub(crate) fn live(&mut self, frame: usize, glimpse: Glimpse) -> Heard {
        let keep = self.recent.len().saturating_sub(LIVE_FRAMES);
        self.recent.drain(..keep);
        let mut glimpses: Vec<Glimpse> = self.recent.iter().map(|account| account.glimpse).collect();
        glimpses.push(glimpse);
        let at = glimpses.len() - 1;
        self.recent.push_back(self.witness.account(&glimpses, frame - at, at));
        let accounts = &*self.recent.make_contiguous();
        self.live_testimony = testify(&self.witness, accounts, at, (LIVE_FRAMES, 0), frame);
        if at == 0 || !hangs(&glimpses[at - 1], &glimpse) {
            self.live_pool = Pool::default();
        }
        let Some(testimony) = &self.live_testimony else {
            return verdict(&glimpse, f64::NEG_INFINITY, self.live_pool, SURE_LIVE);
        };
        self.live_pool = self.live_pool.and(testimony.log_odds, LIVE_POOL_FRAMES);
        verdict(&glimpse, testimony.log_odds, self.live_pool, SURE_LIVE)
    }

    /// The verdicts about `count` frames from `frame` on, of which and of some more after them there are glimpses.
    pub(crate) fn settle(&mut self, frame: usize, count: usize, newest: &[Glimpse]) -> Vec<Heard> {
        let before = self.past.len();
        let glimpses: Vec<Glimpse> =
            self.past.iter().map(|account| account.glimpse).chain(newest.iter().copied()).collect();
        let mut accounts: Vec<Account> = self.past.drain(..).collect();
        let first = frame - before;
        let looked_at = (before + count + AROUND_FRAMES.1).min(glimpses.len());
        accounts.extend((before..looked_at).map(|at| self.witness.account(&glimpses, first, at)));
        let said: Vec<Option<Testimony>> = (before..looked_at)
            .map(|at| testify(&self.witness, &accounts, at, AROUND_FRAMES, first + at))
            .collect();
        let goes_on = |at: usize| 0 < at && hangs(&glimpses[at - 1], &glimpses[at]);
        // What comes later in the same run speaks for a frame as what came before does.
        let mut later = vec![Pool::default(); said.len() + 1];
        for (i, said) in said.iter().enumerate().rev() {
            let next = before + i + 1;
            let follows = if next < looked_at && goes_on(next) { later[i + 1] } else { Pool::default() };
            later[i] = said.as_ref().map_or(follows, |said| follows.and(said.log_odds, POOL_FRAMES));
        }
        let mut heard = Vec::with_capacity(count);
        for ((at, testimony), later) in (before..before + count).zip(said).zip(later) {
            if !goes_on(at) {
                self.pool = Pool::default();
            }
            self.age = if glimpses[at].none > LIKELY { 0 } else { self.age + 1 };
            let odds = testimony.as_ref().map_or(f64::NEG_INFINITY, |testimony| testimony.log_odds);
            let mut run = self.pool;
            if testimony.is_some() {
                self.pool = self.pool.and(odds, POOL_FRAMES);
                run = self.pool.joined(later, odds);
            }
            let said = verdict(&glimpses[at], odds, run, SURE);
            // The first frames may hear what comes only after them.
            let starts = self.age <= STARTS_FRAMES || run.frames() < RUN_FRAMES;
            heard.push(if starts && said == Heard::Yes { Heard::Doubtful } else { said });
            self.testimonies.extend(testimony);
        }
        accounts.truncate(before + count);
        self.past.extend(accounts.drain(accounts.len().saturating_sub(AROUND_FRAMES.0)..));
        self.witness.forget((frame + count).saturating_sub(2 * FOLD_FRAMES));
        heard
    }
}

/// What bears witness about one of some accounts, which is that of a frame.
fn testify(
    witness: &Witness,
    accounts: &[Account],
    at: usize,
    reach: (usize, usize),
    frame: usize,
) -> Option<Testimony> {
    let witnesses = witness.testimony(accounts, at, reach)?;
    Some(Testimony { t_s: frame as f64 * FRAME_S, witnesses, log_odds: log_odds(&witnesses) })
}
