//! What goes wrong at the rim: one type, one page, one JSON shape, always with a way on.

use axum::Json;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use bellmouth_workshop::refusal::{Fault, Refusal};
use maud::html;

use crate::page::shell;

/// A request that gets no answer, and why.
#[derive(Debug)]
pub(crate) struct Nope {
    status: StatusCode,
    refusal: Refusal,
    json: bool,
}

impl Nope {
    /// A refusal with its status.
    pub(crate) fn refused(status: StatusCode, message: impl Into<String>, remedy: impl Into<String>) -> Nope {
        Nope { status, refusal: Refusal::misused(message, remedy), json: false }
    }

    /// Nothing stands at this address.
    pub(crate) fn not_found(what: impl Into<String>) -> Nope {
        Nope::refused(StatusCode::NOT_FOUND, what, "go back to the garage and choose from there")
    }

    /// The same, told as JSON when the page asked for it.
    pub(crate) fn in_json(mut self, json: bool) -> Nope {
        self.json = json;
        self
    }
}

impl From<Refusal> for Nope {
    fn from(refusal: Refusal) -> Nope {
        let status = match refusal.fault {
            Fault::Misused => StatusCode::BAD_REQUEST,
            Fault::Unanswerable => StatusCode::UNPROCESSABLE_ENTITY,
            Fault::Ours => StatusCode::INTERNAL_SERVER_ERROR,
        };
        Nope { status, refusal, json: false }
    }
}

impl IntoResponse for Nope {
    fn into_response(self) -> Response {
        if self.json {
            return (self.status, Json(serde_json::json!({ "error": self.refusal }))).into_response();
        }
        let page = shell::page(
            "Not done",
            html! {
                main.page {
                    h1 { "Not done" }
                    div.notice role="alert" { p { (sentence(&self.refusal.message)) } p { (sentence(&self.refusal.remedy)) } }
                    p { "Nothing that was shown as saved is lost." }
                    div.row { a.key href="/" { "To the garage" } }
                }
            },
        );
        (self.status, page).into_response()
    }
}

/// A refusal's part as a sentence: capital first, full stop last.
pub(crate) fn sentence(text: &str) -> String {
    let mut characters = text.chars();
    let first = characters.next().map(|first| first.to_uppercase().collect::<String>()).unwrap_or_default();
    let stop = if text.ends_with(['.', '!', '?']) { "" } else { "." };
    format!("{first}{}{stop}", characters.as_str())
}
