//! The whole course of setting an idle: stop, screw, stop again, every screw by itself, seat.
//!
//! A [`Course`] says what to do next as values without words; whoever leads the person through it
//! says them, and [tells](Course::tell) what came of it. Nothing here knows a clock or fits a curve: the
//! fit of [`Course::holds`] is handed in where a step depends on it, so that a course can be told again
//! from its beginning at no cost.

use crate::error::{Error, Result, require};
use crate::idle::question::Question;
use crate::idle::sweep::Sweep;
use crate::idle::{Hold, Outcome, StallCause};
use crate::quantity::{GRID_TURNS, TurnsOut};

/// What is to be set, and on what.
#[derive(Clone, Debug, PartialEq)]
pub struct Job {
    /// The question, asked of all screws turned together: its `carburettors` is 1.
    pub question: Question,
    /// The idle speed that the machine should have, rpm; `None` where nobody knows it: then the stop stays
    /// where it is.
    pub idle_rpm: Option<f64>,
    /// Carburettors, each with its screw.
    pub carburettors: u32,
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
        /// How near it must come, rpm.
        within_rpm: f64,
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

/// What came of a step. Stop, hold and setting are in a person's hands at any time, asked for or not.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Told {
    /// The stop was set, and it idles at so many rpm.
    Stop {
        /// Mean speed, rpm.
        rpm: f64,
    },
    /// Something else was changed, a fan or a lamp: later holds are a block of their own.
    Changed,
    /// A hold was made.
    Held(Hold),
    /// The screw stands at the setting.
    Left {
        /// Where that is.
        turns: TurnsOut,
        /// What it idles at there, rpm, where it was read.
        rpm: Option<f64>,
    },
    /// A screw was trimmed, and stands so far out.
    Trimmed {
        /// Its position.
        turns: TurnsOut,
    },
    /// The plates are balanced; told instead of a trim, the screws stay at equal turns.
    Balanced,
    /// The first screw was counted to its seat.
    Counted {
        /// The count.
        turns: TurnsOut,
    },
}

