//! A job: the path from as found to as left. Each stage says in one line what is known or missing.

use bellmouth_workshop::bench::gate::Answer;
use bellmouth_workshop::bench::{BenchState, Place, Stage};
use bellmouth_workshop::logbook::ScrewKind;
use maud::{Markup, html};

use super::shell::{self, Step};

/// A job's page.
pub(crate) fn page(bench: &BenchState) -> Markup {
    let base = shell::job(bench.job.id);
    shell::page(
        &bench.machine.details.name,
        html! {
            (shell::path(bench, Step::Job))
            main.page {
                h1 { "Job of " (shell::day(bench.job.opened_ms)) }
                @if !bench.job.complaint.is_empty() { p.lead { "“" (bench.job.complaint) "”" } }
                ol.stages {
                    @for (tail, what, known, words) in stages(bench) {
                        li.known[known] { i {} a href=(format!("{base}/{tail}")) { span.what { (what) } span { (words) } } }
                    }
                }
                p.small { "Nothing forces this order; the bench itself opens when the first three are known. "
                    a href=(shell::machine(bench.machine.id)) { "The machine" } " · " a href="/cautions" { "Cautions" } }
            }
        },
    )
}

fn stages(bench: &BenchState) -> Vec<(&'static str, &'static str, bool, String)> {
    let counts = bench.facts.found_turns();
    let found = match counts.as_slice() {
        [] => "not counted yet: engine stopped, in gently to the seat".to_string(),
        counts => {
            let words: Vec<String> = counts.iter().map(ToString::to_string).collect();
            format!("{} turns out", words.join(" · "))
        }
    };
    let screw = match bench.facts.screw() {
        ScrewKind::NotSaid => "not said yet",
        ScrewKind::Fuel => "fuel screw: out is richer",
        ScrewKind::Air => "air screw: out is leaner",
        ScrewKind::Other => "neither: this bench cannot sweep it",
    };
    let gate = bench.gate();
    let answered = gate.iter().filter(|(_, answer)| answer.is_some()).count();
    let bad = gate.iter().filter(|(_, answer)| *answer == Some(Answer::Bad)).count();
    let check = match (answered, bad) {
        (0, _) => "nothing looked at yet".to_string(),
        (answered, 0) => format!("{answered} of {} answered", gate.len()),
        (answered, bad) => format!("{answered} of {} answered, {bad} not good", gate.len()),
    };
    let open_check = bench.missing().iter().any(|missing| missing.place == Place::Check);
    let readings = bench.readings.iter().filter(|entry| entry.struck.is_none()).count();
    let idle = match (readings, bench.answer()) {
        (0, _) => "no reading yet".to_string(),
        (1, None) => "1 reading".to_string(),
        (count, None) => format!("{count} readings"),
        (count, Some(sweep)) => format!(
            "{count} reading{}, lean edge {} (between {} and {}), set to {}",
            if count == 1 { "" } else { "s" },
            sweep.edge.best,
            sweep.edge.low,
            sweep.edge.high,
            sweep.setting_on_grid
        ),
    };
    let left = match &bench.stage {
        Stage::Left { turns } => format!("{turns} turns out, counted to the seat"),
        _ => "not counted yet".to_string(),
    };
    vec![
        ("found", "Found", !counts.is_empty(), found),
        (
            "screw",
            "Screw",
            !matches!(bench.facts.screw(), ScrewKind::NotSaid | ScrewKind::Other),
            screw.into(),
        ),
        ("check", "Checked", 0 < answered && !open_check, check),
        ("idle", "Idle mixture", bench.answer().is_some_and(|sweep| sweep.enough), idle),
        ("left", "Left", matches!(bench.stage, Stage::Left { .. }), left),
    ]
}
