//! The gate before the screw: what must be right, or be known to be wrong, before a mixture can be set.
//!
//! The order is the order of work: cheap, harmless and decisive first. Every question is common
//! practice, no source. An answer is kept per job and shown with the result.

/// One question of the gate.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Question {
    /// Stable name; the fact is stored under `gate-<name>`.
    pub name: &'static str,
    /// What must be true.
    pub ask: &'static str,
    /// How to find out, and why it matters.
    pub how: &'static str,
    /// Whom it concerns.
    pub concerns: Concerns,
    /// Whether the bench opens only when this was answered "good".
    pub must: bool,
}

/// Whom a question concerns.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Concerns {
    /// Every machine.
    Everyone,
    /// Air-cooled machines.
    AirCooled,
    /// Machines with more than one carburettor.
    SeveralCarburettors,
}

/// An answer to a question of the gate.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Answer {
    /// Looked at and good.
    Good,
    /// Looked at and not good.
    Bad,
    /// Not looked at.
    NotLooked,
}

impl Answer {
    /// Every answer, in the order they are offered.
    pub const ALL: [Answer; 3] = [Answer::Good, Answer::Bad, Answer::NotLooked];

    /// The word it is stored under.
    pub fn word(self) -> &'static str {
        match self {
            Answer::Good => "good",
            Answer::Bad => "bad",
            Answer::NotLooked => "not-looked",
        }
    }

    /// The answer stored under a word.
    pub fn from_word(word: &str) -> Option<Answer> {
        Answer::ALL.into_iter().find(|answer| answer.word() == word)
    }

    /// What a person reads.
    pub fn says(self) -> &'static str {
        match self {
            Answer::Good => "good",
            Answer::Bad => "not good",
            Answer::NotLooked => "not looked at",
        }
    }
}

const fn ask(name: &'static str, ask: &'static str, how: &'static str) -> Question {
    Question { name, ask, how, concerns: Concerns::Everyone, must: false }
}

const fn must(name: &'static str, ask: &'static str, how: &'static str) -> Question {
    Question { name, ask, how, concerns: Concerns::Everyone, must: true }
}

/// Every question, in the order of work.
pub const QUESTIONS: &[Question] = &[
    must(
        "throttle",
        "Throttle snaps shut from full open, bars turned both ways",
        "Engine stopped. A throttle that sticks starts the engine at full bore. Kill switch tried as well.",
    ),
    must(
        "air-to-breathe",
        "Outdoors, or doors open and the exhaust led out; an instant-reading carbon monoxide alarm, tested today, is worn",
        "A household alarm is too slow for this work. A headache means out, not one more hold.",
    ),
    must(
        "stand",
        "Neutral, front wheel blocked, level hard floor, nobody in front",
        "Blips walk a machine off its stand; a centre stand wants a strap.",
    ),
    must(
        "beside-the-screw",
        "I know what turns or burns beside the screw, and have a long insulated driver or will move it only with the engine stopped",
        "Belts, pulleys, fans and headers. No loose sleeves, rings, hair or glove fingers. Never lift a plug cap on a running engine.",
    ),
    ask(
        "drips",
        "No drip for two minutes with the tap on; the oil does not smell of petrol",
        "A weeping float valve feeds fuel past the screw, and fuel in the sump thins the oil.",
    ),
    ask(
        "leaks",
        "Intake free of leaks, every vacuum stub capped",
        "Engine off: smoke or a very low pressure. Rock the carburettor body; look at spindle ends and forgotten caps.",
    ),
    ask(
        "choke",
        "Choke shut: plunger home, cable slack",
        "Feel at its air intake: a plunger that is shut passes nothing.",
    ),
    ask(
        "cables",
        "Throttle cable free, bars lock to lock",
        "A tight cable lifts the idle in one corner of the steering.",
    ),
    ask(
        "spark",
        "Spark plugs, caps and leads good; timing at idle checked, and where the advance begins",
        "Every hold must stay below the start of the advance: one degree is worth about as much as the whole last step of the screw.",
    ),
    ask(
        "valves",
        "Valve clearance and compression good, measured cold",
        "A tight intake valve gives a weak idle and spits back: it looks exactly like carburation.",
    ),
    ask(
        "level",
        "Fuel level right, by the clear tube",
        "Machine upright. A gross error shows as flooding or hot starting, hardly at the screw.",
    ),
    Question {
        name: "balance",
        ask: "Carburettors balanced",
        how: "Unbalanced plates make every screw answer nonsense. Balance again when the mixture is set.",
        concerns: Concerns::SeveralCarburettors,
        must: false,
    },
    ask(
        "warm",
        "Warm from a ride of 10 to 15 minutes, or oil at 60 to 70 °C",
        "Idling up to temperature leaves the intake hot and the oil cool. The first hold wants less than 10 rpm of drift a minute.",
    ),
    Question {
        name: "moving-air",
        ask: "A fan blows on the cylinder head, not at the intake",
        how: "An air-cooled engine overheats on the stand. Fan air at the bellmouth alters the mixture.",
        concerns: Concerns::AirCooled,
        must: false,
    },
    ask(
        "idle-speed",
        "Idle set to the maker's speed with the stop, before the screw",
        "If it will not idle there, that is the finding: do not open the stop and go on.",
    ),
];

/// The questions that concern a machine.
pub fn questions(air_cooled: bool, carburettors: u32) -> impl Iterator<Item = &'static Question> {
    QUESTIONS.iter().filter(move |question| match question.concerns {
        Concerns::Everyone => true,
        Concerns::AirCooled => air_cooled,
        Concerns::SeveralCarburettors => 1 < carburettors,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_machine_is_asked_what_concerns_it() {
        let names = |air, carburettors| questions(air, carburettors).map(|q| q.name).collect::<Vec<_>>();
        assert!(names(true, 1).contains(&"moving-air") && !names(true, 1).contains(&"balance"));
        assert!(!names(false, 4).contains(&"moving-air") && names(false, 4).contains(&"balance"));
        for answer in Answer::ALL {
            assert_eq!(Answer::from_word(answer.word()), Some(answer));
        }
    }
}
