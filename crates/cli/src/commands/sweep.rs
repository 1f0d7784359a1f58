//! `bellmouth sweep`: where the lean edge is and where to leave the screw, from a table of holds.

use std::path::PathBuf;

use bellmouth_workshop::Refusal;
use bellmouth_workshop::sweep::{Asked, RuleName, SweepAnswer, answer_file, words};
use clap::{Args, ValueEnum};

/// What was typed.
#[derive(Args)]
#[command(after_help = EXAMPLE)]
pub(crate) struct Typed {
    /// The table: columns turns, rpm, and optionally se_rpm, at_s, stalled, block, as_found, spread_rpm
    file: PathBuf,
    /// Which way the screw works: a fuel screw is richer out, an air screw leaner out
    #[arg(long, value_enum)]
    screw: Screw,
    /// What cools the engine
    #[arg(long, value_enum, default_value_t = Cooling::Air)]
    cooling: Cooling,
    /// How many screws feed the engine when one of them is turned; all turned together is 1
    #[arg(long, value_name = "N", default_value_t = 1)]
    carburettors: u32,
    /// How the setting follows from the edge [default: maker where --drop-rpm is given, pick-up where --picked-up-turns is, else margin]
    #[arg(long, value_enum)]
    rule: Option<Rule>,
    /// The maker's drop in speed, for --rule maker
    #[arg(long, value_name = "D")]
    drop_rpm: Option<f64>,
    /// The maker's turns back towards rich after the drop [default: 0.75]
    #[arg(long, value_name = "T")]
    back_out_turns: Option<f64>,
    /// Where it picked up best, for --rule pick-up
    #[arg(long, value_name = "T")]
    picked_up_turns: Option<f64>,
    /// The maker's base position of the screw
    #[arg(long, value_name = "T")]
    base_turns: Option<f64>,
    /// Never advise a hold below this speed
    #[arg(long, value_name = "R")]
    floor_rpm: Option<f64>,
    /// Print one JSON object
    #[arg(long)]
    json: bool,
}

const EXAMPLE: &str = "\
Example:
  bellmouth sweep twin.csv --screw fuel --cooling air

  where twin.csv holds
    turns,rpm,se_rpm,at_s,as_found
    2.5,1047,5,0,1
    3,1058,5,35,
    2,984,6,70,";

#[derive(Clone, Copy, ValueEnum)]
enum Screw {
    Fuel,
    Air,
}

#[derive(Clone, Copy, ValueEnum)]
enum Cooling {
    Air,
    Liquid,
}

#[derive(Clone, Copy, ValueEnum)]
enum Rule {
    Maker,
    Margin,
    Middle,
    /// Cylinders share an intake: the margin from where the first of them weakens
    FirstToWeaken,
    /// Where it picked up best, of the positions tried
    PickUp,
}

impl Typed {
    /// What is meant.
    fn asked(&self) -> Asked {
        Asked {
            screw: match self.screw {
                Screw::Fuel => bellmouth_core::quantity::Screw::Fuel,
                Screw::Air => bellmouth_core::quantity::Screw::Air,
            },
            cooling: match self.cooling {
                Cooling::Air => bellmouth_core::idle::Cooling::Air,
                Cooling::Liquid => bellmouth_core::idle::Cooling::Liquid,
            },
            carburettors: self.carburettors,
            rule: self.rule.map(|rule| match rule {
                Rule::Maker => RuleName::Maker,
                Rule::Margin => RuleName::Margin,
                Rule::Middle => RuleName::Middle,
                Rule::FirstToWeaken => RuleName::FirstToWeaken,
                Rule::PickUp => RuleName::PickUp,
            }),
            picked_up_turns: self.picked_up_turns,
            drop_rpm: self.drop_rpm,
            back_out_turns: self.back_out_turns,
            base_turns: self.base_turns,
            floor_rpm: self.floor_rpm,
        }
    }
}

/// Answers the table.
pub(crate) fn run(typed: &Typed) -> Result<(), Refusal> {
    let asked = typed.asked();
    let answered = answer_file(&typed.file, &asked)?;
    if typed.json {
        let json = serde_json::to_string(&SweepAnswer::from(&answered)).map_err(|error| {
            Refusal::ours(format!("the answer could not be written: {error}"), "report it")
        })?;
        super::print(&json);
    } else {
        super::print(&words(&answered, asked.screw));
    }
    Ok(())
}
