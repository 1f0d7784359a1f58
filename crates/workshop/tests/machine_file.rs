//! The file of a machine: what one line gives, what is assumed, what is refused and where.

#![allow(clippy::unwrap_used, reason = "a test fails by panicking")]

use std::fmt::Write;
use std::path::Path;

use bellmouth_workshop::idle_answer::{Asked, IdleAnswer, answer};
use bellmouth_workshop::machine_file::{MachineFile, Takes, Value, keys, read, read_file};

const ONE_LINERS: [&str; 2] = ["kind = \"constant-depression\"\n", "kind = \"fixed-venturi\"\n"];

fn machine(text: &str) -> MachineFile {
    read(text.as_bytes()).unwrap_or_else(|refusal| panic!("{text}: {refusal}"))
}

fn idle(text: &str) -> IdleAnswer {
    answer(text.as_bytes(), &Asked::default()).unwrap_or_else(|refusal| panic!("{text}: {refusal}"))
}

fn refused(text: &[u8]) -> String {
    read(text).map(|_| ()).expect_err("a refusal").to_string()
}

/// The assumed values as lines of a file.
fn written(assumed: &[(&str, Value)]) -> String {
    assumed.iter().fold(String::new(), |mut text, (key, value)| {
        writeln!(text, "{key} = {value}").unwrap();
        text
    })
}

#[test]
fn one_line_is_a_complete_file() {
    for text in ONE_LINERS {
        let answer = idle(text);
        let best = answer.best_rpm.unwrap();
        assert!((900.0..1200.0).contains(&best), "{text}: {best}");
        assert!(answer.lean_edge_turns.unwrap() < answer.best_turns.unwrap(), "{text}");
    }
}

#[test]
fn what_is_not_given_is_assumed_and_nothing_else() {
    let given = "kind = \"constant-depression\"\npilot_jet_mm = 0.5\nscrew = \"air\"\ncarburettors = 2\nidle_rpm = 1000\n";
    let names: Vec<&str> = machine(given).assumed.iter().map(|(key, _)| *key).collect();
    let mut expected: Vec<&str> = keys().iter().map(|key| key.name).collect();
    expected.retain(|name| {
        let given = ["kind", "pilot_jet_mm", "screw", "carburettors", "idle_rpm"].contains(name);
        // Meaningless: another kind's parts, another tip's length, and the stop that follows from the speed.
        let meaningless = name.starts_with("venturi") || ["screw_tip_mm", "stop_plate_deg"].contains(name);
        !given && !meaningless
    });
    assert_eq!(names, expected);
}

#[test]
fn assumed_values_written_back_are_the_same_machine() {
    for text in [
        ONE_LINERS[0],
        ONE_LINERS[1],
        "kind = \"constant-depression\"\nscrew = \"air\"\nidle_rpm = 950\n",
        "kind = \"fixed-venturi\"\nscrew_tip_mm = 2\naltitude_m = 1500\nethanol_pct = 10\n",
        "kind = \"constant-depression\"\ncylinders = 4\ncarburettors = 4\nscrew_offsets_turns = [0.25]\nleak_mm2 = 1\n",
    ] {
        let first = machine(text);
        let again = machine(&format!("{text}{}", written(&first.assumed)));
        assert_eq!(again.assumed, [], "{text}");
        assert_eq!((&again.machine, again.day), (&first.machine, first.day), "{text}");
        assert_eq!(idle(&format!("{text}{}", written(&first.assumed))).points, idle(text).points, "{text}");
    }
}

#[test]
fn assumed_values_have_no_trace_of_a_conversion() {
    for text in ONE_LINERS {
        for (key, value) in machine(text).assumed {
            let said = value.to_string();
            assert!(said.len() < 12 || key == "transition_holes_mm", "{key} = {said}");
        }
    }
    assert!(written(&machine(ONE_LINERS[0]).assumed).contains("stop_plate_deg = 11.6\n"));
}

