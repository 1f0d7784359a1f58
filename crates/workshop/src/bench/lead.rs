//! Leads a person through the bench while both hands are on the screwdriver.
//!
//! It waits until the page has spoken, gives the hand its time, hears the engine settle, and says what is to be
//! done next. It knows time only by the frames it is given, so that the same sound leads the same way.

use bellmouth_core::quantity::TurnsOut;
use bellmouth_core::sound::Frame;
use bellmouth_core::sound::settled::{HoldRules, HoldState, HoldWatch};
use bellmouth_logbook::Id;

use crate::Refusal;
use crate::bench::actions::HoldForm;
use crate::bench::facts::Pause;
use crate::bench::state::Stage;
use crate::workshop::Workshop;

/// The hand's time for a move, seconds, and more for each eighth of a turn (common practice, no source).
const HAND_S: f64 = 5.0;
const EIGHTH_S: f64 = 0.5;
/// For taking the hand off, where nothing is to be moved; and after the engine was started again, seconds.
const OFF_S: f64 = 2.0;
const STARTED_S: f64 = 4.0;
/// A page that does not say that it has spoken is taken to have, after this long, seconds: by whoever leads where it
/// never began, by the ear where it never ended.
pub(super) const SPEAKS_AT_MOST_S: f64 = 25.0;
/// At the stop a steady speed that is not the one wanted is told again after this long, seconds.
const TOLD_AGAIN_S: f64 = 15.0;
/// A hold that has not come to an end after this long is told, once, seconds.
const LONG_HOLD_S: f64 = 90.0;
/// Not heard for this long: it is said, seconds.
const SILENT_S: f64 = 5.0;

/// What whoever leads wants done.
#[derive(Clone, Debug, PartialEq)]
pub enum Wish {
    /// A hold begins: the screw stands here.
    Hold(TurnsOut),
    /// The stop is set: it idles at so many rpm.
    StopSet {
        /// Mean speed, rpm.
        rpm: f64,
    },
    /// The screw stands at the setting.
    Stands {
        /// Where.
        turns: TurnsOut,
        /// What it idles at there, rpm.
        rpm: f64,
    },
    /// Two short blips: the instruction again, a hold given up.
    Again,
    /// Two short blips while the bench rests: go on.
    GoOn,
    /// Say this.
    Say(String),
}

impl Workshop {
    /// Does what whoever leads wants done. What is to be said is the page's to say.
    ///
    /// # Errors
    ///
    /// As the action it stands for.
    pub fn grant(&self, job: Id, wish: &Wish) -> Result<(), Refusal> {
        let bench = self.bench(job)?;
        let seen = Some(bench.job.revision);
        // What a person pressed meanwhile has the last word.
        match (wish, &bench.stage) {
            (Wish::Hold(turns), Stage::Move { to, .. }) if turns == to => {
                let form = HoldForm { id: bench.hold_id().to_string(), turns: turns.0.to_string() };
                self.begin_hold(job, seen, &form).map(|_| ())
            }
            (Wish::StopSet { rpm }, Stage::Stop { .. }) => self.stop_set(job, seen, *rpm, false),
            (Wish::Stands { turns, rpm }, Stage::Set { to, .. }) if turns == to => {
                self.set_screw(job, seen, &turns.0.to_string(), Some(*rpm))
            }
            (Wish::GoOn, Stage::Paused(Pause::ByHand)) => self.pause(job, seen, false, false),
            (Wish::Again, Stage::Holding(_)) => self.back(job, seen),
            _ => Ok(()),
        }
    }
}

/// How far the present step has come.
#[derive(Clone, Debug)]
enum Phase {
    /// Nothing for an ear to do: a key, a tachometer, another page.
    Waiting,
    /// The page speaks.
    Speaking { for_s: f64 },
    /// The hand moves the screw.
    Hand { left_s: f64, of_s: f64 },
    /// Hands off: a steady speed is awaited.
    Steady,
}

