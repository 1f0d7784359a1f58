//! The whole course of setting an idle: stop, screw, stop again, every screw by itself, seat.
//!
//! A [`Course`] says what to do next as values without words; whoever leads the person through it
//! says them, and [tells](Course::tell) what came of it. Nothing here knows a clock: times come with
//! what is told.

use crate::error::{Error, Result, require};
use crate::idle::question::{Cooling, Question};
use crate::idle::sweep::{Sweep, sweep};
use crate::idle::{Hold, Outcome, StallCause};
use crate::quantity::{GRID_TURNS, TurnsOut};

/// What is to be set, and on what.
#[derive(Clone, Debug, PartialEq)]
pub struct Job {
    /// The question, asked of all screws turned together: its `carburettors` is 1.
    pub question: Question,
    /// The idle speed that the machine should have, rpm.
    pub idle_rpm: f64,
    /// Carburettors, each with its screw.
    pub carburettors: u32,
    /// Whether a fan moves air over the engine.
    pub air_moves: bool,
    /// Where the screw stands to begin with: the maker's base, or as found.
    pub first: TurnsOut,
}

/// What to do next.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Step {
    /// Set the idle speed with the stop, the screw left alone.
    SetStop {
        /// The speed, rpm.
        rpm: f64,
    },
    /// Turn the screw (all of them) to a position, let the engine settle, and read.
    Hold {
        /// The position.
        turns: TurnsOut,
        /// The pass through the course, from 1.
        pass: u32,
        /// Whether this repeats a position because the stop was moved.
        again: bool,
    },
    /// Stop the engine and let it cool.
    Rest {
        /// For so long, s.
        seconds: f64,
    },
    /// Turn the screw (all of them) to the setting.
    Leave {
        /// The setting, on the grid.
        turns: TurnsOut,
    },
    /// Turn one screw alone leaner until the engine's speed has fallen so far, then back richer by as much as on
    /// every other.
    Trim {
        /// Which carburettor, from 1.
        carburettor: u32,
        /// The round, 1 or 2.
        round: u32,
        /// The fall, rpm: the same on every one.
        drop_rpm: f64,
    },
    /// Balance the throttle plates.
    Balance,
    /// Stop the engine and count each screw to its seat: as left.
    CountToSeat,
    /// Nothing more: done, or a finding that ends the course.
    End(End),
}

/// How a course ends.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum End {
    /// Set, and counted.
    Set {
        /// As left: the first screw's count.
        as_left: TurnsOut,
    },
    /// The stop does not bring the engine to its idle speed: do not open it and go on.
    WillNotIdle {
        /// What it idles at, rpm.
        rpm: f64,
    },
    /// The setting still moved after the third pass: leak, holes, advance or split cylinders.
    DoesNotSettle,
    /// The screws ended more than a turn apart: find the cause.
    ScrewsApart {
        /// How far, turns.
        turns: f64,
    },
}

/// What came of a step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Told {
    /// The stop was set, and it idles at so many rpm.
    Stop {
        /// Mean speed, rpm.
        rpm: f64,
    },
    /// A hold was made.
    Held {
        /// What it gave.
        outcome: Outcome,
        /// When, seconds from the first.
        at_s: f64,
        /// How long the engine has idled for it, s.
        idled_s: f64,
    },
    /// The engine has rested.
    Rested,
    /// The screw stands at the setting, and it idles at so many rpm.
    Left {
        /// Mean speed, rpm.
        rpm: f64,
    },
    /// A screw was trimmed, and stands so far out.
    Trimmed {
        /// Its position.
        turns: TurnsOut,
    },
    /// The plates are balanced.
    Balanced,
    /// The first screw was counted to its seat.
    Counted {
        /// The count.
        turns: TurnsOut,
    },
}

/// How near the idle speed must come when the stop is set, rpm.
const STOP_WITHIN_RPM: f64 = 50.0;
/// Faster than the idle speed by more than this share, the stop is lowered; at the setting, by more than
/// [`SAME_IDLE`] either way.
const TOO_FAST: f64 = 0.05;
const SAME_IDLE: f64 = 0.03;
/// Idling that an air-cooled engine is spared without moving air, s, and how long it then rests (common
/// practice, no source: pauses at three to five minutes).
const IDLING_S: f64 = 240.0;
const REST_S: f64 = 300.0;
/// Passes before the course ends in a diagnosis.
const MOST_PASSES: u32 = 3;
/// Holds of one pass at most.
const MOST_HOLDS: usize = 9;
/// A setting that moved no more than this is accepted, turns.
const SETTLED_TURNS: f64 = GRID_TURNS;
/// The fall that each screw is trimmed to, as a share of the idle speed.
const TRIM_FALL: f64 = 0.02;
/// Rounds of trimming.
const ROUNDS: u32 = 2;
/// Screws further apart than this have a cause, turns.
const APART_TURNS: f64 = 1.0;

