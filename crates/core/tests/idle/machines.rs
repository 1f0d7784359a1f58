//! Machines with a known edge, written without a line of the fitting model.
//!
//! Each gives speed as a function of turns; noise, drift, a clumsy hand and outliers are added by
//! [`Bench`], which is a person at the machine.

use bellmouth_core::idle::{Hold, Outcome, StallCause};
pub(crate) use bellmouth_core::practice::Dice;
use bellmouth_core::quantity::{Screw, TurnsOut};

/// What kind of curve a machine has.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Kind {
    /// Two straight lines joined by a rounded corner, and a gentle droop.
    Knee,
    /// Torque and misfire against richness, speed from the balance with friction and pumping.
    Balance,
    /// Four cylinders with edges of their own, no droop.
    FlatPlateau,
    /// A rich side that falls at once and steadily.
    SlopedRich,
}

/// One machine.
pub(crate) struct Machine {
    pub(crate) screw: Screw,
    kind: Kind,
    /// Richness of the corner, in turns.
    corner: f64,
    top_rpm: f64,
    a: f64,
    b: f64,
    c: f64,
    d: f64,
    parts: [f64; 4],
}

impl Machine {
    pub(crate) fn draw(kind: Kind, screw: Screw, dice: &mut Dice) -> Self {
        let corner_turns = match screw {
            Screw::Fuel => dice.between(1.2, 3.2),
            Screw::Air => dice.between(1.2, 2.8),
        };
        let corner = match screw {
            Screw::Fuel => corner_turns,
            Screw::Air => -corner_turns,
        };
        let mut machine = Machine {
            screw,
            kind,
            corner,
            top_rpm: dice.between(900.0, 1250.0),
            a: dice.unit(),
            b: dice.unit(),
            c: dice.unit(),
            d: dice.unit(),
            parts: [dice.normal(), dice.normal(), dice.normal(), dice.normal()],
        };
        if kind == Kind::Balance {
            // The balance gives its own level; scale it to the one drawn.
            let top = (0..=600).map(|i| machine.balance(f64::from(i) * 0.01 - 3.0)).fold(0.0, f64::max);
            machine.top_rpm /= top;
        }
        machine
    }

    /// Speed at a position, rpm, warm and without drift; `None` where it dies.
    pub(crate) fn rpm(&self, turns: f64) -> Option<f64> {
        let richness = if self.screw == Screw::Fuel { turns } else { -turns };
        let x = richness - self.corner;
        let share = match self.kind {
            Kind::Knee => {
                1.0 - (0.08 + 0.35 * self.a) * corner_of(-x, 0.05 + 0.15 * self.b)
                    - 0.012 * self.c * square(x - 0.5)
            }
            Kind::SlopedRich => {
                1.0 - (0.10 + 0.25 * self.a) * corner_of(-x, 0.08)
                    - (0.01 + 0.02 * self.b) * corner_of(x - 0.3 * self.c, 0.1)
            }
            Kind::FlatPlateau => {
                let fall = |part: f64| (0.12 + 0.25 * self.a) * corner_of(-x + 0.12 * part, 0.06);
                1.0 - self.parts.iter().map(|&part| fall(part)).sum::<f64>() / 4.0
            }
            Kind::Balance => self.balance(x),
        };
        // Below some three fifths of its speed an engine does not carry itself any more.
        let dies = if self.kind == Kind::Balance { share * self.top_rpm < 560.0 } else { share < 0.6 };
        (!dies).then_some(share * self.top_rpm)
    }

