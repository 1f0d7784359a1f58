//! The cases: what is given and typed, and what the answer must name.

use super::machine_cases::{MACHINES, POSITIONS};

/// An input that is refused.
pub(crate) struct Bad {
    /// What was given, for a mechanic.
    pub(crate) given: &'static str,
    /// What is typed, words split at spaces; `PORT` is a port that is taken.
    pub(crate) typed: &'static str,
    /// Exit status.
    pub(crate) status: i32,
    /// Parts of the message: the offending value and its place.
    pub(crate) names: &'static [&'static str],
    /// A part of the remedy.
    pub(crate) remedy: &'static str,
}

/// An input that looks bad and is answered.
pub(crate) struct Good {
    /// What was given.
    pub(crate) given: &'static str,
    /// What is typed.
    pub(crate) typed: &'static str,
    /// What comes back, for the page.
    pub(crate) comes: &'static str,
    /// Whether the JSON object that is printed says so.
    pub(crate) holds: fn(&serde_json::Value) -> bool,
}

pub(super) const fn bad(
    given: &'static str,
    typed: &'static str,
    status: i32,
    names: &'static [&'static str],
    remedy: &'static str,
) -> Bad {
    Bad { given, typed, status, names, remedy }
}

/// The refusals by section of the page.
pub(crate) const BAD: &[(&str, &[Bad])] = &[
    ("Commands", COMMANDS),
    ("Recordings (`listen`)", RECORDINGS),
    ("Engines (`listen`)", ENGINES),
    ("Tables (`sweep`)", TABLES),
    ("The screw and the rule (`sweep`)", RULES),
    ("The file of a machine (`idle`)", MACHINES),
    ("What is asked of a machine (`idle`)", POSITIONS),
    ("The bench (`serve`)", BENCH),
    ("The logbook (`logbook`)", LOGBOOK),
];

const COMMANDS: &[Bad] = &[
    bad("A command that does not exist", "tune", 2, &["tune"], "serve, listen, sweep, logbook"),
    bad(
        "A task of the logbook that does not exist",
        "logbook tidy",
        2,
        &["tidy"],
        "backup, export, import, check",
    ),
    bad("No file", "listen --engine single", 2, &["bellmouth listen", "FILE"], "listen --help"),
    bad("An argument that does not exist", "listen idle.wav --engin single", 2, &["--engin"], "--engine"),
    bad(
        "An argument without its value",
        "listen idle.wav --engine",
        2,
        &["--engine", "without its value"],
        "--help",
    ),
    bad(
        "The same argument twice",
        "listen idle.wav --engine single --engine single",
        2,
        &["--engine", "more than once"],
        "leave one",
    ),
    bad(
        "Two kinds of output",
        "listen idle.wav --engine single --csv --json",
        2,
        &["--csv", "--json"],
        "leave one",
    ),
    bad(
        "No place for the new file",
        "logbook backup",
        2,
        &["logbook backup", "FILE"],
        "logbook backup --help",
    ),
];

