//! A reckoned idle in a person's words.

use bellmouth_core::quantity::TurnsOut;

use super::{IdleAnswer, IdlePoint};
use crate::machine_file::{MachineFile, Value};

/// The caution that stands under every reckoned idle.
const CAUTION: &str = "Reckoned, not measured: a reading at the machine wins. An idling engine makes carbon \
     monoxide; never run it in a closed room.";

/// Assumed values worth a glance, most telling first; `--json` has all.
const TELLING: &[&str] = &[
    "displacement_cm3",
    "cylinders",
    "carburettors",
    "throttle_bore_mm",
    "stop_plate_deg",
    "pilot_jet_mm",
    "pilot_air_jet_mm",
    "screw",
    "screw_seat_mm",
    "screw_taper_deg",
    "temp_c",
    "altitude_m",
];

/// No line is longer, characters.
const WIDTH: usize = 100;

/// The machine in one line.
pub(super) fn title(file: &MachineFile) -> String {
    let (machine, day) = (&file.machine, &file.day);
    let many = |count: u32, one: &str| format!("{count} {one}{}", if count == 1 { "" } else { "s" });
    let leak = match 1e6 * machine.leak_m2 {
        leak if 0.0 < leak => format!(", leak {leak:.2} mm²"),
        _ => String::new(),
    };
    format!(
        "{}, {} on {}, {:.0} cm³; plate at {:.1}°{leak}; {:.0} °C, {:.0} m",
        file.kind,
        many(machine.carburettors, "carburettor"),
        many(machine.engine.cylinders, "cylinder"),
        1e6 * machine.engine.displacement_m3,
        machine.carburettor.stop_rad.to_degrees(),
        day.temp_c,
        day.altitude_m,
    )
}

/// The answer in a person's words, a line each.
pub fn words(answer: &IdleAnswer) -> String {
    let mut lines = vec![answer.title.clone(), String::new()];
    lines.push("turns out     rpm   lambda   manifold".to_owned());
    lines.extend(answer.points.iter().map(row));
    lines.push(String::new());
    match (answer.best_turns, answer.best_rpm) {
        (Some(turns), Some(rpm)) => {
            lines.push(format!("Fastest     {} {}, {rpm:.0} rpm", said(turns), turns_out(turns)));
        }
        _ if answer.caveats.iter().any(|caveat| caveat.name == "races") => {
            lines.push("Fastest     not told: it runs away".to_owned());
        }
        _ => lines.push("Fastest     nowhere: it idles at no position from seated to 6 turns".to_owned()),
    }
    if let Some(edge) = answer.lean_edge_turns {
        lines.push(format!("Lean edge   {edge:.2} {}, the leanest within 1 % of that", turns_out(edge)));
    }
    lines.push(String::new());
    lines.extend(assumed(&answer.assumed));
    for caveat in &answer.caveats {
        // What was assumed stands above.
        if caveat.name != "assumed" {
            lines.extend(wrapped("Mind: ", &caveat.says));
        }
    }
    lines.push(String::new());
    lines.extend(wrapped("", CAUTION));
    lines.join("\n")
}

fn row(point: &IdlePoint) -> String {
    let turns = said(point.turns);
    match (point.rpm, point.lambda, point.manifold_kpa) {
        (Some(rpm), Some(lambda), Some(kpa)) => format!("{turns:<9} {rpm:>7.0} {lambda:>8.2} {kpa:>6.1} kPa"),
        _ if point.stalled => format!("{turns:<9}  stalls"),
        _ => format!("{turns:<9}   races"),
    }
}

/// A position as the trade says it, where it lies on the grid.
fn said(turns: f64) -> String {
    if TurnsOut(turns).on_grid().0 == turns { TurnsOut(turns).to_string() } else { format!("{turns:.2}") }
}

fn turns_out(turns: f64) -> &'static str {
    if turns <= 1.0 { "turn out" } else { "turns out" }
}

fn assumed(assumed: &[(&'static str, Value)]) -> Vec<String> {
    let told: Vec<String> = TELLING
        .iter()
        .filter_map(|telling| assumed.iter().find(|(key, _)| key == telling))
        .map(|(key, value)| format!("{key} {}", value.to_string().trim_matches('"')))
        .collect();
    let values = match assumed.len() {
        0 => return Vec::new(),
        1 => "1 value".to_owned(),
        count => format!("{count} values"),
    };
    let among = if told.is_empty() { String::new() } else { format!(", among them {}", told.join(", ")) };
    wrapped("Assumed: ", &format!("{values} that the file does not give{among}; --json has all"))
}

/// A paragraph, its later lines set in under its first word.
fn wrapped(before: &str, says: &str) -> Vec<String> {
    let mut lines = Vec::new();
    let mut line = before.to_owned();
    for word in says.split_whitespace() {
        if WIDTH < line.chars().count() + word.chars().count() && before.len() < line.len() {
            lines.push(line.trim_end().to_owned());
            line = " ".repeat(before.len());
        }
        line += word;
        line.push(' ');
    }
    lines.push(line.trim_end().to_owned());
    lines
}