    /// Speed from `K (p/p₁) f(φ) b(φ, p) = fmep(N) + p₀ − p`, manifold pressure falling as 1/N.
    fn balance(&self, x: f64) -> f64 {
        let (per_turn, fade) = (0.16 + 0.22 * self.a, 0.1 + 0.6 * self.b);
        let best = 1.12;
        let phi = best * (per_turn * (1.0 - (-fade * (x - 0.2)).exp()) / fade).exp();
        let (lean, rich) = (1.7 + 1.1 * self.c, 0.4 + 0.7 * self.d);
        let torque = 1.0 - if phi < best { lean } else { rich } * square(phi - best);
        let surplus = |rpm: f64| {
            let pressure = (40.0e3 * 1000.0 / rpm).min(95e3);
            let residual = (101e3 / pressure).powf(1.0 / 1.35) / 9.0;
            let limit = 0.57 + 1.30 * (residual - 0.10);
            let burning = 1.0 / (1.0 + (-(phi - limit) / 0.028).exp());
            let krpm = rpm / 1000.0;
            let friction = 0.85e5 * (0.97 + 0.15 * krpm + 0.05 * krpm * krpm);
            1.70e5 * (pressure / 40.0e3) * torque.max(0.0) * burning - friction - (101e3 - pressure)
        };
        let (mut low, mut high) = (450.0, 2000.0);
        if surplus(low) < 0.0 {
            return 0.0;
        }
        for _ in 0..40 {
            let middle = 0.5 * (low + high);
            if 0.0 < surplus(middle) { low = middle } else { high = middle }
        }
        low / 1000.0
    }

    /// The leanest position, 0 to 6 turns, with speed at least 99 % of the highest.
    pub(crate) fn true_edge(&self) -> f64 {
        let places = || (0..=6000).map(|i| f64::from(i) * 0.001);
        let speed = |turns: f64| self.rpm(turns).unwrap_or(0.0);
        let top = places().map(speed).fold(0.0, f64::max);
        let good = |turns: &f64| 0.99 * top <= speed(*turns);
        match self.screw {
            Screw::Fuel => places().find(good),
            Screw::Air => places().rev().find(good),
        }
        .expect("a highest speed is within one per cent of itself")
    }
}

fn square(x: f64) -> f64 {
    x * x
}

/// A rounded corner: 0 below, x above, joined over a width (a hyperbola).
fn corner_of(x: f64, width: f64) -> f64 {
    0.5 * (x + (x * x + width * width).sqrt())
}

/// A person with a machine: reads speeds with noise, sets the screw with a gloved hand.
pub(crate) struct Bench {
    pub(crate) machine: Machine,
    pub(crate) dice: Dice,
    pub(crate) hand_sd: f64,
    pub(crate) drift_rpm_per_min: f64,
    /// Which hold is spoilt, and by how much.
    pub(crate) outlier: Option<(usize, f64)>,
    pub(crate) stalls: usize,
    pub(crate) holds: Vec<Hold>,
}

impl Bench {
    pub(crate) fn new(machine: Machine, dice: Dice) -> Self {
        Bench {
            machine,
            dice,
            hand_sd: 0.04,
            drift_rpm_per_min: 0.0,
            outlier: None,
            stalls: 0,
            holds: Vec::new(),
        }
    }

    pub(crate) fn hold(&mut self, turns: f64) {
        let index = self.holds.len();
        let at_s = 35.0 * index as f64;
        let really = turns + self.hand_sd * self.dice.normal();
        let se = self.dice.between(4.0, 8.0);
        let noise = se * self.dice.normal();
        let outcome = match self.machine.rpm(really) {
            Some(rpm) => {
                let drift = self.drift_rpm_per_min * at_s / 60.0;
                let spoilt = self.outlier.map_or(0.0, |(which, by)| if which == index { by } else { 0.0 });
                Outcome::Ran { rpm: rpm + noise + drift + spoilt, se_rpm: Some(se) }
            }
            None => {
                self.stalls += 1;
                Outcome::Stalled(StallCause::Lean)
            }
        };
        self.holds.push(Hold {
            turns: TurnsOut(turns),
            outcome,
            spread_rpm: None,
            at_s: Some(at_s),
            block: 0,
            as_found: index == 0,
        });
    }
}
