//! The bench's ear: a stream of samples to a live speed and to readings, and the clocks beside it.

use std::collections::VecDeque;
use std::time::Duration;

use bellmouth_core::engine::layout::Firing;
use bellmouth_core::sound::settled::{HeldSpeed, HoldRules, HoldState, HoldWatch, Unsteadiness};
use bellmouth_core::sound::{FRAME_S, Frame, Heard, Listener};
use serde::Serialize;

use crate::Refusal;
use crate::bench::facts::Armed;

/// Speed shown: the mean over this long, seconds.
const SHOWN_S: f64 = 1.5;
/// Spread shown: over this long, seconds.
const SPREAD_S: f64 = 3.0;
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

/// What the page shows while it listens.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LiveView {
    /// Mean speed rounded to its own error; `None` when there is none to show.
    pub rpm: Option<String>,
    /// Its spread, in words.
    pub spread: String,
    /// `heard`, `doubtful` or `none`.
    pub state: &'static str,
    /// How well it is heard, in words.
    pub heard: &'static str,
    /// How far the hold has come, in words.
    pub hold: String,
    /// How far the hold has come, 0 to 1.
    pub progress: f64,
    /// Time of the newest frame, seconds from the start of the stream.
    pub t_s: f64,
    /// Its speed, for the trace.
    pub trace_rpm: Option<f64>,
    /// For how long the speed has been settled, seconds.
    pub settled_s: f64,
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
        let watch = HoldWatch::new(HoldRules::default());
        let recent = VecDeque::new();
        Ok(Ear { listener, watch, state: HoldState::Waiting, armed: None, recent, silent_s: f64::INFINITY })
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
    }

    /// Hears a block of samples of any size; gives the reading it completed, if it did.
    pub fn hear(&mut self, samples: &[f32]) -> Option<Taken> {
        let mut taken = None;
        for frame in self.listener.feed(samples) {
            if self.armed.is_none() {
                continue;
            }
            self.state = self.watch.push(&frame);
            if let (HoldState::Taken(held), Some(armed)) = (&self.state, self.armed) {
                taken = Some(Taken { armed, held: *held });
                self.arm(None);
            }
        }
        if let Some(frame) = self.listener.live()
            && self.recent.back().is_none_or(|last| last.t_s < frame.t_s)
        {
            self.silent_s = if frame.heard == Heard::No { self.silent_s + FRAME_S } else { 0.0 };
            self.recent.push_back(frame);
            while self.recent.front().is_some_and(|first| first.t_s < frame.t_s - SPREAD_S) {
                self.recent.pop_front();
            }
        }
        taken
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

    /// What the page shows now.
    pub fn view(&self) -> LiveView {
        let newest = self.recent.back().copied();
        let t_s = newest.map_or(0.0, |frame| frame.t_s);
        let heard = newest.map_or(Heard::No, |frame| frame.heard);
        let shown: Vec<&Frame> = self
            .recent
            .iter()
            .filter(|frame| t_s - SHOWN_S < frame.t_s && frame.heard == Heard::Yes)
            .collect();
        let (state, words) = match heard {
            Heard::Yes => ("heard", "heard well"),
            Heard::Doubtful => ("doubtful", "I hear it, I do not trust it"),
            Heard::No => ("none", "not heard"),
        };
        let (rpm, spread) = if heard == Heard::Yes && !shown.is_empty() {
            let (mean, error) = mean_and_error(&shown);
            let spread = 1.645 * spread(&self.recent);
            (Some(rounded_to(mean, error)), format!("± {} rpm", two_digits(spread)))
        } else {
            (None, "rpm".into())
        };
        let (hold, progress, settled_s) = self.hold_words();
        let trace_rpm = newest.filter(|frame| frame.heard == Heard::Yes).map(|frame| frame.rpm.round());
        LiveView { rpm, spread, state, heard: words, hold, progress, t_s, trace_rpm, settled_s }
    }

    fn hold_words(&self) -> (String, f64, f64) {
        if self.armed.is_none() {
            return (String::new(), 0.0, 0.0);
        }
        match &self.state {
            HoldState::Waiting => ("hands off, waiting for the engine".into(), 0.02, 0.0),
            HoldState::Settling { for_s, needed_s } => {
                let share = (for_s / needed_s).clamp(0.0, 1.0);
                (format!("settling {for_s:.0} of {needed_s:.0} s"), 0.05 + 0.4 * share, 0.0)
            }
            HoldState::Measuring { for_s, se_rpm, .. } => {
                let share =
                    (HoldRules::default().se_target_rpm / se_rpm.max(0.1)).min(for_s / 10.0).clamp(0.0, 1.0);
                let error = if se_rpm.is_finite() {
                    format!(", ± {:.0} rpm", 1.645 * se_rpm)
                } else {
                    String::new()
                };
                (format!("measured {for_s:.0} s{error}"), 0.45 + 0.55 * share, *for_s)
            }
            HoldState::Taken(_) => ("saved".into(), 1.0, 0.0),
            HoldState::Unsteady { reason } => (unsteady_words(*reason), 0.05, 0.0),
        }
    }
}