#[test]
fn the_stop_gives_the_speed_asked_for_without_the_leak() {
    for (rpm, leak) in [(850.0, ""), (1000.0, "leak_mm2 = 2\n"), (1300.0, "")] {
        let text = format!("kind = \"constant-depression\"\nidle_rpm = {rpm}\nscrew_turns = 2.5\n");
        let asked = Asked { screw_turns: vec![2.5], ..Asked::default() };
        let at = |text: &str| answer(text.as_bytes(), &asked).unwrap().points[0].rpm.unwrap();
        assert!((at(&text) - rpm).abs() < 1.0, "{rpm}");
        // A leak leaves the stop where it was.
        let leaking = format!("{text}{leak}");
        assert_eq!(idle(&leaking).stop_plate_deg, idle(&text).stop_plate_deg);
        assert!(leak.is_empty() || at(&text) + 20.0 < at(&leaking), "{rpm}");
    }
}

#[test]
fn a_leak_with_the_stop_untouched_raises_the_speed_and_wants_the_screw_further_out() {
    for text in ONE_LINERS {
        let dry = idle(text);
        for leak_mm2 in [0.5, 1.0, 2.0] {
            let asked = Asked { leak_mm2: Some(leak_mm2), ..Asked::default() };
            let leaking = answer(text.as_bytes(), &asked).unwrap();
            assert!(
                dry.best_rpm < leaking.best_rpm && dry.best_turns < leaking.best_turns,
                "{text} {leak_mm2}"
            );
            let in_file = idle(&format!("{text}leak_mm2 = {leak_mm2}\n"));
            assert_eq!(in_file.points, leaking.points, "the file and the command mean the same leak");
        }
    }
}

#[test]
fn altitude_wants_the_screw_further_in() {
    for text in ONE_LINERS {
        let mut before = idle(text).best_turns.unwrap();
        for altitude_m in [1000.0, 2000.0, 3000.0] {
            let asked = Asked { altitude_m: Some(altitude_m), ..Asked::default() };
            let higher = answer(text.as_bytes(), &asked).unwrap();
            assert!(higher.best_turns.unwrap() < before, "{text} {altitude_m}");
            assert_eq!(higher.points, idle(&format!("{text}altitude_m = {altitude_m}\n")).points);
            before = higher.best_turns.unwrap();
        }
    }
}

#[test]
fn a_stop_set_for_a_speed_stays_where_it_is_at_another_altitude() {
    let text = "kind = \"constant-depression\"\nidle_rpm = 1100\n";
    let asked = Asked { altitude_m: Some(2000.0), ..Asked::default() };
    let higher = answer(text.as_bytes(), &asked).unwrap();
    assert_eq!(higher.stop_plate_deg, idle(text).stop_plate_deg);
    let says = &higher.caveats.iter().find(|caveat| caveat.name == "stop-set-elsewhere").unwrap().says;
    assert!(says.contains("0 m and 25 °C") && says.contains("2000 m and 12 °C"), "{says}");
}

#[test]
fn caveats_tell_what_holds() {
    let has = |text: &str, name: &str| idle(text).caveats.iter().any(|caveat| caveat.name == name);
    let cd = ONE_LINERS[0];
    for (lines, name) in [
        ("pilot_jet_mm = 0.2\n", "stalls-everywhere"),
        ("stop_plate_deg = 26\n", "main-feeds"),
        ("stop_plate_deg = 26\n", "slide-lifted"),
        ("stop_plate_deg = 26\n", "best-at-end"),
        ("stop_plate_deg = 20\nfriction = 0.4\n", "races"),
        ("carburettors = 2\nscrew_offsets_turns = [0, 0.4]\n", "cylinders-split"),
        ("carburettors = 2\n", "sizes-of-another"),
        ("outlet_mm = 1\n", "key-unused"),
    ] {
        assert!(has(&format!("{cd}{lines}"), name), "{name} is missing for {lines}");
        assert!(!has(cd, name), "{name} is told of the machine that is as it should be");
    }
    assert!(has(cd, "absolute-mixture") && has(cd, "assumed"));
    let all = format!("{cd}{}", written(&machine(cd).assumed));
    assert!(!has(&all, "assumed"), "nothing is assumed where all is given");
}

