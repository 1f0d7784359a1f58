//! The one instruction: as it is read at two metres, and as it is spoken.

use bellmouth_core::idle::End;
use bellmouth_core::quantity::TurnsOut;
use bellmouth_workshop::bench::{BenchState, Pause, Stage};
use maud::{Markup, html};

/// Arrow, what to do, what it means; and the same for an ear.
struct Instruction {
    turn: Option<bool>,
    done: bool,
    what: String,
    note: String,
    /// Whether a person who is not led presses a key first.
    key: bool,
    /// As it is spoken; `None`: as it is read.
    spoken: Option<String>,
}

impl Instruction {
    fn new(what: impl Into<String>, note: impl Into<String>) -> Instruction {
        let (what, note) = (what.into(), note.into());
        Instruction { turn: None, done: false, what, note, key: false, spoken: None }
    }

    fn by_key(self) -> Instruction {
        Instruction { key: true, ..self }
    }

    fn done(self) -> Instruction {
        Instruction { done: true, ..self }
    }

    fn spoken(self, words: impl Into<String>) -> Instruction {
        Instruction { spoken: Some(words.into()), ..self }
    }

    /// The tone that stands for it where no voice exists.
    fn tone(&self) -> &'static str {
        match (self.turn, self.done) {
            (Some(true), _) => "out",
            (Some(false), _) => "in",
            (None, true) => "done",
            (None, false) => "word",
        }
    }
}

/// The instruction of the stage.
pub(super) fn say(bench: &BenchState) -> Markup {
    let told = instruction(bench);
    let spoken = told.spoken.clone().unwrap_or_else(|| format!("{}. {}", told.what, told.note));
    html! {
        div.say.done[told.done] data-say=(spoken) data-tone=(told.tone()) {
            @match told.turn {
                Some(out) => svg viewBox="0 0 48 48" aria-hidden="true" { g transform=(if out { "" } else { "translate(48 0) scale(-1 1)" }) {
                    path d="M40,20 A17,17 0 1 0 41,28" {} path.tip d="M12,3 L2,13 L17,16 z" {}
                } },
                None => svg viewBox="0 0 48 48" aria-hidden="true" { path d=(if told.done { "M8,26 L20,38 L41,11" } else { "M10,19 H38 M10,31 H38" }) {} },
            }
            b { (told.what) } span { @if told.key { i.unled { "press the key, then " } } (told.note) }
        }
    }
}

fn instruction(bench: &BenchState) -> Instruction {
    let say = |what: &str, note: &str| Instruction::new(what, note);
    match &bench.stage {
        Stage::NotReady(missing) => {
            let things = if missing.len() == 1 { "thing" } else { "things" };
            say("Not open yet", &format!("{} {things} wanted before the first hold", missing.len()))
        }
        Stage::Alarm => say("Alarm", "kill switch, out, fresh air"),
        Stage::Paused(Pause::ByHand) => say("Paused", "the engine is not: only the kill switch stops it"),
        Stage::Paused(Pause::Heat) => {
            say("Let it cool", "kill switch, fan on; go on when the oil is below 80 °C")
                .spoken("Let it cool. Kill switch, fan on. Go on when the oil is below 80 degrees.")
        }
        Stage::Stop { rpm, within_rpm } => {
            let note = format!("with the stop, within {within_rpm:.0} rpm; the screw is left alone");
            say(&format!("Set the idle to {rpm:.0}"), &note)
                .spoken(format!("Set the idle to {rpm:.0} with the stop. Leave the mixture screw alone."))
        }
        Stage::Holding(armed) => {
            say("Hands off", &format!("held at {}; the reading is taken and saved by itself", armed.turns))
                .spoken("Hands off.")
        }
        Stage::Move { from, to } if from.on_grid() == to.on_grid() => {
            let what = format!("Leave it at {to}");
            let spoken = format!("Leave the screw at {}. Hands off.", turns_spoken(*to));
            if bench.readings.is_empty() {
                say(&what, "hands off; engine running, warm from a ride").spoken(spoken).by_key()
            } else {
                say(&what, "hands off").spoken(spoken).by_key()
            }
        }
        Stage::Move { from, to } => turn(bench, *from, *to, "then hands off"),
        Stage::Set { from, to } if from.on_grid() == to.on_grid() => {
            say(&format!("Leave it at {to}"), why_set(bench))
                .spoken(format!("Leave the screw at {}: {}. Hands off.", turns_spoken(*to), why_set(bench)))
                .done()
        }
        Stage::Set { from, to } => {
            let told = turn(bench, *from, *to, why_set(bench)).done();
            Instruction { spoken: told.spoken.map(|words| format!("{words} Then hands off.")), ..told }
        }
        Stage::Trim { carburettor, round, drop_rpm, .. } => say(
            &format!("Screw {carburettor}: {drop_rpm:.0} rpm leaner"),
            &format!("it alone; then back richer, by as much as every other · round {round} of 2"),
        ),
        Stage::Balance => say("Balance the plates", "then the stop again, three blips, and the seat"),
        Stage::Ended(End::WillNotIdle { rpm }) => {
            let wanted = bench.facts.maker_idle_rpm().unwrap_or(*rpm);
            let causes = if *rpm < wanted {
                "pilot starved, a tight valve, a weak spark"
            } else {
                "a leak, the cable, plates past their holes, the advance"
            };
            say(
                "It will not idle there",
                &format!("it idles at {rpm:.0}, not at {wanted:.0}: that is the finding; look for {causes}"),
            )
        }
        Stage::Ended(End::DoesNotSettle) => say(
            "It does not settle",
            "three passes, and the setting still moves: look for a leak, plates past their holes, a wandering advance, split cylinders",
        ),
        Stage::Ended(End::ScrewsApart { turns }) => say(
            &format!("The screws are {} apart", TurnsOut(*turns)),
            "more than a turn: find the cause first; a blocked pilot, a leak, the float level, a valve",
        ),
        Stage::Ended(End::Set { as_left }) => {
            say(&format!("Left at {as_left}"), "counted to the seat").done()
        }
        Stage::Count { set } => {
            say("Engine off", &format!("set to {set}; now count it in to the seat, and out again"))
                .spoken(format!(
                    "Done. It stands at {}. Engine off, with the kill switch. Then count the screw to its seat, and out again.",
                    turns_spoken(*set)
                ))
                .done()
        }
        Stage::Left { turns } => say(&format!("Left at {turns}"), "counted to the seat").done(),
    }
}

