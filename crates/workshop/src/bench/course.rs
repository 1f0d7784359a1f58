//! What a person tells of the way around the holds: stop, setting, every screw by itself, seat.

use bellmouth_core::idle::{Course, End};
use bellmouth_core::quantity::TurnsOut;
use bellmouth_logbook::{Id, LEFT_TURNS};

use crate::Refusal;
use crate::bench::actions::Seen;
use crate::bench::facts::name;
use crate::bench::kept::{Event, Happened};
use crate::bench::state::{BenchState, Stage};
use crate::garage::turns_of;
use crate::workshop::{Workshop, now_ms};

impl Workshop {
    /// The stop was set, and it idles at so many rpm. `will_not` says that it comes no nearer to the
    /// maker's idle speed: then that is the finding.
    ///
    /// # Errors
    ///
    /// A speed further from the one wanted, unless it comes no nearer; a page that is out of date.
    pub fn stop_set(&self, job: Id, seen: Seen, idles_rpm: f64, will_not: bool) -> Result<(), Refusal> {
        if !(50.0..=20_000.0).contains(&idles_rpm) {
            return Err(Refusal::misused(
                format!("a speed of {idles_rpm} rpm is no idle"),
                "type what the tachometer shows, such as 1040",
            ));
        }
        let bench = self.bench(job)?;
        if let (Stage::Stop { rpm, within_rpm }, false) = (&bench.stage, will_not)
            && *within_rpm < (idles_rpm - rpm).abs()
        {
            return Err(Refusal::misused(
                format!("it idles at {idles_rpm:.0} rpm, and {rpm:.0} ± {within_rpm:.0} is wanted"),
                "turn the stop, the screw left alone; if it comes no nearer, say that it will not idle there",
            ));
        }
        let events = appended(&bench, Happened::Stop { rpm: idles_rpm });
        self.set(job, since(&bench, seen), &[(name::COURSE, &events), (name::ARMED, ""), (name::TARGET, "")])
    }

    /// A fan, a lamp, the load or anything else was changed: later holds are a block of their own.
    ///
    /// # Errors
    ///
    /// A page that is out of date.
    pub fn new_block(&self, job: Id, seen: Seen) -> Result<(), Refusal> {
        let bench = self.bench(job)?;
        let events = appended(&bench, Happened::Changed);
        self.set(job, since(&bench, seen), &[(name::COURSE, &events), (name::ARMED, "")])
    }

    /// Ends the sweep with what there is, or goes on with it.
    ///
    /// # Errors
    ///
    /// A page that is out of date.
    pub fn finish(&self, job: Id, seen: Seen, done: bool) -> Result<(), Refusal> {
        let bench = self.bench(job)?;
        if done {
            return self.set(job, seen, &[(name::FINISHED, "yes"), (name::ARMED, ""), (name::TARGET, "")]);
        }
        let to = bench.position().0.to_string();
        let events = without_setting(&bench);
        self.set(
            job,
            since(&bench, seen),
            &[
                (name::FINISHED, ""),
                (name::STANDS_AT, ""),
                (name::COURSE, &events),
                (name::ARMED, ""),
                (name::TARGET, &to),
            ],
        )
    }

    /// The screw was set, and idles there at so many rpm where that was read.
    ///
    /// # Errors
    ///
    /// A position that is none; a page that is out of date.
    pub fn set_screw(&self, job: Id, seen: Seen, turns: &str, idles_rpm: Option<f64>) -> Result<(), Refusal> {
        let position = turns_of(turns, "position")?;
        let left = Happened::Left { turns: position, rpm: idles_rpm.filter(|rpm| rpm.is_finite()) };
        let bench = self.bench(job)?;
        let events = appended(&bench, left);
        let turns = position.to_string();
        self.set(
            job,
            since(&bench, seen),
            &[
                (name::STANDS_AT, &turns),
                (name::COURSE, &events),
                (name::POSITION, &turns),
                (name::ARMED, ""),
                (name::TARGET, ""),
            ],
        )
    }

    /// One screw of several was trimmed, and stands so far out.
    ///
    /// # Errors
    ///
    /// A position that is none; no trim that was asked for; a page that is out of date.
    pub fn trimmed(&self, job: Id, seen: Seen, turns: &str) -> Result<(), Refusal> {
        let turns = turns_of(turns, "position")?;
        let bench = self.bench(job)?;
        if !matches!(bench.stage, Stage::Trim { .. }) {
            return Err(Refusal::misused("no screw is being trimmed", "look at what the bench asks for now"));
        }
        let events = appended(&bench, Happened::Trimmed { turns });
        self.set(job, since(&bench, seen), &[(name::COURSE, &events)])
    }

    /// The plates are balanced.
    ///
    /// # Errors
    ///
    /// Asked for by nothing; a page that is out of date.
    pub fn balanced(&self, job: Id, seen: Seen) -> Result<(), Refusal> {
        let bench = self.bench(job)?;
        if !matches!(bench.stage, Stage::Trim { .. } | Stage::Balance) {
            return Err(Refusal::misused(
                "the plates are not to be balanced now",
                "look at what the bench asks for now",
            ));
        }
        let events = appended(&bench, Happened::Balanced);
        self.set(job, since(&bench, seen), &[(name::COURSE, &events)])
    }

