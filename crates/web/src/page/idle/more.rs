//! Below the keys: the other ways to read, the readings, the switches, the cautions.

use bellmouth_core::idle::{Outcome, StallCause};
use bellmouth_workshop::bench::{BenchState, Stage, cautions};
use bellmouth_workshop::logbook::{Entry, Source};
use maud::{Markup, html};

use super::keys::key;
use crate::page::firings::firings;
use crate::page::left::finding;
use crate::page::shell;

/// Below the keys: the other ways to read, the readings, the switches, the cautions.
pub(super) fn more(bench: &BenchState) -> Markup {
    let running = bench.stage.engine_runs();
    let holds = !matches!(bench.stage, Stage::Trim { .. } | Stage::Balance);
    html! {
        @if running && holds { (ways(bench)) }
        @if matches!(bench.stage, Stage::Set { .. } | Stage::Count { .. } | Stage::Left { .. }) { (pick_up(bench)) (finding(bench)) }
        @if !bench.readings.is_empty() { (readings(bench)) (firings(bench)) }
        @if running && holds { (switches(bench)) }
        ul.cautions { @for caution in cautions::BENCH { li { (caution.short) } } }
        p.small { a href="/cautions" { "The cautions in full" } " · keys: space the main key, ← leaner, → richer, b back, p pause, a again, d died, x alarm" }
    }
}

/// At last, pick-up decides: which of the positions inside the plateau was best.
fn pick_up(bench: &BenchState) -> Markup {
    let Some(sweep) = bench.answer().filter(|sweep| 1 < sweep.pick_up.len()) else { return html! {} };
    if matches!(bench.stage, Stage::Left { .. }) {
        return html! {};
    }
    let picked = bench.facts.picked_up();
    html! {
        details data-key="pick-up" open[picked.is_some()] { summary { "Pick-up decides: where was it best?" }
            p.small { "Three short blips at each, neutral and the wheel blocked. The best sags least and does not hang." }
            div.keys.tried { @for turns in &sweep.pick_up {
                (key(bench, "picked-up", if picked == Some(*turns) { "one main" } else { "one" }, "",
                    &[("turns", &turns.0.to_string())], html! { (turns) }))
            } }
            @if picked.is_some() {
                (key(bench, "picked-up", "one quiet", "", &[("turns", "")], html! { "Let the rule decide again" }))
            }
        }
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
    let at_stop = matches!(bench.stage, Stage::Stop { .. });
    html! {
        div.row id="ways" {
            button.key.quiet data-do="deafen" data-when="listening" hidden { "Microphone off" }
            button.key.quiet data-do="voice" aria-pressed="false" { "Speak to me" }
            button.key.quiet data-do="lead" data-when="unled" hidden { "Lead me, hands free" }
            button.key.quiet data-do="unlead" data-when="led" hidden { "Lead me no longer" }
        }
        details data-key="typed" { summary { "Type what a tachometer shows" }
            form.row method="post" action=(at(if at_stop { "stop" } else { "typed" })) {
                @if at_stop { (shell::seen(bench.job.revision)) } @else { (here) }
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
