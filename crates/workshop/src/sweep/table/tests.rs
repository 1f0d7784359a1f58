//! Tables that are read, and tables that are refused with a sentence.

use super::*;

fn refused(text: &str) -> String {
    read(text.as_bytes()).expect_err(text).to_string()
}

fn turns_and_rpm(text: &str) -> Vec<(f64, f64)> {
    let table = read(text.as_bytes()).expect(text);
    table
        .holds
        .iter()
        .map(|hold| match hold.outcome {
            Outcome::Ran { rpm, .. } => (hold.turns.0, rpm),
            Outcome::Stalled(_) => (hold.turns.0, 0.0),
        })
        .collect()
}

#[test]
fn separators_and_decimal_commas_give_the_same_holds() {
    let wanted = [(2.5, 1040.5), (2.25, 1031.0)];
    for text in [
        "turns,rpm\n2.5,1040.5\n2.25,1031\n",
        "turns;rpm\r\n2,5;1040,5\r\n2,25;1031\r\n",
        "turns;rpm\n2.5;1040.5\n2.25;1031",
        "turns\trpm\n2,5\t1040,5\n2,25\t1031\n",
        "\u{feff}Turns, RPM \n\n 2.5 , 1040.5 \n\n2.25,1031\n\n",
        "\"rpm\",\"turns\"\n1040.5,\"2.5\"\n1031,2.25\n",
    ] {
        assert_eq!(turns_and_rpm(text), wanted, "{text}");
    }
}

#[test]
fn every_column_is_understood() {
    let table = read(
        b"turns,rpm,sd_rpm,at_s,stalled,block,as_found,weather,spread_rpm\n\
          1.75,1036,5,0,,0,1,dry,14\n2,1048,,35,false,0,,,\n1,,,70,lean,1,0,,\n1,,,,1,,,,\n5,,,,rich,,,,\n5,,,,fuel,,,,\n",
    )
    .expect("a table");
    let hold = |i: usize| table.holds[i];
    assert_eq!(hold(0).outcome, Outcome::Ran { rpm: 1036.0, se_rpm: Some(5.0) });
    assert_eq!((hold(0).at_s, hold(0).block, hold(0).as_found), (Some(0.0), 0, true));
    assert_eq!((hold(0).spread_rpm, hold(1).spread_rpm), (Some(14.0), None));
    assert_eq!(hold(1).outcome, Outcome::Ran { rpm: 1048.0, se_rpm: None });
    let causes: Vec<Outcome> = table.holds[2..].iter().map(|hold| hold.outcome).collect();
    let wanted = [StallCause::Lean, StallCause::Unknown, StallCause::Rich, StallCause::OutOfFuel]
        .map(Outcome::Stalled);
    assert_eq!(causes, wanted);
    assert_eq!(hold(2).block, 1);
    assert_eq!(table.caveats.len(), 1);
    assert!(table.caveats[0].says.contains("`weather`"));
}

#[test]
fn refusals_hold_the_value_its_place_and_what_to_do() {
    for (text, parts) in [
        ("", &["empty", "turns,rpm"][..]),
        ("  \n\n", &["empty", "turns,rpm"]),
        ("turns,rpm\n", &["no rows", "2.5,1040"]),
        ("turns,speed\n2,1000\n", &["line 1", "no column `rpm`", "turns, speed"]),
        ("2,1000\n2.5,1040\n", &["line 1", "no column `turns`", "2, 1000"]),
        (
            "turns,rpm\n2,1000\n-1,1040\n",
            &["line 3", "column 1 (`turns`)", "\"-1\"", "0 (lightly seated)", "count again"],
        ),
        ("turns,rpm\n40,1000\n", &["line 2", "\"40\"", "8 turns"]),
        ("turns,rpm\n2,NaN\n", &["line 2", "column 2 (`rpm`)", "\"NaN\"", "finite"]),
        ("turns,rpm\n2,inf\n", &["line 2", "\"inf\"", "finite"]),
        ("turns,rpm\n2,fast\n", &["line 2", "\"fast\"", "not a number", "without its unit"]),
        ("turns,rpm\n2,1040 rpm\n", &["line 2", "\"1040 rpm\"", "without its unit"]),
        ("turns,rpm\n2,\n", &["line 2", "(`rpm`) holds nothing", "`stalled`"]),
        ("turns,rpm\n2\n", &["line 2", "(`rpm`) holds nothing"]),
        ("turns,rpm\n2,0\n", &["line 2", "\"0\"", "50 and 20000"]),
        ("turns,rpm\n2,5,1040\n", &["line 2", "3 fields", "2,5,1040", "separate the columns with ;"]),
        ("turns,rpm,se_rpm\n2,5,1040\n", &["line 2", "\"5\"", "decimal comma"]),
        ("turns,rpm\n\"2,5\",1040\n", &["line 2", "\"2,5\"", "decimal comma", "2.5 for 2,5"]),
        ("turns;rpm\n2;1040;7\n", &["line 2", "3 fields under 2 columns"]),
        ("turns,rpm,se_rpm\n2,1040,-3\n", &["line 2", "\"-3\"", "zero or more"]),
        ("turns,rpm,block\n2,1040,1.5\n", &["line 2", "\"1.5\"", "whole number"]),
        ("turns,rpm,stalled\n2,1040,maybe\n", &["line 2", "\"maybe\"", "lean, rich, fuel"]),
        ("turns,rpm,as_found\n2,1040,maybe\n", &["line 2", "\"maybe\"", "neither yes nor no"]),
        ("turns,turns,rpm\n2,2,1040\n", &["`turns` twice", "column 2"]),
    ] {
        let sentence = refused(text);
        for part in parts {
            assert!(sentence.contains(part), "{text:?} gave: {sentence}\nwithout: {part}");
        }
    }
}

#[test]
fn bytes_that_are_not_text_are_refused_with_their_line() {
    let refusal = read(b"turns,rpm\n2,\xff\xfe\n").expect_err("not text");
    assert!(refusal.message.contains("line 2"), "{refusal}");
    assert_eq!(refusal.exit_status(), 3);
}

#[test]
fn a_table_of_readings_is_not_a_sweep() {
    let rows = "2,1040\n".repeat(501);
    assert!(refused(&format!("turns,rpm\n{rows}")).contains("at most 500"));
}