    /// It picked up best at a position, of those tried inside the plateau; empty: let the other rule decide again.
    ///
    /// # Errors
    ///
    /// A position that is none; a page that is out of date.
    pub fn picked_up(&self, job: Id, seen: Seen, turns: &str) -> Result<(), Refusal> {
        let turns = turns_or_open(turns, "position")?;
        // Where it was set already, it is to be set anew.
        let bench = self.bench(job)?;
        let events = without_setting(&bench);
        self.set(
            job,
            since(&bench, seen),
            &[
                (name::PICKED_UP, &turns),
                (name::STANDS_AT, ""),
                (name::COURSE, &events),
                (name::FINISHED, "yes"),
            ],
        )
    }

    /// "Back": gives up the hold that was begun, takes back that the screw was set, or proposes the
    /// position held last.
    ///
    /// # Errors
    ///
    /// A page that is out of date.
    pub fn back(&self, job: Id, seen: Seen) -> Result<(), Refusal> {
        let bench = self.bench(job)?;
        let here = bench.position();
        if bench.facts.armed().is_some() {
            return self.set(job, seen, &[(name::ARMED, ""), (name::TARGET, &here.0.to_string())]);
        }
        if is_set(&bench.stage) {
            let trims = bench.course.as_ref().is_some_and(Course::is_trimming);
            let events = match bench.stage {
                Stage::Ended(End::WillNotIdle { .. }) => {
                    without_last(&bench, |what| matches!(what, Happened::Stop { .. }))
                }
                Stage::Trim { .. } if trims => {
                    without_last(&bench, |what| matches!(what, Happened::Trimmed { .. }))
                }
                _ => without_setting(&bench),
            };
            let set = if trims { bench.facts.stands_at() } else { None };
            let set = set.map(|turns| turns.0.to_string()).unwrap_or_default();
            let facts = [(name::STANDS_AT, set.as_str()), (name::COURSE, &events)];
            return self.set(job, since(&bench, seen), &facts);
        }
        let held: Vec<TurnsOut> =
            bench.readings.iter().filter(|entry| entry.struck.is_none()).map(|entry| entry.turns()).collect();
        let to = held.iter().rev().find(|turns| **turns != here).copied().or_else(|| bench.as_found());
        let to = to.map(|turns| turns.0.to_string()).unwrap_or_default();
        self.set(job, seen, &[(name::TARGET, &to)])
    }

    /// The count to the seat, engine stopped: as left. An empty count takes it back.
    ///
    /// # Errors
    ///
    /// A count that is none; a page that is out of date.
    pub fn record_left(&self, job: Id, seen: Seen, turns: &str) -> Result<(), Refusal> {
        let turns = turns_or_open(turns, "count")?;
        let mut facts = vec![(LEFT_TURNS, turns.as_str())];
        if !turns.is_empty() {
            facts.push((name::POSITION, &turns));
        }
        self.set(job, seen, &facts)
    }
}

/// A position as it is kept; empty where it was left open.
fn turns_or_open(typed: &str, what: &str) -> Result<String, Refusal> {
    if typed.trim().is_empty() { Ok(String::new()) } else { Ok(turns_of(typed, what)?.to_string()) }
}

/// Whether the screw has been set, or a finding ended the course instead.
fn is_set(stage: &Stage) -> bool {
    matches!(stage, Stage::Count { .. } | Stage::Trim { .. } | Stage::Balance | Stage::Ended(_))
}

fn appended(bench: &BenchState, what: Happened) -> String {
    let mut events = bench.facts.events();
    events.push(Event { at_ms: now_ms(), what });
    written(&events)
}

/// The revision that a change stands on: the one the page saw, or the one that was read just now, so that what is told at
/// the same time by another is never written over.
fn since(bench: &BenchState, seen: Seen) -> Seen {
    seen.or(Some(bench.job.revision))
}

/// The events without the last of a kind.
fn without_last(bench: &BenchState, kind: fn(&Happened) -> bool) -> String {
    let mut events = bench.facts.events();
    if let Some(last) = events.iter().rposition(|event| kind(&event.what)) {
        events.remove(last);
    }
    written(&events)
}

/// The events without the last setting and the trims that followed it, where the screw has been set; what was done to the
/// stop and beside it has happened all the same.
fn without_setting(bench: &BenchState) -> String {
    let mut events = bench.facts.events();
    let last = events.iter().rposition(|event| matches!(event.what, Happened::Left { .. }));
    if let (true, Some(last)) = (is_set(&bench.stage), last) {
        let mut index = 0;
        events.retain(|event| {
            index += 1;
            index <= last || matches!(event.what, Happened::Stop { .. } | Happened::Changed)
        });
    }
    written(&events)
}

fn written(events: &[Event]) -> String {
    // Numbers, words and nothing that could fail to be written.
    serde_json::to_string(events).unwrap_or_default()
}
