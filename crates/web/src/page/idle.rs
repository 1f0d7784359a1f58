//! The idle bench: one numeral, one instruction, the screw, the keys; the curve beside or below.
//!
//! The page is made of parts that are replaced one by one when something was saved, so that the
//! microphone goes on listening and a finger on a key is not disturbed.

use bellmouth_workshop::bench::{BenchState, Stage, cautions};
use maud::{Markup, html};

use super::shell::{self, Step};

mod curve;
mod keys;
mod more;
mod say;

use curve::dial;
pub(super) use curve::{curve, known};
use keys::keys;
use more::more;
use say::say;

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
                button.key.main data-do="lead" data-key="lead" { "Lead me, hands free" small { "speaks, listens, goes on by itself" } }
                button.key data-do="listen" data-key="listen" { "Only listen" }
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

/// Every way the microphone or the link can fail, each with its way on.
fn notices() -> Markup {
    let typed = "type what a tachometer shows, or drop a recording";
    let all: [(&str, String); 13] = [
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
        ("dark", "This browser cannot keep the screen awake: set the phone itself to stay awake while you are led, or the microphone goes off with the screen.".into()),
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
