//! What the page shows while it listens, in words and numbers.

use std::collections::VecDeque;

use bellmouth_core::sound::settled::{HoldRules, HoldState, Unsteadiness};
use bellmouth_core::sound::{FRAME_S, Frame, Heard};
use serde::Serialize;

use super::Ear;

/// Speed shown: the mean over this long, seconds.
const SHOWN_S: f64 = 1.5;

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

impl Ear {
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
        if let Some((words, share)) = self.lead.as_ref().and_then(|lead| lead.words()) {
            return (words, share, 0.0);
        }
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_speed_is_shown_no_finer_than_its_error() {
        assert_eq!(rounded_to(1042.3, 7.0), "1040");
        assert_eq!(rounded_to(1042.3, 0.4), "1040");
        assert_eq!(rounded_to(1043.3, 0.4), "1045");
        assert_eq!(rounded_to(1042.3, 31.0), "1050");
    }
}
