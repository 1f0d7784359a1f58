//! As left: the count to the seat, what was found, what was gained, the way back.

use bellmouth_core::quantity::TurnsOut;
use bellmouth_workshop::bench::gate::Answer;
use bellmouth_workshop::bench::{BenchState, cautions};
use maud::{Markup, html};

use super::before::count_pad;
use super::idle::{curve, known};
use super::shell::{self, Step};

/// The last page of a job.
pub(crate) fn page(bench: &BenchState, refused: Option<&str>) -> Markup {
    let left = bench.facts.left_turns();
    let set = bench.set_at();
    let start = left.or(set).or(Some(bench.position()));
    shell::scripted(
        "As left",
        Some("page.js"),
        html! {
            (shell::path(bench, Step::Left))
            main.page {
                h1 { "As left" }
                @if let Some(refused) = refused { p.notice role="alert" { (refused) } }
                @if let Some(left) = left {
                    div.say.plain.done { b { "Left at " (left) " turns out" } span { "counted to the seat" (against(set, left)) } }
                }
                form.split.no-print method="post" action={ (shell::job(bench.job.id)) "/left" } {
                    (shell::seen(bench.job.revision))
                    fieldset.card {
                        legend { @if left.is_some() { "Counted again" } @else { "Engine off. Count the screw in to its seat, then out again" } }
                        (count_pad("turns", "Turns out, counted to the seat", start))
                        div.row { button.key.main { "That is as left" } }
                    }
                    div {
                        p { "A hand adds up its errors over a sweep. The count to the seat, engine stopped, is what was really left." }
                        p.small { "Then balance again, stop, three blips, hot restart, ride. The job is not done before the ride." }
                    }
                }
                (finding(bench))
                section.card { (curve(bench)) (known(bench)) }
                (way_back(bench))
                section {
                    h2 { "Checked before the screw" }
                    table { tbody { @for (question, answer) in bench.gate() {
                        tr { td { (question.ask) } td { (answer.map_or("not asked", Answer::says)) } }
                    } } }
                }
                p { (cautions::NOT_HEARD.says) }
                p.small { a href=(format!("{}/readings.csv", shell::job(bench.job.id))) { "Readings as a table" } " · "
                    a href=(format!("{}/sweep.json", shell::job(bench.job.id))) { "the answer as JSON" } }
            }
        },
    )
}

/// How the count differs from where the screw was set.
fn against(set: Option<TurnsOut>, left: TurnsOut) -> String {
    match set {
        Some(set) if set.on_grid() == left.on_grid() => ", as set".into(),
        Some(set) => {
            format!(", but set to {set}: the count is what holds; set it again if it should stand at {set}")
        }
        None => String::new(),
    }
}

/// The verdicts with their probabilities.
pub(crate) fn finding(bench: &BenchState) -> Markup {
    let Some(sweep) = bench.answer() else { return html! {} };
    let told = sweep
        .verdicts
        .iter()
        .enumerate()
        .filter(|(index, verdict)| *index == 0 || 0.05 <= verdict.probability);
    html! {
        section.card {
            h2 { "Finding" }
            @for (_, verdict) in told {
                div { p { b { (verdict.name.replace('-', " ")) } " · " (percent(verdict.probability)) }
                    p.small { (verdict.because) } }
            }
        }
    }
}

/// A probability as a person reads it: never quite nothing, never quite certain.
fn percent(probability: f64) -> String {
    match 100.0 * probability {
        high if 99.0 < high => "over 99 %".into(),
        low if low < 1.0 => "under 1 %".into(),
        middle => format!("{middle:.0} %"),
    }
}

/// How to go back to as found.
fn way_back(bench: &BenchState) -> Markup {
    let Some(found) = bench.as_found() else { return html! {} };
    let here = bench.facts.left_turns().unwrap_or_else(|| bench.position());
    let turns = TurnsOut((found.0 - here.0).abs());
    html! {
        section.card {
            h2 { "The way back" }
            p { "Found at " b { (found) } " turns out. "
                @if turns.on_grid().0 == 0.0 { "It stands there." }
                @else { "From " (here) " that is " b { (if found.0 < here.0 { "in " } else { "out " }) (turns) } "." } }
        }
    }
}
