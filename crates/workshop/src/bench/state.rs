//! The bench as it stands, worked out from what the logbook holds.

use bellmouth_core::With;
use bellmouth_core::idle::{self, Course, End, Hold, Outcome, Question, Rule, Step, Sweep};
use bellmouth_core::quantity::{GRID_TURNS, Screw, TurnsOut};
use bellmouth_logbook::{Build, Cooling, Entry, Id, Job, Machine, ScrewKind};

use crate::Refusal;
use crate::bench::facts::{Armed, Facts, Pause};
use crate::bench::gate::{self, Answer};
use crate::bench::kept;
use crate::garage::{derived_id, layout_of};
use crate::workshop::Workshop;

/// The outermost position the bench lets a screw be held at, turns.
pub(crate) const MOST_TURNS: f64 = 6.0;

/// A place of the job where something is missing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// The guided count.
    Found,
    /// Which screw.
    Screw,
    /// The gate.
    Check,
    /// The machine's own page.
    Machine,
}

/// Something the bench wants before the first hold.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Missing {
    /// Where it is given.
    pub place: Place,
    /// What it is.
    pub what: String,
}

/// What the bench asks for now.
#[derive(Clone, Debug, PartialEq)]
pub enum Stage {
    /// Something must be known first.
    NotReady(Vec<Missing>),
    /// The alarm key was pressed.
    Alarm,
    /// The bench rests.
    Paused(Pause),
    /// Set the idle speed with the stop, the screw left alone.
    Stop {
        /// The maker's idle speed, rpm.
        rpm: f64,
        /// How near it must come, rpm.
        within_rpm: f64,
    },
    /// Turn the screw to a position, then say so.
    Move {
        /// Where it stands.
        from: TurnsOut,
        /// Where it should stand.
        to: TurnsOut,
    },
    /// Hands off: the engine is being read.
    Holding(Armed),
    /// Enough is known: set the screw.
    Set {
        /// Where it stands.
        from: TurnsOut,
        /// Where to leave it.
        to: TurnsOut,
    },
    /// One screw of several: lean it alone to the same small fall as the others, then back.
    Trim {
        /// Which carburettor, from 1.
        carburettor: u32,
        /// The round, 1 or 2.
        round: u32,
        /// The fall, rpm.
        drop_rpm: f64,
    },
    /// Balance the throttle plates.
    Balance,
    /// A finding ended the course before the screw was set.
    Ended(End),
    /// Engine off: count the screw to its seat.
    Count {
        /// Where it was set.
        set: TurnsOut,
    },
    /// Counted: as left.
    Left {
        /// The count.
        turns: TurnsOut,
    },
}

/// Everything the bench shows.
#[derive(Clone, Debug)]
pub struct BenchState {
    /// The job; its revision goes up with every change.
    pub job: Job,
    /// The machine.
    pub machine: Machine,
    /// How it is equipped.
    pub build: Build,
    /// What was said, counted and chosen.
    pub facts: Facts,
    /// Every reading, the struck ones included.
    pub readings: Vec<Entry>,
    /// The fit, once there is a reading; or why there is none.
    pub sweep: Option<Result<With<Sweep>, String>>,
    /// The way from the stop to the seat, as far as it was gone; `None` before the screw is known.
    pub course: Option<Course>,
    /// What to do now.
    pub stage: Stage,
}

impl Stage {
    /// Whether the engine idles while this is done: then the clock of heat counts, and the bench may rest.
    pub fn engine_runs(&self) -> bool {
        matches!(
            self,
            Stage::Stop { .. }
                | Stage::Move { .. }
                | Stage::Holding(_)
                | Stage::Set { .. }
                | Stage::Trim { .. }
                | Stage::Balance
        )
    }
}

impl Workshop {
    /// The bench of a job as it stands.
    ///
    /// # Errors
    ///
    /// A job that is not there.
    pub fn bench(&self, job: Id) -> Result<BenchState, Refusal> {
        let logbook = self.logbook();
        let job = logbook.job(job)?;
        let machine = logbook.machine(job.machine)?;
        let builds = logbook.builds(job.machine)?;
        let build = builds.into_iter().find(|build| build.id == job.build).ok_or_else(|| {
            Refusal::ours("the job's build is missing", "run `bellmouth logbook check` and report it")
        })?;
        let facts = Facts::new(logbook.facts(job.id)?);
        let readings = logbook.readings(job.id)?;
        // The fit below needs no logbook: others may go on writing.
        drop(logbook);
        Ok(BenchState::work_out(job, machine, build, facts, readings))
    }
}

