//! `bellmouth idle` and `bellmouth population`, run as a person runs them.

#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

mod common;

use common::Folder;
use serde_json::Value;

fn folder(name: &str, text: &str) -> Folder {
    let folder = Folder::new(name);
    folder.write("twin.toml", text);
    folder
}

const CD: &str = "kind = \"constant-depression\"\n";

#[test]
fn json_has_the_promised_fields() {
    let folder = folder("idle-json", CD);
    let said = folder.run(&["idle", "twin.toml", "--json"]);
    assert_eq!((said.status, said.stderr.as_str()), (Some(0), ""));
    let told = said.json();
    let mut names: Vec<&str> = told.as_object().unwrap().keys().map(String::as_str).collect();
    names.sort_unstable();
    let promised =
        ["assumed", "best_rpm", "best_turns", "caveats", "lean_edge_turns", "points", "stop_plate_deg"];
    assert_eq!(names, promised);
    let points = told["points"].as_array().unwrap();
    let turns: Vec<f64> = points.iter().map(|point| point["turns"].as_f64().unwrap()).collect();
    assert_eq!(turns, (2..=20).map(|quarters| 0.25 * f64::from(quarters)).collect::<Vec<_>>());
    for point in points {
        let numbers = ["rpm", "lambda", "manifold_kpa"].map(|name| point[name].as_f64());
        if point["stalled"].as_bool().unwrap() {
            assert_eq!(numbers, [None; 3], "{point}");
        } else {
            let [rpm, lambda, kpa] = numbers.map(|number| number.unwrap_or_else(|| panic!("{point}")));
            assert!(450.0 < rpm && rpm < 3500.0 && 0.4 < lambda && lambda < 2.0, "{point}");
            assert!(20.0 < kpa && kpa < 101.0, "{point}");
        }
    }
    let assumed = told["assumed"].as_object().unwrap();
    assert_eq!(assumed["stop_plate_deg"], Value::from(11.6));
    assert_eq!(assumed["cylinders"], Value::from(2));
    assert_eq!(assumed["screw"], Value::from("fuel"));
    assert_eq!(assumed["transition_holes_mm"][0], Value::from(vec![1.5, 0.5]));
    for caveat in told["caveats"].as_array().unwrap() {
        assert!(caveat["name"].is_string() && caveat["says"].is_string(), "{caveat}");
    }
}

#[test]
fn words_and_json_tell_the_same() {
    let folder = folder("idle-words", CD);
    let words = folder.run(&["idle", "twin.toml", "--screw-turns", "1,2.5,2.3"]).stdout;
    let told = folder.run(&["idle", "twin.toml", "--screw-turns", "1,2.5,2.3", "--json"]).json();
    let rows: Vec<&str> = words.lines().skip(3).take(3).collect();
    let number = |index: usize, name: &str| told["points"][index][name].as_f64().unwrap();
    assert!(rows[0].starts_with("1 ") && rows[0].ends_with("stalls"), "{words}");
    for (index, begins) in [(1, "2½ "), (2, "2.30 ")] {
        let cells = [format!("{:.0}", number(index, "rpm")), format!("{:.2}", number(index, "lambda"))];
        let ends = format!("{:.1} kPa", number(index, "manifold_kpa"));
        assert!(rows[index].starts_with(begins) && rows[index].ends_with(&ends), "{words}");
        assert!(cells.iter().all(|cell| rows[index].contains(cell.as_str())), "{words}");
    }
    let assumed =
        format!("{} values that the file does not give", told["assumed"].as_object().unwrap().len());
    for part in ["Fastest", "Lean edge", "Mind: ", "carbon monoxide", "not measured", &assumed] {
        assert!(words.replace('\n', " ").contains(part), "{part}: {words}");
    }
    assert!(words.lines().all(|line| line.chars().count() <= 100), "{words}");
}

#[test]
fn leak_and_altitude_are_taken_from_the_command() {
    let folder = folder("idle-flags", CD);
    let best = |words: &[&str]| {
        let told = folder.run(&[&["idle", "twin.toml", "--json"], words].concat()).json();
        (told["best_turns"].as_f64().unwrap(), told["best_rpm"].as_f64().unwrap())
    };
    let (turns, rpm) = best(&[]);
    let (leaking_turns, leaking_rpm) = best(&["--leak-mm2", "2"]);
    assert!(turns < leaking_turns && rpm < leaking_rpm);
    assert!(best(&["--altitude-m", "2000"]).0 < turns);
    // Below the sea, air is denser.
    assert!(turns <= best(&["--altitude-m", "-400"]).0);
}

#[test]
fn the_example_of_the_help_is_answered() {
    let folder = Folder::new("idle-help");
    let help = folder.run(&["idle", "--help"]).stdout;
    let lines = help.lines().skip_while(|line| !line.contains("kind =")).take_while(|line| !line.is_empty());
    let example: Vec<&str> = lines.map(str::trim).collect();
    assert_eq!(example.len(), 7, "{help}");
    folder.write("twin.toml", example.join("\n"));
    let typed = help.lines().find_map(|line| line.trim().strip_prefix("bellmouth ")).unwrap();
    let said = folder.run(&typed.split(' ').collect::<Vec<_>>());
    assert_eq!(said.status, Some(0), "{said:?}");
    assert!(help.contains("stays where it is"), "what a stop set for a speed does elsewhere: {help}");
}

#[test]
fn the_same_seed_draws_the_same_machines() {
    let folder = Folder::new("population");
    let drawn = |words: &[&str]| folder.run(&[&["population"], words].concat()).stdout;
    let ten = drawn(&["alien", "--count", "10", "--seed", "7"]);
    assert_eq!(ten.lines().count(), 11);
    let columns = bellmouth_core::practice::COLUMNS;
    assert_eq!(ten.lines().next().unwrap(), columns.join(","));
    assert!(ten.lines().all(|line| line.split(',').count() == columns.len()));
    assert_eq!(ten, drawn(&["alien", "--count", "10", "--seed", "7"]));
    let five = drawn(&["alien", "--count", "5", "--seed", "7"]);
    assert!(ten.starts_with(&five), "fewer machines are the first of them");
    assert_ne!(ten, drawn(&["alien", "--count", "10", "--seed", "8"]));
    assert_ne!(ten, drawn(&["network", "--count", "10", "--seed", "7"]));
}

#[test]
fn a_population_that_means_nothing_is_refused() {
    let folder = Folder::new("population-refused");
    for (words, parts) in [
        (&["population", "both"][..], &["\"both\"", "network, alien"][..]),
        (&["population", "alien", "--count", "0"], &["`--count` is 0", "1 to 100000"]),
        (&["population", "alien", "--count", "1000000"], &["`--count` is 1000000", "1 to 100000"]),
        (&["population", "alien", "--seed", "luck"], &["--seed", "\"luck\""]),
    ] {
        let said = folder.run(words);
        assert_eq!((said.status, said.stdout.as_str()), (Some(2), ""), "{words:?}");
        assert!(parts.iter().all(|part| said.stderr.contains(part)), "{said:?}");
    }
}