#[test]
fn racing_is_not_stalling() {
    let text = format!("{}stop_plate_deg = 20\nfriction = 0.4\n", ONE_LINERS[0]);
    let answer = idle(&text);
    assert!(answer.points.iter().any(|point| point.rpm.is_none() && !point.stalled));
    // Where it runs away it is faster than wherever it does not.
    assert_eq!((answer.best_turns, answer.lean_edge_turns), (None, None));
}

#[test]
fn whole_numbers_serve_as_numbers_and_both_ends_of_every_range_are_read() {
    assert_eq!(machine("kind = \"fixed-venturi\"\npilot_jet_mm = 1\n").machine.carburettor.pilot.jet_m, 1e-3);
    let kind = |name: &str| if name.starts_with("venturi") { ONE_LINERS[1] } else { ONE_LINERS[0] };
    for key in keys() {
        let Takes::Number(least, most) = key.takes else { continue };
        for (value, inside) in [(least, true), (most, true), (least - 1.0, false), (most + 1.0, false)] {
            let value = (1e6 * value).round() / 1e6;
            // Other values may refuse the company of an extreme one; its own range must not.
            let said = match read(format!("{}{} = {value}\n", kind(key.name), key.name).as_bytes()) {
                Ok(_) => String::new(),
                Err(refusal) => refusal.to_string(),
            };
            let out_of_range = said.contains(&format!("is {value}, but must be from {least} to {most}"));
            assert_eq!(out_of_range, !inside, "{} = {value}: {said}", key.name);
        }
    }
}

