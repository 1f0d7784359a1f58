//! The readings of a job as a table that `bellmouth sweep` reads.

use std::fmt::Write as _;

use bellmouth_core::idle::{Hold, Outcome, StallCause};

/// One line a hold, in the columns of `bellmouth sweep`.
pub fn readings_csv(holds: &[Hold]) -> String {
    let mut table = String::from("turns,rpm,se_rpm,at_s,stalled,block,as_found,spread_rpm\n");
    for hold in holds {
        let (rpm, se_rpm, stalled) = match hold.outcome {
            Outcome::Ran { rpm, se_rpm } => {
                (format!("{rpm:.1}"), se_rpm.map(|se| format!("{se:.2}")).unwrap_or_default(), "")
            }
            Outcome::Stalled(cause) => (String::new(), String::new(), cause_word(cause)),
        };
        let at_s = hold.at_s.map(|at| format!("{at:.1}")).unwrap_or_default();
        let found = u8::from(hold.as_found);
        let spread_rpm = hold.spread_rpm.map(|spread| format!("{spread:.2}")).unwrap_or_default();
        let (turns, block) = (hold.turns.0, hold.block);
        let _ = writeln!(table, "{turns},{rpm},{se_rpm},{at_s},{stalled},{block},{found},{spread_rpm}");
    }
    table
}

fn cause_word(cause: StallCause) -> &'static str {
    match cause {
        StallCause::Lean => "lean",
        StallCause::Rich => "rich",
        StallCause::OutOfFuel => "fuel",
        StallCause::Unknown => "unknown",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use bellmouth_core::quantity::TurnsOut;

    #[test]
    fn what_is_written_reads_back_alike() {
        let ran = Outcome::Ran { rpm: 1043.5, se_rpm: Some(4.25) };
        let hold = |turns, outcome, as_found: bool| Hold {
            turns: TurnsOut(turns),
            outcome,
            spread_rpm: as_found.then_some(12.25),
            at_s: Some(31.5),
            block: 2,
            as_found,
        };
        let holds = vec![
            hold(1.75, ran, true),
            hold(1.5, Outcome::Stalled(StallCause::Lean), false),
            hold(2.0, Outcome::Ran { rpm: 1050.0, se_rpm: None }, false),
        ];
        let table = crate::sweep::read(readings_csv(&holds).as_bytes()).unwrap();
        assert_eq!(table.holds, holds);
    }
}
