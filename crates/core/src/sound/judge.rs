//! Keeps what bore witness about the last seconds, and passes the verdicts: live, and with hindsight.
//!
//! An engine that was heard for certain stays heard for as long as its run hangs together and nothing speaks
//! against it: other sounds reach certainty seldom, engines fall below it now and then.

use std::collections::VecDeque;

use super::constants::{
    AROUND_FRAMES, FOLD_FRAMES, LIKELY, LIVE_FRAMES, SPEEDS_RPM, STARTS_FRAMES, STEP, SURE, SURE_LIVE,
    VOICE_HZ, VOICE_RPM,
};
use super::ears::Lanes;
use super::verdict::{held, log_odds, verdict};
use super::witness::{Account, Glimpse, Testimony, Witness, hangs};
use super::{FRAME_S, Heard};
use crate::engine::layout::Firing;

/// Frames after those to be judged of which glimpses are of use.
pub(crate) const LOOKS_AHEAD: usize = AROUND_FRAMES.1 + FOLD_FRAMES;

pub(crate) struct Judge {
    witness: Witness,
    /// Firings per second at 1 rpm.
    firings_per_rpm: f64,
    /// Accounts of the newest provisional frames.
    recent: VecDeque<Account>,
    /// Accounts of the newest final frames.
    past: VecDeque<Account>,
    /// Whether the run of frames was heard for certain: of final frames, of provisional ones.
    certain: bool,
    live_certain: bool,
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
            firings_per_rpm: firing.cycles_per_second(1.0) * firing.angles_deg().len() as f64,
            recent: VecDeque::new(),
            past: VecDeque::new(),
            certain: false,
            live_certain: false,
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
        let odds = odds(self.live_testimony.as_ref());
        let goes_on = 0 < at && hangs(&glimpses[at - 1], &glimpse);
        self.live_certain = SURE_LIVE < odds || (goes_on && self.live_certain);
        let held = held(&glimpses, at, self.careful(&glimpse));
        verdict(&glimpse, odds, self.live_certain, held)
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
        let mut later = vec![false; looked_at + 1];
        for at in (before..looked_at).rev() {
            let joined = at + 1 < looked_at && goes_on(at + 1) && later[at + 1];
            later[at] = SURE < odds(said[at - before].as_ref()) || joined;
        }
        let mut heard = Vec::with_capacity(count);
        for (at, testimony) in (before..before + count).zip(said) {
            let odds = odds(testimony.as_ref());
            self.certain = SURE < odds || (goes_on(at) && self.certain);
            self.age = if glimpses[at].none > LIKELY { 0 } else { self.age + 1 };
            // The first frames may hear what comes only after them.
            let certain = (self.certain || later[at]) && STARTS_FRAMES < self.age;
            let held = STARTS_FRAMES < self.age && held(&glimpses, at, self.careful(&glimpses[at]));
            heard.push(verdict(&glimpses[at], odds, certain, held));
            self.testimonies.extend(testimony);
        }
        accounts.truncate(before + count);
        self.past.extend(accounts.drain(accounts.len().saturating_sub(AROUND_FRAMES.0)..));
        self.witness.forget((frame + count).saturating_sub(2 * FOLD_FRAMES));
        heard
    }

    /// Whether a voice could have the rhythm of this speed.
    fn careful(&self, glimpse: &Glimpse) -> bool {
        let rpm = SPEEDS_RPM.0 * (STEP * f64::from(glimpse.cell)).exp();
        self.firings_per_rpm * rpm > VOICE_HZ || rpm > VOICE_RPM
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

fn odds(testimony: Option<&Testimony>) -> f64 {
    testimony.map_or(f64::NEG_INFINITY, |testimony| testimony.log_odds)
}
