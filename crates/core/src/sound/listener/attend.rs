//! Where to listen, and for what: every speed or those near an engine's, steady speeds or changing ones, a second engine.

use std::ops::Range;

use super::{Listener, Short};
use crate::sound::constants::{
    BEYOND_DOUBT, CHIRP_FRAMES, CHIRP_REACH, COMPANY_LEAST, COMPANY_SHARE, LIKELY, LOOK_CELLS, LOOK_FRAMES,
    STEP, UNEXPLAINED,
};

impl Listener {
    /// Where a steady engine is heard beyond doubt. Then the other speeds are looked at now and then only, and
    /// keep the evidence of the last look meanwhile: windows that overlap by nine tenths say the same.
    pub(super) fn beyond_doubt(&self) -> Option<Range<usize>> {
        let best = self.live_belief.best();
        let range = best.saturating_sub(LOOK_CELLS)..(best + LOOK_CELLS).min(self.speeds);
        let sure = BEYOND_DOUBT < self.live_belief.speeds[range.clone()].iter().sum();
        (sure && self.chirping == 0 && 0.0 < self.usual).then_some(range)
    }

    /// Evidence of the next frame's short windows; where a steady speed does not explain the sound of an engine
    /// that was heard before, for changing speeds too.
    pub(super) fn hear_short(&mut self) -> Short {
        let (frame, everywhere) = (self.next, 0..self.speeds);
        let near = self.beyond_doubt().filter(|_| !frame.is_multiple_of(LOOK_FRAMES));
        let steady = match (near, self.short.back()) {
            (Some(range), Some(before)) => {
                let mut steady = before.steady.clone();
                self.scan.short(frame, range, &mut steady);
                if self.unexplained(&steady) {
                    self.scan.short(frame, everywhere, &mut steady);
                }
                steady
            }
            _ => {
                let mut steady = vec![0.0; self.speeds];
                self.scan.short(frame, everywhere, &mut steady);
                steady
            }
        };
        self.chirping = self.chirping.saturating_sub(1);
        if self.live_belief.none() < LIKELY && self.unexplained(&steady) {
            self.chirping = CHIRP_FRAMES;
        }
        let changing = (0 < self.chirping).then(|| self.scan.changing(frame, self.contended(), self.speeds));
        Short { steady, changing }
    }

    /// Evidence of the steady speed that explains the sound best, in short windows and the newest long one.
    pub(super) fn best_of(&self, steady: &[f32]) -> f32 {
        steady.iter().zip(&self.long).map(|(short, long)| short + long).fold(f32::MIN, f32::max)
    }

    /// Whether a steady speed explains the sound worse than it usually does.
    pub(super) fn unexplained(&self, steady: &[f32]) -> bool {
        self.best_of(steady) < UNEXPLAINED * self.usual
    }

    /// Where a changing speed is looked for: about the speeds believed in.
    pub(super) fn contended(&self) -> Range<usize> {
        let (low, high) = CHIRP_REACH;
        let cells = |factor: f64| (factor.ln() / STEP) as usize;
        let (a, b) = (self.forward.best(), self.live_belief.best());
        a.min(b).saturating_sub(cells(low))..(a.max(b) + cells(high)).min(self.speeds)
    }

    /// Evidence of the longest window about a frame. Half of what it hears is new after six of its frames:
    /// every other one will do.
    pub(super) fn hear_long(&mut self, index: usize) {
        if index.is_multiple_of(2) {
            let near = self.beyond_doubt().filter(|_| !index.is_multiple_of(2 * LOOK_FRAMES));
            self.scan.long(index, near.unwrap_or(0..self.speeds), &mut self.long);
            if index.is_multiple_of(2 * LOOK_FRAMES) {
                self.look_beside(index);
            }
        }
    }

    /// Looks for a second engine; beside one whose speed changes its own blurred lines would pass for another's.
    fn look_beside(&mut self, index: usize) {
        let cell = self.forward.best();
        let steady = self.chirping == 0 && self.forward.none() < LIKELY && COMPANY_LEAST < self.long[cell];
        let share = if steady { self.scan.beside(index, cell) / self.long[cell] } else { 0.0 };
        self.company += COMPANY_SHARE * (share - self.company);
    }
}