impl BenchState {
    pub(crate) fn work_out(
        job: Job,
        machine: Machine,
        build: Build,
        facts: Facts,
        readings: Vec<Entry>,
    ) -> BenchState {
        let (sweep, course, stage) = (None, None, Stage::Alarm);
        let mut state = BenchState { job, machine, build, facts, readings, sweep, course, stage };
        let holds = state.holds();
        if let (false, Some(question)) = (holds.is_empty(), state.question()) {
            state.sweep = Some(idle::sweep(&holds, &question).map_err(|refused| refused.to_string()));
        }
        state.course = state.course_so_far();
        state.stage = state.stage_now();
        state
    }

    /// What the sweep is asked with; `None` before the screw is known.
    pub fn question(&self) -> Option<Question> {
        let screw = match self.facts.screw() {
            ScrewKind::Fuel => Screw::Fuel,
            ScrewKind::Air => Screw::Air,
            ScrewKind::Other | ScrewKind::NotSaid => return None,
        };
        let mut question = Question::new(screw);
        if self.machine.details.cooling == Cooling::Liquid {
            question.cooling = idle::Cooling::Liquid;
        }
        question.rule = if let Some(turns) = self.facts.picked_up() {
            Rule::PickUp { turns }
        } else if let Some((drop_rpm, back_out_turns)) = self.facts.maker_procedure() {
            Rule::Maker { drop_rpm, back_out_turns }
        } else if self.intake_is_shared() {
            Rule::FirstToWeaken
        } else {
            Rule::Margin
        };
        question.shares_intake = self.intake_is_shared();
        // Oil pressure: the maker's idle less 15 % (common practice, no source).
        question.floor_rpm = self.facts.maker_idle_rpm().map(|rpm| 0.85 * rpm);
        question.base_turns = self.build.base_turns;
        Some(question)
    }

    /// Whether one carburettor feeds more than one cylinder.
    fn intake_is_shared(&self) -> bool {
        let cylinders = layout_of(&self.machine).map_or(1, |layout| layout.firing_deg.len());
        (self.machine.details.carburettors.max(1) as usize) < cylinders
    }

    /// The holds that count: those not struck, at the place the newest word on them says.
    pub fn holds(&self) -> Vec<Hold> {
        self.readings.iter().filter(|entry| entry.struck.is_none()).map(kept::hold_of).collect()
    }

    fn course_so_far(&self) -> Option<Course> {
        let job = idle::Job {
            question: self.question()?,
            idle_rpm: self.facts.maker_idle_rpm(),
            carburettors: self.machine.details.carburettors.max(1),
            first: self.as_found().unwrap_or(self.position()),
        };
        kept::course(job, &self.facts.events(), &self.readings)
    }

    /// The block that the next hold belongs to.
    pub fn block(&self) -> u32 {
        self.course.as_ref().map_or(1, Course::block)
    }

    /// Where the first screw was set, or trimmed; `None` before that.
    pub fn set_at(&self) -> Option<TurnsOut> {
        self.facts.stands_at().and(self.course.as_ref()).map(Course::first_screw)
    }

    /// Where the screw was found, when it was counted.
    pub fn as_found(&self) -> Option<TurnsOut> {
        self.facts.found_turns().first().copied()
    }

    /// Where the screw stands by the last word on it.
    pub fn position(&self) -> TurnsOut {
        self.facts.position().or_else(|| self.as_found()).unwrap_or(TurnsOut(0.0))
    }

    /// The hold that was begun and not yet read.
    pub fn armed(&self) -> Option<Armed> {
        // The reading is saved before the hold is taken down: between the two, the reading counts.
        self.facts.armed().filter(|armed| self.readings.iter().all(|entry| entry.reading.id != armed.id))
    }

    /// The key of the next reading: the hold's own, or one that follows from the job as it stands, so
    /// that a page sent twice, or from two tabs, never saves twice.
    pub fn hold_id(&self) -> Id {
        self.armed().map_or_else(|| derived_id(self.job.id, self.job.revision), |armed| armed.id)
    }

    /// The sweep's answer, if there is one.
    pub fn answer(&self) -> Option<&Sweep> {
        match &self.sweep {
            Some(Ok(answer)) => Some(&answer.value),
            _ => None,
        }
    }

    /// Whether the answer may be shown as a setting: enough is known, or four holds were read and the
    /// edge is known to half a turn. Before that it is mostly what such machines are like.
    pub fn setting_told(&self) -> bool {
        let ran = self.holds().iter().filter(|hold| matches!(hold.outcome, Outcome::Ran { .. })).count();
        self.answer().is_some_and(|sweep| sweep.enough || (4 <= ran && self.edge_known()))
    }

    /// Whether the edge is known to half a turn to either side.
    pub fn edge_known(&self) -> bool {
        self.answer().is_some_and(|sweep| sweep.edge.high.0 - sweep.edge.low.0 <= 1.0)
    }

