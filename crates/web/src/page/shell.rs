//! What every page stands in.

use bellmouth_workshop::bench::BenchState;
use bellmouth_workshop::logbook::Id;
use maud::{DOCTYPE, Markup, html};

/// A whole page.
pub(crate) fn page(title: &str, body: Markup) -> Markup {
    scripted(title, None, body)
}

/// A whole page with one of our modules.
pub(crate) fn scripted(title: &str, module: Option<&str>, body: Markup) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1, viewport-fit=cover";
                meta name="color-scheme" content="light dark";
                title { (title) " · Bellmouth" }
                link rel="icon" href="/assets/mark.svg" type="image/svg+xml";
                link rel="stylesheet" href="/assets/bench.css";
                @if let Some(module) = module { script type="module" src={ "/assets/" (module) } {} }
            }
            body { (body) }
        }
    }
}

/// A step of a job, as the path along the top names it.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum Step {
    Job,
    Found,
    Screw,
    Check,
    Idle,
    Left,
}

/// The path along the top of a job's pages: from as found to as left.
pub(crate) fn path(bench: &BenchState, here: Step) -> Markup {
    let steps = [
        (Step::Found, "found", "found"),
        (Step::Screw, "screw", "screw"),
        (Step::Check, "checked", "check"),
        (Step::Idle, "idle", "idle"),
        (Step::Left, "left", "left"),
    ];
    let current = |step| if step == here { Some("page") } else { None };
    html! {
        nav.path aria-label="Job" {
            a href="/" aria-label="Garage" { "‹" }
            a.name href=(job(bench.job.id)) aria-current=[current(Step::Job)] { (bench.machine.details.name) }
            @for (step, words, tail) in steps {
                a href=(format!("{}/{tail}", job(bench.job.id))) aria-current=[current(step)] { (words) }
            }
        }
        @if bench.job.demo { (demo_flag()) }
    }
}

/// The flag over everything that belongs to the demonstration.
pub(crate) fn demo_flag() -> Markup {
    html! { p.demo-flag { "Demonstration: invented machine, synthesised engine" } }
}

/// Address of a job.
pub(crate) fn job(id: Id) -> String {
    format!("/job/{id}")
}

/// Address of a machine.
pub(crate) fn machine(id: Id) -> String {
    format!("/machine/{id}")
}

/// The day of a time, in this machine's time zone.
pub(crate) fn day(at_ms: i64) -> String {
    jiff::Timestamp::from_millisecond(at_ms).map_or_else(
        |_| "unknown day".into(),
        |at| at.to_zoned(jiff::tz::TimeZone::system()).strftime("%-d %B %Y").to_string(),
    )
}

/// The revision a form was drawn from: what changed since is not overwritten.
pub(crate) fn seen(revision: i64) -> Markup {
    html! { input type="hidden" name="seen" value=(revision); }
}
