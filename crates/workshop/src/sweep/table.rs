//! The table of a sweep: columns `turns` and `rpm`, and some optional ones.
//!
//! | column | holds | where absent or empty |
//! |---|---|---|
//! | `turns` | position, turns out from lightly seated, 0 to 8 | refused |
//! | `rpm` | mean speed held | refused, unless the engine stalled |
//! | `se_rpm` or `sd_rpm` | standard error of that mean | inferred from the scatter |
//! | `spread_rpm` | standard deviation of the speed while it was held | how roughly it ran is not known |
//! | `at_s` | time, seconds | drift is not allowed for |
//! | `stalled` | `0`, `false`; `1`, `true`; or `lean`, `rich`, `fuel`, `unknown` | it ran |
//! | `block` | a count that goes up when the stop or the load was changed | one block |
//! | `as_found` | `1` or `true` in the row of the position found | no gain is told |
//!
//! Fields are separated by `,`, `;` or tabs. A decimal comma is read where the separator is not a
//! comma, and refused where it is.

use bellmouth_core::Caveat;
use bellmouth_core::idle::{Hold, Outcome, StallCause};
use bellmouth_core::quantity::TurnsOut;

use crate::refusal::Refusal;

/// The holds of a table, and reservations about it.
#[derive(Clone, Debug, PartialEq)]
pub struct Table {
    /// In the order of the rows.
    pub holds: Vec<Hold>,
    /// Columns passed over.
    pub caveats: Vec<Caveat>,
}

/// More rows than this are not a sweep.
const MOST_ROWS: usize = 500;

const COLUMNS: [&str; 8] = ["turns", "rpm", "se_rpm", "at_s", "stalled", "block", "as_found", "spread_rpm"];
const EXAMPLE: &str = "the first line names the columns, at least: turns,rpm";

/// Reads a table.
///
/// # Errors
///
/// [`Refusal`] with the offending value, its line and column, and what to do.
pub fn read(bytes: &[u8]) -> Result<Table, Refusal> {
    if let Some(what) = other_than_text(bytes) {
        return Err(Refusal::unanswerable(
            format!("it is {what}, not a table as plain text"),
            "save it as plain text (CSV, UTF-8)",
        ));
    }
    let text = std::str::from_utf8(bytes).map_err(|error| {
        let line = 1 + bytes[..error.valid_up_to()].iter().filter(|&&byte| byte == b'\n').count();
        Refusal::unanswerable(
            format!("line {line} holds a byte that is not UTF-8 text"),
            "save the table as plain text (CSV, UTF-8)",
        )
    })?;
    let text = text.trim_start_matches('\u{feff}');
    let Some(first) = text.lines().find(|line| !line.trim().is_empty()) else {
        return Err(Refusal::unanswerable("the table is empty", EXAMPLE));
    };
    let separator = separator(first);
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(separator)
        .has_headers(false)
        .flexible(true)
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let mut header: Option<Header> = None;
    let mut holds = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|error| {
            let line = error.position().map_or(0, csv::Position::line);
            Refusal::unanswerable(
                format!("line {line} cannot be read as a row: {error}"),
                "check its quotation marks",
            )
        })?;
        if record.iter().all(str::is_empty) {
            continue;
        }
        let line = record.position().map_or(0, csv::Position::line);
        match &header {
            None => header = Some(Header::of(&record, line)?),
            Some(columns) => {
                if holds.len() == MOST_ROWS {
                    return Err(Refusal::unanswerable(
                        format!("line {line} is row {}, and a sweep has at most {MOST_ROWS}", MOST_ROWS + 1),
                        "give one row for each held position, not one for each reading",
                    ));
                }
                holds.push(Row { record: &record, line, columns, separator }.hold()?);
            }
        }
    }
    let Some(header) = header else {
        return Err(Refusal::unanswerable("the table is empty", EXAMPLE));
    };
    if holds.is_empty() {
        return Err(Refusal::unanswerable(
            "the table names its columns but has no rows",
            "add a line for each held position, such as 2.5,1040",
        ));
    }
    let caveats = header
        .ignored
        .iter()
        .map(|name| {
            Caveat::new(
                "column-ignored",
                format!("the column `{name}` was passed over: its name is not known"),
            )
        })
        .collect();
    Ok(Table { holds, caveats })
}

