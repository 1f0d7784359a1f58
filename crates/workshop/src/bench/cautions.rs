//! Cautions, shown wherever the work can hurt. Common practice, no source, unless one is named.
//! Local codes and licensed practice decide; nothing here ever says that something is harmless.

/// One caution.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Caution {
    /// Stable name.
    pub name: &'static str,
    /// A few words, for the foot of the bench.
    pub short: &'static str,
    /// The whole of it.
    pub says: &'static str,
}

/// Carbon monoxide.
pub const CARBON_MONOXIDE: Caution = Caution {
    name: "carbon-monoxide",
    short: "Carbon monoxide kills without a smell: open air, worn alarm",
    says: "Never run an engine in a closed room. Outdoors is the first choice; indoors the exhaust is led out with an open hand's \
           breadth of gap around the pipe, doors open, and an instant-reading carbon monoxide alarm is worn. Gas by the pipe is many \
           times denser than the room's mean. Headache, dizziness, sickness: kill switch, out, fresh air, help. Rooms above and next \
           door count too. Local rules and ventilation professionals decide.",
};

/// Heat on the stand.
pub const HEAT: Caution = Caution {
    name: "heat",
    short: "An engine idling on its stand overheats: watch the clock",
    says: "An air-cooled engine without moving air wants a pause after 3 to 5 minutes of idling, with a large fan after about 10; then \
           engine off and fan on until the oil is below 80 °C. Dropping idle, ping, a smell of hot paint, clatter: stop. If it did \
           overheat: kill switch, tap off, leave the fan blowing, do not pour water, do not open a cap or the oil filler, do not restart. \
           A liquid-cooled engine's fan may start by itself, also with the engine off.",
};

/// The stand.
pub const STAND: Caution = Caution {
    name: "stand",
    short: "Neutral, wheel blocked, nobody in front",
    says: "A machine can leave its stand: neutral, front wheel blocked, level hard floor, a strap for a centre stand, nobody in front.",
};

/// Moving parts, burns and high voltage.
pub const BELTS: Caution = Caution {
    name: "belts",
    short: "Belts, fans and headers beside the screw",
    says: "Know what turns and burns beside the screw before the engine runs. Long insulated driver, or move the screw only with the \
           engine stopped. No loose sleeves, rings, hair or glove fingers. Never lift a plug cap on a running engine. Not with a heart device.",
};

/// Petrol.
pub const FUEL: Caution = Caution {
    name: "fuel",
    short: "Petrol vapour: no flame, heater or charger; extinguisher in reach",
    says: "Petrol vapour finds heaters, chargers, grinders and hot headers. Filter on for every running test, face and hands off the \
           intake's mouth: it can spit flame. Extinguisher for liquid fires in reach. An auxiliary tank hangs rigidly, can be shut, and is away from the exhaust.",
};

/// Seals on a mixture screw.
pub const SEAL: Caution = Caution {
    name: "seal",
    short: "The plug over a mixture screw may be an emissions seal",
    says: "The plug over a mixture screw may be an emissions seal: removing it may be unlawful on a road vehicle where you live. \
           Drilling one out: carburettor off, drained and dry; eye protection; a small drill with a depth stop, 2 mm at first, then half a \
           millimetre at a time until it just breaks through: the screw stands right behind.",
};

/// The seat.
pub const SEAT: Caution = Caution {
    name: "seat",
    short: "Never seat a screw hard",
    says: "Never seat a screw hard: the needle cuts its own seat and no count is right again. Beyond about 4 turns out its spring loses \
           load and it can fall out: check spring and ring.",
};

/// What stops the engine.
pub const KILL_SWITCH: Caution = Caution {
    name: "kill-switch",
    short: "Only the kill switch stops the engine",
    says: "Nothing on this page stops the engine. Only the kill switch does.",
};

/// What the ear cannot know.
pub const NOT_HEARD: Caution = Caution {
    name: "sound-cannot-say",
    short: "Sound never tells carbon monoxide, timing, a leak from a jet, or which cylinder is lean",
    says: "What was measured is engine speed against screw position. Sound never tells carbon monoxide, ignition timing, full throttle, \
           which cylinder is lean, or a leak from a jet.",
};

/// Every caution of the bench, the gravest first.
pub const BENCH: [Caution; 8] = [CARBON_MONOXIDE, HEAT, STAND, BELTS, FUEL, SEAT, SEAL, KILL_SWITCH];

/// What the page says when the alarm key was pressed.
pub const ALARM: [&str; 5] = [
    "Kill switch. Engine off now.",
    "Out into fresh air; take everyone with you.",
    "Headache, dizziness, sickness: call emergency help, do not drive.",
    "Fire at the intake: keep it turning so that it draws the flame in, tap off; not out in seconds: extinguisher, out of the room.",
    "Go back in only when the alarm is quiet and the room was aired. Every saved reading is kept.",
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_caution_ever_calls_anything_safe() {
        for text in BENCH.iter().flat_map(|caution| [caution.short, caution.says]).chain(ALARM) {
            assert!(!text.to_lowercase().contains("safe"), "{text}");
        }
    }
}
