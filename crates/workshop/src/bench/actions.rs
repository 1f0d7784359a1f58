//! Everything a person can do at the bench. Each is one transaction; each says what it did.

use bellmouth_core::idle::{Outcome, StallCause};
use bellmouth_core::quantity::TurnsOut;
use bellmouth_core::sound::settled::HeldSpeed;
use bellmouth_logbook::{Id, Reading, Source};

use crate::Refusal;
use crate::bench::facts::{Armed, name};
use crate::bench::gate::{self, Answer};
use crate::bench::state::{MOST_TURNS, Stage};
use crate::garage::{number_of, page_id, turns_of};
use crate::workshop::{Workshop, now_ms};

/// The revision of the job that a page was drawn from: what changed since is not overwritten.
pub type Seen = Option<i64>;

/// What came of an action.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Done {
    /// It is on the disk.
    Saved,
    /// It had been saved before, and nothing was changed.
    Already,
}

/// The guided count.
#[derive(Clone, Debug, Default)]
pub struct FoundForm {
    /// One count for each screw, turns out.
    pub counts: Vec<String>,
}

/// The gate, with what only a person can know of the machine's idle.
#[derive(Clone, Debug, Default)]
pub struct CheckForm {
    /// Question and answer, by their stored words.
    pub answers: Vec<(String, String)>,
    /// What a tachometer shows, roughly; may be empty.
    pub about_rpm: String,
    /// The maker's idle speed; may be empty.
    pub idle_rpm: String,
    /// The maker's drop of speed; may be empty.
    pub drop_rpm: String,
    /// The maker's turns to back out; may be empty.
    pub back_out_turns: String,
}

/// A hold that begins, or a stall at one.
#[derive(Clone, Debug, Default)]
pub struct HoldForm {
    /// The reading's key, made by the page.
    pub id: String,
    /// Where the screw stands.
    pub turns: String,
}

/// A speed typed from a tachometer.
#[derive(Clone, Debug, Default)]
pub struct TachometerForm {
    /// The reading's key and the screw's place.
    pub hold: HoldForm,
    /// What the tachometer shows.
    pub rpm: String,
}

impl Workshop {
    /// Keeps the guided count.
    ///
    /// # Errors
    ///
    /// A count that is none; a page that is out of date.
    pub fn record_found(&self, job: Id, seen: Seen, form: &FoundForm) -> Result<(), Refusal> {
        let mut counts = Vec::new();
        for (index, text) in form.counts.iter().enumerate() {
            let what =
                if form.counts.len() == 1 { "count".into() } else { format!("count of screw {}", index + 1) };
            counts.push(turns_of(text, &what)?.to_string());
        }
        if counts.is_empty() {
            return Err(Refusal::misused("no count was given", "count each screw to its seat"));
        }
        let first = counts[0].clone();
        self.set(job, seen, &[(name::FOUND, &counts.join(" ")), (name::POSITION, &first)])
    }

    /// Keeps which screw it is: `fuel`, `air` or `other`.
    ///
    /// # Errors
    ///
    /// Another word; a page that is out of date.
    pub fn choose_screw(&self, job: Id, seen: Seen, screw: &str) -> Result<(), Refusal> {
        if !["fuel", "air", "other"].contains(&screw) {
            return Err(Refusal::misused(
                format!("\"{screw}\" is no kind of screw"),
                "choose one of the pictures",
            ));
        }
        self.set(job, seen, &[(name::SCREW, screw), (name::WRONG_WAY, "")])
    }