#[test]
fn refusals_name_the_value_its_line_and_what_to_do() {
    let cases: &[(&[u8], &[&str])] = &[
        (b"", &["no key", "kind = \"constant-depression\""]),
        (b"# a machine\n\n", &["no key"]),
        (b"cylinders = 2\n", &["no line gives `kind`", "fixed-venturi"]),
        (b"\nkind = \"slide\"\n", &["line 2", "slides are not reckoned yet", "fixed-venturi"]),
        (b"kind = \"injection\"\n", &["line 1", "injection", "constant-depression"]),
        (b"kind = 3\n", &["line 1", "`kind` is 3", "quotation marks"]),
        (b"kind = fixed-venturi\n", &["line 1", "fixed-venturi", "quotation marks"]),
        (
            b"kind = \"fixed-venturi\"\npilot_jet = 0.4\n",
            &["line 2", "`pilot_jet`", "perhaps `pilot_jet_mm`"],
        ),
        (b"kind = \"fixed-venturi\"\n\ncolour = \"red\"\n", &["line 3", "`colour`", "delete the line"]),
        (b"kind = \"fixed-venturi\"\n[pilot]\njet = 1\n", &["line 2", "`pilot`", "leave out the [section]"]),
        (b"kind = \"fixed-venturi\"\nscrew.turns = 1\n", &["line 2", "`screw`"]),
        (
            b"kind = \"fixed-venturi\"\nrh_pct = 1\ncylinders = 2\nrh_pct = 2\n",
            &["line 4", "`rh_pct` a second time", "line 2", "keep one"],
        ),
        (
            b"kind = \"fixed-venturi\"\nspring_n = 2\n",
            &["line 2", "`spring_n`", "no such part", "constant-depression"],
        ),
        (b"kind = \"constant-depression\"\nventuri_mm = 28\n", &["line 2", "`venturi_mm`", "no such part"]),
        (b"kind = \"fixed-venturi\"\npilot_jet_mm = \"0.4\"\n", &["line 2", "\"0.4\"", "number"]),
        (b"kind = \"fixed-venturi\"\npilot_jet_mm = 0,46\n", &["line 2", "0,46", "write 0.46"]),
        (b"kind = \"fixed-venturi\"\npilot_jet_mm = .46\n", &["line 2", ".46", "write 0.46"]),
        (b"kind = \"fixed-venturi\"\npilot_jet_mm = 0.46 mm\n", &["line 2", "0.46 mm", "without its unit"]),
        (b"kind = \"fixed-venturi\"\npilot_jet_mm =\n", &["line 2", "nothing", "give its value"]),
        (b"kind = \"fixed-venturi\"\npilot_jet_mm = nan\n", &["line 2", "nan", "finite"]),
        (b"kind = \"fixed-venturi\"\npilot_jet_mm = -inf\n", &["line 2", "-inf", "finite"]),
        (b"kind = \"fixed-venturi\"\npilot_jet_mm = 1e999\n", &["line 2", "1e999", "finite"]),
        (b"kind = \"fixed-venturi\"\npilot_jet_mm = 46\n", &["line 2", "is 46", "0.1 to 2"]),
        (b"kind = \"fixed-venturi\"\ncylinders = 1.5\n", &["line 2", "1.5", "whole number from 1 to 12"]),
        (b"kind = \"fixed-venturi\"\ncylinders = true\n", &["line 2", "true", "number"]),
        (
            b"kind = \"fixed-venturi\"\ncarburettors = 3\n",
            &["line 2", "is 3", "same number of cylinders", "give `cylinders` (2 was assumed)"],
        ),
        (
            b"kind = \"fixed-venturi\"\nscrew_offsets_turns = [0.1, 0.2]\n",
            &["line 2", "2 values", "`carburettors` is 1"],
        ),
        (b"kind = \"fixed-venturi\"\nscrew_offsets_turns = [9]\n", &["line 2", "[9]", "-4 to 4"]),
        (b"kind = \"fixed-venturi\"\nscrew_offsets_turns = 0.1\n", &["line 2", "0.1", "a list"]),
        (b"kind = \"fixed-venturi\"\ntransition_holes_mm = [[1.5]]\n", &["line 2", "[[1.5]]", "pairs"]),
        (b"kind = \"fixed-venturi\"\ntransition_holes_mm = [[1.5, nan]]\n", &["line 2", "nan", "0.1 to 3"]),
        (b"kind = \"fixed-venturi\"\nscrew = \"both\"\n", &["line 2", "both", "\"fuel\" or \"air\""]),
        (
            b"kind = \"fixed-venturi\"\nidle_rpm = 900\nstop_plate_deg = 11\n",
            &["line 2", "`idle_rpm`", "line 3", "`stop_plate_deg`", "keep one"],
        ),
        (
            b"kind = \"fixed-venturi\"\nscrew_tip_mm = 2\nscrew_taper_deg = 6\n",
            &["line 2", "`screw_tip_mm`", "line 3", "`screw_taper_deg`"],
        ),
        (
            b"kind = \"fixed-venturi\"\nscrew_turns = 0.3\nidle_rpm = 1000\n",
            &["line 3", "is 1000", "no place of the stop", "`screw_turns`"],
        ),
        (
            b"kind = \"fixed-venturi\"\nclosed_plate_deg = 12\n",
            &["`stop_plate_deg` is not given", "11.6 assumed", "change `closed_plate_deg` on line 2"],
        ),
        (
            b"kind = \"constant-depression\"\nneedle_mm = 3.1\n",
            &["line 2", "3.1", "give `needle_jet_mm` (3 was assumed)"],
        ),
        (b"kind = \"fixed-venturi\"\naltitude_m = 9000\n", &["`fuel_temp_c` is not given", "-33.5 assumed"]),
        (
            b"kind = \"fixed-venturi\"\naltitude_m = 11000\ntemp_c = 70\nrh_pct = 100\nfuel_temp_c = 20\n",
            &["line 4", "`rh_pct` is 100", "vapour"],
        ),
        (
            b"kind = \"fixed-venturi\"\npilot_jet_mm 0.4\n",
            &["line 2", "pilot_jet_mm 0.4", "not TOML", "key = value"],
        ),
        (b"kind = \"fixed-venturi\n", &["line 1", "not TOML"]),
        (b"kind = \"fixed-venturi\"\nscrew = \"k\xfchl\"\n", &["line 2", "not UTF-8"]),
        (b"\xff\xfek\0i\0n\0d\0", &["UTF-16", "UTF-8"]),
        (b"PK\x03\x04\x14\0", &["packed file", "TOML"]),
    ];
    for (text, parts) in cases {
        let said = refused(text);
        for part in *parts {
            assert!(said.contains(part), "{part:?} is not in: {said}");
        }
        assert_eq!(said.matches("; ").count(), 1, "what is wrong; what to do: {said}");
    }
}

