//! What every page stands in.

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
