//! What was held, drawn: the screw with its turns, speed against turns, what is known.

use bellmouth_chart::{Mark, Plot, Range};
use bellmouth_core::idle::{Outcome, Sweep};
use bellmouth_core::quantity::TurnsOut;
use bellmouth_workshop::bench::{BenchState, Stage, cautions};
use bellmouth_workshop::logbook::Entry;
use bellmouth_workshop::sweep::pick_up_words;
use maud::{Markup, PreEscaped, html};

use crate::page::dial::Dial;

pub(super) fn dial(bench: &BenchState) -> Markup {
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

fn counted(bench: &BenchState) -> impl Iterator<Item = &Entry> {
    bench.readings.iter().filter(|entry| entry.struck.is_none())
}

/// Speed against turns: readings, the fit with its band, the edge's interval, the setting.
pub(in crate::page) fn curve(bench: &BenchState) -> Markup {
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
pub(in crate::page) fn known(bench: &BenchState) -> Markup {
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
