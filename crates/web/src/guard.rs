//! Loopback is not protection: another page in the same browser can reach this server too.
//!
//! Three guards stand before every request. The `Host` must be one of ours, which defeats a name
//! that an outsider points at this machine. Whatever changes something (every POST) and every
//! WebSocket upgrade must come from a page of ours, by its `Origin`. And every answer carries
//! headers that keep foreign scripts, frames and guesses about content away.

use std::net::SocketAddr;

use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use crate::error::Nope;

/// What pages may load: only what this server sends, no inline script or style, no frames.
const CONTENT_SECURITY_POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; font-src 'self'; \
     img-src 'self' data:; connect-src 'self'; worker-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

/// The host names under which this server answers, each with its port.
#[derive(Clone, Debug)]
pub struct Hosts(Vec<String>);

impl Hosts {
    /// The names of a loopback address.
    pub fn of(address: SocketAddr) -> Hosts {
        let port = address.port();
        let mut hosts: Vec<String> =
            ["127.0.0.1", "localhost", "[::1]"].iter().map(|name| format!("{name}:{port}")).collect();
        if port == 80 {
            hosts.extend(["127.0.0.1", "localhost", "[::1]"].map(String::from));
        }
        hosts.push(address.to_string());
        Hosts(hosts)
    }

    fn allows(&self, host: &str) -> bool {
        self.0.iter().any(|ours| ours.eq_ignore_ascii_case(host))
    }
}

/// Lets a request through when its host and, where it matters, its origin are ours. Every answer,
/// a refusal included, carries the headers.
pub(crate) async fn guard(State(hosts): State<Hosts>, request: Request, next: Next) -> Response {
    let mut response = match admit(&hosts, &request) {
        Ok(()) => next.run(request).await,
        Err(refused) => refused.into_response(),
    };
    let headers = response.headers_mut();
    for (name, value) in [
        (header::CONTENT_SECURITY_POLICY, CONTENT_SECURITY_POLICY),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::X_FRAME_OPTIONS, "DENY"),
        (header::REFERRER_POLICY, "same-origin"),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    headers.insert(
        "permissions-policy",
        HeaderValue::from_static("microphone=(self), camera=(), geolocation=()"),
    );
    headers.insert("cross-origin-resource-policy", HeaderValue::from_static("same-origin"));
    headers.entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
    response
}

/// Refuses what comes under a foreign name or from a foreign page.
fn admit(hosts: &Hosts, request: &Request) -> Result<(), Nope> {
    let host = text(request.headers(), header::HOST)
        .or_else(|| request.uri().authority().map(|authority| authority.as_str()))
        .unwrap_or_default();
    if !hosts.allows(host) {
        return Err(Nope::refused(
            StatusCode::MISDIRECTED_REQUEST,
            format!("this bench does not answer to the host name \"{host}\""),
            format!("open it at its own address, http://{}/", hosts.0[0]),
        ));
    }
    let upgrades =
        text(request.headers(), header::UPGRADE).is_some_and(|to| to.eq_ignore_ascii_case("websocket"));
    if upgrades || !matches!(*request.method(), Method::GET | Method::HEAD) {
        let origin = text(request.headers(), header::ORIGIN).unwrap_or_default();
        let ours = origin.strip_prefix("http://").is_some_and(|origin| origin.eq_ignore_ascii_case(host));
        if !ours {
            return Err(Nope::refused(
                StatusCode::FORBIDDEN,
                format!("this request came from \"{origin}\", not from a page of this bench"),
                "open the bench itself and do it there",
            ));
        }
    }
    Ok(())
}

fn text(headers: &HeaderMap, name: header::HeaderName) -> Option<&str> {
    headers.get(name).and_then(|value| value.to_str().ok())
}
