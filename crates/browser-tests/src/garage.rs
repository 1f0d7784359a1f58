//! A machine and its job, entered without a browser where a test is about something else.

use std::sync::atomic::{AtomicU64, Ordering};

use crate::Server;

/// A job with what comes before the bench.
#[derive(Clone, Debug)]
pub struct Entered {
    /// Address of the machine's page.
    pub machine: String,
    /// Address of the job's page.
    pub job: String,
}

impl Entered {
    /// Address of the job's bench.
    pub fn bench(&self) -> String {
        format!("{}/idle", self.job)
    }
}

/// A machine as it is entered.
#[derive(Clone, Copy, Debug)]
pub struct Bike<'a> {
    /// What it is called.
    pub name: &'a str,
    /// Name of its layout; empty when not given.
    pub layout: &'a str,
    /// `fuel` or `air`.
    pub screw: &'a str,
    /// Where the screw was found.
    pub found: &'a str,
    /// What a tachometer shows, roughly; may be empty.
    pub about_rpm: &'a str,
    /// The maker's idle speed; may be empty.
    pub idle_rpm: &'a str,
    /// How many carburettors, each with a screw.
    pub carburettors: u32,
}

/// The machine of most tests: its firing order is uneven, so that the ear needs no tachometer.
pub const TWIN: Bike<'static> = Bike {
    name: "the 750 twin",
    layout: "v-twin-45",
    screw: "fuel",
    found: "1.75",
    about_rpm: "",
    idle_rpm: "",
    carburettors: 1,
};

/// A key such as a page makes: a version 7 UUID; unique within a run is enough.
pub fn fresh_key() -> String {
    static COUNT: AtomicU64 = AtomicU64::new(1);
    let count = COUNT.fetch_add(1, Ordering::Relaxed);
    let millis = std::time::SystemTime::now()
        .duration_since(std::time::UNIX_EPOCH)
        .map_or(0, |since| since.as_millis() as u64);
    let (high, low) = (millis >> 16, millis & 0xFFFF);
    format!(
        "{high:08x}-{low:04x}-7{:03x}-8000-{:012x}",
        count & 0xFFF,
        u64::from(std::process::id()) << 16 | count
    )
}

/// Enters a machine and opens a job on it, nothing else.
pub fn enter_machine(server: &Server, bike: Bike) -> Entered {
    let (machine, job) = (fresh_key(), fresh_key());
    let carburettors = bike.carburettors.to_string();
    let entered = server.post(
        "/machine/new",
        &[
            ("id", &machine),
            ("name", bike.name),
            ("layout", bike.layout),
            ("cooling", "liquid"),
            ("carburettors", &carburettors),
            ("base_turns", ""),
        ],
    );
    assert_eq!(entered.status, 303, "{}", entered.body);
    let machine = entered.header("location").to_string();
    let opened = server.post(&format!("{machine}/job"), &[("id", &job), ("complaint", "coughs when opened")]);
    assert_eq!(opened.status, 303, "{}", opened.body);
    Entered { machine, job: opened.header("location").to_string() }
}

/// Enters a machine and everything that the bench wants before the first hold.
pub fn ready(server: &Server, bike: Bike) -> Entered {
    let entered = enter_machine(server, bike);
    let job = &entered.job;
    let seen = || revision(&server.get(job_form(job, "found").as_str()).body);
    let seen_now = seen();
    let mut found = vec![("seen", seen_now.as_str())];
    found.extend((0..bike.carburettors).map(|_| ("count", bike.found)));
    send(server, job, "found", &found);
    send(server, job, "screw", &[("seen", &seen()), ("screw", bike.screw)]);
    let page = server.get(&job_form(job, "check")).body;
    let seen_now = revision(&page);
    let names = gate_questions(&page);
    assert!(10 < names.len(), "{names:?}");
    let mut fields: Vec<(&str, &str)> =
        vec![("seen", &seen_now), ("about_rpm", bike.about_rpm), ("idle_rpm", bike.idle_rpm)];
    fields.extend([("drop_rpm", ""), ("back_out_turns", "")]);
    fields.extend(names.iter().map(|name| (name.as_str(), "good")));
    send(server, job, "check", &fields);
    entered
}

