//! The idle bench: one numeral, one instruction, the screw, the keys; the curve beside or below.
//!
//! The page is made of parts that are replaced one by one when something was saved, so that the
//! microphone goes on listening and a finger on a key is not disturbed.

use bellmouth_chart::{Mark, Plot, Range};
use bellmouth_core::idle::{Outcome, StallCause, Sweep};
use bellmouth_core::quantity::TurnsOut;
use bellmouth_workshop::bench::{BenchState, Pause, Place, Stage, cautions};
use bellmouth_workshop::logbook::{Entry, Source};
use bellmouth_workshop::sweep::pick_up_words;
use maud::{Markup, PreEscaped, html};

use super::dial::Dial;
use super::firings::firings;
use super::left::finding;
use super::shell::{self, Step};

/// The bench, whole.
pub(crate) fn page(bench: &BenchState) -> Markup {
    let base = format!("{}/idle", shell::job(bench.job.id));
    shell::scripted(
        "Idle bench",
        Some("bench.js"),
        html! {
            (shell::path(bench, Step::Idle))
            main.bench data-bench=(base) {
                @if !matches!(bench.stage, Stage::Left { .. }) { (speed()) }
                @for (name, part) in parts(bench) { section id={ "part-" (name) } { (part) } }
            }
            (notices())
            div.card.toast id="toast" role="alert" hidden { p {} button.key.quiet data-do="dismiss" { "Read" } }
            template id="says-lost" { "The bench was out of reach, so this was not saved; press again. Nothing saved before is lost." }
        },
    )
}

/// The parts that change, by name.
pub(crate) fn parts(bench: &BenchState) -> Vec<(&'static str, Markup)> {
    vec![
        ("say", say(bench)),
        ("dial", dial(bench)),
        ("keys", keys(bench)),
        ("curve", html! { (curve(bench)) (known(bench)) }),
        ("more", more(bench)),
    ]
}

fn speed() -> Markup {
    html! {
        section.speed aria-label="Engine speed" {
            div.numeral.none data-live="rpm" data-when="heard" aria-live="off" hidden { "––" }
            div.deaf data-when="deaf" {
                button.key.main data-do="listen" data-key="listen" { "Start the microphone" }
                a href="#ways" { "or type a speed, or drop a recording" }
            }
            div.unit {
                b data-live="spread" data-when="heard" hidden { "rpm" }
                span data-live="heard" { "not listening" } br;
                span.clock data-live="clock" { "idling 0:00" } br;
                span data-live="hold" {}
            }
            progress.progress data-live="progress" max="1" value="0" hidden aria-label="Progress of the hold" {}
            svg.trace data-when="heard" viewBox="0 0 400 64" preserveAspectRatio="none" aria-hidden="true" {
                rect data-live="settled" x="400" y="0" width="0" height="64" {}
                path data-live="trace" d="" {}
            }
        }
    }
}

/// The one instruction: arrow, what to do, what it means.
struct Instruction {
    turn: Option<bool>,
    done: bool,
    what: String,
    note: String,
}

