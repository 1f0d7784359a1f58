//! What comes before the first hold: the guided count, which screw, the gate.

use bellmouth_core::quantity::TurnsOut;
use bellmouth_workshop::bench::gate::{Answer, Question};
use bellmouth_workshop::bench::{BenchState, cautions};
use bellmouth_workshop::logbook::ScrewKind;
use maud::{Markup, html};

use super::shell::{self, Step};

/// A pad of large keys around a count of turns; without script, a plain number field.
pub(crate) fn count_pad(name: &str, label: &str, value: Option<TurnsOut>) -> Markup {
    let typed = value.map(|turns| turns.0.to_string()).unwrap_or_default();
    let shown = value.map_or("–".into(), |turns| turns.to_string());
    html! {
        div.plain { div.count role="group" aria-label=(label) {
            button.key type="button" data-step="-1" { "−1" }
            button.key type="button" data-step="-0.125" { "−⅛" }
            div { output aria-live="polite" { (shown) } input type="number" name=(name) aria-label=(label) min="0" max="8" step="0.125" required value=(typed); }
            button.key type="button" data-step="0.125" { "+⅛" }
            button.key type="button" data-step="1" { "+1" }
        } }
    }
}

/// The guided count: as found.
pub(crate) fn found_page(bench: &BenchState, refused: Option<&str>) -> Markup {
    let counts = bench.facts.found_turns();
    let screws = bench.machine.details.carburettors.max(1) as usize;
    shell::scripted(
        "As found",
        Some("page.js"),
        html! {
            (shell::path(bench, Step::Found))
            main.page {
                h1 { "How was the screw found?" }
                @if let Some(refused) = refused { p.notice role="alert" { (refused) } }
                ol.steps {
                    li { span { b { "Engine stopped." } " Cool enough to touch what stands beside the screw." } }
                    li { span { "A mark on the driver, slot in view. Turn the screw " b { "in, gently" } ", and count every eighth." } }
                    li { span { "Stop at the first touch of the seat. " (cautions::SEAT.short) "." } }
                    li { span { "Turn it " b { "out again by the same count" } ". Write the count here." } }
                }
                form.stack method="post" action={ (shell::job(bench.job.id)) "/found" } {
                    (shell::seen(bench.job.revision))
                    @for index in 0..screws {
                        fieldset.card {
                            legend { @if screws == 1 { "Turns out from the seat" } @else { "Screw " (index + 1) ": turns out from the seat" } }
                            (count_pad("count", &format!("Turns out, screw {}", index + 1), counts.get(index).copied()))
                        }
                    }
                    div {
                        @if 1 < screws { p.small { "Before the sweep, set all screws to the count of screw 1: they are moved together. More than one turn apart: stop, find the cause." } }
                        div.row { button.key.main { "That is as found" } }
                    }
                }
                ul.cautions { li { (cautions::SEAT.says) } li { (cautions::SEAL.says) } }
            }
        },
    )
}

/// Which screw, from pictures.
pub(crate) fn screw_page(bench: &BenchState, refused: Option<&str>) -> Markup {
    let chosen = bench.facts.screw();
    let choices = [
        (
            "fuel",
            ScrewKind::Fuel,
            "Fuel screw",
            "on the engine side of the body, as a rule; out is richer",
            FUEL_SCREW,
        ),
        (
            "air",
            ScrewKind::Air,
            "Air screw",
            "on the air-filter side of the body, as a rule; out is leaner",
            AIR_SCREW,
        ),
        (
            "other",
            ScrewKind::Other,
            "Neither",
            "moves idle speed only, moves a jet, two screws, or none at all",
            NO_SCREW,
        ),
    ];
    shell::page(
        "Which screw",
        html! {
            (shell::path(bench, Step::Screw))
            main.page {
                h1 { "Which screw is it?" }
                p.lead { "Where it sits is a rule with exceptions. The maker's word decides; the first two holds confirm it." }
                @if let Some(refused) = refused { p.notice role="alert" { (refused) } }
                form method="post" action={ (shell::job(bench.job.id)) "/screw" } {
                    (shell::seen(bench.job.revision))
                    div.choices.pictures {
                        @for (value, kind, words, where_, drawing) in choices {
                            label.choice.picture {
                                input type="radio" name="screw" value=(value) required checked[chosen == kind];
                                span { (maud::PreEscaped(drawing)) b { (words) } small { (where_) } }
                            }
                        }
                    }
                    div.row { button.key.main { "This one" } }
                }
                p.small { "A sweep never infers the direction of a screw: a top without a cliff looks alike from both sides. On a constant-depression \
                           body whose jet moves, or a bypass screw that only changes speed, choose neither: typed readings and this bench do not cover it." }
            }
        },
    )
}