/// How near the idle speed must come when the stop is set, rpm, at most; never so far that it would be asked for
/// again at once.
const STOP_WITHIN_RPM: f64 = 50.0;
/// Faster than the idle speed by more than this share, the stop is lowered; at the setting, by more than
/// [`SAME_IDLE`] either way.
const TOO_FAST: f64 = 0.05;
const SAME_IDLE: f64 = 0.03;
/// Passes before the course ends in a diagnosis.
const MOST_PASSES: u32 = 3;
/// Holds of the first pass, and of a later one, at most.
const MOST_HOLDS: usize = 9;
const MOST_LATER_HOLDS: usize = 5;
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
    /// The stop is to be set.
    Stop,
    /// The position where the screw stands is to be read once more, the stop having been moved.
    Again,
    /// The fit says what comes next.
    Sweep,
    Trim {
        carburettor: u32,
        round: u32,
    },
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
    /// Where the screw stands by what was told.
    stands: TurnsOut,
    pass: u32,
    /// Holds of this pass.
    made: usize,
    /// The setting of each pass.
    settings: Vec<TurnsOut>,
    trimmed: Vec<TurnsOut>,
    /// Where every screw stood after the last round of trims.
    screws: Vec<TurnsOut>,
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
        if let Some(rpm) = job.idle_rpm {
            require((300.0..=5000.0).contains(&rpm), "idle_rpm", rpm, "from 300 to 5000")?;
        }
        require(
            (1..=16).contains(&job.carburettors),
            "carburettors",
            f64::from(job.carburettors),
            "1 to 16",
        )?;
        require((0.0..=8.0).contains(&job.first.0), "first", job.first.0, "from 0 (seated) to 8")?;
        let stage = if job.idle_rpm.is_some() { Stage::Stop } else { Stage::Sweep };
        let stands = job.first;
        Ok(Course {
            job,
            stage,
            holds: Vec::new(),
            block: 1,
            stands,
            pass: 1,
            made: 0,
            settings: Vec::new(),
            trimmed: Vec::new(),
            screws: Vec::new(),
        })
    }

    /// What to do next, given the fit of [`Course::holds`] where there is one.
    pub fn step(&self, fit: Option<&Sweep>) -> Step {
        match (self.stage, self.job.idle_rpm) {
            (Stage::Stop, Some(rpm)) => Step::SetStop { rpm, within_rpm: self.stop_within_rpm(rpm) },
            (Stage::Again, _) => Step::Hold { turns: self.stands, pass: self.pass, again: true },
            (Stage::Stop | Stage::Sweep, _) => self.sweep_step(fit),
            (Stage::Trim { carburettor, round }, idle_rpm) => {
                let speed_rpm = idle_rpm.or_else(|| fit.map(|fit| fit.plateau_rpm)).unwrap_or(1000.0);
                Step::Trim { carburettor, round, drop_rpm: TRIM_FALL * speed_rpm }
            }
            (Stage::Balance, _) => Step::Balance,
            (Stage::Count, _) => Step::CountToSeat,
            (Stage::End(end), _) => Step::End(end),
        }
    }

    /// The holds so far, those of an earlier place of the stop in blocks of their own.
    pub fn holds(&self) -> &[Hold] {
        &self.holds
    }

    /// Whether a screw has been trimmed in this round.
    pub fn is_trimming(&self) -> bool {
        !self.trimmed.is_empty()
    }

    /// Where the first screw stands: as trimmed where there are several, else as set or held last.
    pub fn first_screw(&self) -> TurnsOut {
        self.trimmed.first().or(self.screws.first()).copied().unwrap_or(self.stands)
    }

    /// How near the stop must bring the idle: less where it was lowered for being off by little.
    fn stop_within_rpm(&self, idle_rpm: f64) -> f64 {
        let share = if self.holds.is_empty() { TOO_FAST } else { SAME_IDLE };
        STOP_WITHIN_RPM.min(share * idle_rpm)
    }

    /// The block that the next hold belongs to.
    pub fn block(&self) -> u32 {
        self.block
    }

    /// Takes what happened.
    ///
    /// # Errors
    ///
    /// [`Error::TooLittle`] for a trim, a balance or a count that was not asked for; [`Error::OutOfDomain`] for a
    /// speed or position that cannot be. Nothing is changed then.
    pub fn tell(&mut self, told: Told) -> Result<()> {
        match (told, self.stage) {
            (Told::Stop { rpm }, _) => self.stop_set(rpm)?,
            (Told::Changed, _) => self.next_block(),
            (Told::Held(hold), _) => self.held(hold)?,
            (Told::Left { turns, rpm }, _) => self.left(turns, rpm),
            (Told::Trimmed { turns }, Stage::Trim { carburettor, round }) => {
                self.was_trimmed(carburettor, round, turns);
            }
            (Told::Balanced, Stage::Trim { .. } | Stage::Balance) => self.stage = Stage::Count,
            (Told::Counted { turns }, Stage::Count) => self.stage = Stage::End(End::Set { as_left: turns }),
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

    fn next_block(&mut self) {
        // A block that nothing was read in yet is still a new one.
        if self.holds.last().is_some_and(|last| last.block == self.block) {
            self.block += 1;
        }
    }

    fn stop_set(&mut self, idles_rpm: f64) -> Result<()> {
        require((50.0..=20_000.0).contains(&idles_rpm), "rpm", idles_rpm, "from 50 to 20000")?;
        self.next_block();
        let near =
            self.job.idle_rpm.is_none_or(|wanted| (idles_rpm - wanted).abs() <= self.stop_within_rpm(wanted));
        self.stage = match (near, self.holds.is_empty()) {
            (false, _) => Stage::End(End::WillNotIdle { rpm: idles_rpm }),
            (true, true) => Stage::Sweep,
            (true, false) => Stage::Again,
        };
        Ok(())
    }

    fn held(&mut self, hold: Hold) -> Result<()> {
        super::sweep::check(std::slice::from_ref(&hold))?;
        // A hold made instead of setting the stop does not set it.
        let stop_is_off = match (self.stage, hold.outcome, self.job.idle_rpm) {
            (Stage::Stop, Outcome::Ran { rpm, .. }, Some(wanted)) => {
                self.stop_within_rpm(wanted) < (rpm - wanted).abs()
            }
            _ => false,
        };
        self.block = hold.block;
        self.stands = hold.turns;
        self.holds.push(hold);
        self.made += 1;
        let too_fast = match (hold.outcome, self.job.idle_rpm) {
            (Outcome::Ran { rpm, .. }, Some(idle_rpm)) => (1.0 + TOO_FAST) * idle_rpm < rpm,
            _ => false,
        };
        // A position is repeated once after the stop was lowered; it is not lowered for that reading again.
        let lower = too_fast && self.stage != Stage::Again;
        self.stage = if lower || stop_is_off { Stage::Stop } else { Stage::Sweep };
        Ok(())
    }

    fn sweep_step(&self, fit: Option<&Sweep>) -> Step {
        let hold = |turns| Step::Hold { turns, pass: self.pass, again: false };
        let most = if self.pass == 1 { MOST_HOLDS } else { MOST_LATER_HOLDS };
        match (fit, self.holds.last()) {
            (_, None) => hold(self.job.first),
            (Some(fit), _) => match fit.next {
                Some(next) if self.made < most => hold(next),
                _ => Step::Leave { turns: fit.setting_on_grid },
            },
            (None, Some(last)) => {
                // It has only died: half a turn richer, or leaner where it died of richness.
                let rich = Outcome::Stalled(StallCause::Rich);
                let way = if last.outcome == rich { -1.0 } else { 1.0 };
                let place = self.job.question.richness(last.turns.0) + way * 4.0 * GRID_TURNS;
                let (lean, rich) = self.job.question.advisable();
                hold(self.job.question.turns(place.clamp(lean, rich)))
            }
        }
    }

    /// The screw stands at the setting of this pass.
    fn left(&mut self, turns: TurnsOut, idles_rpm: Option<f64>) {
        let settled =
            self.settings.last().is_some_and(|last| (last.0 - turns.0).abs() <= SETTLED_TURNS + 1e-9);
        self.settings.push(turns);
        self.stands = turns;
        if matches!(self.stage, Stage::End(_)) {
            // Whoever leaves it there in spite of a finding has had the last word.
            self.stage = Stage::Count;
            return;
        }
        // The edge moves with the plate: where the idle is the one asked for, the setting was found at it. Where
        // either speed is not known, nothing speaks against it.
        let at_idle = match (idles_rpm, self.job.idle_rpm) {
            (Some(idles), Some(wanted)) => (idles / wanted - 1.0).abs() <= SAME_IDLE,
            _ => true,
        };
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
            self.stage = Stage::Stop;
        }
    }

    fn was_trimmed(&mut self, carburettor: u32, round: u32, turns: TurnsOut) {
        self.trimmed.push(turns);
        self.stage = if carburettor < self.job.carburettors {
            Stage::Trim { carburettor: carburettor + 1, round }
        } else {
            let places = || self.trimmed.iter().map(|turns| turns.0);
            let apart = places().fold(f64::NEG_INFINITY, f64::max) - places().fold(f64::INFINITY, f64::min);
            self.screws = std::mem::take(&mut self.trimmed);
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
