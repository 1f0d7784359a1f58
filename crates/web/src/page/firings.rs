//! Single firings of a recording: how they vary, how many are weak, how strong each cylinder sounds.

use bellmouth_workshop::bench::BenchState;
use bellmouth_workshop::firings::{Firings, Ranged};
use maud::{Markup, html};

/// What the last recording of a hold told of single firings, each figure with its interval.
pub(super) fn firings(bench: &BenchState) -> Markup {
    let Some(heard) = bench.facts.firings() else { return html! {} };
    let Some(entry) = bench.readings.iter().find(|entry| entry.reading.id.to_string() == heard.reading)
    else {
        return html! {};
    };
    html! {
        details data-key="firings" open { summary { "Single firings, recording at " (entry.turns()) }
            div.stack {
                @if let Some(firings) = &heard.firings { (figures(firings)) }
                ul.caveats { @for caveat in &heard.caveats { li { (crate::error::sentence(caveat)) } } }
            }
        }
    }
}

fn figures(firings: &Firings) -> Markup {
    let Firings { variation_pct, weak_pct, strength } = firings;
    html! {
        p { "Strength varies from firing to firing by " b { (format!("{:.0} %", variation_pct.value)) }
            " (" (between(variation_pct, 0)) " %), weak ones left out." }
        table id="firings" {
            thead { tr { th { "firing" } th.number { "weak or missing" } @if !strength.is_empty() { th.number { "strength" } } } }
            tbody { @for (position, weak) in weak_pct.iter().enumerate() { tr {
                td { (position + 1) }
                td.number { (format!("{:.0} %", weak.value)) " " small { (between(weak, 0)) } }
                @if let Some(strength) = strength.get(position) {
                    td.number { (format!("{:.2}", strength.value)) " " small { (between(strength, 2)) } }
                }
            } } }
        }
        p.small { "Beside each figure stands its 90 % interval. Strength is a firing's mean energy at the microphone, the strongest 1." }
        p { b { "Strength finds a missing cylinder, never a lean one." } }
    }
}

fn between(figure: &Ranged, digits: usize) -> String {
    format!("{:.digits$} – {:.digits$}", figure.low, figure.high)
}