/// Whoever leads.
#[derive(Clone, Debug)]
pub struct Lead {
    stage: Option<Stage>,
    phase: Phase,
    watch: HoldWatch,
    /// Since the speed at the stop was told last, seconds.
    told_s: f64,
    was_heard: bool,
    silent_s: f64,
    silence_said: bool,
    /// For how long the present hold has been held, seconds.
    held_s: f64,
}

impl Default for Lead {
    fn default() -> Lead {
        Lead::new()
    }
}

impl Lead {
    /// Begins; it wants to be told what is asked for.
    pub fn new() -> Lead {
        // Quicker than a reading: nothing is fitted to these speeds.
        let rules = HoldRules {
            settle_s: 4.0,
            shortest_s: 5.0,
            se_target_rpm: 8.0,
            longest_s: 20.0,
            ..HoldRules::default()
        };
        Lead {
            stage: None,
            phase: Phase::Waiting,
            watch: HoldWatch::new(rules),
            told_s: 0.0,
            was_heard: false,
            silent_s: 0.0,
            silence_said: false,
            held_s: 0.0,
        }
    }

    /// What the bench asks for now.
    pub fn asked(&mut self, stage: &Stage) {
        if self.stage.as_ref() != Some(stage) {
            self.stage = Some(stage.clone());
            self.tell();
        }
    }

    /// The page has spoken.
    pub fn spoken(&mut self) {
        if !matches!(self.phase, Phase::Speaking { .. }) {
            return;
        }
        self.watch.restart();
        self.told_s = 0.0;
        self.phase = match &self.stage {
            Some(Stage::Move { from, to } | Stage::Set { from, to }) => {
                let eighths = (8.0 * (to.0 - from.0).abs()).round();
                let of_s = if eighths == 0.0 { OFF_S } else { HAND_S + EIGHTH_S * eighths };
                Phase::Hand { left_s: of_s, of_s }
            }
            Some(Stage::Stop { .. }) => Phase::Steady,
            _ => Phase::Waiting,
        };
    }

    /// What was being waited for begins anew.
    pub fn begin_anew(&mut self) {
        self.watch.restart();
    }

    /// Takes a settled frame.
    pub fn settled(&mut self, frame: &Frame) -> Option<Wish> {
        if !matches!(self.phase, Phase::Steady) {
            return None;
        }
        let HoldState::Taken(held) = self.watch.push(frame) else { return None };
        match self.stage {
            Some(Stage::Stop { rpm, within_rpm }) if (held.mean_rpm - rpm).abs() <= within_rpm => {
                self.phase = Phase::Waiting;
                Some(Wish::StopSet { rpm: held.mean_rpm })
            }
            Some(Stage::Stop { rpm, .. }) => {
                self.watch.restart();
                if self.told_s < TOLD_AGAIN_S {
                    return None;
                }
                self.phase = Phase::Speaking { for_s: 0.0 };
                let way = if held.mean_rpm < rpm { "a little faster" } else { "a little slower" };
                Some(Wish::Say(format!("It idles at {:.0}. {way}.", 10.0 * (held.mean_rpm / 10.0).round())))
            }
            Some(Stage::Set { to, .. }) => {
                self.phase = Phase::Waiting;
                Some(Wish::Stands { turns: to, rpm: held.mean_rpm })
            }
            _ => None,
        }
    }

