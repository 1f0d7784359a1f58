//! `bellmouth sweep`, run as a person runs it.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

fn twin() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/the-750-twin.csv")
}

fn sweep(file: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_bellmouth"))
        .arg("sweep")
        .arg(file)
        .args(arguments)
        .output()
        .expect("the command can be run")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).expect("UTF-8")
}

fn json(output: &Output) -> serde_json::Value {
    serde_json::from_slice(&output.stdout).expect("one JSON object on stdout")
}

/// A table of its own for a test, in the build's folder for such things.
fn table(name: &str, content: &str) -> PathBuf {
    let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    std::fs::write(&path, content).expect("a file can be written");
    path
}

#[test]
fn json_has_the_promised_fields_and_their_numbers_agree() {
    let output = sweep(&twin(), &["--screw", "fuel", "--json"]);
    assert_eq!(output.status.code(), Some(0));
    let told = json(&output);
    let mut names: Vec<&str> = told.as_object().expect("an object").keys().map(String::as_str).collect();
    names.sort_unstable();
    let promised = [
        "caveats",
        "confidence",
        "edge_high_turns",
        "edge_low_turns",
        "edge_turns",
        "enough",
        "gain_rpm",
        "next_turns",
        "pick_up_turns",
        "plateau_rpm",
        "set_rule",
        "set_turns",
        "verdict",
        "verdicts",
    ];
    assert_eq!(names, promised);
    let number = |name: &str| told[name].as_f64().unwrap_or_else(|| panic!("{name} in {told}"));
    assert!(
        number("edge_low_turns") < number("edge_turns") && number("edge_turns") < number("edge_high_turns")
    );
    assert!((number("edge_turns") - 2.4).abs() < 0.2, "{told}");
    assert!(
        (number("set_turns") - number("edge_turns") - 0.25).abs() < 2e-3,
        "a quarter turn for an air-cooled engine"
    );
    assert!((number("plateau_rpm") - 1056.0).abs() < 8.0);
    assert_eq!(told["set_rule"], "margin");
    assert_eq!(told["verdict"], told["verdicts"][0]["name"]);
    assert_eq!(told["verdict"], "normal");
    let sum: f64 = told["verdicts"]
        .as_array()
        .expect("a list")
        .iter()
        .map(|one| one["probability"].as_f64().expect("a number"))
        .sum();
    assert!((sum - 1.0).abs() < 1e-9);
}

#[test]
fn words_name_the_rule_and_the_cautions() {
    let output = sweep(&twin(), &["--screw", "fuel", "--cooling", "liquid"]);
    let said = text(&output.stdout);
    for part in [
        "Lean edge",
        "⅛ turn richer than the lean edge, because liquid-cooled",
        "emissions seal",
        "neither CO nor",
        "to its seat",
    ] {
        assert!(said.contains(part), "{said}");
    }
}

#[test]
fn rules_give_their_own_settings() {
    let set = |arguments: &[&str]| {
        let mut all = vec!["--screw", "fuel", "--json"];
        all.extend(arguments);
        let told = json(&sweep(&twin(), &all));
        (told["set_rule"].as_str().expect("a rule").to_owned(), told["set_turns"].as_f64().expect("a number"))
    };
    let (margin, at_margin) = set(&[]);
    let (liquid, at_liquid) = set(&["--cooling", "liquid"]);
    let (middle, at_middle) = set(&["--rule", "middle"]);
    let (maker, at_maker) = set(&["--rule", "maker", "--drop-rpm", "50"]);
    assert_eq!(
        [&margin, &liquid, &middle, &maker].map(String::as_str),
        ["margin", "margin", "middle", "maker"]
    );
    assert!((at_margin - at_liquid - 0.125).abs() < 2e-3, "{at_margin} {at_liquid}");
    assert!(at_margin < at_middle && at_liquid < at_maker, "{at_margin} {at_middle} {at_maker}");
    let smaller_drop = set(&["--drop-rpm", "20"]);
    assert_eq!(smaller_drop.0, "maker");
    assert!(at_maker < smaller_drop.1);
}

#[test]
fn an_air_screw_is_set_the_other_way() {
    let mirrored = "turns;rpm;se_rpm\n2,5;1046;5\n2;1057;5\n3;984;6\n2,75;1030;5\n1,5;1052;5\n2,625;1047;4\n";
    let told = json(&sweep(&table("mirrored.csv", mirrored), &["--screw", "air", "--json"]));
    let number = |name: &str| told[name].as_f64().unwrap_or_else(|| panic!("{name} in {told}"));
    assert!((number("edge_turns") - 2.6).abs() < 0.2, "{told}");
    assert!((number("edge_turns") - number("set_turns") - 0.25).abs() < 2e-3, "richer is in");
    assert!(told["gain_rpm"].is_null(), "no row was marked as found");
}

