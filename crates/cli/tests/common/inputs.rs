//! Every input of the cases, bad and good, written into one folder.

use std::path::Path;
use std::process::Command;

use super::Folder;
use super::sound::{hiss, idling, wav};

/// Writes the recordings, the tables and the logbooks that the cases name.
pub(crate) fn write_all(folder: &Folder) {
    write_recordings(folder);
    write_tables_and_strangers(folder);
    write_logbooks(folder);
}

/// Writes what is the same byte for byte each time: the tables, and files that are no logbook.
pub(crate) fn write_tables_and_strangers(folder: &Folder) {
    write_tables(folder);
    write_machines(folder);
    folder.write("list.sqlite", "a shopping list: ".repeat(20));
    folder.write("short.sqlite", "no logbook");
    folder.write("file", "a file where a folder is needed");
    folder.write("precious.sqlite", "precious");
}

fn write_recordings(folder: &Folder) {
    let idle = idling(16_000, 900.0, 6);
    folder.write("idle.wav", wav(16_000, &idle));
    folder.write("notes.wav", "Tuesday: new jets, idles at about 1000.\n");
    folder.write("empty.wav", "");
    folder.write("header-only.wav", wav(16_000, &[]));
    folder.write("cut-header.wav", &wav(16_000, &idle)[..30]);
    folder.write("photo.wav", b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\x02\0\0\0\x02\0\x08\x06\0\0\0");
    folder.write("slow.wav", wav(4_000, &idling(4_000, 900.0, 2)));
    folder.write("absurd.wav", wav(3_000_000_000, &idle[..16_000]));
    folder.write("no-rate.wav", wav(0, &idle[..16_000]));
    folder.write("cut.wav", &wav(16_000, &idle)[..100_000]);
    folder.write("8-khz.wav", wav(8_000, &idling(8_000, 900.0, 6)));
    folder.write("192-khz.wav", wav(192_000, &idling(192_000, 900.0, 4)));
    folder.write("hiss.wav", wav(16_000, &hiss(16_000, 6)));
    std::fs::create_dir(folder.path().join("recordings")).unwrap();
    convert(folder, &["-c:a", "aac", "whole.m4a"]);
    folder.write("cut.m4a", &folder.read("whole.m4a")[..2_000]);
    convert(folder, &["-c:a", "aac", "-movflags", "+faststart", "index-first.mp4"]);
    let whole = folder.read("index-first.mp4");
    let sound = whole.windows(4).position(|four| four == b"mdat").unwrap();
    folder.write("cut-index-first.mp4", &whole[..sound + 4]);
    folder.write("voice-note.amr", b"#!AMR\n\x3c\x08");
    convert(folder, &["-c:a", "ac3", "disc.mp4"]);
    let mut bought = folder.read("whole.m4a");
    let coding = bought.windows(4).position(|four| four == b"mp4a").unwrap();
    bought[coding..coding + 4].copy_from_slice(b"drms");
    folder.write("bought.m4p", bought);
}

/// Converts `idle.wav`.
fn convert(folder: &Folder, words: &[&str]) {
    let made = Command::new(ffmpeg())
        .args(["-nostdin", "-loglevel", "error", "-y", "-i", "idle.wav"])
        .args(words)
        .current_dir(folder.path())
        .output()
        .unwrap_or_else(|error| {
            panic!("ffmpeg is needed to make recordings ({error}): run scripts/test, which installs it")
        });
    assert!(made.status.success(), "ffmpeg {words:?}: {}", String::from_utf8_lossy(&made.stderr));
}

/// Where scripts/test unpacked it, else whatever the system has.
fn ffmpeg() -> std::path::PathBuf {
    let unpacked = std::env::var_os("BELLMOUTH_TOOLS").map(|tools| Path::new(&tools).join("ffmpeg"));
    unpacked.filter(|path| path.exists()).unwrap_or_else(|| "ffmpeg".into())
}

fn write_tables(folder: &Folder) {
    for (name, text) in [
        ("twin.csv", "turns,rpm,se_rpm,as_found\n2.5,1047,5,1\n3,1058,5,\n2,984,6,\n2.25,1030,5,\n"),
        ("no-turns.csv", "screw,rpm\n2,1000\n"),
        ("no-rpm.csv", "turns,speed\n2,1000\n"),
        ("twice.csv", "turns,rpm,rpm\n2,1000,1000\n"),
        ("comma-comma.csv", "turns,rpm\n2,5,1040\n3,1050\n"),
        ("quoted-comma.csv", "turns,rpm\n\"2,5\",1040\n"),
        ("minus.csv", "turns,rpm\n2,1000\n−1,1010\n"),
        ("forty.csv", "turns,rpm\n2,1000\n40,1010\n"),
        ("nan.csv", "turns,rpm\n2,1000\n2.5,NaN\n"),
        ("infinite.csv", "turns,rpm\ninf,1000\n"),
        ("text.csv", "turns,rpm\n2,1000\n2.5,about 1040\n"),
        ("slow.csv", "turns;rpm\n2;1,040\n"),
        ("gap.csv", "turns,rpm\n2,1000\n2.5,\n"),
        ("error.csv", "turns,rpm,se_rpm\n2,1000,-5\n"),
        ("cause.csv", "turns,rpm,stalled\n2,1000,\n1,,tired\n"),
        ("block.csv", "turns,rpm,block\n2,1000,1.5\n"),
        ("found.csv", "turns,rpm,as_found\n2,1000,perhaps\n"),
        ("empty.csv", ""),
        ("header.csv", "turns,rpm\n"),
        ("stalls.csv", "turns,rpm,stalled\n1,,lean\n1.25,,lean\n"),
        ("one.csv", "turns,rpm\n2,1000\n"),
        ("equal.csv", "turns,rpm\n2,1000\n2.5,1000\n3,1000\n1.5,1000\n"),
        ("decimal-comma.csv", "turns;rpm\n2,5;1047\n3;1058\n2;984,5\n2,25;1030\n"),
    ] {
        folder.write(name, text);
    }
    // What a spreadsheet saves by itself: a zip archive.
    folder.write(
        "sweep.xlsx",
        b"PK\x03\x04\x14\0\x06\0\x08\0\0\0!\0\xb5\xee\xf4\x9a\xff\xfe\0\0[Content_Types].xml",
    );
    let readings: String = (0..600).map(|i| format!("2,{}\n", 1_000 + i % 7)).collect();
    let utf_16: Vec<u8> = "\u{feff}turns,rpm\n2,1000\n".encode_utf16().flat_map(u16::to_le_bytes).collect();
    folder.write("utf-16.csv", utf_16);
    folder.write("latin.csv", b"turns,rpm,note\n2,1000,\n2.5,1040,k\xfchl\n");
    folder.write("readings.csv", format!("turns,rpm\n{readings}"));
}

fn write_machines(folder: &Folder) {
    for (name, text) in [
        ("machine.toml", "kind = \"constant-depression\"\n"),
        ("nothing.toml", ""),
        ("no-kind.toml", "cylinders = 2\n"),
        ("slide.toml", "kind = \"slide\"\n"),
        ("injection.toml", "kind = \"injection\"\n"),
        ("bare.toml", "kind = fixed-venturi\n"),
        ("misspelt.toml", "kind = \"constant-depression\"\npilot_jet = 0.46\n"),
        ("colour.toml", "kind = \"constant-depression\"\ncolour = \"red\"\n"),
        ("key-twice.toml", "kind = \"constant-depression\"\nrh_pct = 40\nrh_pct = 60\n"),
        ("section.toml", "kind = \"constant-depression\"\n[pilot]\njet_mm = 0.46\n"),
        ("comma.toml", "kind = \"constant-depression\"\npilot_jet_mm = 0,46\n"),
        ("unit.toml", "kind = \"constant-depression\"\npilot_jet_mm = 0.46 mm\n"),
        ("quoted.toml", "kind = \"constant-depression\"\npilot_jet_mm = \"0.46\"\n"),
        ("point.toml", "kind = \"constant-depression\"\npilot_jet_mm = .46\n"),
        ("valueless.toml", "kind = \"constant-depression\"\npilot_jet_mm =\n"),
        ("no-toml.toml", "kind = \"constant-depression\"\npilot_jet_mm 0.46\n"),
        ("machine-nan.toml", "kind = \"constant-depression\"\npilot_jet_mm = nan\n"),
        ("jet-46.toml", "kind = \"constant-depression\"\npilot_jet_mm = 46\n"),
        ("half-cylinder.toml", "kind = \"constant-depression\"\ncylinders = 1.5\n"),
        ("three.toml", "kind = \"constant-depression\"\ncarburettors = 3\n"),
        ("other-kind.toml", "kind = \"fixed-venturi\"\nspring_n = 2\n"),
        ("holes.toml", "kind = \"constant-depression\"\ntransition_holes_mm = [1.5, 2.5]\n"),
        ("offsets.toml", "kind = \"constant-depression\"\nscrew_offsets_turns = [0, 0.5]\n"),
        ("speed-and-stop.toml", "kind = \"constant-depression\"\nidle_rpm = 1000\nstop_plate_deg = 11\n"),
        ("no-stop.toml", "kind = \"constant-depression\"\nidle_rpm = 3500\n"),
        ("assumed.toml", "kind = \"constant-depression\"\nclosed_plate_deg = 12\n"),
        ("needle.toml", "kind = \"constant-depression\"\nneedle_mm = 3.1\n"),
        ("starved.toml", "kind = \"constant-depression\"\npilot_jet_mm = 0.2\n"),
    ] {
        folder.write(name, text);
    }
    let utf_16: Vec<u8> = "\u{feff}kind = 1\n".encode_utf16().flat_map(u16::to_le_bytes).collect();
    folder.write("utf-16.toml", utf_16);
    folder.write("latin.toml", b"kind = \"fixed-venturi\"\n# k\xfchl\n");
    folder.write("huge.toml", "# a long story\n".repeat(5000));
}

const TABLES: [&str; 7] = ["machines", "builds", "jobs", "facts", "readings", "strikes", "corrections"];

const MACHINE: &str = r#"{"id":"018f4e5a-b3c7-7a1e-9f3d-2b1c0a9e8d01","name":"the 750 twin","layout":"twin-360","cooling":"air","carburettors":2,"cylinders":2,"created_ms":1000,"demo":false,"deleted_ms":null,"revision":1}"#;

/// A folder as `logbook export` writes it, with one machine.
fn write_export(folder: &Folder, name: &str, about: &str, machine: &str) {
    let export = folder.path().join(name);
    std::fs::create_dir(&export).unwrap();
    std::fs::write(export.join("about.json"), about).unwrap();
    for table in TABLES {
        let text = if table == "machines" { format!("{machine}\n") } else { String::new() };
        std::fs::write(export.join(format!("{table}.jsonl")), text).unwrap();
    }
}

fn write_logbooks(folder: &Folder) {
    let about = r#"{"format":"bellmouth-logbook","version":1}"#;
    write_export(folder, "exported", about, MACHINE);
    write_export(folder, "newer-export", r#"{"format":"bellmouth-logbook","version":9}"#, MACHINE);
    write_export(folder, "torn-export", about, &MACHINE[..90]);
    write_export(folder, "other-export", r#"{"format":"recipes","version":1}"#, MACHINE);
    write_export(folder, "odd-export", r#"{"shopping":"list"}"#, MACHINE);
    write_export(folder, "lacking-export", about, MACHINE);
    std::fs::remove_file(folder.path().join("lacking-export/jobs.jsonl")).unwrap();
    let made = folder.run(&["logbook", "import", "exported", "--logbook", "workshop.sqlite"]);
    assert_eq!(made.status, Some(0), "{made:?}");
    let whole = folder.read("workshop.sqlite");
    // Words of the file's first 100 bytes: 60 is the version of its tables, 68 whose file it is.
    let with_word = |at: usize, word: u32| {
        let mut changed = whole.clone();
        changed[at..at + 4].copy_from_slice(&word.to_be_bytes());
        changed
    };
    folder.write("newer.sqlite", with_word(60, 999));
    folder.write("another-program.sqlite", with_word(68, 0));
    folder.write("torn.sqlite", &whole[..whole.len() / 2]);
    let mut damaged = whole.clone();
    damaged[4096 * 2..4096 * 3].fill(0xff);
    folder.write("damaged.sqlite", damaged);
    folder.write("busy.sqlite", &whole);
}
