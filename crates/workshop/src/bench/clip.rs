//! A recording of a hold, dropped on the bench: the same ear, after the fact.

use bellmouth_core::engine::layout::Firing;
use bellmouth_core::sound::settled::{HeldSpeed, HoldRules, settled_stretches};
use bellmouth_core::sound::{FRAME_S, Frame, Heard, Listener};
use bellmouth_logbook::{Id, Source};

use crate::Refusal;
use crate::bench::actions::{Done, HoldForm, hold_of};
use crate::garage::layout_of;
use crate::recording::{Recording, Source as Sound};
use crate::workshop::Workshop;

/// Whoever records a hold starts when the speed has settled: less of the start is left out than live.
const SETTLE_S: f64 = 3.0;
/// Longest stretch read from a recording, seconds.
const LONGEST_S: f64 = 120.0;

impl Workshop {
    /// Keeps the speed held in a recording; `name` is the file's, for messages and for its format.
    ///
    /// # Errors
    ///
    /// What is wrong with the recording, and what to do; nothing is saved then.
    pub fn keep_recording(
        &self,
        job: Id,
        form: &HoldForm,
        sound: impl Sound,
        name: &str,
    ) -> Result<Done, Refusal> {
        let (id, turns) = hold_of(form)?;
        let armed = self.armed_for(job, id, turns)?;
        let bench = self.bench(job)?;
        if bench.readings.iter().any(|entry| entry.reading.id == id) {
            return Ok(Done::Already);
        }
        let Some(layout) = layout_of(&bench.machine) else {
            return Err(Refusal::unanswerable(
                "the engine's layout is not given, and the ear needs it",
                "enter it on the machine's page, or type what a tachometer shows",
            ));
        };
        let recording = Recording::read(sound, name)?;
        let held = held_in(recording, &Firing::from(layout), bench.facts.about_rpm())?;
        self.keep_held(job, armed, &held, Source::Recording)
    }
}

/// The longest steady stretch of a recording.
fn held_in(mut recording: Recording, firing: &Firing, about_rpm: Option<f64>) -> Result<HeldSpeed, Refusal> {
    let name = recording.name().to_string();
    let mut listener = Listener::new(recording.sample_rate_hz(), firing, about_rpm).map_err(|refused| {
        Refusal::unanswerable(format!("{name}: {refused}"), "record it again with another program")
    })?;
    let mut frames: Vec<Frame> = Vec::new();
    recording.each_block(|block| {
        frames.extend(listener.feed(block));
        true
    })?;
    frames.extend(listener.finish());
    let rules = HoldRules { settle_s: SETTLE_S, longest_s: LONGEST_S, ..HoldRules::default() };
    let longest = settled_stretches(&frames, rules)
        .into_iter()
        .max_by(|a, b| (a.end_s - a.start_s).total_cmp(&(b.end_s - b.start_s)));
    longest.ok_or_else(|| {
        let heard = frames.iter().filter(|frame| frame.heard == Heard::Yes).count() as f64 * FRAME_S;
        let whole = frames.len() as f64 * FRAME_S;
        Refusal::unanswerable(
            format!("{name} holds no steady stretch of 10 s (an engine was heard for {heard:.0} of its {whole:.0} s)"),
            "record 30 s, hands off, a few seconds after the screw was moved; or type what a tachometer shows",
        )
    })
}
