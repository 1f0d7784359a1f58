//! Which engine a recording is of: firing angles, a layout by name, or not known.

use bellmouth_core::engine::layout::{Firing, LAYOUTS, Layout, layout};

use crate::refusal::Refusal;

/// Which engine is listened to.
#[derive(Clone, Debug, PartialEq)]
pub enum Engine {
    /// One with this firing pattern.
    Fires(Firing),
    /// A row of the layout table.
    Is(&'static Layout),
    /// Not known: layouts are ranked by how well they explain the sound.
    Unknown,
}

impl Engine {
    /// From what a command or request says: firing angles, or a layout's name, or `unknown`.
    ///
    /// # Errors
    ///
    /// A [`Refusal`] of misuse that lists the names, where there is none or it is not known, or both
    /// are given, or the angles make no pattern.
    pub fn from_words(name: Option<&str>, firing: Option<&str>, cycle_deg: f64) -> Result<Engine, Refusal> {
        match (name, firing) {
            (Some(_), Some(_)) => {
                Err(Refusal::misused("both --engine and --firing are given", "give one of them"))
            }
            (None, None) => Err(Refusal::misused(
                "no engine is named: neither --engine nor --firing is given",
                format!("give --engine with one of {}; or --firing with its angles, such as 0,315", names()),
            )),
            (Some("unknown"), None) => Ok(Engine::Unknown),
            (Some(name), None) => layout(name).map(Engine::Is).ok_or_else(|| {
                Refusal::misused(
                    format!("no layout is called “{name}”"),
                    format!("the names are {}", names()),
                )
            }),
            (None, Some(firing)) => {
                let angles = firing
                    .split(',')
                    .map(|angle| angle.trim().parse::<f64>().map_err(|_| angle.trim().to_owned()))
                    .collect::<Result<Vec<f64>, String>>();
                let angles = angles.map_err(|angle| {
                    Refusal::misused(
                        format!("the firing angle “{angle}” is no number, in --firing {firing}"),
                        "give crank degrees with commas between, such as 0,315",
                    )
                })?;
                Firing::new(&angles, cycle_deg).map(Engine::Fires).map_err(|error| {
                    Refusal::misused(
                        format!("“{firing}” is no firing pattern: {error}"),
                        "give crank degrees from 0, ascending, below the cycle (--cycle 720 or 360), such as 0,315",
                    )
                })
            }
        }
    }

    /// How it fires, where that is known.
    pub(super) fn firing(&self) -> Option<Firing> {
        match self {
            Engine::Fires(firing) => Some(firing.clone()),
            Engine::Is(row) => Some(Firing::from(*row)),
            Engine::Unknown => None,
        }
    }
}

/// Every name an engine can be given by.
pub fn names() -> String {
    let mut names: Vec<&str> = LAYOUTS.iter().map(|row| row.name).collect();
    names.push("unknown");
    names.join(", ")
}