    /// Keeps the answers of the gate. Questions left open stay open.
    ///
    /// # Errors
    ///
    /// A number that is none; a page that is out of date.
    pub fn answer_gate(&self, job: Id, seen: Seen, form: &CheckForm) -> Result<(), Refusal> {
        let mut facts: Vec<(String, String)> = Vec::new();
        for (question, answer) in &form.answers {
            let known = gate::QUESTIONS.iter().any(|known| known.name == question);
            if !known || Answer::from_word(answer).is_none() {
                return Err(Refusal::misused(
                    format!("\"{question}\" was answered \"{answer}\""),
                    "answer good, not good or not looked at",
                ));
            }
            facts.push((format!("gate-{question}"), answer.clone()));
        }
        let numbers = [
            (name::ABOUT_RPM, &form.about_rpm, "speed on the tachometer", 400.0, 14_500.0),
            (name::IDLE_RPM, &form.idle_rpm, "maker's idle speed", 400.0, 3000.0),
            (name::DROP_RPM, &form.drop_rpm, "maker's drop of speed", 5.0, 500.0),
            (name::BACK_OUT, &form.back_out_turns, "maker's turns to back out", 0.0, 3.0),
        ];
        for (name, text, what, least, most) in numbers {
            let text = text.trim();
            let value = if text.is_empty() {
                String::new()
            } else {
                number_of(text, what, "the number, or leave it open", least, most)?.to_string()
            };
            facts.push((name.into(), value));
        }
        let facts: Vec<(&str, &str)> =
            facts.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
        self.set(job, seen, &facts)
    }

    /// "I am at 2⅛": begins a hold there. Gives what the ear needs to know.
    ///
    /// # Errors
    ///
    /// A position that is none; a bench that is not open; a page that is out of date.
    pub fn begin_hold(&self, job: Id, seen: Seen, form: &HoldForm) -> Result<Option<Armed>, Refusal> {
        let (id, turns) = hold_of(form)?;
        let bench = self.bench(job)?;
        if bench.readings.iter().any(|entry| entry.reading.id == id) {
            return Ok(None);
        }
        if bench.facts.armed().is_some_and(|armed| armed.id == id && armed.turns == turns) {
            return Ok(bench.facts.armed());
        }
        match bench.stage {
            Stage::Move { .. }
            | Stage::Holding(_)
            | Stage::Set { .. }
            | Stage::Stop { .. }
            | Stage::Ended(_) => {}
            _ => {
                return Err(Refusal::misused(
                    "the bench is not ready for a hold",
                    "look at what it asks for now",
                ));
            }
        }
        let armed = Armed { id, turns, since_ms: now_ms() };
        let hold = format!("{id} {} {}", turns.0, armed.since_ms);
        self.set(
            job,
            seen,
            &[(name::ARMED, &hold), (name::POSITION, &turns.0.to_string()), (name::TARGET, "")],
        )?;
        Ok(Some(armed))
    }

    /// Keeps the speed that was heard at a hold. This is what "shown as saved" stands on.
    ///
    /// # Errors
    ///
    /// The logbook's own: nothing was saved then.
    pub fn keep_held(
        &self,
        job: Id,
        armed: Armed,
        held: &HeldSpeed,
        source: Source,
    ) -> Result<Done, Refusal> {
        let outcome = Outcome::Ran { rpm: held.mean_rpm, se_rpm: Some(held.se_rpm) };
        self.keep(job, armed, outcome, Some(held.spread_rpm), source)
    }

    /// Keeps a speed typed from a tachometer.
    ///
    /// # Errors
    ///
    /// A speed or position that is none; a bench that is not open.
    pub fn keep_typed(&self, job: Id, form: &TachometerForm) -> Result<Done, Refusal> {
        let (id, turns) = hold_of(&form.hold)?;
        let rpm = speed_of(&form.rpm)?;
        let armed = self.armed_for(job, id, turns)?;
        self.keep(job, armed, Outcome::Ran { rpm, se_rpm: None }, None, Source::Tachometer)
    }

    /// Keeps that the engine died at a position, and from what.
    ///
    /// # Errors
    ///
    /// A cause that is none; a bench that is not open.
    pub fn keep_stall(&self, job: Id, form: &HoldForm, cause: &str) -> Result<Done, Refusal> {
        let cause = match cause {
            "lean" => StallCause::Lean,
            "rich" => StallCause::Rich,
            "fuel" => StallCause::OutOfFuel,
            "unknown" => StallCause::Unknown,
            _ => {
                return Err(Refusal::misused(
                    format!("\"{cause}\" is no reason to die of"),
                    "say lean, rich, out of fuel or do not know",
                ));
            }
        };
        let (id, turns) = hold_of(form)?;
        let armed = self.armed_for(job, id, turns)?;
        self.keep(job, armed, Outcome::Stalled(cause), None, Source::Tachometer)
    }