    /// Lets some time pass, seconds: whether an engine runs, and the blips that were counted, if a word of them
    /// has just ended.
    pub fn live(&mut self, passed_s: f64, running: bool, blips: Option<u32>) -> Option<Wish> {
        self.told_s += passed_s;
        if blips == Some(2) {
            return self.again();
        }
        if running {
            self.was_heard = true;
            if self.silence_said {
                self.silence_said = false;
                // Whoever stops the engine to reach the screw may have moved it by now, or not.
                if let Phase::Hand { left_s, of_s } = &mut self.phase {
                    *left_s = left_s.max(STARTED_S);
                    *of_s = of_s.max(*left_s);
                }
            }
            self.silent_s = 0.0;
        } else {
            return self.silent(passed_s);
        }
        match &mut self.phase {
            Phase::Speaking { for_s } => {
                *for_s += passed_s;
                if SPEAKS_AT_MOST_S < *for_s {
                    self.spoken();
                }
                None
            }
            Phase::Hand { left_s, .. } => {
                *left_s -= passed_s;
                if 0.0 < *left_s {
                    return None;
                }
                match self.stage {
                    Some(Stage::Move { to, .. }) => {
                        self.phase = Phase::Waiting;
                        Some(Wish::Hold(to))
                    }
                    _ => {
                        self.watch.restart();
                        self.phase = Phase::Steady;
                        None
                    }
                }
            }
            Phase::Waiting if matches!(self.stage, Some(Stage::Holding(_))) => self.held(passed_s),
            Phase::Waiting | Phase::Steady => None,
        }
    }

    fn held(&mut self, passed_s: f64) -> Option<Wish> {
        let before = self.held_s < LONG_HOLD_S;
        self.held_s += passed_s;
        (before && LONG_HOLD_S <= self.held_s).then(|| {
            Wish::Say(
                "This hold does not come to an end: the speed is not steady, or not heard well. Move the microphone, or type what a tachometer shows."
                    .into(),
            )
        })
    }

    /// "Again": two short blips, or the key. The instruction once more; while the bench rests: go on.
    pub fn again(&mut self) -> Option<Wish> {
        match self.stage {
            Some(Stage::Paused(Pause::ByHand)) => Some(Wish::GoOn),
            Some(Stage::Alarm | Stage::NotReady(_) | Stage::Paused(Pause::Heat)) | None => None,
            _ => {
                self.tell();
                Some(Wish::Again)
            }
        }
    }

    /// What is under way, in words, and the share of its time that the hand still has.
    pub fn words(&self) -> Option<(String, f64)> {
        let words = |words: &str| Some((words.to_string(), 0.0));
        match (&self.phase, &self.stage) {
            (Phase::Speaking { .. }, _) => words("listen"),
            (Phase::Hand { left_s, of_s }, _) => {
                let left_s = left_s.max(0.0);
                let moves = matches!(
                    self.stage,
                    Some(Stage::Move { from, to } | Stage::Set { from, to }) if from.on_grid() != to.on_grid()
                );
                let what = if moves { "turn it now" } else { "hands off" };
                Some((format!("{what}: {:.0} s", left_s.ceil()), left_s / of_s))
            }
            (Phase::Steady, Some(Stage::Stop { .. })) => words("turn the stop; then hands off"),
            (Phase::Steady, _) => words("hands off, waiting for a steady speed"),
            (Phase::Waiting, _) => None,
        }
    }

    fn tell(&mut self) {
        self.watch.restart();
        self.held_s = 0.0;
        self.phase = match self.stage {
            Some(Stage::Alarm | Stage::NotReady(_)) | None => Phase::Waiting,
            _ => Phase::Speaking { for_s: 0.0 },
        };
    }

    fn silent(&mut self, passed_s: f64) -> Option<Wish> {
        // It is asked what it died of where that can be said, and only of an engine that was heard before.
        let could_die = matches!(self.stage, Some(Stage::Move { .. } | Stage::Holding(_)));
        let wants = could_die || matches!(self.stage, Some(Stage::Stop { .. } | Stage::Set { .. }));
        self.silent_s += passed_s;
        if !wants || self.silence_said || self.silent_s < SILENT_S {
            return None;
        }
        self.silence_said = true;
        self.watch.restart();
        let died = if could_die && self.was_heard { " If it died, press \"it died\"." } else { "" };
        Some(Wish::Say(format!("I do not hear the engine.{died} Start it, and I go on.")))
    }
}

#[cfg(test)]
mod tests;
