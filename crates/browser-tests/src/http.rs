//! Requests without a browser: one a connection, as plain as the protocol allows.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::time::Duration;

/// What came back.
#[derive(Clone, Debug)]
pub struct Answer {
    /// Status code.
    pub status: u16,
    /// The head as it came.
    pub head: String,
    /// The body as text.
    pub body: String,
}

impl Answer {
    /// The value of a header, empty when it is missing.
    pub fn header(&self, name: &str) -> &str {
        self.head
            .lines()
            .filter_map(|line| line.split_once(':'))
            .find(|(header, _)| header.eq_ignore_ascii_case(name))
            .map_or("", |(_, value)| value.trim())
    }
}

/// Sends one request to `host` (address and port) and reads the whole answer.
///
/// # Errors
///
/// What the system said of the connection.
pub fn request(host: &str, method: &str, path: &str, more: &str, body: &str) -> std::io::Result<Answer> {
    let mut stream = TcpStream::connect(host)?;
    stream.set_read_timeout(Some(Duration::from_secs(30)))?;
    let length = body.len();
    write!(
        stream,
        "{method} {path} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\nContent-Length: {length}\r\n{more}\r\n{body}"
    )?;
    let (mut bytes, mut block) = (Vec::new(), [0; 16 * 1024]);
    // Not every server hangs up when it is asked to: a whole answer is enough.
    while !whole(&bytes) {
        match stream.read(&mut block)? {
            0 => break,
            count => bytes.extend(&block[..count]),
        }
    }
    let text = String::from_utf8_lossy(&bytes);
    let (head, body) = text.split_once("\r\n\r\n").unwrap_or((&text, ""));
    Ok(Answer { status: status(head), head: head.into(), body: body.into() })
}

fn status(head: &str) -> u16 {
    head.split(' ').nth(1).and_then(|status| status.parse().ok()).unwrap_or(0)
}

/// Whether these bytes hold a head, and as much after it as the head promises.
fn whole(bytes: &[u8]) -> bool {
    let Some(at) = bytes.windows(4).position(|four| four == b"\r\n\r\n") else { return false };
    let head = String::from_utf8_lossy(&bytes[..at]).into_owned();
    let answer = Answer { status: status(&head), head, body: String::new() };
    answer.header("content-length").parse().is_ok_and(|length: usize| at + 4 + length <= bytes.len())
}

/// Fields as a form sends them.
pub fn form(fields: &[(&str, &str)]) -> String {
    let escape = |text: &str| -> String {
        text.bytes()
            .map(|byte| {
                if byte.is_ascii_alphanumeric() {
                    char::from(byte).to_string()
                } else {
                    format!("%{byte:02X}")
                }
            })
            .collect()
    };
    let pairs: Vec<String> =
        fields.iter().map(|(name, value)| format!("{}={}", escape(name), escape(value))).collect();
    pairs.join("&")
}