    /// The hold for a reading that is given all at once; refuses while the bench is not open.
    pub(crate) fn armed_for(&self, job: Id, id: Id, turns: TurnsOut) -> Result<Armed, Refusal> {
        let bench = self.bench(job)?;
        let known = bench.readings.iter().any(|entry| entry.reading.id == id);
        if !known && matches!(bench.stage, Stage::NotReady(_) | Stage::Alarm | Stage::Left { .. }) {
            return Err(Refusal::misused(
                "the bench is not ready for a reading",
                "look at what it asks for now",
            ));
        }
        let since_ms =
            bench.facts.armed().filter(|armed| armed.id == id).map_or_else(now_ms, |armed| armed.since_ms);
        Ok(Armed { id, turns, since_ms })
    }

    fn keep(
        &self,
        job: Id,
        armed: Armed,
        outcome: Outcome,
        spread_rpm: Option<f64>,
        source: Source,
    ) -> Result<Done, Refusal> {
        let bench = self.bench(job)?;
        // A page repeats itself until it has an answer: the same reading is never stored twice.
        if let Some(known) = bench.readings.iter().find(|entry| entry.reading.id == armed.id) {
            let same = known.reading.turns == armed.turns
                && std::mem::discriminant(&known.reading.outcome) == std::mem::discriminant(&outcome);
            return if same {
                Ok(Done::Already)
            } else {
                Err(Refusal::misused(
                    format!("another reading, at {} turns, was saved under this key", known.reading.turns),
                    "reload the page and take the reading again",
                ))
            };
        }
        let ended_ms = now_ms();
        let as_found =
            bench.facts.found_turns().iter().all(|turns| (turns.0 - armed.turns.0).abs() < 1.0 / 16.0);
        let reading = Reading {
            id: armed.id,
            job,
            turns: armed.turns,
            outcome,
            spread_rpm,
            source,
            started_ms: armed.since_ms.min(ended_ms),
            ended_ms,
            at_s: (armed.since_ms - bench.job.opened_ms) as f64 / 1000.0,
            block: bench.block(),
            as_found,
            engine_version: env!("CARGO_PKG_VERSION").into(),
            clip: None,
        };
        self.logbook().save_reading(&reading)?;
        let position = armed.turns.0.to_string();
        self.set(job, None, &[(name::ARMED, ""), (name::TARGET, ""), (name::POSITION, &position)])?;
        Ok(Done::Saved)
    }

    /// Strikes a reading: it stays, marked, and the curve is fitted without it.
    ///
    /// # Errors
    ///
    /// A reading that is not there.
    pub fn strike(&self, reading: &str, reason: &str) -> Result<(), Refusal> {
        let reason = if reason.trim().is_empty() { "struck by hand" } else { reason.trim() };
        self.logbook().strike_reading(page_id(reading)?, reason, now_ms())?;
        Ok(())
    }

    /// Takes a strike back.
    ///
    /// # Errors
    ///
    /// A reading that is not there.
    pub fn unstrike(&self, reading: &str) -> Result<(), Refusal> {
        self.logbook().unstrike_reading(page_id(reading)?, now_ms())?;
        Ok(())
    }

    /// "I miscounted": moves one reading to where the screw had really stood; the first count is kept.
    ///
    /// # Errors
    ///
    /// A position that is none; a reading that is not there.
    pub fn miscounted(&self, reading: &str, turns: &str) -> Result<(), Refusal> {
        let turns = TurnsOut(turns_of(turns, "position")?);
        self.logbook().correct_turns(page_id(reading)?, turns, "miscounted", now_ms())?;
        Ok(())
    }

