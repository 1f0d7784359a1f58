//! The files that pages load: style, script, type. Compiled in; nothing is read at run time.

use axum::extract::Path;
use axum::http::header;
use axum::response::{IntoResponse, Response};

use crate::error::Nope;

/// Sends one of the files.
pub(crate) async fn asset(Path(name): Path<String>) -> Result<Response, Nope> {
    const SCRIPT: &str = "text/javascript; charset=utf-8";
    const WORDS: &str = "text/plain; charset=utf-8";
    let (kind, content): (&str, &[u8]) = match name.as_str() {
        "bench.css" => ("text/css; charset=utf-8", include_bytes!("../static/bench.css")),
        "bench.js" => (SCRIPT, include_bytes!("../static/bench.js")),
        "microphone.js" => (SCRIPT, include_bytes!("../static/microphone.js")),
        "speaker.js" => (SCRIPT, include_bytes!("../static/speaker.js")),
        "page.js" => (SCRIPT, include_bytes!("../static/page.js")),
        "listen-worklet.js" => (SCRIPT, include_bytes!("../static/listen-worklet.js")),
        "bench-500.woff2" => ("font/woff2", include_bytes!("../static/bench-500.woff2")),
        "bench-700.woff2" => ("font/woff2", include_bytes!("../static/bench-700.woff2")),
        "bench-font-LICENSE.txt" => (WORDS, include_bytes!("../static/bench-font-LICENSE.txt")),
        "mark.svg" => ("image/svg+xml", include_bytes!("../static/mark.svg")),
        _ => return Err(Nope::not_found(format!("there is no file \"{name}\" here"))),
    };
    Ok(([(header::CONTENT_TYPE, kind), (header::CACHE_CONTROL, "max-age=60")], content).into_response())
}
