//! `bellmouth idle`: where a machine idles at each position of its screw, reckoned from its file.

use std::path::PathBuf;

use bellmouth_workshop::Refusal;
use bellmouth_workshop::idle_answer::{Asked, answer_file, words};
use clap::Args;

/// What was typed.
#[derive(Args)]
#[command(after_help = EXAMPLE)]
pub(crate) struct Typed {
    /// The machine: a TOML file of which one line, its kind, is enough
    #[arg(value_name = "MACHINE.toml")]
    file: PathBuf,
    /// Positions of the screws in turns out, such as 1,1.5,2 [default: 0.5 to 5 by quarters]
    #[arg(long, value_name = "T,…", value_delimiter = ',', allow_hyphen_values = true)]
    screw_turns: Vec<f64>,
    /// An air leak beside the file's, in mm², the stop untouched
    #[arg(long, value_name = "A", allow_hyphen_values = true)]
    leak_mm2: Option<f64>,
    /// The altitude instead of the file's; a stop that idle_rpm has set at the file's altitude stays where it is
    #[arg(long, value_name = "H", allow_hyphen_values = true)]
    altitude_m: Option<f64>,
    /// Print one JSON object
    #[arg(long)]
    json: bool,
}

const EXAMPLE: &str = "\
Example:
  bellmouth idle twin.toml --screw-turns 1.5,2,2.5,3

  where twin.toml holds what is known; the rest is assumed, and told
    kind = \"constant-depression\"   # or \"fixed-venturi\"; this line alone is enough
    displacement_cm3 = 900
    throttle_bore_mm = 36
    pilot_jet_mm = 0.40
    screw_turns = 2.5
    idle_rpm = 1050                # the stop is set for this speed, the screw at screw_turns
    altitude_m = 400

docs/machine-file.md has every key. Where the file gives no temp_c, the air is at 25 °C less 6.5 °C for each
1000 m.";

/// Answers the machine.
pub(crate) fn run(typed: Typed) -> Result<(), Refusal> {
    let asked =
        Asked { screw_turns: typed.screw_turns, leak_mm2: typed.leak_mm2, altitude_m: typed.altitude_m };
    let answer = answer_file(&typed.file, &asked)?;
    let text = if typed.json {
        serde_json::to_string(&answer).map_err(|error| {
            Refusal::ours(format!("the answer could not be written: {error}"), "report it")
        })?
    } else {
        words(&answer)
    };
    // A reader that has gone away (a closed pipe) is no failure of ours.
    super::print(&text);
    Ok(())
}