const RECORDINGS: &[Bad] = &[
    bad(
        "A text file named .wav",
        "listen notes.wav --engine single",
        3,
        &["notes.wav", "text", "Tuesday"],
        "wav, flac",
    ),
    bad(
        "A photo named .wav",
        "listen photo.wav --engine single",
        3,
        &["photo.wav", "none of the formats"],
        "wav, flac",
    ),
    bad("An empty file", "listen empty.wav --engine single", 3, &["empty.wav", "0 bytes"], "again"),
    bad(
        "A wav without sound",
        "listen header-only.wav --engine single",
        3,
        &["header-only.wav", "empty", "44 bytes"],
        "again",
    ),
    bad(
        "A wav cut off in its first bytes",
        "listen cut-header.wav --engine single",
        3,
        &["cut-header.wav", "cut off", "30 bytes"],
        "again",
    ),
    bad(
        "An m4a cut off before its index",
        "listen cut.m4a --engine single",
        3,
        &["cut.m4a", "cut off", "2000 bytes"],
        "again",
    ),
    bad(
        "An mp4 cut off before its sound",
        "listen cut-index-first.mp4 --engine single",
        3,
        &["cut-index-first.mp4", "cut off"],
        "again",
    ),
    bad(
        "A voice note of an old telephone",
        "listen voice-note.amr --engine single",
        3,
        &["voice-note.amr", "AMR"],
        "wav or flac",
    ),
    bad(
        "Sound as on discs, in an mp4",
        "listen disc.mp4 --engine single",
        3,
        &["disc.mp4", "AC-3"],
        "wav or flac",
    ),
    bad(
        "A protected file",
        "listen bought.m4p --engine single",
        3,
        &["bought.m4p", "protected against copying"],
        "unprotected",
    ),
    bad("A folder", "listen recordings --engine single", 3, &["recordings", "folder"], "recording"),
    bad(
        "A missing file",
        "listen missing.wav --engine single",
        3,
        &["missing.wav", "no such file"],
        "check the name",
    ),
    bad(
        "A name below a file",
        "listen file/idle.wav --engine single",
        3,
        &["file/idle.wav", "folder is needed"],
        "check the name",
    ),
    bad(
        "A sample rate too low",
        "listen slow.wav --engine single",
        3,
        &["slow.wav", "4000 Hz", "8000 to 192000"],
        "44100 or 48000",
    ),
    bad(
        "An absurd sample rate",
        "listen absurd.wav --engine single",
        3,
        &["absurd.wav", "3000000000 Hz"],
        "44100 or 48000",
    ),
    bad(
        "A sample rate of nothing",
        "listen no-rate.wav --engine single",
        3,
        &["no-rate.wav", "0 Hz"],
        "44100 or 48000",
    ),
    bad(
        "A start beyond the end",
        "listen idle.wav --engine single --from 60",
        3,
        &["idle.wav", "60 s", "6.00 s"],
        "--from",
    ),
    bad(
        "A start after the end asked for",
        "listen idle.wav --engine single --from 4 --to 2",
        2,
        &["4", "2"],
        "--from",
    ),
    bad("A start that is no number", "listen idle.wav --engine single --from NaN", 2, &["NaN"], "--from"),
    bad(
        "A start in words",
        "listen idle.wav --engine single --from start",
        2,
        &["--from", "start"],
        "--help",
    ),
];

const ENGINES: &[Bad] = &[
    bad("No engine", "listen idle.wav", 2, &["--engine", "--firing"], "two-stroke-triple, unknown"),
    bad("An engine that is not known", "listen idle.wav --engine v8", 2, &["v8"], "v-twin-45"),
    bad(
        "An engine twice over",
        "listen idle.wav --engine single --firing 0",
        2,
        &["--engine", "--firing"],
        "one of them",
    ),
    bad("A firing angle beyond the cycle", "listen idle.wav --firing 0,800", 2, &["0,800", "800"], "0,315"),
    bad("A firing angle that is no number", "listen idle.wav --firing NaN", 2, &["NaN"], "0,315"),
    bad("A firing angle in words", "listen idle.wav --firing 0,left", 2, &["left"], "0,315"),
    bad("No firing angle", "listen idle.wav --firing ,", 2, &["--firing ,"], "0,315"),
    bad("A cycle of no known engine", "listen idle.wav --firing 0 --cycle 100", 2, &["100"], "720"),
    bad(
        "A speed no engine has",
        "listen idle.wav --engine single --about 1000000",
        2,
        &["1000000"],
        "--about",
    ),
];

