//! What every command promises: help with an example, a version, and the names of the JSON.

#![allow(clippy::unwrap_used, reason = "a helper of a test fails by panicking")]

mod common;

use common::Folder;
use common::sound::{idling, wav};

/// The names of an object's fields, sorted.
fn names(object: &serde_json::Value) -> Vec<&str> {
    let mut names: Vec<&str> = object.as_object().unwrap().keys().map(String::as_str).collect();
    names.sort_unstable();
    names
}

#[test]
fn help_of_every_command_has_an_example() {
    let folder = Folder::new("help");
    for command in [
        "serve",
        "listen",
        "sweep",
        "logbook backup",
        "logbook export",
        "logbook import",
        "logbook check",
        "idle",
        "population",
    ] {
        let mut words: Vec<&str> = command.split(' ').collect();
        words.push("--help");
        let said = folder.run(&words);
        assert_eq!(said.status, Some(0), "{said:?}");
        let example = said.stdout.split("Example").nth(1).unwrap_or_default();
        assert!(example.contains(&format!("bellmouth {command}")), "{command}: {}", said.stdout);
    }
    let named = folder.run(&["--help"]).stdout;
    for command in ["serve", "listen", "sweep", "logbook", "idle", "population"] {
        assert!(named.contains(command), "{named}");
    }
    // Every name that help lists is among those checked above; a new command is added to both.
    let listed: Vec<&str> = named
        .split("Commands:")
        .nth(1)
        .unwrap()
        .lines()
        .skip(1)
        .take_while(|line| !line.is_empty())
        .filter_map(|line| line.split_whitespace().next())
        .collect();
    assert_eq!(listed, ["serve", "listen", "sweep", "logbook", "idle", "population", "help"]);
    for group in [&["logbook", "--help"][..], &["help"], &["--help"]] {
        let said = folder.run(group);
        assert!(said.stdout.contains("Example"), "{group:?}: {}", said.stdout);
    }
}

#[test]
fn the_version_is_the_packages() {
    let said = Folder::new("version").run(&["--version"]);
    assert_eq!(
        (said.status, said.stdout.trim_end()),
        (Some(0), concat!("bellmouth ", env!("CARGO_PKG_VERSION")))
    );
    assert!(said.stderr.is_empty());
}

#[test]
fn no_command_shows_help_to_a_person_and_an_error_to_a_program() {
    let folder = Folder::new("none");
    for words in [&[][..], &["logbook"]] {
        let said = folder.run(words);
        assert_eq!((said.status, said.stdout.as_str()), (Some(2), ""));
        assert!(said.stderr.contains("Usage:"), "{said:?}");
        let said = folder.run(&[words, &["--json"]].concat());
        assert_eq!(said.status, Some(2));
        assert!(said.json()["error"]["message"].as_str().unwrap().contains("no command"), "{said:?}");
    }
}

#[test]
fn listen_prints_the_promised_fields() {
    let folder = Folder::new("listen-json");
    folder.write("idle.wav", wav(16_000, &idling(16_000, 900.0, 6)));
    let said = folder.run(&["listen", "idle.wav", "--engine", "single", "--json"]);
    assert_eq!((said.status, said.stdout.lines().count()), (Some(0), 1), "{said:?}");
    let told = said.json();
    assert_eq!(names(&told), ["caveats", "duration_s", "engine", "summary", "trace"]);
    assert_eq!(names(&told["engine"]), ["cycle_deg", "firing_deg", "name"]);
    assert_eq!(names(&told["trace"][0]), ["heard", "rpm", "sd_rpm", "t_s"]);
    assert_eq!(names(&told["caveats"][0]), ["name", "says"]);
    let summary = [
        "cycle_variation_high_pct",
        "cycle_variation_low_pct",
        "cycle_variation_pct",
        "evenness_coverage",
        "rpm",
        "rpm_se",
        "spread_rpm",
        "strength_by_cylinder",
        "strength_high_by_cylinder",
        "strength_low_by_cylinder",
        "weak_firings_high_pct",
        "weak_firings_low_pct",
        "weak_firings_pct",
    ];
    assert_eq!(names(&told["summary"]), summary);
    let unknown = folder.run(&["listen", "idle.wav", "--engine", "unknown", "--json"]).json();
    assert_eq!(names(&unknown), ["caveats", "duration_s", "engine", "ranking", "summary", "trace"]);
    assert_eq!(names(&unknown["ranking"][0]), ["evidence", "name", "rpm", "speed_factor"]);
    let step = told["trace"][41]["t_s"].as_f64().unwrap() - told["trace"][40]["t_s"].as_f64().unwrap();
    assert!((step - 0.05).abs() < 1e-9, "{step}");
}

#[test]
fn sweep_prints_the_promised_fields_and_its_words_are_fractions() {
    let folder = Folder::new("sweep-json");
    folder.write(
        "twin.csv",
        "turns,rpm,se_rpm,as_found\n2.5,1047,5,1\n3,1058,5,\n2,984,6,\n2.25,1030,5,\n2.75,1056,5,\n",
    );
    let said = folder.run(&["sweep", "twin.csv", "--screw", "fuel", "--json"]);
    assert_eq!((said.status, said.stdout.lines().count()), (Some(0), 1), "{said:?}");
    let told = said.json();
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
    assert_eq!(names(&told), promised);
    assert_eq!(names(&told["verdicts"][0]), ["because", "name", "probability"]);
    assert_eq!(told["confidence"], 0.9);

    let words = folder.run(&["sweep", "twin.csv", "--screw", "fuel"]).stdout;
    let set = words.lines().find(|line| line.starts_with("Set to")).unwrap();
    let fractions = ["⅛", "¼", "⅜", "½", "⅝", "¾", "⅞"];
    assert!(fractions.iter().any(|fraction| set.contains(fraction)), "{set}");
    assert!(!set.contains("2."), "a screw is set in fractions: {set}");
}

#[test]
fn serve_tells_a_program_where_the_bench_is() {
    let folder = Folder::new("serve-json");
    let first =
        folder.first_line(&["serve", "--address", "127.0.0.1:0", "--logbook", "new.sqlite", "--json"]);
    let told: serde_json::Value = serde_json::from_str(&first.line).unwrap();
    assert!(told["bench"].as_str().unwrap().starts_with("http://127.0.0.1:"), "{told}");
    assert_eq!(told["logbook"], "new.sqlite");
}
