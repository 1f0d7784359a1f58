//! What is known of a job, read from the facts its logbook holds.

use std::collections::BTreeMap;

use bellmouth_core::quantity::TurnsOut;
use bellmouth_logbook::{Fact, Id, LEFT_TURNS, ScrewKind};
use serde::{Deserialize, Serialize};

use crate::bench::gate::{self, Answer};
use crate::bench::kept::{Event, Happened};
use crate::firings::Firings;

/// Names under which facts are kept.
pub(crate) mod name {
    pub(crate) const SCREW: &str = "screw";
    pub(crate) const FOUND: &str = "found_turns";
    pub(crate) const ABOUT_RPM: &str = "about_rpm";
    pub(crate) const IDLE_RPM: &str = "maker_idle_rpm";
    pub(crate) const DROP_RPM: &str = "maker_drop_rpm";
    pub(crate) const BACK_OUT: &str = "maker_back_out_turns";
    pub(crate) const POSITION: &str = "position_turns";
    pub(crate) const TARGET: &str = "target_turns";
    pub(crate) const ARMED: &str = "hold";
    pub(crate) const COURSE: &str = "course";
    pub(crate) const PAUSED: &str = "paused";
    pub(crate) const ALARM: &str = "alarm";
    pub(crate) const FINISHED: &str = "finished";
    pub(crate) const STANDS_AT: &str = "set_turns";
    pub(crate) const IDLING_MS: &str = "idling_ms";
    pub(crate) const SINCE_COOL_MS: &str = "since_cool_ms";
    pub(crate) const WRONG_WAY: &str = "wrong_way";
    pub(crate) const PICKED_UP: &str = "picked_up_turns";
    pub(crate) const FIRINGS: &str = "firings";
}

/// A hold that was begun: the key its reading will have, where the screw stands, since when.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Armed {
    /// The reading's key, made by the page.
    pub id: Id,
    /// Where the screw stands.
    pub turns: TurnsOut,
    /// Since when, UTC milliseconds.
    pub since_ms: i64,
}

/// What a recording of a hold told of single firings.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct HeardFirings {
    /// The reading that was taken from it.
    pub reading: String,
    /// The figures; `None` where nothing can be said.
    pub firings: Option<Firings>,
    /// What to keep in mind of them, or why there are none.
    pub caveats: Vec<String>,
}

/// Why the bench rests.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pause {
    /// The pause key.
    ByHand,
    /// The idling clock ran out: the engine must cool.
    Heat,
}

/// The facts of a job, typed.
#[derive(Clone, Debug)]
pub struct Facts(BTreeMap<String, Fact>);

impl Facts {
    /// Wraps what the logbook gave.
    pub(crate) fn new(facts: BTreeMap<String, Fact>) -> Facts {
        Facts(facts)
    }

    /// The value under a name, unless it is missing or was taken back.
    fn text(&self, name: &str) -> Option<&str> {
        self.0.get(name).map(|fact| fact.value.as_str()).filter(|value| !value.is_empty())
    }

    fn number(&self, name: &str) -> Option<f64> {
        self.text(name)?.parse().ok().filter(|value: &f64| value.is_finite())
    }

    /// Which screw it is, as chosen from the pictures.
    pub fn screw(&self) -> ScrewKind {
        match self.text(name::SCREW) {
            Some("fuel") => ScrewKind::Fuel,
            Some("air") => ScrewKind::Air,
            Some("other") => ScrewKind::Other,
            _ => ScrewKind::NotSaid,
        }
    }

    /// The guided counts, one for each screw; empty before they were made.
    pub fn found_turns(&self) -> Vec<TurnsOut> {
        let text = self.text(name::FOUND).unwrap_or_default();
        text.split(' ').filter_map(|count| count.parse().ok()).map(TurnsOut).collect()
    }

    /// The answer to a question of the gate; `None` before it was asked.
    pub fn answer(&self, question: &gate::Question) -> Option<Answer> {
        self.text(&format!("gate-{}", question.name)).and_then(Answer::from_word)
    }

    /// What a tachometer shows, roughly.
    pub fn about_rpm(&self) -> Option<f64> {
        self.number(name::ABOUT_RPM)
    }

    /// The maker's idle speed.
    pub fn maker_idle_rpm(&self) -> Option<f64> {
        self.number(name::IDLE_RPM)
    }

    /// The maker's procedure: drop of speed, and turns to back out.
    pub fn maker_procedure(&self) -> Option<(f64, f64)> {
        Some((self.number(name::DROP_RPM)?, self.number(name::BACK_OUT)?))
    }

    /// Where the screw stands by the last word on it.
    pub fn position(&self) -> Option<TurnsOut> {
        self.number(name::POSITION).map(TurnsOut)
    }

    /// Where the person wants to go next, against the bench's own proposal.
    pub fn target(&self) -> Option<TurnsOut> {
        self.number(name::TARGET).map(TurnsOut)
    }

    /// The hold that was begun and not yet read.
    pub fn armed(&self) -> Option<Armed> {
        let mut parts = self.text(name::ARMED)?.split(' ');
        let (id, turns) = (parts.next()?.parse().ok()?, parts.next()?.parse().ok()?);
        Some(Armed { id, turns: TurnsOut(turns), since_ms: parts.next()?.parse().ok()? })
    }

    /// What the course was told beside its holds, in order.
    pub(crate) fn events(&self) -> Vec<Event> {
        let mut events: Vec<Event> =
            self.text(name::COURSE).and_then(|text| serde_json::from_str(text).ok()).unwrap_or_default();
        // A logbook from before courses were kept says only where the screw was set.
        let left = events.iter().any(|event| matches!(event.what, Happened::Left { .. }));
        if let (Some(set), false) = (self.0.get(name::STANDS_AT), left)
            && let Ok(turns) = set.value.parse()
        {
            events.push(Event { at_ms: set.at_ms, what: Happened::Left { turns, rpm: None } });
        }
        events
    }

    /// Whether the bench rests, and why.
    pub fn paused(&self) -> Option<Pause> {
        match self.text(name::PAUSED)? {
            "heat" => Some(Pause::Heat),
            _ => Some(Pause::ByHand),
        }
    }

    /// Whether the alarm key was pressed and not yet taken back.
    pub fn alarm(&self) -> bool {
        self.text(name::ALARM).is_some()
    }

    /// Whether the person ended the sweep with what there is.
    pub fn finished(&self) -> bool {
        self.text(name::FINISHED).is_some()
    }

    /// Where the screw was set after the sweep.
    pub fn stands_at(&self) -> Option<TurnsOut> {
        self.number(name::STANDS_AT).map(TurnsOut)
    }

    /// Where it picked up best, of the positions tried.
    pub fn picked_up(&self) -> Option<TurnsOut> {
        self.number(name::PICKED_UP).map(TurnsOut)
    }

    /// The count to the seat at the end: as left.
    pub fn left_turns(&self) -> Option<TurnsOut> {
        self.number(LEFT_TURNS).map(TurnsOut)
    }

    /// What the last recording of a hold told of single firings.
    pub fn firings(&self) -> Option<HeardFirings> {
        serde_json::from_str(self.text(name::FIRINGS)?).ok()
    }

    /// How long the engine has idled in this job, milliseconds.
    pub fn idling_ms(&self) -> i64 {
        self.text(name::IDLING_MS).and_then(|text| text.parse().ok()).unwrap_or(0)
    }

    /// How long it has idled since it last cooled, milliseconds.
    pub fn since_cool_ms(&self) -> i64 {
        self.text(name::SINCE_COOL_MS).and_then(|text| text.parse().ok()).unwrap_or(0)
    }
}
