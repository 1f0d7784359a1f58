//! The garage: the machines, what was left on each, what is open.

use bellmouth_workshop::garage::{Garage, layout_of, left_words};
use bellmouth_workshop::logbook::Summary;
use maud::{Markup, html};

use super::shell;

/// The garage.
pub(crate) fn page(garage: &Garage) -> Markup {
    shell::page(
        "Garage",
        html! {
            @if garage.has_demo { (shell::demo_flag()) }
            main.page {
                h1 { "Garage" }
                @if garage.machines.is_empty() {
                    div.empty {
                        p { "No machine yet. Enter the one on the stand: a name is enough to begin." }
                        div.row { a.key.main href="/machine/new" { "Enter a machine" } }
                    }
                } @else {
                    ul.list { @for summary in &garage.machines { li { (entry(summary)) } } }
                    div.row {
                        a.key.main href="/machine/new" { "Enter a machine" }
                        @if garage.has_demo {
                            form method="post" action="/demo/remove" { button.key { "Remove the demonstration" } }
                        }
                    }
                }
                @if !garage.deleted.is_empty() {
                    details {
                        summary { "Removed machines, kept for 30 days" }
                        ul.list { @for machine in &garage.deleted {
                            li.row {
                                span { (machine.details.name) }
                                form method="post" action={ (shell::machine(machine.id)) "/restore" } { button.key.quiet { "Put back" } }
                            }
                        } }
                    }
                }
                p.small { a href="/cautions" { "Cautions" } ": carbon monoxide, heat, petrol, the stand. Read them once before the first engine runs." }
            }
        },
    )
}

fn entry(summary: &Summary) -> Markup {
    let machine = &summary.machine;
    let layout = layout_of(machine).map_or("layout not given", |layout| layout.words);
    let open = summary.newest_job.as_ref().filter(|job| job.closed_ms.is_none());
    let left = summary.left.as_ref();
    // A job is still open business while its own screw was not counted to the seat.
    let unfinished = open.filter(|job| left.is_none_or(|left| left.job != job.id));
    html! {
        a href=(shell::machine(machine.id)) {
            span.what { (machine.details.name) @if machine.demo { " " small { "demo" } } }
            span.left { @if let Some(left) = left { (left_words(left)) } }
            span.note {
                (layout)
                @if let Some(left) = left { " · " (shell::day(left.at_ms)) }
                @if let Some(job) = unfinished { " · job of " (shell::day(job.opened_ms)) " still open" }
                @if summary.jobs == 0 { " · no job yet" }
            }
        }
    }
}
