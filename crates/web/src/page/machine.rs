//! A machine: how it was equipped, its jobs, and the form it is entered with.

use bellmouth_core::engine::layout::LAYOUTS;
use bellmouth_core::quantity::TurnsOut;
use bellmouth_workshop::garage::{MachineForm, MachineHistory, layout_of};
use bellmouth_workshop::logbook::{Cooling, Id};
use maud::{Markup, html};

use super::shell;

/// The form for a machine that is not entered yet; `refused` says what was wrong with the last try.
pub(crate) fn new_page(form: &MachineForm, refused: Option<&str>) -> Markup {
    shell::page(
        "Enter a machine",
        html! {
            nav.path { a href="/" aria-label="Garage" { "‹ garage" } }
            main.page {
                h1 { "Enter a machine" }
                @if let Some(refused) = refused { p.notice role="alert" { (refused) } }
                form.split method="post" action="/machine/new" {
                    input type="hidden" name="id" value=(form.id);
                    (fields(form))
                    div.row { button.key.main { "Enter it" } a.key href="/" { "Leave it" } }
                }
            }
        },
    )
}

fn fields(form: &MachineForm) -> Markup {
    html! {
        label.field { span { "What do you call it?" } input type="text" name="name" maxlength="80" required value=(form.name) placeholder="the green 750 twin"; }
        label.field {
            span { "Engine: which cylinder fires when" }
            select name="layout" {
                option value="" selected[form.layout.is_empty()] { "not given" }
                @for layout in LAYOUTS {
                    option value=(layout.name) selected[form.layout == layout.name] { (layout.words) }
                }
            }
            small { "The ear needs it. Without it, type speeds from a tachometer." }
        }
        fieldset {
            legend { "Cooled by" }
            div.choices { @for (value, words) in [("air", "air"), ("liquid", "liquid")] {
                label.choice { input type="radio" name="cooling" value=(value) checked[form.cooling == value]; span { (words) } }
            } }
        }
        label.field { span { "Carburettors" } input type="number" name="carburettors" min="1" max="12" step="1" value=(form.carburettors); }
        label.field {
            span { "Maker's base setting, turns out" }
            input type="text" name="base_turns" inputmode="decimal" value=(form.base_turns) placeholder="leave open if not known";
        }
    }
}

/// A machine's page. `job_id` is the key a new job will have.
pub(crate) fn page(history: &MachineHistory, job_id: Id) -> Markup {
    let machine = &history.machine;
    let cooling = match machine.details.cooling {
        Cooling::Air => "air",
        Cooling::Liquid => "liquid",
        Cooling::NotSaid => "",
    };
    let form = MachineForm {
        id: String::new(),
        name: machine.details.name.clone(),
        layout: machine.details.layout.clone(),
        cooling: cooling.into(),
        carburettors: machine.details.carburettors.to_string(),
        base_turns: String::new(),
    };
    let at = shell::machine(machine.id);
    html_page(history, job_id, &at, &form)
}

fn html_page(history: &MachineHistory, job_id: Id, at: &str, form: &MachineForm) -> Markup {
    let machine = &history.machine;
    shell::page(
        &machine.details.name,
        html! {
            nav.path { a href="/" aria-label="Garage" { "‹ garage" } span.name { (machine.details.name) } }
            @if machine.demo { (shell::demo_flag()) }
            main.page {
                h1 { (machine.details.name) }
                p.lead {
                    @match layout_of(machine) { Some(layout) => (layout.words), None => "engine layout not given: the ear needs it" }
                    @if !form.cooling.is_empty() { " · cooled by " (form.cooling) }
                    " · " (machine.details.carburettors) @if machine.details.carburettors == 1 { " carburettor" } @else { " carburettors" }
                }
                section {
                    h2 { "Jobs" }
                    @if history.jobs.is_empty() {
                        div.empty { p { "No job yet. A job goes from as found to as left, and can be left and taken up again at any point." } }
                    } @else {
                        ul.list { @for (job, left) in &history.jobs {
                            li { a href=(shell::job(job.id)) {
                                span.what { (shell::day(job.opened_ms)) }
                                span.left { @match left { Some(left) => { "left at " (TurnsOut(*left)) }, None => "open" } }
                                @if !job.complaint.is_empty() { span.note { (job.complaint) } }
                            } }
                        } }
                    }
                }
                form.card method="post" action={ (at) "/job" } {
                    h2 { "Start a job" }
                    input type="hidden" name="id" value=(job_id);
                    label.field { span { "What is wrong with it?" } input type="text" name="complaint" maxlength="300" placeholder="coughs off idle"; }
                    div.row { button.key.main { "Start" } }
                }
                section {
                    h2 { "As equipped" }
                    ol.stages { @for build in &history.builds {
                        li.known { i {} div { p { b { (shell::day(build.at_ms)) } } p { (build.note)
                            @if let Some(base) = build.base_turns { " · maker's base setting " (TurnsOut(base)) " turns out" } } } }
                    } }
                }
                details data-key="amend" {
                    summary { "Put right what is written here, or remove the machine" }
                    form.split method="post" action=(at) {
                        input type="hidden" name="seen" value=(machine.revision);
                        (fields(form))
                        div.row { button.key { "Keep" } }
                    }
                    form method="post" action={ (at) "/delete" } { button.key.warn { "Remove this machine" } p.small { "It can be put back for 30 days." } }
                }
            }
        },
    )
}
