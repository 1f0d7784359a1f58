//! The keys: what can be pressed at every stage, with gloves on.

use bellmouth_core::quantity::TurnsOut;
use bellmouth_workshop::bench::{BenchState, Pause, Place, Stage};
use maud::{Markup, html};

use crate::page::shell;

/// A form that is one key.
pub(super) fn key(
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

pub(super) fn keys(bench: &BenchState) -> Markup {
    let id = bench.hold_id().to_string();
    let at = |turns: TurnsOut| turns.0.to_string();
    let hold = |turns: TurnsOut, class: &str, name: &str, words: Markup| {
        key(bench, "hold", class, name, &[("id", &id), ("turns", &at(turns))], words)
    };
    let position = bench.position();
    let (leaner, richer) = (bench.eighth(position, false), bench.eighth(position, true));
    let eighths = html! {
        div.wide.eighths {
            (hold(leaner, "half", "leaner", html! { span { "I am at " (leaner) small { "⅛ leaner" } } }))
            (hold(richer, "half", "richer", html! { span { "I am at " (richer) small { "⅛ richer" } } }))
        }
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
                    (again()) (eighths) (safety(bench, *to))
                }
                Stage::Holding(armed) => {
                    (key(bench, "take", "wide main", "main", &[], html! { "Take this reading" small { "or wait: it is taken by itself" } }))
                    (again()) (eighths) (safety(bench, armed.turns))
                }
                Stage::Stop { rpm, .. } => {
                    (key(bench, "stop", "wide main", "main", &[], html! { "It idles at " (format!("{rpm:.0}")) small { "as heard; or as a tachometer shows" } }))
                    (again()) (will_not_idle(bench))
                    (key(bench, "pause", "half", "pause", &[], html! { "Pause" }))
                    (alarm_key(bench, "half alarm"))
                }
                Stage::Trim { carburettor, .. } => {
                    (trim(bench, *carburettor))
                    (key(bench, "balanced", "quarter", "", &[], html! { "Leave equal" }))
                    (key(bench, "back", "quarter", "back", &[], html! { "Back" }))
                    (key(bench, "pause", "quarter", "pause", &[], html! { "Pause" }))
                    (alarm_key(bench, "quarter alarm"))
                }
                Stage::Balance => {
                    (key(bench, "balanced", "wide main", "main", &[], html! { "Balanced" }))
                    (key(bench, "back", "quarter", "back", &[], html! { "Back" }))
                    (key(bench, "pause", "quarter", "pause", &[], html! { "Pause" }))
                    (alarm_key(bench, "half alarm"))
                }
                Stage::Ended(_) => {
                    (key(bench, "back", "wide main", "main", &[], html! { "Mended: once more" }))
                    (key(bench, "set", "half", "", &[("turns", &at(position))], html! { span { "Leave it at " (position) small { "and count to the seat" } } }))
                    (alarm_key(bench, "half alarm"))
                }
                Stage::Paused(pause) => {
                    (key(bench, "resume", "wide main", if *pause == Pause::Heat { "main" } else { "resume" }, &[("cooled", if *pause == Pause::Heat { "yes" } else { "" })],
                        html! { (if *pause == Pause::Heat { "It has cooled: go on" } else { "Go on" }) }))
                    @if *pause == Pause::ByHand {
                        (key(bench, "resume", "wide", "", &[("cooled", "yes")], html! { "Go on, and it has cooled" small { "starts the idling clock anew" } }))
                    }
                    (alarm_key(bench, "wide alarm"))
                }
                Stage::Set { to, .. } => {
                    (key(bench, "set", "wide main", "main", &[("turns", &at(*to))], html! { "It stands at " (to) }))
                    (again())
                    (key(bench, "finish", "half", "richer", &[("done", "")], html! { "One more hold" }))
                    (key(bench, "pause", "quarter", "pause", &[], html! { "Pause" }))
                    (alarm_key(bench, "quarter alarm"))
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

/// Says the instruction again, and gives up a hold; stands where a person is led.
fn again() -> Markup {
    html! { div.wide.again { button.key data-do="again" data-key="again" { "Again" small { "or two short blips" } } } }
}

fn will_not_idle(bench: &BenchState) -> Markup {
    let at = format!("{}/idle/stop", shell::job(bench.job.id));
    html! {
        details.wide data-key="will-not" {
            summary.key { "It will not idle there" }
            form.row method="post" action=(at) {
                (shell::seen(bench.job.revision))
                input type="hidden" name="will-not" value="yes";
                label.field { span { "It idles at, rpm" } input type="text" name="rpm" inputmode="numeric" placeholder="as heard"; }
                button.key { "That is the finding" }
            }
        }
    }
}

fn trim(bench: &BenchState, carburettor: u32) -> Markup {
    let at = format!("{}/idle/trimmed", shell::job(bench.job.id));
    html! {
        form.wide.trim method="post" action=(at) {
            (shell::seen(bench.job.revision))
            label.field { span { "stands at, turns out" } input type="number" name="turns" min="0" max="6" step="0.125" required; }
            button.key.main data-key="main" { "Screw " (carburettor) " is trimmed" }
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