/// What a file that people take for a table really is, by its first bytes.
pub(crate) fn other_than_text(bytes: &[u8]) -> Option<&'static str> {
    match bytes {
        [b'P', b'K', 3, 4, ..] => Some("a spreadsheet or another packed file"),
        [0xD0, 0xCF, 0x11, 0xE0, ..] => Some("an old spreadsheet or another office file"),
        [0xFF, 0xFE, ..] | [0xFE, 0xFF, ..] => Some("text in UTF-16"),
        _ => None,
    }
}

/// The separator that the first line uses.
fn separator(line: &str) -> u8 {
    if line.contains(';') {
        b';'
    } else if line.contains('\t') {
        b'\t'
    } else {
        b','
    }
}

/// Where each known column stands.
struct Header {
    places: [Option<usize>; COLUMNS.len()],
    width: usize,
    ignored: Vec<String>,
}

impl Header {
    fn of(record: &csv::StringRecord, line: u64) -> Result<Self, Refusal> {
        let mut header = Header { places: [None; COLUMNS.len()], width: record.len(), ignored: Vec::new() };
        for (place, typed) in record.iter().enumerate() {
            let name = typed.to_lowercase();
            let name = if name == "sd_rpm" { "se_rpm" } else { name.as_str() };
            let Some(column) = COLUMNS.iter().position(|&known| known == name) else {
                if !typed.is_empty() {
                    header.ignored.push(typed.to_owned());
                }
                continue;
            };
            if header.places[column].is_some() {
                return Err(Refusal::unanswerable(
                    format!(
                        "line {line} names the column `{name}` twice, the second time as column {}",
                        place + 1
                    ),
                    "keep one of them",
                ));
            }
            header.places[column] = Some(place);
        }
        for (column, name) in COLUMNS.iter().enumerate().take(2) {
            if header.places[column].is_none() {
                let found: Vec<&str> = record.iter().collect();
                return Err(Refusal::unanswerable(
                    format!("line {line} names no column `{name}`; it holds: {}", found.join(", ")),
                    EXAMPLE,
                ));
            }
        }
        Ok(header)
    }
}

/// One row while it is read.
struct Row<'a> {
    record: &'a csv::StringRecord,
    line: u64,
    columns: &'a Header,
    separator: u8,
}