fn unsteady_words(reason: Unsteadiness) -> String {
    match reason {
        Unsteadiness::Stepped { by_rpm } => {
            format!("stepped by {by_rpm:+.0} rpm: fan, lamp or hand? the hold begins anew")
        }
        Unsteadiness::Drifting { rpm_per_min } => {
            format!("drifting {rpm_per_min:+.0} rpm a minute: not warm, or too hot; the hold begins anew")
        }
        Unsteadiness::Hunting { period_s, swing_rpm } => {
            format!("hunting: {swing_rpm:.0} rpm every {period_s:.1} s; a mean would hide it")
        }
        Unsteadiness::HardToHear => "too little of it is heard: move the microphone, then leave it".into(),
    }
}

/// Mean of frames and the error of that mean: neighbours overlap, so half a second counts once.
fn mean_and_error(frames: &[&Frame]) -> (f64, f64) {
    let count = frames.len() as f64;
    let mean = frames.iter().map(|frame| frame.rpm).sum::<f64>() / count;
    let variance =
        frames.iter().map(|frame| (frame.rpm - mean).powi(2) + frame.sd_rpm.powi(2)).sum::<f64>() / count;
    (mean, (variance / (count * FRAME_S / 0.5).max(1.0)).sqrt())
}

/// Standard deviation of the speed over the frames at hand, what the ear itself adds included.
fn spread(frames: &VecDeque<Frame>) -> f64 {
    let heard: Vec<&Frame> = frames.iter().filter(|frame| frame.heard == Heard::Yes).collect();
    let count = heard.len().max(1) as f64;
    let mean = heard.iter().map(|frame| frame.rpm).sum::<f64>() / count;
    (heard.iter().map(|frame| (frame.rpm - mean).powi(2) + frame.sd_rpm.powi(2)).sum::<f64>() / count).sqrt()
}

/// A speed in steps no finer than its error, and no finer than 5 rpm: the last digits of an uneven
/// engine are noise, and draw the eye.
fn rounded_to(value: f64, error: f64) -> String {
    let step = [5.0, 10.0, 20.0, 50.0, 100.0].into_iter().find(|step| error <= *step).unwrap_or(100.0);
    format!("{:.0}", (value / step).round() * step)
}

/// A width to two digits at most.
fn two_digits(value: f64) -> String {
    if value < 10.0 {
        format!("{:.0}", value.max(1.0))
    } else {
        format!("{:.0}", (value / 5.0).round() * 5.0)
    }
}

/// How hot the engine may have become, judged by its idling clock alone.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Heat {
    /// Nothing to say.
    Fine,
    /// A pause is due at the next chance.
    PauseDue,
    /// A pause now.
    PauseNow,
}

/// Judges the idling clock: minutes since the engine last cooled.
///
/// Air-cooled without moving air, a pause is due after 3 minutes and taken at 5; with a fan after 10,
/// and 12; liquid-cooled after 20, and never forced (common practice, no source).
pub fn heat(since_cool_ms: i64, air_cooled: bool, moving_air: bool) -> Heat {
    let (due_min, now_min) = match (air_cooled, moving_air) {
        (true, false) => (3, 5),
        (true, true) => (10, 12),
        (false, _) => (20, i64::MAX / 60_000),
    };
    match since_cool_ms / 60_000 {
        minutes if now_min <= minutes => Heat::PauseNow,
        minutes if due_min <= minutes => Heat::PauseDue,
        _ => Heat::Fine,
    }
}

/// The idling clock: runs while an engine is heard, or while a hold is made without a microphone.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Clock {
    /// In this job, milliseconds.
    pub idling_ms: i64,
    /// Since the engine last cooled, milliseconds.
    pub since_cool_ms: i64,
}

impl Clock {
    /// Lets time pass with the engine running.
    pub fn run(&mut self, elapsed: Duration) {
        let elapsed = i64::try_from(elapsed.as_millis()).unwrap_or(0);
        self.idling_ms += elapsed;
        self.since_cool_ms += elapsed;
    }

    /// The time since the engine last cooled, as a clock shows it.
    pub fn words(&self) -> String {
        let seconds = self.since_cool_ms / 1000;
        format!("idling {}:{:02}", seconds / 60, seconds % 60)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_air_cooled_engine_without_a_fan_pauses_between_three_and_five_minutes() {
        let at = |minutes: i64| heat(minutes * 60_000, true, false);
        assert_eq!(
            [at(2), at(3), at(4), at(5)],
            [Heat::Fine, Heat::PauseDue, Heat::PauseDue, Heat::PauseNow]
        );
        assert_eq!(heat(9 * 60_000, true, true), Heat::Fine);
        assert_eq!(heat(60 * 60_000, false, false), Heat::PauseDue);
    }

    #[test]
    fn a_speed_is_shown_no_finer_than_its_error() {
        assert_eq!(rounded_to(1042.3, 7.0), "1040");
        assert_eq!(rounded_to(1042.3, 0.4), "1040");
        assert_eq!(rounded_to(1043.3, 0.4), "1045");
        assert_eq!(rounded_to(1042.3, 31.0), "1050");
    }

    #[test]
    fn the_clock_reads_minutes_and_seconds() {
        let mut clock = Clock::default();
        clock.run(Duration::from_millis(190_400));
        assert_eq!(clock.words(), "idling 3:10");
    }
}
