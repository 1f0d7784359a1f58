//! A person at a machine: sets the screw with a gloved hand, reads a speed with its error, idles meanwhile.

use bellmouth_core::practice::Dice;
use bellmouth_core::quantity::Screw;

use crate::machines::Subject;

/// Whether the hand errs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Hand {
    /// The screw stands where it is counted.
    Exact,
    /// Every move errs, by 1/32 turn over one turn of the screw, and the errors add up: to 1/16 over four turns,
    /// 1/8 over sixteen.
    AddsUp,
}

/// Standard deviation of the hand over one turn, turns.
const HAND_SD_TURNS: f64 = 1.0 / 32.0;
/// Seconds from one hold's middle to the next: settling, holding, moving.
const HOLD_S: f64 = 40.0;
/// Seconds to start an engine that died, idling until it is steady again.
const RESTART_S: f64 = 30.0;
/// How often a hold is spoilt: in one sweep of five, by a lamp, a fan, a hand on the bar.
const SPOILT_SHARE: f64 = 0.2;
/// Spread of the speed, as a share, that missed cycles bring per root of their share: as the ear reads it from the
/// sound of a practice engine (a 45° twin: .022 at 3.4 % missed, .061 at 23 %, calm .012); and what a spread of some
/// ten seconds errs by, as a logarithm.
const MISSED: f64 = 0.1;
const ROUGHNESS_ERRS: f64 = 0.16;
/// How often the cause of a stall is not known.
const UNSURE_SHARE: f64 = 0.1;

/// What a hold gave.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Read {
    /// Speed, its standard error, and the spread about it, rpm.
    Ran { rpm: f64, se_rpm: f64, spread_rpm: f64 },
    /// It died; lean or rich where the person can tell.
    Died { lean: Option<bool> },
}

/// The person.
pub(crate) struct Person<'a> {
    subject: &'a Subject,
    dice: Dice,
    /// Apart, so that roughness takes no draw from what else happens.
    roughness_dice: Dice,
    /// How much it wanders when every cycle burns, share.
    calm: f64,
    hand: Hand,
    counted: f64,
    /// True position less the counted one.
    off: f64,
    pub(crate) found_turns: f64,
    drift_rpm_per_min: f64,
    /// Which hold is spoilt, and by how much.
    spoilt: Option<(usize, f64)>,
    pub(crate) holds: usize,
    pub(crate) stalls: usize,
    pub(crate) clock_s: f64,
}

impl<'a> Person<'a> {
    /// A person before a machine that idles as found; `None` where it idles nowhere between ½ and 4 turns.
    pub(crate) fn at(subject: &'a Subject, hand: Hand, seed: u64) -> Option<Self> {
        let mut dice = Dice::new(seed);
        let drift_rpm_per_min = dice.between(-4.0, 6.0);
        let spoilt = dice.chance(SPOILT_SHARE).then(|| {
            let which = 1 + (dice.between(0.0, 8.0) as usize);
            (which, dice.between(25.0, 80.0) * if dice.chance(0.5) { 1.0 } else { -1.0 })
        });
        let found_turns = (0..60)
            .map(|_| (8.0 * dice.between(0.5, 4.0)).round() / 8.0)
            .find(|&turns| subject.rpm(turns).is_some())?;
        let mut roughness_dice = Dice::new(seed ^ 0x0000_9E37);
        Some(Person {
            subject,
            dice,
            calm: roughness_dice.between(0.006, 0.02),
            roughness_dice,
            hand,
            counted: found_turns,
            off: 0.0,
            found_turns,
            drift_rpm_per_min,
            spoilt,
            holds: 0,
            stalls: 0,
            clock_s: 0.0,
        })
    }

    /// Turns the screw to a position as counted, and holds.
    pub(crate) fn hold(&mut self, turns: f64) -> Read {
        let moved = (turns - self.counted).abs();
        if self.hand == Hand::AddsUp {
            self.off += HAND_SD_TURNS * moved.sqrt() * self.dice.normal();
        }
        self.counted = turns;
        let se_rpm = self.dice.between(4.0, 8.0);
        let noise = se_rpm * self.dice.normal();
        let spoilt = self.spoilt.map_or(0.0, |(which, by)| if which == self.holds { by } else { 0.0 });
        let drift = self.drift_rpm_per_min * self.clock_s / 60.0;
        self.holds += 1;
        self.clock_s += HOLD_S;
        let really = (turns + self.off).max(0.0);
        match self.subject.rpm(really) {
            Some(rpm) => {
                let rough = self.calm.hypot(MISSED * self.subject.missed(really).sqrt());
                let told = (ROUGHNESS_ERRS * self.roughness_dice.normal()).exp();
                let rpm = (rpm + noise + drift + spoilt).max(100.0);
                Read::Ran { rpm, se_rpm, spread_rpm: rough * told * rpm }
            }
            None => {
                self.stalls += 1;
                self.clock_s += RESTART_S;
                let lean = match self.subject.hidden.screw() {
                    Screw::Fuel => really < self.subject.best_turns,
                    Screw::Air => self.subject.best_turns < really,
                };
                Read::Died { lean: (!self.dice.chance(UNSURE_SHARE)).then_some(lean) }
            }
        }
    }

    pub(crate) fn screw(&self) -> Screw {
        self.subject.hidden.screw()
    }

    /// Minutes the engine has idled.
    pub(crate) fn minutes(&self) -> f64 {
        self.clock_s / 60.0
    }
}
