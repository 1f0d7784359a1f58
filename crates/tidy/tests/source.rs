//! What must hold of the source itself, whatever it computes.

use std::fs;
use std::path::{Path, PathBuf};

/// The repository's root folder.
fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

/// Every file below `folder` whose name ends in one of `endings`, build output left out.
fn files(folder: &Path, endings: &[&str]) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut folders = vec![folder.to_path_buf()];
    while let Some(next) = folders.pop() {
        for entry in fs::read_dir(&next).expect("a folder of the source can be read") {
            let path = entry.expect("an entry can be read").path();
            let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
            if path.is_dir() {
                if name != "target" && name != ".git" && name != "node_modules" {
                    folders.push(path);
                }
            } else if endings.iter().any(|ending| name.ends_with(ending)) {
                found.push(path);
            }
        }
    }
    found.sort();
    found
}

fn read(path: &Path) -> String {
    fs::read_to_string(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

#[test]
fn every_rust_file_opens_with_its_purpose() {
    for path in files(&root().join("crates"), &[".rs"]) {
        assert!(read(&path).starts_with("//!"), "{} does not open with //!", path.display());
    }
}

#[test]
fn no_source_file_exceeds_800_lines() {
    for path in files(&root(), &[".rs", ".js", ".css"]) {
        let lines = read(&path).lines().count();
        assert!(lines <= 800, "{} has {lines} lines; split it by its parts", path.display());
    }
}

#[test]
fn nothing_reads_the_neighbouring_folder_or_a_machine_path() {
    // Spelled in two halves so that this file does not find itself.
    let forbidden = [
        concat!("../", "shared"),
        concat!("/", "work/"),
        concat!("/", "root/"),
        concat!("crates", ".io/api"),
    ];
    for path in files(&root(), &[".rs", ".toml", ".md", ".sh", ".js", ".css", ".py", "run"]) {
        let text = read(&path);
        for word in forbidden {
            assert!(!text.contains(word), "{} mentions {word}", path.display());
        }
    }
}

#[test]
fn crates_depend_only_downwards() {
    let allowed: &[(&str, &[&str])] = &[
        ("core", &[]),
        ("chart", &[]),
        ("logbook", &["core"]),
        ("workshop", &["core", "logbook"]),
        ("web", &["core", "workshop", "chart"]),
        ("cli", &["core", "workshop", "web", "chart"]),
    ];
    for (name, below) in allowed {
        let manifest = read(&root().join("crates").join(name).join("Cargo.toml"));
        let dependencies = manifest.split("[dependencies]").nth(1).unwrap_or_default();
        let dependencies = dependencies.split("[dev-dependencies]").next().unwrap_or_default();
        for line in dependencies.lines().filter(|line| line.starts_with("bellmouth-")) {
            let on = line.trim_start_matches("bellmouth-").split(['.', ' ']).next().unwrap_or_default();
            assert!(below.contains(&on), "{name} depends on {on}; data flows the other way");
        }
    }
}

#[test]
fn rooms_of_core_know_only_their_neighbours() {
    let allowed: &[(&str, &[&str])] = &[
        ("quantity", &[]),
        ("error", &[]),
        ("numeric", &[]),
        ("caveat", &[]),
        ("air", &["quantity", "error", "caveat", "bibliography", "air"]),
        ("fuel", &["quantity", "error", "caveat", "bibliography", "fuel"]),
        ("flow", &["quantity", "error", "caveat", "bibliography", "air", "fuel", "numeric", "flow"]),
        ("engine", &["quantity", "error", "caveat", "bibliography", "air", "fuel", "numeric", "engine"]),
        (
            "carburettor",
            &[
                "quantity",
                "error",
                "caveat",
                "bibliography",
                "air",
                "fuel",
                "flow",
                "engine",
                "numeric",
                "carburettor",
            ],
        ),
        (
            "practice",
            &[
                "numeric",
                "quantity",
                "error",
                "caveat",
                "bibliography",
                "air",
                "fuel",
                "flow",
                "engine",
                "carburettor",
                "practice",
            ],
        ),
        ("sound", &["quantity", "error", "caveat", "bibliography", "engine", "numeric", "sound"]),
        ("idle", &["quantity", "error", "caveat", "bibliography", "idle"]),
    ];
    let source = root().join("crates/core/src");
    for (room, knows) in allowed {
        let mut paths = vec![source.join(format!("{room}.rs"))];
        if source.join(room).is_dir() {
            paths.extend(files(&source.join(room), &[".rs"]));
        }
        for path in paths {
            for line in read(&path).lines().filter(|line| line.trim_start().starts_with("use crate::")) {
                let used = line
                    .trim_start()
                    .trim_start_matches("use crate::")
                    .split([':', ';'])
                    .next()
                    .unwrap_or_default();
                let known = knows.contains(&used)
                    || used.starts_with('{')
                    || used.chars().next().is_some_and(char::is_uppercase);
                assert!(known, "{}: {line}: `{room}` may not know `{used}`", path.display());
            }
        }
    }
}

#[test]
fn core_is_pure() {
    for path in files(&root().join("crates/core/src"), &[".rs"]) {
        let text = read(&path);
        for word in ["std::fs", "std::net", "std::env", "SystemTime", "Instant", "serde"] {
            assert!(!text.contains(word), "{} mentions {word}", path.display());
        }
    }
}

#[test]
fn every_source_in_the_bibliography_is_cited() {
    let bibliography = read(&root().join("crates/core/src/bibliography.rs"));
    let variants: Vec<&str> = bibliography
        .lines()
        .filter(|line| line.starts_with("    ") && line.trim_end().ends_with(',') && !line.contains("///"))
        .map(|line| line.trim().trim_end_matches(','))
        .collect();
    let everything: String = files(&root().join("crates"), &[".rs"])
        .iter()
        .filter(|path| !path.ends_with("bibliography.rs"))
        .map(|path| read(path))
        .collect();
    for variant in variants {
        assert!(everything.contains(&format!("Bibliography::{variant}")), "nothing cites {variant}");
    }
}

#[test]
fn no_placeholder_is_left() {
    let forbidden = [concat!("TO", "DO"), concat!("FIX", "ME"), concat!("XX", "X"), concat!("#[ig", "nore")];
    for path in files(&root().join("crates"), &[".rs", ".js", ".css"]) {
        let text = read(&path);
        for word in forbidden {
            assert!(!text.contains(word), "{} holds {word}", path.display());
        }
    }
}

#[test]
fn the_architecture_page_names_every_crate() {
    let page = read(&root().join("ARCHITECTURE.md"));
    for entry in fs::read_dir(root().join("crates")).expect("crates can be listed") {
        let name = entry.expect("an entry can be read").file_name().to_string_lossy().into_owned();
        assert!(page.contains(&format!("crates/{name}")), "ARCHITECTURE.md does not name crates/{name}");
    }
}
