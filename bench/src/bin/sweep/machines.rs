//! The machines: from the committed tables, or drawn. What sets a screw is not known here.

use bellmouth_core::practice::{COLUMNS, Hidden, Population, draw};
use bellmouth_core::quantity::Screw;

/// A machine, and what is true of it.
pub(crate) struct Subject {
    pub(crate) hidden: Hidden,
    /// The lean edge: the leanest position, 0 to 6 turns, with speed within 1 % of the highest; `None` where
    /// nothing is fastest, because it races or never runs.
    pub(crate) edge_turns: Option<f64>,
    /// Where it runs fastest between 0 and 6 turns.
    pub(crate) best_turns: f64,
}

/// Nearer to an end of the screw's six turns than this counts as lying there.
const END_TURNS: f64 = 0.05;

impl Subject {
    fn new(hidden: Hidden) -> Self {
        let curve = hidden.idle_curve().expect("a machine that was built has a curve");
        let edge_turns = curve.lean_edge_turns();
        let best_turns = curve.best().map_or(f64::NAN, |best| best.turns);
        Subject { hidden, edge_turns, best_turns }
    }

    /// How far the leanest and the richest of six turns are from a position.
    fn distance_from_ends(&self, turns: f64) -> (f64, f64) {
        match self.hidden.screw() {
            Screw::Fuel => (turns, 6.0 - turns),
            Screw::Air => (6.0 - turns, turns),
        }
    }

    /// Whether speed never falls by 1 % on the lean side: the edge is the end of the screw.
    pub(crate) fn has_no_edge(&self) -> bool {
        self.edge_turns.is_some_and(|edge| self.distance_from_ends(edge).0 < END_TURNS)
    }

    /// Whether the highest speed lies at the rich end or beyond: to be judged by the verdict.
    pub(crate) fn is_starved(&self) -> bool {
        self.distance_from_ends(self.best_turns).1 < END_TURNS
    }

    /// Speed at a position as counted, rpm; `None` where it dies or races.
    pub(crate) fn rpm(&self, turns: f64) -> Option<f64> {
        self.hidden.idle(turns).ok()?.operation().map(|operation| operation.rpm)
    }

    /// Share of cycles that do not burn at a position as counted.
    pub(crate) fn missed(&self, turns: f64) -> f64 {
        let idle = self.hidden.idle(turns).ok();
        idle.and_then(|idle| idle.operation().map(|at| 1.0 - at.burning)).unwrap_or(0.0).max(0.0)
    }
}

/// The first machines of a population, from its table or drawn from a seed.
pub(crate) fn population(name: &str, count: usize, seed: Option<u64>) -> Result<Vec<Subject>, String> {
    let population = if name == "network" { Population::Network } else { Population::Alien };
    let hidden = match seed {
        Some(seed) => draw(population, seed, count).map_err(|error| error.to_string())?,
        None => committed(name, count)?,
    };
    Ok(hidden.into_iter().map(Subject::new).collect())
}

fn committed(name: &str, count: usize) -> Result<Vec<Hidden>, String> {
    let path = format!("{}/../crates/core/tests/data/population-{name}.csv", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(&path).map_err(|error| format!("{path}: {error}"))?;
    let mut lines = text.lines();
    if lines.next() != Some(COLUMNS.join(",").as_str()) {
        return Err(format!("{path}: its head is not the columns of a machine"));
    }
    let number = |cell: &str| if cell.is_empty() { Ok(f64::NAN) } else { cell.parse::<f64>() };
    lines
        .take(count)
        .map(|line| {
            let row: Vec<f64> =
                line.split(',').map(number).collect::<Result<_, _>>().map_err(|error| error.to_string())?;
            Hidden::from_row(&row).map_err(|error| error.to_string())
        })
        .collect()
}

/// How many machines have what kind of edge.
pub(crate) fn described(subjects: &[Subject]) -> String {
    let count = |of: &dyn Fn(&Subject) -> bool| subjects.iter().filter(|subject| of(subject)).count();
    format!(
        "no edge in reach on {} (the plateau runs to the lean end of the screw), fastest at the rich end on {}, nothing fastest on {}",
        count(&Subject::has_no_edge),
        count(&Subject::is_starved),
        count(&|subject| subject.edge_turns.is_none())
    )
}