#[derive(Clone, Copy, Debug, PartialEq)]
enum Stage {
    Stop { then: TurnsOut, again: bool },
    Hold { turns: TurnsOut, again: bool },
    Leave { turns: TurnsOut },
    Trim { carburettor: u32, round: u32 },
    Balance,
    Count,
    End(End),
}

/// A course under way.
#[derive(Clone, Debug, PartialEq)]
pub struct Course {
    job: Job,
    stage: Stage,
    holds: Vec<Hold>,
    block: u32,
    pass: u32,
    /// Holds of this pass.
    made: usize,
    /// The setting of each pass.
    settings: Vec<TurnsOut>,
    trimmed: Vec<TurnsOut>,
    /// Seconds idled since the last rest.
    idled_s: f64,
}

impl Course {
    /// A course from its beginning, the gate passed and the engine warm.
    ///
    /// # Errors
    ///
    /// [`Error::OutOfDomain`] for an idle speed outside 300 to 5000 rpm, no carburettor or more than 16, a first
    /// position the screw does not reach, or a question that means nothing.
    pub fn new(job: Job) -> Result<Self> {
        job.question.check()?;
        require((300.0..=5000.0).contains(&job.idle_rpm), "idle_rpm", job.idle_rpm, "from 300 to 5000")?;
        require(
            (1..=16).contains(&job.carburettors),
            "carburettors",
            f64::from(job.carburettors),
            "1 to 16",
        )?;
        require((0.0..=8.0).contains(&job.first.0), "first", job.first.0, "from 0 (seated) to 8")?;
        let stage = Stage::Stop { then: job.first, again: false };
        Ok(Course {
            job,
            stage,
            holds: Vec::new(),
            block: 0,
            pass: 1,
            made: 0,
            settings: Vec::new(),
            trimmed: Vec::new(),
            idled_s: 0.0,
        })
    }

    /// What to do next.
    pub fn step(&self) -> Step {
        let heats = self.job.question.cooling == Cooling::Air && !self.job.air_moves;
        let idles = !matches!(self.stage, Stage::Count | Stage::End(_));
        if heats && idles && IDLING_S <= self.idled_s {
            return Step::Rest { seconds: REST_S };
        }
        match self.stage {
            Stage::Stop { .. } => Step::SetStop { rpm: self.job.idle_rpm },
            Stage::Hold { turns, again } => Step::Hold { turns, pass: self.pass, again },
            Stage::Leave { turns } => Step::Leave { turns },
            Stage::Trim { carburettor, round } => {
                Step::Trim { carburettor, round, drop_rpm: TRIM_FALL * self.job.idle_rpm }
            }
            Stage::Balance => Step::Balance,
            Stage::Count => Step::CountToSeat,
            Stage::End(end) => Step::End(end),
        }
    }

    /// The holds so far, those of an earlier place of the stop in blocks of their own.
    pub fn holds(&self) -> &[Hold] {
        &self.holds
    }

    /// Takes what came of the step that stands.
    ///
    /// # Errors
    ///
    /// [`Error::TooLittle`] where something else is told than was asked for; as [`sweep`] for a hold that cannot be.
    pub fn tell(&mut self, told: Told) -> Result<()> {
        let step = self.step();
        match (step, told) {
            (Step::Rest { .. }, Told::Rested) => self.idled_s = 0.0,
            (Step::SetStop { rpm }, Told::Stop { rpm: idles }) => self.stop_set(rpm, idles),
            (Step::Hold { turns, again, .. }, Told::Held { outcome, at_s, idled_s }) => {
                self.held(turns, again, outcome, at_s, idled_s)?;
            }
            (Step::Leave { turns }, Told::Left { rpm }) => self.left(turns, rpm),
            (Step::Trim { carburettor, round, .. }, Told::Trimmed { turns }) => {
                self.was_trimmed(carburettor, round, turns);
            }
            (Step::Balance, Told::Balanced) => self.stage = Stage::Count,
            (Step::CountToSeat, Told::Counted { turns }) => {
                self.stage = Stage::End(End::Set { as_left: turns });
            }
            _ => {
                return Err(Error::TooLittle {
                    what: "answers to the step that stands",
                    got: 0,
                    needed: 1,
                    remedy: "do what the step says, then tell what came of that",
                });
            }
        }
        Ok(())
    }