fn instruction(bench: &BenchState) -> Instruction {
    let say = |what: &str, note: &str| Instruction {
        turn: None,
        done: false,
        what: what.into(),
        note: note.into(),
    };
    match &bench.stage {
        Stage::NotReady(missing) => say(
            "Not open yet",
            &format!(
                "{} thing{} wanted before the first hold",
                missing.len(),
                if missing.len() == 1 { "" } else { "s" }
            ),
        ),
        Stage::Alarm => say("Alarm", "kill switch, out, fresh air"),
        Stage::Paused(Pause::ByHand) => say("Paused", "the engine is not: only the kill switch stops it"),
        Stage::Paused(Pause::Heat) => {
            say("Let it cool", "kill switch, fan on; go on when the oil is below 80 °C")
        }
        Stage::Holding(armed) => {
            say("Hands off", &format!("held at {}; the reading is taken and saved by itself", armed.turns))
        }
        Stage::Move { from, to } if from.on_grid() == to.on_grid() => {
            let what = format!("Leave it at {to}");
            if bench.readings.is_empty() {
                say(&what, "start the engine, as warm as after a ride; press the key, hands off")
            } else {
                say(&what, "press the key, then hands off")
            }
        }
        Stage::Move { from, to } => turn(bench, *from, *to, "then hands off", false),
        Stage::Set { from, to } if from.on_grid() == to.on_grid() => Instruction {
            turn: None,
            done: true,
            what: format!("Leave it at {to}"),
            note: why_set(bench).into(),
        },
        Stage::Set { from, to } => turn(bench, *from, *to, why_set(bench), true),
        Stage::Count { set } => Instruction {
            turn: None,
            done: true,
            what: "Engine off".into(),
            note: format!("set to {set}; now count it in to the seat, and out again"),
        },
        Stage::Left { turns } => Instruction {
            turn: None,
            done: true,
            what: format!("Left at {turns}"),
            note: "counted to the seat".into(),
        },
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

fn turn(bench: &BenchState, from: TurnsOut, to: TurnsOut, then: &str, done: bool) -> Instruction {
    let out = from.0 < to.0;
    let richer = out == bench.out_is_richer();
    let by = TurnsOut((to.0 - from.0).abs());
    Instruction {
        turn: Some(out),
        done,
        what: format!("Turn {} {by}", if out { "out" } else { "in" }),
        note: format!(
            "{}, {} · {then}",
            if out { "anticlockwise" } else { "clockwise" },
            if richer { "richer" } else { "leaner" }
        ),
    }
}

fn say(bench: &BenchState) -> Markup {
    let told = instruction(bench);
    html! {
        div.say.done[told.done] data-say=(format!("{}. {}", told.what, told.note)) {
            @match told.turn {
                Some(out) => svg viewBox="0 0 48 48" aria-hidden="true" { g transform=(if out { "" } else { "translate(48 0) scale(-1 1)" }) {
                    path d="M40,20 A17,17 0 1 0 41,28" {} path.tip d="M12,3 L2,13 L17,16 z" {}
                } },
                None => svg viewBox="0 0 48 48" aria-hidden="true" { path d=(if told.done { "M8,26 L20,38 L41,11" } else { "M10,19 H38 M10,31 H38" }) {} },
            }
            b { (told.what) } span { (told.note) }
        }
    }
}

fn dial(bench: &BenchState) -> Markup {
    let sweep = bench.answer();
    let speeds: Vec<(TurnsOut, f64)> = counted(bench)
        .filter_map(|entry| match entry.reading.outcome {
            Outcome::Ran { rpm, .. } => Some((entry.turns(), rpm)),
            Outcome::Stalled(_) => None,
        })
        .collect();
    let slowest = speeds.iter().map(|held| held.1).fold(f64::INFINITY, f64::min);
    let fastest = speeds.iter().map(|held| held.1).fold(0.0, f64::max);
    let span = (fastest - slowest).max(1.0);
    let held: Vec<(TurnsOut, f64)> =
        speeds.iter().map(|(turns, rpm)| (*turns, (rpm - slowest) / span)).collect();
    let target = match bench.stage {
        Stage::Move { to, .. } | Stage::Set { to, .. } => Some(to),
        _ => None,
    };
    let position = bench.position();
    let label = match sweep {
        Some(sweep) => format!(
            "Screw at {position} turns out; lean edge between {} and {}; setting {}",
            sweep.edge.low, sweep.edge.high, sweep.setting_on_grid
        ),
        None => format!("Screw at {position} turns out"),
    };
    let drawing = Dial {
        position,
        target: target.filter(|to| to.on_grid() != position.on_grid()),
        edge: sweep.filter(|_| bench.setting_told()).map(|sweep| (sweep.edge.low, sweep.edge.high)),
        setting: sweep.filter(|_| bench.setting_told()).map(|sweep| sweep.setting_on_grid),
        held: &held,
        label: &label,
    };
    html! { (PreEscaped(drawing.svg())) }
}

/// A form that is one key.
fn key(
    bench: &BenchState,
    action: &str,
    class: &str,
    name: &str,
    fields: &[(&str, &str)],
    words: Markup,
) -> Markup {
    let at = format!("{}/idle/{action}", shell::job(bench.job.id));
    let place = class.split(' ').next().unwrap_or_default();
    let look = class.strip_prefix(place).unwrap_or_default();
    html! {
        form class=(place) method="post" action=(at) {
            (shell::seen(bench.job.revision))
            @for (field, value) in fields { input type="hidden" name=(field) value=(value); }
            button class={ "key" (look) } data-key=[(!name.is_empty()).then_some(name)] { (words) }
        }
    }
}

fn keys(bench: &BenchState) -> Markup {
    let id = bench.hold_id().to_string();
    let at = |turns: TurnsOut| turns.0.to_string();
    let hold = |turns: TurnsOut, class: &str, name: &str, words: Markup| {
        key(bench, "hold", class, name, &[("id", &id), ("turns", &at(turns))], words)
    };
    let position = bench.position();
    let (leaner, richer) = (bench.eighth(position, false), bench.eighth(position, true));
    let eighths = html! {
        (hold(leaner, "half", "leaner", html! { span { "I am at " (leaner) small { "⅛ leaner" } } }))
        (hold(richer, "half", "richer", html! { span { "I am at " (richer) small { "⅛ richer" } } }))
    };
    html! {
        div.keys {
            @match &bench.stage {
                Stage::NotReady(missing) => {
                    div.wide.stack { @for missing in missing {
                        a.key href=(place(bench, missing.place)) { (missing.what) }
                    } }
                }
                Stage::Alarm => {}
                Stage::Move { to, .. } => {
                    (hold(*to, "wide main", "main", html! { "I am at " (to) }))
                    (eighths) (safety(bench, *to))
                }
                Stage::Holding(armed) => {
                    (key(bench, "take", "wide main", "main", &[], html! { "Take this reading" small { "or wait: it is taken by itself" } }))
                    (eighths) (safety(bench, armed.turns))
                }
                Stage::Paused(pause) => {
                    (key(bench, "resume", "wide main", "main", &[("cooled", if *pause == Pause::Heat { "yes" } else { "" })],
                        html! { (if *pause == Pause::Heat { "It has cooled: go on" } else { "Go on" }) }))
                    @if *pause == Pause::ByHand {
                        (key(bench, "resume", "wide", "", &[("cooled", "yes")], html! { "Go on, and it has cooled" small { "starts the idling clock anew" } }))
                    }
                    (alarm_key(bench, "wide alarm"))
                }
                Stage::Set { to, .. } => {
                    (key(bench, "set", "wide main", "main", &[("turns", &at(*to))], html! { "It stands at " (to) }))
                    (key(bench, "finish", "half", "richer", &[("done", "")], html! { "One more hold" }))
                    (key(bench, "pause", "half", "pause", &[], html! { "Pause" }))
                    (alarm_key(bench, "wide alarm"))
                }
                Stage::Count { .. } | Stage::Left { .. } => {
                    a.key.main.wide data-key="main" href={ (shell::job(bench.job.id)) "/left" } {
                        @if matches!(bench.stage, Stage::Left { .. }) { "What was left, and the way back" } @else { "Count to the seat" }
                    }
                    @if matches!(bench.stage, Stage::Count { .. }) {
                        (key(bench, "back", "half", "back", &[], html! { "Back" }))
                        (alarm_key(bench, "half alarm"))
                    }
                }
            }
        }
    }
}

/// The row of keys that stands under every running engine.
fn safety(bench: &BenchState, turns: TurnsOut) -> Markup {
    html! {
        (key(bench, "back", "quarter", "back", &[], html! { "Back" }))
        (key(bench, "pause", "quarter", "pause", &[], html! { "Pause" }))
        details.quarter data-key="died-reasons" {
            summary.key.warn data-key="died" { "It died" }
            (died(bench, turns))
        }
        (alarm_key(bench, "quarter alarm"))
    }
}

fn alarm_key(bench: &BenchState, class: &str) -> Markup {
    key(bench, "alarm", class, "alarm", &[], html! { "ALARM" })
}

fn died(bench: &BenchState, turns: TurnsOut) -> Markup {
    let id = bench.hold_id().to_string();
    let at = turns.0.to_string();
    html! {
        p.small { "At " (turns) ", from what? Only lean and rich inform the curve." }
        div.keys { @for (cause, words) in [("lean", "lean"), ("rich", "rich"), ("fuel", "out of fuel"), ("unknown", "do not know")] {
            (key(bench, "died", "half warn", "", &[("id", &id), ("turns", &at), ("cause", cause)], html! { (words) }))
        } }
    }
}

fn place(bench: &BenchState, place: Place) -> String {
    let job = shell::job(bench.job.id);
    match place {
        Place::Found => format!("{job}/found"),
        Place::Screw => format!("{job}/screw"),
        Place::Check => format!("{job}/check"),
        Place::Machine => shell::machine(bench.machine.id),
    }
}

fn counted(bench: &BenchState) -> impl Iterator<Item = &Entry> {
    bench.readings.iter().filter(|entry| entry.struck.is_none())
}

/// Speed against turns: readings, the fit with its band, the edge's interval, the setting.
pub(crate) fn curve(bench: &BenchState) -> Markup {
    if bench.readings.is_empty() {
        return html! { div.empty { p { "No reading yet. The curve grows here, a point a hold: engine speed against turns out." } } };
    }
    let marks: Vec<Mark> =
        bench.readings.iter().enumerate().filter_map(|(index, entry)| mark(index, entry)).collect();
    let sweep = bench.answer();
    let line = sweep.map(|sweep| sweep.curve.iter().map(|point| (point.turns.0, point.rpm)).collect());
    let band = sweep.map(|sweep| sweep.curve.iter().map(|p| (p.turns.0, p.low_rpm, p.high_rpm)).collect());
    let plot = Plot {
        size: (600.0, 316.0),
        label: sweep.map_or("Engine speed against turns out".into(), |sweep| {
            format!(
                "Engine speed against turns out; lean edge {} between {} and {}",
                sweep.edge.best, sweep.edge.low, sweep.edge.high
            )
        }),
        y_unit: "rpm",
        x_unit: "turns out".into(),
        x_ticks: (0..=16)
            .map(|halves| f64::from(halves) / 2.0)
            .map(|turns| (turns, TurnsOut(turns).to_string()))
            .collect(),
        sides: if bench.out_is_richer() { ("lean", "rich") } else { ("rich", "lean") },
        line: line.unwrap_or_default(),
        band: band.unwrap_or_default(),
        marks,
        ranges: sweep.map(|sweep| ranges(bench, sweep)).unwrap_or_default(),
        least_span: 60.0,
    };
    html! { (PreEscaped(plot.svg())) @if let Some(Err(refused)) = &bench.sweep { p.notice { "No curve yet: " (refused) "." } } }
}

fn mark(index: usize, entry: &Entry) -> Option<Mark> {
    let Outcome::Ran { rpm, se_rpm } = entry.reading.outcome else { return None };
    let class = match (&entry.struck, entry.reading.as_found) {
        (Some(_), _) => "struck",
        (None, true) => "found",
        (None, false) => "hold",
    };
    let label = (index + 1).to_string();
    Some(Mark { x: entry.turns().0, y: rpm, error: 1.645 * se_rpm.unwrap_or(0.0), label, class })
}

fn ranges(bench: &BenchState, sweep: &Sweep) -> Vec<Range> {
    if !bench.setting_told() {
        return Vec::new();
    }
    let (low, high) = (sweep.edge.low.0, sweep.edge.high.0);
    // Lean of the edge is shaded: a setting there is lean half of the time.
    let lean = if bench.out_is_richer() { (-1.0, low) } else { (high, 9.0) };
    vec![
        Range { ends: lean, line: None, class: "leanside", words: String::new() },
        Range { ends: (low, high), line: None, class: "edge", words: String::new() },
        Range {
            ends: (sweep.setting_on_grid.0, sweep.setting_on_grid.0),
            line: Some(sweep.setting_on_grid.0),
            class: "setting",
            words: format!("set {}", sweep.setting_on_grid),
        },
    ]
}

/// What is known: setting, edge, gain, as found; each with its interval and its source.
pub(crate) fn known(bench: &BenchState) -> Markup {
    let Some(sweep) = bench.answer() else { return html! {} };
    let told = bench.setting_told();
    html! {
        dl.known {
            div { dt { "setting" } dd.brass { @if told { (sweep.setting_on_grid) } @else { "not yet" } } }
            div { dt { "lean edge, 90 % between" } dd { (sweep.edge.low) " – " (sweep.edge.high) } }
            div { dt { "gain over as found" } dd { @match sweep.gain_rpm {
                Some(_) if told && bench.as_found().is_some_and(|found| found.on_grid() == sweep.setting_on_grid) => "found at the setting",
                Some((gain, sd)) if told => { (format!("{:+.0} ± {:.0} rpm", gain.round() + 0.0, 1.645 * sd)) }
                Some(_) => "not yet", None => "not held as found" } } }
            div { dt { "as found" } dd { (bench.as_found().map_or("not counted".into(), |turns| turns.to_string())) } }
        }
        p.small { "Setting: " (sweep.rule_words) ", rounded to the richer eighth." }
        @if sweep.enough && bench.edge_known() && !sweep.pick_up.is_empty() {
            p { "At last, " (pick_up_words(&sweep.pick_up)) "." }
        }
        details data-key="source" { summary { "Where does this come from?" }
            p.small { "The lean edge is the leanest position whose speed is within 1 % of the plateau's highest. A family of curves drawn from the \
                physics of mixture and torque is fitted to every reading that is not struck, with the hand's own error in counting turns, drift, outliers and stalls; \
                the interval holds the edge with 90 % probability if the family holds the engine. The plateau here: "
                (format!("{:.0} ± {:.0} rpm.", sweep.plateau_rpm, 1.645 * sweep.plateau_sd_rpm)) }
            p.small { (cautions::NOT_HEARD.says) }
        }
        @if let Some(Ok(answer)) = &bench.sweep { @if !answer.caveats.is_empty() {
            ul.caveats { @for caveat in &answer.caveats { li { (crate::error::sentence(&caveat.says)) } } }
        } }
    }
}

/// Below the keys: the other ways to read, the readings, the switches, the cautions.
fn more(bench: &BenchState) -> Markup {
    let running = matches!(bench.stage, Stage::Move { .. } | Stage::Holding(_) | Stage::Set { .. });
    html! {
        @if running { (ways(bench)) }
        @if matches!(bench.stage, Stage::Set { .. } | Stage::Count { .. } | Stage::Left { .. }) { (finding(bench)) }
        @if !bench.readings.is_empty() { (readings(bench)) (firings(bench)) }
        @if running { (switches(bench)) }
        ul.cautions { @for caution in cautions::BENCH { li { (caution.short) } } }
        p.small { a href="/cautions" { "The cautions in full" } " · keys: space the main key, ← leaner, → richer, b back, p pause, d died, x alarm" }
    }
}

fn ways(bench: &BenchState) -> Markup {
    let id = bench.hold_id().to_string();
    let turns = match bench.stage {
        Stage::Holding(armed) => armed.turns,
        Stage::Move { to, .. } | Stage::Set { to, .. } => to,
        _ => bench.position(),
    };
    let at = |action: &str| format!("{}/idle/{action}", shell::job(bench.job.id));
    let here = html! {
        input type="hidden" name="id" value=(id);
        label.field { span { "at turns out" } input type="number" name="turns" min="0" max="6" step="0.125" value=(turns.0); }
    };
    html! {
        div.row id="ways" {
            button.key.quiet data-do="deafen" data-when="listening" hidden { "Microphone off" }
            button.key.quiet data-do="voice" aria-pressed="false" { "Speak to me" }
        }
        details data-key="typed" { summary { "Type what a tachometer shows" }
            form.row method="post" action=(at("typed")) {
                (here)
                label.field { span { "rpm" } input type="text" name="rpm" inputmode="numeric" required placeholder="1040"; }
                button.key.main { "Save" }
            }
        }
        details data-key="clip" { summary { "Drop a recording of the hold" }
            form.row method="post" action=(at("recording")) enctype="multipart/form-data" data-drop data-busy="Listening to the recording" {
                (here)
                label.field { span { "30 s of steady idle: wav, flac, mp3, ogg, webm, m4a, mp4, mov" } input type="file" name="sound" accept="audio/*,video/mp4,video/quicktime,video/webm" required; }
                button.key { "Listen to it" }
            }
        }
    }
}

fn readings(bench: &BenchState) -> Markup {
    html! {
        details data-key="readings" open { summary { (bench.readings.len()) " saved" }
            table { thead { tr { th { "" } th { "turns" } th.number { "rpm" } th { "by" } th {} } }
                tbody { @for (index, entry) in bench.readings.iter().enumerate().rev() { (row(bench, index, entry)) } } }
        }
    }
}

fn row(bench: &BenchState, index: usize, entry: &Entry) -> Markup {
    let id = entry.reading.id.to_string();
    let source = match entry.reading.source {
        Source::Microphone => "microphone",
        Source::Recording => "recording",
        Source::Tachometer => "by hand",
    };
    html! {
        tr.struck[entry.struck.is_some()] {
            td { (index + 1) }
            td { (entry.turns()) @if entry.turns() != entry.reading.turns { " " small { "counted " (entry.reading.turns) } } @if entry.reading.as_found { " " small { "found" } } }
            td.number { @match entry.reading.outcome {
                Outcome::Ran { rpm, se_rpm } => { (format!("{rpm:.0}")) @if let Some(se) = se_rpm { (format!(" ± {:.0}", (1.645 * se).max(1.0))) } }
                Outcome::Stalled(cause) => { "died, " (cause_words(cause)) }
            } }
            td { (source) }
            td.act {
                @if entry.struck.is_some() { (key(bench, "unstrike", "one quiet", "", &[("reading", &id)], html! { "Take it back" })) }
                @else {
                    details data-key={ "act-" (id) } { summary { "amend" }
                        (key(bench, "strike", "one quiet", "", &[("reading", &id), ("reason", "")], html! { "Strike this reading" }))
                        form method="post" action={ (shell::job(bench.job.id)) "/idle/miscounted" } {
                            (shell::seen(bench.job.revision)) input type="hidden" name="reading" value=(id);
                            label.field { span { "I miscounted: it stood at" } input type="number" name="turns" min="0" max="6" step="0.125" value=(entry.turns().0); }
                            button.key.quiet { "Correct it" }
                        }
                    }
                }
            }
        }
    }
}

fn cause_words(cause: StallCause) -> &'static str {
    match cause {
        StallCause::Lean => "lean",
        StallCause::Rich => "rich",
        StallCause::OutOfFuel => "out of fuel",
        StallCause::Unknown => "do not know",
    }
}

fn switches(bench: &BenchState) -> Markup {
    html! {
        details data-key="switches" { summary { "Something else changed" }
            div.stack {
                (key(bench, "wrong-way", "one", "", &[], html! { span { "I turned it the wrong way" small { "mirrors the last move, and the reading taken there" } } }))
                (key(bench, "block", "one", "", &[], html! { span { "The stop, fan, lamp or load was changed" small { "later holds are a block of their own" } } }))
                @if bench.answer().is_some_and(|sweep| !sweep.enough) {
                    (key(bench, "finish", "one", "", &[("done", "yes")], html! { span { "End the sweep here" small { "set by what is known so far" } } }))
                }
            }
        }
    }
}

/// Every way the microphone or the link can fail, each with its way on.
fn notices() -> Markup {
    let typed = "type what a tachometer shows, or drop a recording";
    let all: [(&str, String); 12] = [
        ("link", "The bench is out of reach: is the program still running? Readings shown as saved are kept. Trying again.".into()),
        ("refused", format!("The microphone was refused. Allow it for this page in the browser's own settings and start it again, or {typed}.")),
        ("none", format!("No microphone was found. Plug one in and start it again, or {typed}.")),
        ("busy", format!("The microphone does not start: another program may hold it. Close that and start it again, or {typed}.")),
        ("muted", format!("The microphone gives nothing at all: muted by its switch, or by the system. Unmute it, or {typed}.")),
        ("telephone", format!("This looks like a headset in its telephone mode: it cuts away most of an engine. Choose another microphone, or {typed}.")),
        ("processed", format!("The browser goes on processing the sound (echo, noise or gain control): it eats steady tones, so readings are doubtful. Choose another microphone or browser, or {typed}.")),
        ("hidden", "The page was hidden, and the hold began anew: keep it in front while the engine is read.".into()),
        ("unplugged", format!("The microphone was unplugged: the hold was given up, saved readings are kept. Plug it in and start it again, or {typed}.")),
        ("insecure", "This browser gives no microphone to this address. Open the bench at localhost on this machine, or drop a recording: that always works.".into()),
        ("elsewhere", "Another page listens to this engine. This one shows the same bench.".into()),
        ("layout", format!("The engine's layout is not given, and the ear needs it: enter it on the machine's page, or {typed}.")),
    ];
    html! {
        div.bench-notices { @for (name, words) in all {
            div.notice id={ "notice-" (name) } role="alert" hidden { p { (words) }
                @if name == "elsewhere" { button.key.quiet data-do="takeover" { "Listen here instead" } }
                @else if name != "link" { button.key.quiet data-do="dismiss" { "Read" } }
            }
        } }
    }
}

/// What stands on the screen after the alarm key: nothing else does.
pub(crate) fn alarm_page(bench: &BenchState) -> Markup {
    shell::page(
        "Alarm",
        html! {
            main.alarm-page {
                h1 { "Alarm" }
                ol { @for line in cautions::ALARM { li { (line) } } }
                form method="post" action={ (shell::job(bench.job.id)) "/idle/all-clear" } { button.key { "Everyone is out and well: back to the bench" } }
            }
        },
    )
}