/// Why no more holds are asked for.
fn why_set(bench: &BenchState) -> &'static str {
    if bench.edge_known() {
        "enough is known; this is the setting"
    } else if bench.answer().is_some_and(|sweep| !sweep.enough) {
        "the sweep was ended before the edge was known: read the finding first"
    } else {
        "no hold promises to tell more, and the edge is not known: read the finding first"
    }
}

fn turn(bench: &BenchState, from: TurnsOut, to: TurnsOut, then: &str) -> Instruction {
    let out = from.0 < to.0;
    let by = TurnsOut((to.0 - from.0).abs());
    let direction = if out { "out" } else { "in" };
    let round = if out { "anticlockwise" } else { "clockwise" };
    let mixture = if out == bench.out_is_richer() { "richer" } else { "leaner" };
    Instruction {
        turn: Some(out),
        ..Instruction::new(format!("Turn {direction} {by}"), format!("{round}, {mixture} · {then}"))
            .spoken(format!("Turn {direction} {}, {round}, {mixture}; {then}.", turns_spoken(by)))
    }
}

/// Turns as a person says them.
fn turns_spoken(turns: TurnsOut) -> String {
    const BELOW_ONE: [&str; 8] = [
        "nought",
        "an eighth of a turn",
        "a quarter turn",
        "three eighths of a turn",
        "half a turn",
        "five eighths of a turn",
        "three quarters of a turn",
        "seven eighths of a turn",
    ];
    const BEYOND: [&str; 8] = [
        "",
        " and an eighth",
        " and a quarter",
        " and three eighths",
        " and a half",
        " and five eighths",
        " and three quarters",
        " and seven eighths",
    ];
    let eighths = (8.0 * turns.0).round().max(0.0) as usize;
    match (eighths / 8, eighths % 8) {
        (0, part) => BELOW_ONE[part].into(),
        (1, 0) => "one turn".into(),
        (whole, part) => format!("{whole}{} turns", BEYOND[part]),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn turns_are_spoken_as_the_trade_says_them() {
        let said = [0.125, 0.25, 0.5, 0.625, 1.0, 1.75, 2.0].map(|turns| turns_spoken(TurnsOut(turns)));
        assert_eq!(
            said,
            [
                "an eighth of a turn",
                "a quarter turn",
                "half a turn",
                "five eighths of a turn",
                "one turn",
                "1 and three quarters turns",
                "2 turns"
            ]
        );
    }
}