    fn stop_set(&mut self, wanted_rpm: f64, idles_rpm: f64) {
        let Stage::Stop { then, again } = self.stage else { return };
        self.stage = if (idles_rpm - wanted_rpm).abs() <= STOP_WITHIN_RPM {
            Stage::Hold { turns: then, again }
        } else {
            Stage::End(End::WillNotIdle { rpm: idles_rpm })
        };
    }

    fn held(
        &mut self,
        turns: TurnsOut,
        again: bool,
        outcome: Outcome,
        at_s: f64,
        idled_s: f64,
    ) -> Result<()> {
        let as_found = self.holds.is_empty();
        let hold = Hold { turns, outcome, at_s: Some(at_s), block: self.block, as_found };
        let mut holds = self.holds.clone();
        holds.push(hold);
        let ran = holds.iter().any(|hold| matches!(hold.outcome, Outcome::Ran { .. }));
        let answered = if ran { Some(sweep(&holds, &self.job.question)?.value) } else { None };
        self.holds = holds;
        self.idled_s += idled_s;
        self.made += 1;
        let too_fast = match outcome {
            Outcome::Ran { rpm, .. } => (1.0 + TOO_FAST) * self.job.idle_rpm < rpm,
            Outcome::Stalled(_) => false,
        };
        // A position is repeated once after the stop was lowered; it is not lowered for that reading again.
        self.stage = if too_fast && !again {
            self.block += 1;
            Stage::Stop { then: turns, again: true }
        } else {
            self.after(answered.as_ref(), turns)
        };
        Ok(())
    }

    fn after(&self, answered: Option<&Sweep>, turns: TurnsOut) -> Stage {
        match answered {
            None => {
                // It has only died: half a turn richer, or leaner where it died of richness.
                let rich = Outcome::Stalled(StallCause::Rich);
                let way = if self.holds.last().is_some_and(|hold| hold.outcome == rich) { -1.0 } else { 1.0 };
                let place = self.job.question.richness(turns.0) + way * 4.0 * GRID_TURNS;
                let (lean, rich) = self.job.question.advisable();
                Stage::Hold { turns: self.job.question.turns(place.clamp(lean, rich)), again: false }
            }
            Some(sweep) => match sweep.next {
                Some(next) if self.made < MOST_HOLDS => Stage::Hold { turns: next, again: false },
                _ => Stage::Leave { turns: sweep.setting_on_grid },
            },
        }
    }

    /// The screw stands at the setting of this pass.
    fn left(&mut self, turns: TurnsOut, idles_rpm: f64) {
        let settled =
            self.settings.last().is_some_and(|last| (last.0 - turns.0).abs() <= SETTLED_TURNS + 1e-9);
        self.settings.push(turns);
        let at_idle = (idles_rpm / self.job.idle_rpm - 1.0).abs() <= SAME_IDLE;
        // The edge moves with the plate: where the idle is the one asked for, the setting was found at it.
        if settled || at_idle {
            self.stage = if self.job.carburettors == 1 {
                Stage::Count
            } else {
                Stage::Trim { carburettor: 1, round: 1 }
            };
        } else if self.pass == MOST_PASSES {
            self.stage = Stage::End(End::DoesNotSettle);
        } else {
            self.pass += 1;
            self.made = 0;
            self.block += 1;
            self.stage = Stage::Stop { then: turns, again: true };
        }
    }

    fn was_trimmed(&mut self, carburettor: u32, round: u32, turns: TurnsOut) {
        self.trimmed.push(turns);
        self.stage = if carburettor < self.job.carburettors {
            Stage::Trim { carburettor: carburettor + 1, round }
        } else {
            let places = || self.trimmed.iter().map(|turns| turns.0);
            let apart = places().fold(f64::NEG_INFINITY, f64::max) - places().fold(f64::INFINITY, f64::min);
            self.trimmed.clear();
            if APART_TURNS < apart {
                Stage::End(End::ScrewsApart { turns: apart })
            } else if round < ROUNDS {
                Stage::Trim { carburettor: 1, round: round + 1 }
            } else {
                Stage::Balance
            }
        };
    }
}