/// The gate, and what only a person knows of the idle.
pub(crate) fn check_page(bench: &BenchState, refused: Option<&str>) -> Markup {
    let gate = bench.gate();
    let (drop, back) = bench.facts.maker_procedure().unzip();
    let number = |value: Option<f64>| value.map(|value| value.to_string()).unwrap_or_default();
    shell::page(
        "Checked",
        html! {
            (shell::path(bench, Step::Check))
            main.page {
                h1 { "Before the screw" }
                p.lead { "A mixture screw cannot mend what is wrong elsewhere. Asked once a job; the answers stand beside the result." }
                @if let Some(refused) = refused { p.notice role="alert" { (refused) } }
                form.split method="post" action={ (shell::job(bench.job.id)) "/check" } {
                    (shell::seen(bench.job.revision))
                    div.questions { @for (question, answer) in &gate { (ask(question, *answer)) } }
                    div.stack {
                        section.card {
                            h2 { "Its idle speed" }
                            label.field {
                                span { "What does a tachometer show, roughly?" }
                                input type="text" inputmode="numeric" name="about_rpm" value=(number(bench.facts.about_rpm())) placeholder="1000";
                                small { @if bench.wants_tachometer() { "Wanted on this engine: an even firing order, or one not given, sounds alike at double and half speed." }
                                    @else { "Helps the ear; may stay open." } }
                            }
                            label.field { span { "Maker's idle speed, rpm" } input type="text" inputmode="numeric" name="idle_rpm" value=(number(bench.facts.maker_idle_rpm())) placeholder="leave open if not known";
                                small { "Holds are not sought more than 15 % below it: oil pressure." } }
                        }
                        section.card {
                            h2 { "Maker's procedure, if there is one" }
                            p.small { "Where the maker gives one it is the default here, and on a sealed road machine the only lawful one." }
                            label.field { span { "Turn in until the speed drops by, rpm" } input type="text" inputmode="numeric" name="drop_rpm" value=(number(drop)); }
                            label.field { span { "then back out, turns" } input type="text" inputmode="decimal" name="back_out_turns" value=(number(back)); }
                        }
                        div.row { button.key.main { "Keep these answers" } }
                    }
                }
                ul.cautions { @for caution in cautions::BENCH { li { (caution.says) } } }
            }
        },
    )
}

fn ask(question: &Question, answer: Option<Answer>) -> Markup {
    let name = format!("gate-{}", question.name);
    html! {
        fieldset.question {
            legend { (question.ask) @if question.must { " " small { "(the bench does not open without it)" } } }
            p.small { (question.how) }
            div.choices { @for choice in Answer::ALL {
                label.choice { input type="radio" name=(name) value=(choice.word()) checked[answer == Some(choice)]; span { (choice.says()) } }
            } }
        }
    }
}

/// Every caution, whole.
pub(crate) fn cautions_page() -> Markup {
    shell::page(
        "Cautions",
        html! {
            nav.path { a href="/" aria-label="Garage" { "‹ garage" } }
            main.page {
                h1 { "Cautions" }
                p.lead { "Common practice, no source. Local codes and licensed practice decide." }
                ul.cautions { @for caution in cautions::BENCH { li { b { (caution.short) ". " } (caution.says) } } }
                p { (cautions::NOT_HEARD.says) }
            }
        },
    )
}

const FUEL_SCREW: &str = r#"<svg class="drawing" viewBox="0 0 220 130" role="img" aria-label="Body in section: the screw enters on the engine side">
<path class="body" d="M10 42 H70 Q110 30 150 42 H210 M10 88 H70 Q110 98 150 88 H210"/><path class="thin" d="M104 36 V92 M116 36 V92"/>
<path class="brass" d="M166 88 l6 -14 l6 14 v28 h6 v9 h-24 v-9 h6z"/><path class="arrow" d="M22 65 H82 m-10 -6 l10 6 l-10 6"/><text x="14" y="32">filter</text><text x="166" y="32">engine</text></svg>"#;
const AIR_SCREW: &str = r#"<svg class="drawing" viewBox="0 0 220 130" role="img" aria-label="Body in section: the screw enters on the air-filter side">
<path class="body" d="M10 42 H70 Q110 30 150 42 H210 M10 88 H70 Q110 98 150 88 H210"/><path class="thin" d="M104 36 V92 M116 36 V92"/>
<path class="brass" d="M36 88 l6 -14 l6 14 v28 h6 v9 h-24 v-9 h6z"/><path class="arrow" d="M138 65 H198 m-10 -6 l10 6 l-10 6"/><text x="14" y="32">filter</text><text x="166" y="32">engine</text></svg>"#;
const NO_SCREW: &str = r#"<svg class="drawing" viewBox="0 0 220 130" role="img" aria-label="Body in section without a mixture screw">
<path class="body" d="M10 42 H70 Q110 30 150 42 H210 M10 88 H70 Q110 98 150 88 H210"/><path class="thin" d="M104 36 V92 M116 36 V92"/>
<text x="14" y="32">filter</text><text x="166" y="32">engine</text><text x="104" y="120">?</text></svg>"#;