#[test]
fn a_mark_at_the_beginning_and_other_line_ends_are_no_offence() {
    let with_mark = b"\xef\xbb\xbfkind = \"fixed-venturi\"\r\npilot_jet_mm = 0.46\r\n";
    assert_eq!(read(with_mark).unwrap(), machine("kind = \"fixed-venturi\"\npilot_jet_mm = 0.46\n"));
    let said = refused(b"\xef\xbb\xbfkind = \"fixed-venturi\"\r\npilot_jet_mm = 46\r\n");
    assert!(said.starts_with("line 2: `pilot_jet_mm` is 46"), "{said}");
}

#[test]
fn files_that_cannot_be_read_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    let huge = folder.path().join("huge.toml");
    std::fs::write(&huge, "# a long story\n".repeat(10_000)).unwrap();
    for (path, part) in [
        (folder.path().join("missing.toml"), "no such file"),
        (folder.path().to_path_buf(), "folder"),
        (huge, "longer than 65536 bytes"),
    ] {
        let refusal = read_file(&path).unwrap_err();
        assert_eq!(refusal.exit_status(), 3);
        assert!(refusal.message.contains(part), "{refusal}");
        assert!(refusal.message.contains(&path.display().to_string()), "{refusal}");
    }
}

#[test]
fn the_page_of_keys_says_what_is_read() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/machine-file.md");
    let page = page();
    if std::env::var_os("BELLMOUTH_WRITE").is_some() {
        std::fs::write(&path, &page).unwrap();
    }
    let committed = std::fs::read_to_string(&path).unwrap_or_default();
    for (says, now) in committed.lines().zip(page.lines()) {
        assert_eq!(says, now, "docs/machine-file.md is out of date: run scripts/make-machine-file");
    }
    assert_eq!(committed, page, "docs/machine-file.md is out of date: run scripts/make-machine-file");
}

const INTRODUCTION: &str = "\
# The file of a machine

`bellmouth idle` reads a machine from a TOML file: a key, `=`, a value on each line, `#` before a remark. Keys stand by themselves, without
sections, and carry their units. Only `kind` must be given:

    kind = \"constant-depression\"

is a complete file, the machine of the first column below. What is not given is assumed, and every assumed value is told
(`assumed` with `--json`); written back into the file, they are the same machine. Magnitudes are typical, from memory; measure
what you can, the pilot jet and the stop first. `idle_rpm` sets the stop without a protractor.

A dash: this kind has no such part, or the value follows from others. The page is made by `scripts/make-machine-file`, and a test
compares it with what is read.

| key | what it is | may be | constant-depression | fixed-venturi |
|---|---|---|---|---|
";

fn page() -> String {
    // With an air screw, every key of a kind has a meaning.
    let usual = ONE_LINERS.map(|text| machine(&format!("{text}screw = \"air\"\n")).assumed);
    let mut page = INTRODUCTION.to_owned();
    for key in keys() {
        let value = |assumed: &[(&str, Value)]| match key.name {
            "screw" => "\"fuel\"".to_owned(),
            "temp_c" => "25, less 6.5 for each 1000 m".to_owned(),
            "fuel_temp_c" => "as the air".to_owned(),
            "kind" => "must be given".to_owned(),
            name => assumed
                .iter()
                .find(|(known, _)| *known == name)
                .map_or("–".to_owned(), |(_, value)| value.to_string()),
        };
        let [depression, venturi] = usual.each_ref().map(|assumed| value(assumed));
        let takes = key.takes.to_string();
        writeln!(page, "| `{}` | {} | {takes} | {depression} | {venturi} |", key.name, key.says).unwrap();
    }
    page += "
With `screw_tip_mm` the screw has an even tip instead of a cone, and no `screw_taper_deg`. `outlet_mm` counts where the screw meters air.
";
    page
}