    /// "Wrong way": the last move went the other way. Mirrors the position, and the last reading with
    /// it when it was taken there, about the place the screw came from.
    ///
    /// # Errors
    ///
    /// Nothing to mirror; a mirrored place that no screw has.
    pub fn wrong_way(&self, job: Id, seen: Seen) -> Result<(), Refusal> {
        let bench = self.bench(job)?;
        let here = bench.position();
        let counted: Vec<_> = bench.readings.iter().filter(|entry| entry.struck.is_none()).collect();
        let last_here = counted.last().filter(|entry| entry.turns() == here);
        let before =
            if last_here.is_some() { counted.len().checked_sub(2) } else { counted.len().checked_sub(1) };
        let from = before.map(|index| counted[index].turns()).or_else(|| bench.as_found());
        let Some(from) = from.filter(|from| *from != here) else {
            return Err(Refusal::misused(
                "the screw has not been moved yet",
                "say where it stands with the keys",
            ));
        };
        let mirrored = TurnsOut(2.0 * from.0 - here.0);
        if !(0.0..=MOST_TURNS).contains(&mirrored.0) {
            return Err(Refusal::misused(
                format!("the other way from {from} would be {} turns", mirrored.0),
                "count the screw to its seat, engine stopped, and say where it stands",
            ));
        }
        if let Some(entry) = last_here {
            let id = entry.reading.id.to_string();
            self.logbook().correct_turns(page_id(&id)?, mirrored, "turned the wrong way", now_ms())?;
        }
        let seen = if last_here.is_some() { None } else { seen };
        let position = mirrored.0.to_string();
        self.set(job, seen, &[(name::POSITION, &position), (name::ARMED, ""), (name::TARGET, "")])
    }

    /// Rests the bench, or goes on. `cooled` starts the clock of heat anew.
    ///
    /// # Errors
    ///
    /// A page that is out of date.
    pub fn pause(&self, job: Id, seen: Seen, rest: bool, cooled: bool) -> Result<(), Refusal> {
        let paused = if rest { "by-hand" } else { "" };
        let mut facts = vec![(name::PAUSED, paused), (name::ARMED, "")];
        if cooled {
            facts.push((name::SINCE_COOL_MS, "0"));
        }
        self.set(job, seen, &facts)
    }

    /// Rests the bench because the engine must cool.
    ///
    /// # Errors
    ///
    /// The logbook's own.
    pub fn pause_for_heat(&self, job: Id) -> Result<(), Refusal> {
        self.set(job, None, &[(name::PAUSED, "heat"), (name::ARMED, "")])
    }

    /// The alarm key: ends the session. Nothing that was saved is touched.
    ///
    /// # Errors
    ///
    /// The logbook's own.
    pub fn alarm(&self, job: Id, on: bool) -> Result<(), Refusal> {
        let rest = if on { "by-hand" } else { "" };
        self.set(
            job,
            None,
            &[(name::ALARM, if on { "on" } else { "" }), (name::ARMED, ""), (name::PAUSED, rest)],
        )
    }

    /// Keeps how long the engine has idled.
    ///
    /// # Errors
    ///
    /// The logbook's own.
    pub fn note_idling(&self, job: Id, idling_ms: i64, since_cool_ms: i64) -> Result<(), Refusal> {
        let (idling, since_cool) = (idling_ms.to_string(), since_cool_ms.to_string());
        self.set(job, None, &[(name::IDLING_MS, &idling), (name::SINCE_COOL_MS, &since_cool)])
    }

    pub(super) fn set(&self, job: Id, seen: Seen, facts: &[(&str, &str)]) -> Result<(), Refusal> {
        self.logbook().set_facts(job, seen, facts, now_ms())?;
        Ok(())
    }
}

/// A speed as a person types it from a tachometer.
///
/// # Errors
///
/// What is none.
pub fn speed_of(typed: &str) -> Result<f64, Refusal> {
    number_of(typed, "speed", "what the tachometer shows, such as 1040", 200.0, 14_000.0)
}

pub(crate) fn hold_of(form: &HoldForm) -> Result<(Id, TurnsOut), Refusal> {
    let turns = turns_of(&form.turns, "position")?;
    if MOST_TURNS < turns {
        return Err(Refusal::misused(
            format!("the position is {turns} turns, beyond {MOST_TURNS}"),
            "turn it back in: so far out the spring no longer holds the screw",
        ));
    }
    Ok((page_id(&form.id)?, TurnsOut(turns)))
}
