//! A recording of a hold, dropped on the bench: the same ear, after the fact.

use bellmouth_core::engine::layout::Firing;
use bellmouth_core::sound::settled::{HeldSpeed, HoldRules, settled_stretches};
use bellmouth_core::sound::{FRAME_S, Frame, Heard, Listener};
use bellmouth_logbook::{Id, Source};

use crate::Refusal;
use crate::bench::actions::{Done, HoldForm, hold_of};
use crate::bench::facts::{HeardFirings, name};
use crate::firings::Following;
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
        let (held, following) = held_in(recording, &Firing::from(layout), bench.facts.about_rpm())?;
        let done = self.keep_held(job, armed, &held, Source::Recording)?;
        let (firings, caveats) = following.told();
        let caveats = caveats.into_iter().map(|caveat| caveat.says).collect();
        let heard = serde_json::to_string(&HeardFirings { reading: id.to_string(), firings, caveats })
            .map_err(|error| {
                Refusal::ours(
                    format!("what was heard of single firings could not be written ({error})"),
                    "report this",
                )
            })?;
        self.set(job, None, &[(name::FIRINGS, &heard)])?;
        Ok(done)
    }
}

/// The longest steady stretch of a recording, and its single firings.
fn held_in(
    mut recording: Recording,
    firing: &Firing,
    about_rpm: Option<f64>,
) -> Result<(HeldSpeed, Following), Refusal> {
    let name = recording.name().to_string();
    let refused = |error: bellmouth_core::Error| {
        Refusal::unanswerable(format!("{name}: {error}"), "record it again with another program")
    };
    let rate_hz = recording.sample_rate_hz();
    let mut listener = Listener::new(rate_hz, firing, about_rpm).map_err(refused)?;
    let mut following = Following::new(rate_hz, firing).map_err(refused)?;
    let mut frames: Vec<Frame> = Vec::new();
    recording.each_block(|block| {
        let heard = listener.feed(block);
        following.hear(block, &heard);
        frames.extend(heard);
        true
    })?;
    let heard = listener.finish();
    following.finish(&heard);
    frames.extend(heard);
    let rules = HoldRules { settle_s: SETTLE_S, longest_s: LONGEST_S, ..HoldRules::default() };
    let longest = settled_stretches(&frames, rules)
        .into_iter()
        .max_by(|a, b| (a.end_s - a.start_s).total_cmp(&(b.end_s - b.start_s)));
    longest.map(|held| (held, following)).ok_or_else(|| {
        let heard = frames.iter().filter(|frame| frame.heard == Heard::Yes).count() as f64 * FRAME_S;
        let whole = frames.len() as f64 * FRAME_S;
        Refusal::unanswerable(
            format!("{name} holds no steady stretch of 10 s (an engine was heard for {heard:.0} of its {whole:.0} s)"),
            "record 30 s, hands off, a few seconds after the screw was moved; or type what a tachometer shows",
        )
    })
}
