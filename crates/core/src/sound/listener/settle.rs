//! Frames made final, with hindsight.

use super::Listener;
use crate::sound::constants::{LIKELY, REFINED_FRAMES};
use crate::sound::judge::LOOKS_AHEAD;
use crate::sound::refine::Known;
use crate::sound::{FRAME_S, Frame, Heard};

impl Listener {
    /// Makes the oldest `count` frames final, with everything later as hindsight.
    pub(super) fn settle(&mut self, count: usize, frames: &mut Vec<Frame>) {
        let count = count.min(self.seen.len());
        let mut word = self.chain.silent();
        // Newest first: frames still open are glimpsed too, as neighbours of those that settle.
        let mut glimpses = Vec::with_capacity(self.seen.len());
        let mut settled = Vec::with_capacity(count);
        let mut coarse = Vec::with_capacity(self.seen.len());
        for (index, seen) in self.seen.iter().enumerate().rev() {
            if index < count + LOOKS_AHEAD {
                let belief = seen.forward.joined(&word);
                let (glimpse, frame) = self.look(self.given + index, &belief, Some(&seen.likelihood));
                let heard = glimpse.none < LIKELY;
                glimpses.push(glimpse);
                coarse.push(Known { rpm: frame.rpm, sd_rpm: frame.sd_rpm, heard });
                if index < count {
                    settled.push(frame);
                }
            }
            let drift = index.checked_sub(1).map_or(&[][..], |before| &self.seen[before].drift);
            self.chain.backward(&mut word, drift, &seen.likelihood);
        }
        glimpses.reverse();
        settled.reverse();
        coarse.reverse();
        let heard = self.judge.settle(self.given, count, &glimpses);
        let refined = self.refined(count, &coarse);
        for (((frame, heard), refined), seen) in settled.into_iter().zip(heard).zip(refined).zip(&self.seen) {
            // Which of two engines is meant nobody can say, also where together they sound like neither.
            let two = seen.company && heard != Heard::No;
            self.beside_frames += usize::from(two);
            let heard = if two { Heard::Doubtful } else { heard };
            frames.push(Frame { heard, rpm: refined.rpm, sd_rpm: refined.sd_rpm, ..frame });
        }
        self.seen.drain(..count);
        self.given += count;
        self.tone.forget(self.given as f64 * FRAME_S - 1.0);
    }

    /// The next `count` frames refined; `coarse` are they and those after them.
    fn refined(&mut self, count: usize, coarse: &[Known]) -> Vec<Known> {
        let before = self.coarse.len();
        self.coarse.extend(coarse);
        let first = self.given - before;
        let instant = |frame: usize| frame as f64 * FRAME_S;
        let sound = self.scan.sound_between(instant(first), instant(first + self.coarse.len()));
        let mut refined = self.refiner.refine(&sound, self.coarse.make_contiguous());
        refined.drain(..before);
        refined.truncate(count);
        self.coarse.truncate(before + count);
        self.coarse.drain(..(before + count).saturating_sub(REFINED_FRAMES));
        refined
    }
}