impl Row<'_> {
    fn hold(&self) -> Result<Hold, Refusal> {
        if self.columns.width < self.record.len() {
            let extra = self.record.len();
            let remedy = if self.separator == b',' {
                "separate the columns with ; where numbers have a decimal comma, or write 2.5 for 2,5"
            } else {
                "remove what is too much, or name its column in the first line"
            };
            return Err(Refusal::unanswerable(
                format!(
                    "line {} has {extra} fields under {} columns: {}",
                    self.line,
                    self.columns.width,
                    self.record.iter().collect::<Vec<_>>().join(",")
                ),
                remedy,
            ));
        }
        let turns = self.needed(0, "count the turns from lightly seated and type them, such as 2.5")?;
        if !(0.0..=8.0).contains(&turns) {
            return Err(self.bad(
                0,
                "a screw stands from 0 (lightly seated) to 8 turns out",
                "count again from lightly seated",
            ));
        }
        let stalled = self.stalled()?;
        let outcome = match stalled {
            Some(cause) => Outcome::Stalled(cause),
            None => {
                let rpm =
                    self.needed(1, "type the speed held, or the cause under `stalled` if the engine died")?;
                if !(50.0..=20_000.0).contains(&rpm) {
                    let remedy = if self.separator == b',' {
                        "type the speed in revolutions a minute; with a decimal comma, separate the columns with ;"
                    } else {
                        "type the speed in revolutions a minute without a mark for thousands, or the cause under `stalled` if the engine died"
                    };
                    return Err(self.bad(1, "a held speed lies between 50 and 20000 rpm", remedy));
                }
                let se_rpm = self.number(2)?;
                if se_rpm.is_some_and(|se| !(0.0..=1_000_000.0).contains(&se)) {
                    return Err(self.bad(
                        2,
                        "a standard error is zero or more",
                        "leave the field empty where it is not known",
                    ));
                }
                Outcome::Ran { rpm, se_rpm }
            }
        };
        let block = self.number(5)?.unwrap_or(0.0);
        if block.fract() != 0.0 || !(0.0..=4_000_000_000.0).contains(&block) {
            return Err(self.bad(
                5,
                "a block is a whole number from 0",
                "count up by one whenever the stop or the load was changed",
            ));
        }
        let spread_rpm = self.number(7)?;
        if spread_rpm.is_some_and(|spread| !(0.0..=10_000.0).contains(&spread)) {
            return Err(self.bad(
                7,
                "a spread is zero or more",
                "leave the field empty where it is not known",
            ));
        }
        Ok(Hold {
            turns: TurnsOut(turns),
            outcome,
            spread_rpm,
            at_s: self.number(3)?,
            block: block as u32,
            as_found: self.yes_or_no(6)?,
        })
    }

    /// The field of a column; empty where the column or the field is missing.
    fn field(&self, column: usize) -> &str {
        self.columns.places[column].and_then(|place| self.record.get(place)).unwrap_or_default()
    }

    /// A refusal of a field: its value, its place, what is allowed and what to do.
    fn bad(&self, column: usize, allowed: &str, remedy: &str) -> Refusal {
        let place = self.columns.places[column].unwrap_or(0) + 1;
        let value = match self.field(column) {
            "" => "nothing".to_owned(),
            value => format!("\"{value}\""),
        };
        Refusal::unanswerable(
            format!("line {}, column {place} (`{}`) holds {value}: {allowed}", self.line, COLUMNS[column]),
            remedy,
        )
    }

    fn needed(&self, column: usize, remedy: &str) -> Result<f64, Refusal> {
        self.number(column)?.ok_or_else(|| self.bad(column, "a number is needed here", remedy))
    }

    fn number(&self, column: usize) -> Result<Option<f64>, Refusal> {
        let typed = self.field(column);
        if typed.is_empty() {
            return Ok(None);
        }
        if self.separator == b',' && typed.contains(',') {
            return Err(self.bad(
                column,
                "a decimal comma cannot be told from the comma between columns",
                "separate the columns with ; or write 2.5 for 2,5",
            ));
        }
        // A typographic minus is a minus.
        let plain = typed.replace(',', ".").replace('−', "-");
        match plain.parse::<f64>() {
            Ok(value) if value.is_finite() => Ok(Some(value)),
            Ok(_) => Err(self.bad(
                column,
                "that is not a finite number",
                "leave the row out, or type what was read",
            )),
            Err(_) => {
                Err(self.bad(column, "that is not a number", "type a number without its unit, such as 2.5"))
            }
        }
    }

    fn stalled(&self) -> Result<Option<StallCause>, Refusal> {
        match self.field(4).to_lowercase().as_str() {
            "" | "0" | "false" | "no" => Ok(None),
            "1" | "true" | "yes" | "unknown" => Ok(Some(StallCause::Unknown)),
            "lean" => Ok(Some(StallCause::Lean)),
            "rich" => Ok(Some(StallCause::Rich)),
            "fuel" => Ok(Some(StallCause::OutOfFuel)),
            _ => Err(self.bad(
                4,
                "that is no cause",
                "type lean, rich, fuel or unknown; 0 or nothing if it ran",
            )),
        }
    }

    fn yes_or_no(&self, column: usize) -> Result<bool, Refusal> {
        match self.field(column).to_lowercase().as_str() {
            "" | "0" | "false" | "no" => Ok(false),
            "1" | "true" | "yes" => Ok(true),
            _ => Err(self.bad(column, "that is neither yes nor no", "type 1 or 0")),
        }
    }
}

#[cfg(test)]
mod tests;
