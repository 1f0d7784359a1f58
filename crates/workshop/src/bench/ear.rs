//! The bench's ear: a stream of samples to a live speed, to readings, and to what leads a person on.

use std::collections::VecDeque;

use bellmouth_core::engine::layout::Firing;
use bellmouth_core::sound::settled::{HeldSpeed, HoldRules, HoldState, HoldWatch};
use bellmouth_core::sound::{BlipWatch, FRAME_S, Frame, Heard, Listener};

use crate::Refusal;
use crate::bench::facts::Armed;
use crate::bench::lead::{Lead, SPEAKS_AT_MOST_S, Wish};
use crate::bench::state::Stage;

mod view;

pub use view::LiveView;

/// Frames kept for the spread that is shown, and for a speed that is asked for: so long, seconds.
const RECENT_S: f64 = 3.0;
/// An engine not heard for this long has stopped, seconds.
const STOPPED_AFTER_S: f64 = 3.0;

/// A reading that the ear has taken.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Taken {
    /// The hold it belongs to.
    pub armed: Armed,
    /// What was heard.
    pub held: HeldSpeed,
}

/// What came of a block of samples.
#[derive(Clone, Debug, PartialEq)]
pub enum News {
    /// A reading is complete.
    Taken(Taken),
    /// Whoever leads wants something done.
    Wish(Wish),
}

/// Listens for one bench.
pub struct Ear {
    listener: Listener,
    watch: HoldWatch,
    state: HoldState,
    armed: Option<Armed>,
    /// Live frames of the last seconds.
    recent: VecDeque<Frame>,
    silent_s: f64,
    sample_rate_hz: f64,
    /// How much was heard, seconds.
    heard_s: f64,
    /// What is held began here: frames settle some seconds late, and older ones do not count.
    since_s: f64,
    /// Whether the page's own voice is in the microphone.
    speaking: bool,
    speaking_since_s: f64,
    blips: BlipWatch,
    lead: Option<Lead>,
}

impl Ear {
    /// An ear for sound at a sample rate, an engine's firing pattern, and what a tachometer roughly shows.
    ///
    /// # Errors
    ///
    /// A sample rate that no microphone has.
    pub fn new(sample_rate_hz: f64, firing: &Firing, about_rpm: Option<f64>) -> Result<Ear, Refusal> {
        let listener = Listener::new(sample_rate_hz, firing, about_rpm).map_err(|refused| {
            Refusal::unanswerable(refused.to_string(), "choose another microphone, or send a recording")
        })?;
        Ok(Ear {
            listener,
            watch: HoldWatch::new(HoldRules::default()),
            state: HoldState::Waiting,
            armed: None,
            recent: VecDeque::new(),
            silent_s: f64::INFINITY,
            sample_rate_hz,
            heard_s: 0.0,
            since_s: 0.0,
            speaking: false,
            speaking_since_s: 0.0,
            blips: BlipWatch::new(),
            lead: None,
        })
    }

    /// Begins a hold, or gives it up. A hold already begun goes on.
    pub fn arm(&mut self, armed: Option<Armed>) {
        if self.armed != armed {
            self.armed = armed;
            self.gap();
        }
    }

    /// Something was missed: whatever was being held begins anew.
    pub fn gap(&mut self) {
        self.watch.restart();
        self.state = HoldState::Waiting;
        self.since_s = self.heard_s;
        if let Some(lead) = &mut self.lead {
            lead.begin_anew();
        }
    }

    /// The page begins to speak, or has spoken: nothing is read meanwhile, and what was being read begins anew.
    pub fn speaking(&mut self, speaking: bool) {
        self.speaking = speaking;
        self.speaking_since_s = self.heard_s;
        self.gap();
        if let (Some(lead), false) = (&mut self.lead, speaking) {
            lead.spoken();
        }
    }

    /// Leads a person through the bench without a key from now on, or no longer.
    pub fn lead(&mut self, on: bool) {
        self.lead = on.then(Lead::new);
    }

    /// "Again", by a key; as two short blips do.
    pub fn again(&mut self) -> Option<Wish> {
        self.lead.as_mut()?.again()
    }

    /// What the bench asks for now; whoever leads goes by it.
    pub fn asked(&mut self, stage: &Stage) {
        if let Some(lead) = &mut self.lead {
            lead.asked(stage);
        }
    }

    /// Hears a block of samples of any size; gives what it led to.
    pub fn hear(&mut self, samples: &[f32]) -> Vec<News> {
        let mut news = Vec::new();
        self.heard_s += samples.len() as f64 / self.sample_rate_hz;
        if self.speaking && SPEAKS_AT_MOST_S < self.heard_s - self.speaking_since_s {
            self.speaking(false);
        }
        for frame in self.listener.feed(samples) {
            if self.speaking || frame.t_s < self.since_s {
                continue;
            }
            news.extend(self.lead.as_mut().and_then(|lead| lead.settled(&frame)).map(News::Wish));
            if self.armed.is_none() {
                continue;
            }
            self.state = self.watch.push(&frame);
            if let (HoldState::Taken(held), Some(armed)) = (&self.state, self.armed) {
                news.push(News::Taken(Taken { armed, held: *held }));
                self.arm(None);
            }
        }
        if let Some(frame) = self.listener.live()
            && self.recent.back().is_none_or(|last| last.t_s < frame.t_s)
        {
            // A block may hold more than one frame's time.
            let passed_s = self.recent.back().map_or(FRAME_S, |last| frame.t_s - last.t_s);
            self.silent_s = if frame.heard == Heard::No { self.silent_s + passed_s } else { 0.0 };
            self.recent.push_back(frame);
            while self.recent.front().is_some_and(|first| first.t_s < frame.t_s - RECENT_S) {
                self.recent.pop_front();
            }
            let blips = self.blips.push(&frame).filter(|_| !self.speaking);
            let running = self.running();
            if let Some(lead) = &mut self.lead {
                news.extend(lead.live(passed_s, running, blips).map(News::Wish));
            }
        }
        news
    }

    /// The reading as it stands, when the person takes it before the bench would.
    ///
    /// # Errors
    ///
    /// Not settled yet: how much longer it takes.
    pub fn take_now(&mut self) -> Result<Taken, Refusal> {
        let Some(armed) = self.armed else {
            return Err(Refusal::misused("no hold was begun", "say where the screw stands first"));
        };
        let Some(held) = self.watch.so_far() else {
            return Err(Refusal::misused(
                "the speed has not settled yet",
                "wait, or type what the tachometer shows",
            ));
        };
        self.arm(None);
        Ok(Taken { armed, held })
    }

    /// Whether an engine is running, as far as can be heard.
    pub fn running(&self) -> bool {
        self.silent_s < STOPPED_AFTER_S
    }

    /// Mean speed over the last three seconds, rpm, if it was heard all the time.
    pub fn speed_rpm(&self) -> Option<f64> {
        let (first, last) = (self.recent.front()?, self.recent.back()?);
        let enough = 0.9 * RECENT_S <= last.t_s - first.t_s;
        let heard = self.recent.iter().all(|frame| frame.heard == Heard::Yes);
        let count = self.recent.len() as f64;
        (enough && heard).then(|| self.recent.iter().map(|frame| frame.rpm).sum::<f64>() / count)
    }
}