fn job_form(job: &str, tail: &str) -> String {
    format!("{job}/{tail}")
}

fn send(server: &Server, job: &str, tail: &str, fields: &[(&str, &str)]) {
    let kept = server.post(&job_form(job, tail), fields);
    assert_eq!(kept.status, 303, "{tail}: {}", kept.body);
}

/// What the bench asks for: the main key's action and the position it names.
#[derive(Clone, Debug, PartialEq)]
pub struct Asked {
    /// `hold`, `set`, or `left` when the screw is to be counted.
    pub action: String,
    /// The position, turns out.
    pub turns: f64,
}

/// Reads from a bench page what it asks for now.
pub fn asked(page: &str) -> Asked {
    let keys = page.split(r#"<div class="keys">"#).nth(1).unwrap_or_else(|| panic!("no keys in {page}"));
    let first = keys.split("</form>").next().unwrap_or_default();
    let Some(action) = first.split(r#"action=""#).nth(1).and_then(|rest| rest.split('"').next()) else {
        return Asked { action: "left".into(), turns: 0.0 };
    };
    let turns = first.split(r#"name="turns" value=""#).nth(1).and_then(|rest| rest.split('"').next());
    Asked {
        action: action.rsplit('/').next().unwrap_or_default().into(),
        turns: turns.and_then(|turns| turns.parse().ok()).unwrap_or(0.0),
    }
}

/// Types readings of a machine with a known curve until the bench wants the screw set; gives where.
pub fn sweep_by_tachometer(server: &Server, job: &str, rpm: impl Fn(f64) -> f64) -> f64 {
    type_holds(server, job, 14, rpm).expect("14 readings are enough")
}

/// Types so many readings at most; gives where the bench wants the screw set, once it does.
pub fn type_holds(server: &Server, job: &str, most: usize, rpm: impl Fn(f64) -> f64) -> Option<f64> {
    for _ in 0..most {
        let page = server.get(&format!("{job}/idle")).body;
        let asked = asked(&page);
        if asked.action == "set" {
            return Some(asked.turns);
        }
        if asked.action == "stop" {
            let seen = revision(&page);
            let set = server.post(&format!("{job}/idle/stop"), &[("seen", &seen), ("rpm", "1050")]);
            assert_eq!((set.status, set.body.as_str()), (200, "{}"));
            continue;
        }
        assert_eq!(asked.action, "hold", "{page}");
        let (key, turns) = (hold_key(&page), asked.turns.to_string());
        let speed = format!("{:.0}", rpm(asked.turns));
        let form = [("id", key.as_str()), ("turns", &turns), ("rpm", &speed)];
        let kept = server.post(&format!("{job}/idle/typed"), &form);
        assert_eq!((kept.status, kept.body.as_str()), (200, "{}"));
    }
    let asked = asked(&server.get(&format!("{job}/idle")).body);
    (asked.action == "set").then_some(asked.turns)
}

/// Speed of a machine whose plateau of 1050 rpm ends at `edge` turns of richness.
pub fn plateau_rpm(richness: f64, edge: f64) -> f64 {
    let short = edge - 0.15 - richness;
    let corner = if short <= -0.15 { 0.0 } else { (short + 0.15).powi(2) / (2.0 * (short + 0.3)) };
    1050.0 * (1.0 - 0.22 * corner) - 3.0 * (richness - edge - 0.5).powi(2)
}

/// The revision that a page's forms were drawn from.
pub fn revision(page: &str) -> String {
    value_after(page, r#"name="seen" value=""#)
}

/// The key that a bench page's next hold has.
pub fn hold_key(page: &str) -> String {
    value_after(page, r#"name="id" value=""#)
}

fn value_after(page: &str, mark: &str) -> String {
    let found = page.split(mark).nth(1).and_then(|rest| rest.split('"').next());
    found.unwrap_or_else(|| panic!("no {mark} in {page}")).to_string()
}

/// The names of the gate's questions on its page.
fn gate_questions(page: &str) -> Vec<String> {
    let mut names: Vec<String> = page
        .split("name=\"gate-")
        .skip(1)
        .filter_map(|rest| Some(format!("gate-{}", rest.split('"').next()?)))
        .collect();
    names.dedup();
    names
}