    /// Whether turning out makes it richer.
    pub fn out_is_richer(&self) -> bool {
        self.facts.screw() != ScrewKind::Air
    }

    /// Whether the engine is cooled by air; not said counts as air, the hotter case.
    pub fn air_cooled(&self) -> bool {
        self.machine.details.cooling != Cooling::Liquid
    }

    /// The position an eighth richer or leaner, within reach.
    pub fn eighth(&self, from: TurnsOut, richer: bool) -> TurnsOut {
        let step = if richer == self.out_is_richer() { GRID_TURNS } else { -GRID_TURNS };
        TurnsOut((from.on_grid().0 + step).clamp(0.0, MOST_TURNS))
    }

    /// Questions of the gate with their answers.
    pub fn gate(&self) -> Vec<(&'static gate::Question, Option<Answer>)> {
        gate::questions(self.air_cooled(), self.machine.details.carburettors)
            .map(|question| (question, self.facts.answer(question)))
            .collect()
    }

    /// Whether a fan was said to blow on the head.
    pub fn moving_air(&self) -> bool {
        self.gate()
            .iter()
            .any(|(question, answer)| question.name == "moving-air" && *answer == Some(Answer::Good))
    }

    /// Whether the speed must be confirmed by a second witness before the first hold: an engine that
    /// fires evenly sounds alike at double and half speed.
    pub fn wants_tachometer(&self) -> bool {
        let Some(layout) = layout_of(&self.machine) else { return true };
        let firing = layout.firing_deg;
        let gap = layout.cycle_deg / firing.len() as f64;
        1 < firing.len() && firing.iter().enumerate().all(|(index, angle)| *angle == gap * index as f64)
    }

    /// What the bench wants before the first hold.
    pub fn missing(&self) -> Vec<Missing> {
        let mut missing = Vec::new();
        let mut want = |place, what: &str| missing.push(Missing { place, what: what.into() });
        if self.facts.found_turns().is_empty() {
            want(Place::Found, "where the screw was found: the count to its seat, engine stopped");
        }
        match self.facts.screw() {
            ScrewKind::NotSaid => want(Place::Screw, "which screw it is: fuel, air or neither"),
            ScrewKind::Other => {
                want(Place::Screw, "a fuel or air screw: this bench cannot sweep a carburettor without one");
            }
            ScrewKind::Fuel | ScrewKind::Air => {}
        }
        let gate = self.gate();
        let open = gate.iter().filter(|(_, answer)| answer.is_none()).count();
        if 0 < open {
            want(Place::Check, &format!("{open} of {} questions of the check", gate.len()));
        }
        for (question, answer) in &gate {
            if question.must && answer.is_some_and(|answer| answer != Answer::Good) {
                want(Place::Check, &format!("\"{}\": the bench does not open without it", question.ask));
            }
        }
        if self.wants_tachometer() && self.facts.about_rpm().is_none() {
            want(
                Place::Check,
                "what a tachometer shows, roughly: an even firing order, or one not given, sounds alike at double and half speed",
            );
        }
        missing
    }

    fn stage_now(&self) -> Stage {
        if self.facts.alarm() {
            return Stage::Alarm;
        }
        if let Some(turns) = self.facts.left_turns() {
            return Stage::Left { turns };
        }
        let missing = self.missing();
        if !missing.is_empty() {
            return Stage::NotReady(missing);
        }
        if let Some(pause) = self.facts.paused() {
            return Stage::Paused(pause);
        }
        if let Some(armed) = self.armed() {
            return Stage::Holding(armed);
        }
        let from = self.position();
        if let Some(to) = self.facts.target() {
            return Stage::Move { from, to };
        }
        let fit = self.answer();
        let Some(course) = &self.course else { return Stage::Move { from, to: from } };
        match (course.step(fit), fit) {
            (Step::Hold { again: false, .. }, Some(fit)) if self.facts.finished() => {
                Stage::Set { from, to: fit.setting_on_grid }
            }
            (Step::SetStop { rpm, within_rpm }, _) => Stage::Stop { rpm, within_rpm },
            // Before the first hold the screw stays where it stands.
            (Step::Hold { .. }, _) if course.holds().is_empty() => Stage::Move { from, to: from },
            (Step::Hold { turns, .. }, _) => Stage::Move { from, to: turns },
            (Step::Leave { turns }, _) => Stage::Set { from, to: turns },
            (Step::Trim { carburettor, round, drop_rpm }, _) => Stage::Trim { carburettor, round, drop_rpm },
            (Step::Balance, _) => Stage::Balance,
            (Step::CountToSeat, _) => Stage::Count { set: course.first_screw() },
            (Step::End(end), _) => Stage::Ended(end),
        }
    }
}