const TABLES: &[Bad] = &[
    bad(
        "No column of turns",
        "sweep no-turns.csv --screw fuel",
        3,
        &["no-turns.csv", "line 1", "turns", "screw"],
        "turns,rpm",
    ),
    bad(
        "No column of speeds",
        "sweep no-rpm.csv --screw fuel",
        3,
        &["no-rpm.csv", "line 1", "rpm", "speed"],
        "turns,rpm",
    ),
    bad(
        "A column twice",
        "sweep twice.csv --screw fuel",
        3,
        &["twice.csv", "line 1", "column 3", "rpm"],
        "keep one",
    ),
    bad(
        "Decimal commas between commas",
        "sweep comma-comma.csv --screw fuel",
        3,
        &["comma-comma.csv", "line 2", "2,5"],
        ";",
    ),
    bad(
        "A decimal comma in quotation marks",
        "sweep quoted-comma.csv --screw fuel",
        3,
        &["quoted-comma.csv", "line 2", "2,5"],
        ";",
    ),
    bad("A thousands comma", "sweep slow.csv --screw fuel", 3, &["slow.csv", "line 2", "1,040"], "thousands"),
    bad(
        "Minus one turn",
        "sweep minus.csv --screw fuel",
        3,
        &["minus.csv", "line 3", "turns", "−1"],
        "lightly seated",
    ),
    bad(
        "Forty turns",
        "sweep forty.csv --screw fuel",
        3,
        &["forty.csv", "line 3", "turns", "40"],
        "lightly seated",
    ),
    bad(
        "A speed that is not a number",
        "sweep nan.csv --screw fuel",
        3,
        &["nan.csv", "line 3", "rpm", "NaN"],
        "leave the row out",
    ),
    bad(
        "Endless turns",
        "sweep infinite.csv --screw fuel",
        3,
        &["infinite.csv", "line 2", "turns", "inf"],
        "leave the row out",
    ),
    bad(
        "Words in a number",
        "sweep text.csv --screw fuel",
        3,
        &["text.csv", "line 3", "about 1040"],
        "number",
    ),
    bad(
        "No speed in a row",
        "sweep gap.csv --screw fuel",
        3,
        &["gap.csv", "line 3", "rpm", "nothing"],
        "stalled",
    ),
    bad(
        "A standard error below nothing",
        "sweep error.csv --screw fuel",
        3,
        &["error.csv", "line 2", "se_rpm", "-5"],
        "leave the field empty",
    ),
    bad(
        "A cause of stalling that is not known",
        "sweep cause.csv --screw fuel",
        3,
        &["cause.csv", "line 3", "tired"],
        "lean, rich",
    ),
    bad("A block and a half", "sweep block.csv --screw fuel", 3, &["block.csv", "line 2", "1.5"], "count up"),
    bad("Perhaps as found", "sweep found.csv --screw fuel", 3, &["found.csv", "line 2", "perhaps"], "1 or 0"),
    bad("An empty file", "sweep empty.csv --screw fuel", 3, &["empty.csv", "empty"], "turns,rpm"),
    bad(
        "Names of columns and nothing else",
        "sweep header.csv --screw fuel",
        3,
        &["header.csv", "no rows"],
        "2.5,1040",
    ),
    bad("Nothing but stalls", "sweep stalls.csv --screw fuel", 3, &["stalls.csv", "ran"], "richer"),
    bad(
        "A spreadsheet's own file",
        "sweep sweep.xlsx --screw fuel",
        3,
        &["sweep.xlsx", "a spreadsheet"],
        "CSV",
    ),
    bad("A table in UTF-16", "sweep utf-16.csv --screw fuel", 3, &["utf-16.csv", "UTF-16"], "UTF-8"),
    bad(
        "A byte that is no text",
        "sweep latin.csv --screw fuel",
        3,
        &["latin.csv", "line 3", "not UTF-8"],
        "UTF-8",
    ),
    bad(
        "Every reading instead of every hold",
        "sweep readings.csv --screw fuel",
        3,
        &["readings.csv", "line 502", "500"],
        "held position",
    ),
    bad(
        "A missing file",
        "sweep missing.csv --screw fuel",
        3,
        &["missing.csv", "no such file"],
        "check the name",
    ),
    bad("A folder", "sweep recordings --screw fuel", 3, &["recordings", "folder"], "check the name"),
];

const RULES: &[Bad] = &[
    bad("No kind of screw", "sweep twin.csv", 2, &["--screw"], "fuel, air"),
    bad("A screw of no kind", "sweep twin.csv --screw bypass", 2, &["--screw", "bypass"], "fuel, air"),
    bad(
        "Coolant of no kind",
        "sweep twin.csv --screw fuel --cooling oil",
        2,
        &["--cooling", "oil"],
        "air, liquid",
    ),
    bad(
        "No carburettor",
        "sweep twin.csv --screw fuel --carburettors 0",
        2,
        &["carburettors", "0", "1 to 16"],
        "--carburettors",
    ),
    bad(
        "Carburettors in words",
        "sweep twin.csv --screw fuel --carburettors two",
        2,
        &["--carburettors", "two"],
        "--help",
    ),
    bad(
        "The maker's rule without the maker's drop",
        "sweep twin.csv --screw fuel --rule maker",
        2,
        &["drop"],
        "--drop-rpm",
    ),
    bad(
        "A drop that the rule does not use",
        "sweep twin.csv --screw fuel --rule margin --drop-rpm 50",
        2,
        &["50 rpm"],
        "--rule maker",
    ),
    bad(
        "A drop that is no number",
        "sweep twin.csv --screw fuel --drop-rpm NaN",
        2,
        &["drop", "NaN"],
        "--drop-rpm",
    ),
    bad(
        "A base position out of reach",
        "sweep twin.csv --screw fuel --base-turns 40",
        2,
        &["base", "40"],
        "--base-turns",
    ),
    bad(
        "A floor that is no speed",
        "sweep twin.csv --screw fuel --floor-rpm NaN",
        2,
        &["floor", "NaN"],
        "--floor-rpm",
    ),
    bad(
        "A way back that is no number",
        "sweep twin.csv --screw fuel --drop-rpm 50 --back-out-turns NaN",
        2,
        &["back", "NaN"],
        "--back-out-turns",
    ),
];

