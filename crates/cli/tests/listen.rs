//! `bellmouth listen` as a person or a script runs it.

mod common;

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use common::sound::{idling, wav};

fn listen(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_bellmouth"))
        .arg("listen")
        .args(arguments)
        .output()
        .expect("the binary runs")
}

fn stdout(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned()
}

fn stderr(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// A single idling at 900 rpm.
fn idle(name: &str) -> PathBuf {
    let path = std::env::temp_dir().join(format!("bellmouth-{name}-{}.wav", std::process::id()));
    std::fs::write(&path, wav(16_000, &idling(16_000, 900.0, 6)))
        .expect("the temporary folder can be written");
    path
}

fn text(path: &Path) -> &str {
    path.to_str().expect("a temporary path is text")
}

#[test]
fn words_json_and_csv_tell_the_same_speed() {
    let file = idle("words");
    let said = listen(&[text(&file), "--engine", "single"]);
    assert_eq!(said.status.code(), Some(0), "{}", stderr(&said));
    assert!(stdout(&said).contains("rpm") && stdout(&said).contains("(single, 6.0 s)"), "{}", stdout(&said));
    assert!(stdout(&said).contains("the 90 % interval of each"), "{}", stdout(&said));

    let said = listen(&[text(&file), "--firing", "0", "--json"]);
    let json: serde_json::Value = serde_json::from_str(&stdout(&said)).expect("one JSON object");
    let rpm = json["summary"]["rpm"].as_f64().expect("a speed");
    assert!((rpm / 900.0 - 1.0).abs() < 0.01, "{rpm}");
    assert_eq!(json["trace"].as_array().map(Vec::len), Some(120));
    assert_eq!(json["engine"], serde_json::json!({ "name": null, "firing_deg": [0.0], "cycle_deg": 720.0 }));
    for field in ["rpm", "rpm_se", "spread_rpm", "cycle_variation_pct", "weak_firings_pct"] {
        assert!(json["summary"].as_object().is_some_and(|summary| summary.contains_key(field)), "{field}");
    }
    let told = |key: &str| json["summary"][key].as_f64().expect("a figure");
    let (low, high) = (told("cycle_variation_low_pct"), told("cycle_variation_high_pct"));
    assert!(low <= told("cycle_variation_pct") && told("cycle_variation_pct") <= high, "{low} to {high}");
    assert_eq!(told("evenness_coverage"), 0.9);
    for field in ["t_s", "rpm", "sd_rpm", "heard"] {
        assert!(json["trace"][60].as_object().is_some_and(|point| point.contains_key(field)), "{field}");
    }

    let said = listen(&[text(&file), "--engine", "thumper", "--csv", "--from", "1", "--to", "5"]);
    let csv = stdout(&said);
    assert_eq!((csv.lines().next(), csv.lines().count()), (Some("t_s,rpm,sd_rpm,heard"), 81));
    assert!(csv.lines().nth(1).is_some_and(|line| line.starts_with("1,")), "{csv}");
    let _ = std::fs::remove_file(file);
}

#[test]
fn without_an_engine_the_names_are_listed() {
    for json in [false, true] {
        let said = listen(if json { &["any.wav", "--json"] } else { &["any.wav"] });
        assert_eq!(said.status.code(), Some(2));
        let text = if json { stdout(&said) } else { stderr(&said) };
        assert!(text.contains("v-twin-45") && text.contains("two-stroke-triple, unknown"), "{text}");
    }
}

#[test]
fn misuse_is_2_and_an_unreadable_file_is_3() {
    let cases: [(&[&str], i32, &str); 6] = [
        (&["missing.wav", "--engine", "single"], 3, "there is no such file"),
        (&["any.wav", "--engine", "v8"], 2, "no layout is called “v8”"),
        (&["any.wav", "--firing", "0,abc"], 2, "the firing angle “abc” is no number"),
        (&["any.wav", "--firing", "0,800"], 2, "`last firing angle` is 800"),
        (&["any.wav", "--firing", "0", "--engine", "single"], 2, "both --engine and --firing"),
        (&["any.wav", "--engine", "single", "--sideways"], 2, "--sideways"),
    ];
    for (arguments, status, says) in cases {
        let said = listen(arguments);
        assert_eq!(said.status.code(), Some(status), "{arguments:?}");
        assert!(stderr(&said).contains(says), "{arguments:?}: {}", stderr(&said));
        assert!(said.stdout.is_empty(), "{arguments:?}");
    }
}

#[test]
fn help_holds_an_example() {
    let said = listen(&["--help"]);
    assert_eq!(said.status.code(), Some(0));
    assert!(stdout(&said).contains("bellmouth listen idle.wav --engine v-twin-45"));
}