#[test]
fn one_hold_is_still_an_answer() {
    let output = sweep(&table("one.csv", "turns,rpm\n2,1000\n"), &["--screw", "fuel", "--json"]);
    assert_eq!(output.status.code(), Some(0));
    let told = json(&output);
    assert_eq!(told["enough"], false);
    assert!(told["next_turns"].is_number());
    assert_eq!(told["verdict"], "cannot-tell-yet");
    assert!(
        1.0 < told["edge_high_turns"].as_f64().expect("a number")
            - told["edge_low_turns"].as_f64().expect("a number")
    );
}

#[test]
fn refusals_have_their_exit_status_and_say_where_and_what_to_do() {
    let bad = table("bad.csv", "turns,rpm\n2,1000\n2.5,quick\n");
    for (file, arguments, status, parts) in [
        (bad.clone(), &["--screw", "fuel"][..], 3, &["bad.csv", "line 3", "column 2", "quick", "number"][..]),
        (
            table("dead.csv", "turns,rpm,stalled\n1,,lean\n"),
            &["--screw", "fuel"],
            3,
            &["dead.csv", "engine ran", "richer"],
        ),
        (PathBuf::from("no-such-file.csv"), &["--screw", "fuel"], 3, &["no-such-file.csv", "check the name"]),
        (twin(), &["--screw", "fuel", "--rule", "maker"], 2, &["drop", "--drop-rpm"]),
        (
            twin(),
            &["--screw", "fuel", "--rule", "margin", "--drop-rpm", "50"],
            2,
            &["50 rpm", "--rule maker"],
        ),
        (twin(), &["--screw", "fuel", "--carburettors", "0"], 2, &["carburettors", "1 to 16"]),
        (twin(), &["--screw", "fuel", "--drop-rpm", "NaN"], 2, &["drop_rpm", "NaN"]),
        (twin(), &[], 2, &["--screw"]),
        (twin(), &["--screw", "bypass"], 2, &["bypass", "fuel", "air"]),
    ] {
        let plain = sweep(&file, arguments);
        assert_eq!(plain.status.code(), Some(status), "{arguments:?}: {}", text(&plain.stderr));
        assert!(plain.stdout.is_empty());
        for part in parts {
            assert!(text(&plain.stderr).contains(part), "{arguments:?}: {}", text(&plain.stderr));
        }
        let mut with_json = arguments.to_vec();
        with_json.push("--json");
        let output = sweep(&file, &with_json);
        assert_eq!(output.status.code(), Some(status));
        let error = &json(&output)["error"];
        assert!(error["message"].is_string() && error["remedy"].is_string(), "{error}");
    }
}

#[test]
fn help_shows_an_example() {
    let output =
        Command::new(env!("CARGO_BIN_EXE_bellmouth")).args(["sweep", "--help"]).output().expect("it runs");
    assert_eq!(output.status.code(), Some(0));
    assert!(text(&output.stdout).contains("bellmouth sweep twin.csv --screw fuel"));
}

#[test]
fn a_rule_is_chosen_by_what_it_goes_by_and_refused_what_it_does_not() {
    let twin = table(
        "rules.csv",
        "turns,rpm,se_rpm,spread_rpm\n2.5,1052,5,12\n3,1060,5,11\n2,985,5,30\n3.5,1050,5,12\n2.25,1030,5,25\n",
    );
    let rule = |more: &[&str]| {
        let output = sweep(&twin, &[&["--screw", "fuel", "--json"], more].concat());
        let told = json(&output);
        (output.status.code(), told["set_rule"].as_str().map(String::from), told["set_turns"].as_f64())
    };
    assert_eq!(rule(&["--picked-up-turns", "2.75"]), (Some(0), Some("pick-up".into()), Some(2.75)));
    assert_eq!(rule(&["--rule", "first-to-weaken"]).1.as_deref(), Some("first-to-weaken"));
    for more in [
        &["--rule", "pick-up"][..],
        &["--rule", "margin", "--picked-up-turns", "2.75"],
        &["--rule", "pick-up", "--drop-rpm", "50"],
    ] {
        let output = sweep(&twin, &[&["--screw", "fuel"], more].concat());
        assert_eq!(output.status.code(), Some(2), "{more:?}: {output:?}");
        assert!(text(&output.stderr).contains("--rule"), "{output:?}");
    }
}