const BENCH: &[Bad] = &[
    bad(
        "A port that is taken",
        "serve --address 127.0.0.1:PORT",
        2,
        &["127.0.0.1:PORT", "another"],
        "127.0.0.1:0",
    ),
    bad(
        "An address others can reach",
        "serve --address 0.0.0.0:7474",
        2,
        &["0.0.0.0:7474", "outside this machine"],
        "127.0.0.1",
    ),
    bad(
        "An address without a port",
        "serve --address 127.0.0.1",
        2,
        &["127.0.0.1", "port"],
        "127.0.0.1:7474",
    ),
    bad(
        "A port beyond the last",
        "serve --address 127.0.0.1:99999",
        2,
        &["127.0.0.1:99999"],
        "127.0.0.1:7474",
    ),
    bad(
        "A folder that cannot be made",
        "serve --address 127.0.0.1:0 --logbook file/workshop.sqlite",
        3,
        &["file", "folder is needed"],
        "--logbook",
    ),
    bad(
        "A folder that cannot be written",
        "serve --address 127.0.0.1:0 --logbook /proc/workshop.sqlite",
        3,
        &["/proc/workshop.sqlite cannot", "no new files"],
        "--logbook",
    ),
    bad(
        "A folder instead of a logbook",
        "serve --address 127.0.0.1:0 --logbook recordings",
        3,
        &["recordings", "a folder"],
        "--logbook",
    ),
    bad(
        "A logbook that another bench has open",
        "serve --address 127.0.0.1:0 --logbook busy.sqlite",
        3,
        &["busy.sqlite", "another Bellmouth"],
        "already open",
    ),
    bad(
        "A logbook of a newer Bellmouth",
        "serve --address 127.0.0.1:0 --logbook newer.sqlite",
        3,
        &["newer.sqlite", "999"],
        "newer",
    ),
    bad(
        "A text file",
        "serve --address 127.0.0.1:0 --logbook list.sqlite",
        3,
        &["list.sqlite", "no logbook"],
        "--logbook",
    ),
    bad(
        "A very short file",
        "serve --address 127.0.0.1:0 --logbook short.sqlite",
        3,
        &["short.sqlite", "no logbook"],
        "--logbook",
    ),
    bad(
        "The data of another program",
        "serve --address 127.0.0.1:0 --logbook another-program.sqlite",
        3,
        &["another-program.sqlite", "another program"],
        "--logbook",
    ),
    bad(
        "A torn logbook",
        "serve --address 127.0.0.1:0 --logbook torn.sqlite",
        3,
        &["torn.sqlite", "ends after"],
        "backup",
    ),
];

const LOGBOOK: &[Bad] = &[
    bad(
        "A backup onto a file that exists",
        "logbook backup precious.sqlite --logbook workshop.sqlite",
        2,
        &["precious.sqlite", "exists already"],
        "another name",
    ),
    bad(
        "A backup into a folder that does not exist",
        "logbook backup nowhere/copy.sqlite --logbook workshop.sqlite",
        3,
        &["nowhere/copy.sqlite cannot", "no such"],
        "place",
    ),
    bad(
        "A check of a missing file",
        "logbook check --logbook missing.sqlite",
        3,
        &["missing.sqlite", "no logbook"],
        "check the name",
    ),
    bad(
        "A check of a folder",
        "logbook check --logbook recordings",
        3,
        &["recordings", "a folder"],
        "--logbook",
    ),
    bad(
        "A check of a text file",
        "logbook check --logbook list.sqlite",
        3,
        &["list.sqlite", "not an SQLite file"],
        "--logbook",
    ),
    bad(
        "A check of a damaged logbook",
        "logbook check --logbook damaged.sqlite",
        3,
        &["damaged.sqlite", "damaged"],
        "backup",
    ),
    bad(
        "A check of a torn logbook",
        "logbook check --logbook torn.sqlite",
        3,
        &["torn.sqlite", "damaged"],
        "backup",
    ),
    bad(
        "A backup of a damaged logbook",
        "logbook backup copy.sqlite --logbook damaged.sqlite",
        3,
        &["damaged.sqlite", "damaged"],
        "backup",
    ),
    bad(
        "A check of a newer logbook",
        "logbook check --logbook newer.sqlite",
        3,
        &["newer.sqlite", "999"],
        "newer",
    ),
    bad(
        "An export onto a folder that exists",
        "logbook export recordings --logbook workshop.sqlite",
        2,
        &["recordings", "exists already"],
        "another name",
    ),
    bad(
        "An export into a folder that does not exist",
        "logbook export nowhere/text --logbook workshop.sqlite",
        3,
        &["nowhere/text cannot", "no such"],
        "place",
    ),
    bad(
        "An import while a bench has the logbook open",
        "logbook import exported --logbook busy.sqlite",
        3,
        &["busy.sqlite", "another Bellmouth"],
        "stop the other one",
    ),
    bad(
        "An import of a missing folder",
        "logbook import nowhere --logbook new.sqlite",
        3,
        &["nowhere", "about.json"],
        "export",
    ),
    bad(
        "An import of a folder that is no export",
        "logbook import recordings --logbook new.sqlite",
        3,
        &["recordings", "no export"],
        "export",
    ),
    bad(
        "An import of a file",
        "logbook import twin.csv --logbook new.sqlite",
        3,
        &["twin.csv", "no export"],
        "export",
    ),
    bad(
        "An import of another program's folder",
        "logbook import other-export --logbook new.sqlite",
        3,
        &["other-export/about.json", "recipes"],
        "export",
    ),
    bad(
        "An import of a folder with another about.json",
        "logbook import odd-export --logbook new.sqlite",
        3,
        &["odd-export/about.json", "missing field `format`"],
        "export",
    ),
    bad(
        "An import from a newer Bellmouth",
        "logbook import newer-export --logbook new.sqlite",
        3,
        &["newer-export/about.json", "9"],
        "newer",
    ),
    bad(
        "An import with a torn line",
        "logbook import torn-export --logbook new.sqlite",
        3,
        &["torn-export/machines.jsonl", "line 1", "after 90 characters"],
        "correct the line",
    ),
    bad(
        "An import that lacks a file",
        "logbook import lacking-export --logbook new.sqlite",
        3,
        &["lacking-export/jobs.jsonl", "no such"],
        "export again",
    ),
];

