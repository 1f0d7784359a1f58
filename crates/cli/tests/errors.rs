//! Bad input to every command: one sentence with the value, its place and the remedy, and nothing touched.
//!
//! The page `docs/errors.md` is what these cases print; `BELLMOUTH_WRITE=1` writes it anew.

#![allow(clippy::unwrap_used, reason = "a helper of a test fails by panicking")]

mod common;

use std::net::TcpListener;

use common::cases::{BAD, Bad, GOOD, Good};
use common::page::{self, Answered, Refused};
use common::{Folder, Said, inputs};

/// Words that a mechanic cannot use, or that promise what nobody can.
const UNFIT: &[&str] = &[
    "os error",
    "panicked",
    "unwrap",
    "Err(",
    "Error {",
    "Usage:",
    "error:",
    "line 0",
    "SQLITE",
    "safe",
    "column 0",
    "moov",
    "malformed",
    "at line 1 column",
    ".part",
    ".lock",
];

#[test]
fn bad_input_is_refused_in_one_sentence_and_the_page_says_the_same() {
    let folder = Folder::new("errors");
    inputs::write_all(&folder);
    let _busy = folder.serve("busy.sqlite");
    let taken = TcpListener::bind("127.0.0.1:0").unwrap();
    let port = taken.local_addr().unwrap().port().to_string();
    // How long it is depends on the program that coded it.
    let coded = folder.read("cut-index-first.mp4").len();
    let mut wrong = Vec::new();
    let mut refused = Vec::new();
    for (section, cases) in BAD {
        for case in *cases {
            let typed = case.typed.replace("PORT", &port);
            let words: Vec<&str> = typed.split(' ').collect();
            let stable = |text: &str| {
                text.replace(&folder.path().display().to_string(), "FOLDER")
                    .replace(&format!("127.0.0.1:{port}"), "127.0.0.1:PORT")
                    .replace(&format!("of {coded} bytes"), "of NNNN bytes")
            };
            let plain = folder.run(&words);
            let with_json = folder.run(&[&words[..], &["--json"]].concat());
            // Where --json itself is misused it was typed already, and is not to be typed twice.
            let with_json = if words.contains(&"--json") { folder.run(&words) } else { with_json };
            let plain = if words.contains(&"--json") { with_json.clone() } else { plain };
            let says = stable(plain.stderr.trim_end().trim_start_matches("bellmouth: "));
            for complaint in complaints(case, &plain, &with_json, &says) {
                wrong.push(format!("bellmouth {}: {complaint}\n    {}", case.typed, plain.stderr.trim_end()));
            }
            refused.push(Refused {
                section,
                given: case.given,
                typed: case.typed.to_owned(),
                says,
                status: case.status,
            });
        }
    }
    assert!(wrong.is_empty(), "{} complaints:\n{}", wrong.len(), wrong.join("\n"));

    let answered: Vec<Answered> = GOOD.iter().map(|case| answered(&folder, case)).collect();
    nothing_was_touched(&folder);
    let page = page::page(&refused, &answered);
    if std::env::var_os("BELLMOUTH_WRITE").is_some() {
        std::fs::write(page::path(), &page).unwrap();
    }
    let committed = std::fs::read_to_string(page::path()).unwrap_or_default();
    for (says, now) in committed.lines().zip(page.lines()) {
        assert_eq!(says, now, "docs/errors.md is out of date: run scripts/make-errors");
    }
    assert_eq!(committed, page, "docs/errors.md is out of date: run scripts/make-errors");
}

/// Whatever is wrong with a refusal.
fn complaints(case: &Bad, plain: &Said, with_json: &Said, says: &str) -> Vec<String> {
    let mut wrong = Vec::new();
    for said in [plain, with_json] {
        if said.status != Some(case.status) {
            wrong.push(format!("the exit status is {:?}, not {}", said.status, case.status));
        }
    }
    if !plain.stderr.starts_with("bellmouth: ") || plain.stderr.lines().count() != 1 {
        wrong.push("stderr is not one line".to_owned());
    }
    if says.ends_with('.') || says.contains(". ") {
        wrong.push("it is more than one sentence".to_owned());
    }
    if !case.typed.contains("--json") && !plain.stdout.is_empty() {
        wrong.push(format!("stdout holds {}", plain.stdout));
    }
    wrong.extend(UNFIT.iter().filter(|word| says.contains(*word)).map(|word| format!("it says {word:?}")));
    let Ok(json) = serde_json::from_str::<serde_json::Value>(&with_json.stdout) else {
        wrong.push(format!("--json prints no object: {:?}", with_json.stdout));
        return wrong;
    };
    let error = &json["error"];
    let (message, remedy) = (error["message"].as_str().unwrap_or(""), error["remedy"].as_str().unwrap_or(""));
    if json != serde_json::json!({ "error": { "message": message, "remedy": remedy } }) {
        wrong.push(format!("--json has other fields: {json}"));
    }
    if with_json.stderr != format!("bellmouth: {message}; {remedy}\n") {
        wrong.push(format!("--json says something else: {json} {}", with_json.stderr));
    }
    // The message as the page has it: the sentence less its remedy.
    let message = says.strip_suffix(remedy).unwrap_or(message);
    wrong.extend(
        case.names
            .iter()
            .filter(|part| !message.contains(*part))
            .map(|part| format!("{part:?} is not named")),
    );
    if !remedy.contains(case.remedy) {
        wrong.push(format!("the remedy {remedy:?} does not hold {:?}", case.remedy));
    }
    wrong
}

/// Runs what must be answered.
fn answered(folder: &Folder, case: &Good) -> Answered {
    let words: Vec<&str> = case.typed.split(' ').collect();
    let plain = folder.run(&words);
    assert_eq!(plain.status, Some(0), "{}: {plain:?}", case.given);
    assert!(!plain.stdout.is_empty(), "{}", case.given);
    let with_json = folder.run(&[&words[..], &["--json"]].concat());
    assert_eq!(with_json.status, Some(0), "{}: {with_json:?}", case.given);
    assert!((case.holds)(&with_json.json()), "{}: {}", case.given, with_json.stdout);
    Answered { given: case.given, typed: case.typed.to_owned(), comes: case.comes }
}

/// What was refused is as it was, and nothing was made on the way.
fn nothing_was_touched(folder: &Folder) {
    let fresh = Folder::new("errors-fresh");
    inputs::write_tables_and_strangers(&fresh);
    for name in std::fs::read_dir(fresh.path()).unwrap().map(|entry| entry.unwrap().file_name()) {
        let name = name.to_str().unwrap();
        assert!(folder.read(name) == fresh.read(name), "{name} was changed by a refusal");
    }
    for name in ["copy.sqlite", "copy.sqlite.part", "nowhere", "recordings.part", "data", "missing.sqlite"] {
        assert!(!folder.path().join(name).exists(), "{name} was made by a refusal");
    }
    assert_eq!(std::fs::read_dir(folder.path().join("recordings")).unwrap().count(), 0);
}
