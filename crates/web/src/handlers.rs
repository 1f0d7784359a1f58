//! What answers each address. A handler reads a form, asks the workshop, hands the answer to a page.

use axum::Form;
use axum::extract::{FromRequest, Request};
use axum::http::{HeaderMap, StatusCode, header};
use bellmouth_workshop::garage::page_id;
use bellmouth_workshop::logbook::Id;

use crate::error::Nope;

pub(crate) mod bench;
pub(crate) mod garage;
pub(crate) mod job;
pub(crate) mod machine;
pub(crate) mod sound;

/// The key in an address.
pub(crate) fn key(text: &str) -> Result<Id, Nope> {
    page_id(text).map_err(|_| Nope::not_found(format!("\"{text}\" is no key of a machine or job")))
}

/// Whether the page asked for JSON: it stays where it is, and shows a sentence if there is one.
pub(crate) fn wants_json(headers: &HeaderMap) -> bool {
    headers
        .get(header::ACCEPT)
        .and_then(|value| value.to_str().ok())
        .is_some_and(|accept| accept.contains("json"))
}

/// A form as it came: field and value, in order, fields repeated where they are.
pub(crate) struct Fields(pub(crate) Vec<(String, String)>);

impl<S: Send + Sync> FromRequest<S> for Fields {
    type Rejection = Nope;

    async fn from_request(request: Request, state: &S) -> Result<Fields, Nope> {
        let stay = wants_json(request.headers());
        match Form::<Vec<(String, String)>>::from_request(request, state).await {
            Ok(Form(fields)) => Ok(Fields(fields)),
            Err(rejected) if rejected.status() == StatusCode::PAYLOAD_TOO_LARGE => Err(Nope::refused(
                rejected.status(),
                "the form is larger than 64 kB",
                "shorten what was typed",
            )
            .in_json(stay)),
            Err(rejected) => {
                let because = rejected.body_text();
                Err(Nope::refused(
                    rejected.status(),
                    format!("the form was not read: {because}"),
                    "reload the page and send it again",
                )
                .in_json(stay))
            }
        }
    }
}

impl Fields {
    /// The value of a field; empty when it is missing.
    pub(crate) fn get(&self, name: &str) -> &str {
        self.0.iter().find(|(field, _)| field == name).map_or("", |(_, value)| value.as_str())
    }

    /// Every value of a field.
    pub(crate) fn all(&self, name: &str) -> Vec<String> {
        self.0.iter().filter(|(field, _)| field == name).map(|(_, value)| value.clone()).collect()
    }

    /// The revision the form was drawn from.
    pub(crate) fn seen(&self) -> Option<i64> {
        self.get("seen").parse().ok()
    }
}
