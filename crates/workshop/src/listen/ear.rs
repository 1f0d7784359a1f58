//! One listener with what it heard, and whoever follows single firings beside it.

use bellmouth_core::engine::layout::Firing;
use bellmouth_core::sound::{Frame, Listener};

use crate::firings::Following;
use crate::refusal::Refusal;

/// Samples that are handed on at once.
const PART_SAMPLES: usize = 1 << 16;

/// One listener and what it heard.
pub(super) struct Ear {
    pub(super) name: Option<String>,
    pub(super) firing: Firing,
    pub(super) listener: Listener,
    /// Listens for single firings; none where the layout is only guessed.
    pub(super) following: Option<Following>,
    pub(super) frames: Vec<Frame>,
}

impl Ear {
    /// An ear for an engine that fires like this.
    pub(super) fn new(
        name: Option<String>,
        firing: Firing,
        rate_hz: f64,
        about_rpm: Option<f64>,
    ) -> Result<Ear, Refusal> {
        let listener = Listener::new(rate_hz, &firing, about_rpm)
            .map_err(|error| Refusal::misused(error.to_string(), "give --about a speed in that range"))?;
        Ok(Ear { name, firing, listener, following: None, frames: Vec::new() })
    }

    /// The same, single firings listened for.
    pub(super) fn following(mut self, rate_hz: f64) -> Result<Ear, Refusal> {
        let following = Following::new(rate_hz, &self.firing).map_err(|error| {
            Refusal::misused(error.to_string(), "convert the recording to a rate in that range")
        })?;
        self.following = Some(following);
        Ok(self)
    }

    /// Takes mono samples.
    pub(super) fn hear(&mut self, samples: &[f32]) {
        // Sound is kept until its frames have come: so much at a time, however long the block is.
        for part in samples.chunks(PART_SAMPLES) {
            let frames = self.listener.feed(part);
            if let Some(following) = &mut self.following {
                following.hear(part, &frames);
            }
            self.frames.extend(frames);
        }
    }

    /// Ends the sound.
    pub(super) fn finish(&mut self) {
        let frames = self.listener.finish();
        if let Some(following) = &mut self.following {
            following.finish(&frames);
        }
        self.frames.extend(frames);
    }
}