/// What looks bad and is answered.
pub(crate) const GOOD: &[Good] = &[
    Good {
        given: "A recording without an engine in it",
        typed: "listen hiss.wav --engine single",
        comes: "no speed, and a note that says so",
        holds: |told| told["summary"]["rpm"].is_null() && has_caveat(told),
    },
    Good {
        given: "A wav that breaks off in its sound",
        typed: "listen cut.wav --engine single",
        comes: "the speed up to there, and a note that says it broke off",
        holds: |told| near_900(told) && has_caveat(told),
    },
    Good {
        given: "A recording at 8 kHz",
        typed: "listen 8-khz.wav --engine single",
        comes: "its speed",
        holds: near_900,
    },
    Good {
        given: "A recording at 192 kHz",
        typed: "listen 192-khz.wav --engine single",
        comes: "its speed",
        holds: near_900,
    },
    Good {
        given: "One hold",
        typed: "sweep one.csv --screw fuel",
        comes: "a wide interval, that it is not enough, and where to hold next",
        holds: |told| told["enough"] == false && told["next_turns"].is_number() && interval(told) > 1.0,
    },
    Good {
        given: "The same speed at every hold",
        typed: "sweep equal.csv --screw fuel",
        comes: "an interval that reaches beyond the holds, and where to hold next",
        holds: |told| told["next_turns"].is_number() && interval(told) > 0.5,
    },
    Good {
        given: "Decimal commas between semicolons",
        typed: "sweep decimal-comma.csv --screw fuel",
        comes: "the edge and the setting, as with points between commas",
        holds: |told| told["plateau_rpm"].as_f64().is_some_and(|rpm| (1_030.0..1_080.0).contains(&rpm)),
    },
    Good {
        given: "A check of a logbook that a bench has open",
        typed: "logbook check --logbook busy.sqlite",
        comes: "that it is whole",
        holds: |told| told["machines"] == 1,
    },
    Good {
        given: "A machine of one line",
        typed: "idle machine.toml",
        comes: "where the usual machine of its kind idles, and everything that was assumed",
        holds: |told| told["best_turns"].is_number() && has_caveat(told),
    },
    Good {
        given: "A machine with a jet far too small",
        typed: "idle starved.toml",
        comes: "that it stalls at every position, and a note that says so",
        holds: |told| told["best_turns"].is_null() && has_caveat(told),
    },
];

fn near_900(told: &serde_json::Value) -> bool {
    told["summary"]["rpm"].as_f64().is_some_and(|rpm| (rpm / 900.0 - 1.0).abs() < 0.01)
}

fn has_caveat(told: &serde_json::Value) -> bool {
    told["caveats"].as_array().is_some_and(|caveats| !caveats.is_empty())
}

fn interval(told: &serde_json::Value) -> f64 {
    let turns = |name: &str| told[name].as_f64().unwrap_or(f64::NAN);
    turns("edge_high_turns") - turns("edge_low_turns")
}
