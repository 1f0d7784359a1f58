//! What is asked of a sweep: the screw, the machine's habits, the rule for the setting.

use crate::error::{Result, require};
use crate::idle::response::MixtureResponse;
use crate::quantity::{Richness, Screw, TurnsOut};

/// What carries the heat away, and with it how much margin a setting needs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cooling {
    /// Air-cooled: a quarter turn of margin (common practice, no source).
    Air,
    /// Liquid-cooled: an eighth of a turn of margin (common practice, no source).
    Liquid,
}

impl Cooling {
    /// The margin between the lean edge and the setting, in turns richer.
    pub fn margin_turns(self) -> f64 {
        match self {
            Cooling::Air => 0.25,
            Cooling::Liquid => 0.125,
        }
    }
}

/// How the setting follows from the edge.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Rule {
    /// The maker's procedure: lean until the speed has dropped, then back out towards rich.
    Maker {
        /// The drop below the highest speed, rpm.
        drop_rpm: f64,
        /// How far to go back towards rich, turns.
        back_out_turns: f64,
    },
    /// The lean edge plus a margin, see [`Cooling::margin_turns`].
    Margin,
    /// The middle of the plateau, for old singles and racing air screws.
    Middle,
    /// Cylinders that share an intake: the margin counted from where the first of them weakens.
    FirstToWeaken,
    /// Where it picked up best, of the positions tried inside the plateau.
    PickUp {
        /// That position, turns out.
        turns: TurnsOut,
    },
}

/// Everything a sweep is asked with, holds apart.
#[derive(Clone, Debug, PartialEq)]
pub struct Question {
    /// Which way the screw works.
    pub screw: Screw,
    /// What cools the engine.
    pub cooling: Cooling,
    /// How many screws feed the engine when *one* of them is turned. All turned together is 1.
    pub carburettors: u32,
    /// Whether one carburettor feeds several cylinders: the leanest of them may weaken before the mean does.
    pub shares_intake: bool,
    /// How the setting follows from the edge.
    pub rule: Rule,
    /// Holds are never sought below this speed, rpm; `None`: 82 % of the plateau.
    pub floor_rpm: Option<f64>,
    /// The shapes of curve thought possible before the first hold.
    pub response: MixtureResponse,
    /// The maker's base position, turns out; `None` when not known.
    pub base_turns: Option<f64>,
    /// The innermost position: seated.
    pub least_turns: f64,
    /// The outermost position at which an edge is looked for.
    pub most_turns: f64,
    /// The outermost position ever advised: beyond it the spring no longer holds the screw.
    pub advise_to_turns: f64,
    /// Standard deviation of what the hand errs while it turns the screw by four turns, turns: its errors add up.
    pub hand_sd_turns: f64,
}

impl Question {
    /// A question with defaults: air-cooled, one screw, edge plus margin, no base position known,
    /// an edge looked for from 0 to 6 turns, nothing advised beyond 4½, a hand good to 1/16 turn.
    pub fn new(screw: Screw) -> Self {
        Question {
            screw,
            cooling: Cooling::Air,
            carburettors: 1,
            shares_intake: false,
            rule: Rule::Margin,
            floor_rpm: None,
            response: MixtureResponse::of(screw),
            base_turns: None,
            least_turns: 0.0,
            most_turns: 6.0,
            advise_to_turns: 4.5,
            hand_sd_turns: 1.0 / 16.0,
        }
    }

    /// Refuses what means nothing.
    pub(super) fn check(&self) -> Result<()> {
        require(
            1 <= self.carburettors && self.carburettors <= 16,
            "carburettors",
            f64::from(self.carburettors),
            "1 to 16",
        )?;
        require(
            (0.0..=6.0).contains(&self.least_turns),
            "least_turns",
            self.least_turns,
            "from 0 (seated) to 6",
        )?;
        require(
            self.least_turns + 0.5 <= self.advise_to_turns && self.advise_to_turns <= self.most_turns,
            "advise_to_turns",
            self.advise_to_turns,
            "half a turn or more above `least_turns` and not above `most_turns`",
        )?;
        require(self.most_turns <= 10.0, "most_turns", self.most_turns, "10 or less")?;
        require(
            (0.0..=0.5).contains(&self.hand_sd_turns),
            "hand_sd_turns",
            self.hand_sd_turns,
            "from 0 to 0.5",
        )?;
        if let Some(floor) = self.floor_rpm {
            require((0.0..=20_000.0).contains(&floor), "floor_rpm", floor, "from 0 to 20000")?;
        }
        if let Some(base) = self.base_turns {
            require(
                self.least_turns <= base && base <= self.most_turns,
                "base_turns",
                base,
                "between the innermost and the outermost position of the screw",
            )?;
        }
        if let Rule::Maker { drop_rpm, back_out_turns } = self.rule {
            require(0.0 < drop_rpm && drop_rpm <= 500.0, "drop_rpm", drop_rpm, "above 0 and at most 500")?;
            require((0.0..=3.0).contains(&back_out_turns), "back_out_turns", back_out_turns, "from 0 to 3")?;
        }
        if let Rule::PickUp { turns } = self.rule {
            let reach = self.least_turns..=self.most_turns;
            require(reach.contains(&turns.0), "picked_up_turns", turns.0, "within reach of the screw")?;
        }
        self.response.check()
    }

    /// A position in richness.
    pub(super) fn richness(&self, turns: f64) -> f64 {
        self.screw.richness(TurnsOut(turns)).0
    }

    /// A richness as a position.
    pub(super) fn turns(&self, richness: f64) -> TurnsOut {
        self.screw.turns(Richness(richness))
    }

    /// The same two positions of the screw, leaner first.
    fn span(&self, inner: f64, outer: f64) -> (f64, f64) {
        // Never minus zero, which sorts before zero: equal sweeps of either screw are reckoned alike.
        let (a, b) = (self.richness(inner) + 0.0, self.richness(outer) + 0.0);
        (a.min(b), a.max(b))
    }

    /// Where an edge may be reported: leanest and richest.
    pub(super) fn domain(&self) -> (f64, f64) {
        self.span(self.least_turns, self.most_turns)
    }

    /// Where a hold or a setting may be advised: leanest and richest.
    pub(super) fn advisable(&self) -> (f64, f64) {
        self.span(self.least_turns, self.advise_to_turns)
    }

    /// Where a setting counts as normal: the maker's base ± 1 turn, else 1 to 3 turns of a fuel
    /// screw and ½ to 2½ of an air screw (common practice, no source).
    pub(super) fn window(&self) -> (f64, f64) {
        match (self.base_turns, self.screw) {
            (Some(base), _) => self.span(base - 1.0, base + 1.0),
            (None, Screw::Fuel) => self.span(1.0, 3.0),
            (None, Screw::Air) => self.span(0.5, 2.5),
        }
    }

    /// The nearest position of the eighth-turn grid that is not leaner, kept within reach.
    pub(super) fn on_richer_grid(&self, richness: f64) -> f64 {
        use crate::quantity::GRID_TURNS;
        let (lean, rich) = self.advisable();
        // A hair of slack, so that a position already on the grid stays there.
        let richer = (richness / GRID_TURNS - 1e-6).ceil() * GRID_TURNS;
        richer.clamp(lean, rich)
    }
}
