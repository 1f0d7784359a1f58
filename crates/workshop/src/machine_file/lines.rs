//! The lines of a machine's file: bytes to keys and values, each with its line.

use std::io::Read;
use std::path::Path;

use toml::de::{DeTable, DeValue};

use super::key::{Takes, keys, nearest};
use crate::refusal::{Refusal, in_words};
use crate::sweep::other_than_text;

/// A larger file is no machine's.
const MOST_BYTES: u64 = 64 * 1024;

const EXAMPLE: &str = "write key = value on a line, such as pilot_jet_mm = 0.46";
const LEAST_FILE: &str = "a file that says only kind = \"constant-depression\" is complete";

/// What a file gives, in its order.
pub(super) struct Lines<'a> {
    given: Vec<Line<'a>>,
}

struct Line<'a> {
    key: String,
    number: usize,
    /// The value as typed.
    typed: &'a str,
    value: DeValue<'a>,
}

/// Reads a file whole.
pub(super) fn bytes_of(path: &Path) -> Result<Vec<u8>, Refusal> {
    let unreadable = |error: std::io::Error| {
        Refusal::unanswerable(
            format!("{} cannot be read ({})", path.display(), in_words(&error)),
            "check the name, and that it is a file that may be read",
        )
    };
    let mut bytes = Vec::new();
    let file = std::fs::File::open(path).map_err(unreadable)?;
    file.take(MOST_BYTES + 1).read_to_end(&mut bytes).map_err(unreadable)?;
    if MOST_BYTES < bytes.len() as u64 {
        return Err(Refusal::unanswerable(
            format!("{} is no machine's file: it is longer than {MOST_BYTES} bytes", path.display()),
            "check the name: a machine's file has a line for each key",
        ));
    }
    Ok(bytes)
}

/// The text of a file.
pub(super) fn text_of(bytes: &[u8]) -> Result<&str, Refusal> {
    const SAVE: &str = "save it as plain text (TOML, UTF-8)";
    if let Some(what) = other_than_text(bytes) {
        return Err(Refusal::unanswerable(format!("it is {what}, not a machine as plain text"), SAVE));
    }
    let text = std::str::from_utf8(bytes).map_err(|error| {
        let line = 1 + bytes[..error.valid_up_to()].iter().filter(|&&byte| byte == b'\n').count();
        Refusal::unanswerable(format!("line {line} holds a byte that is not UTF-8 text"), SAVE)
    })?;
    Ok(text.trim_start_matches('\u{feff}'))
}

impl<'a> Lines<'a> {
    /// The keys and values of a text.
    pub(super) fn of(text: &'a str) -> Result<Lines<'a>, Refusal> {
        let (table, errors) = DeTable::parse_recoverable(text);
        let line_of = |at: usize| 1 + text[..at.min(text.len())].matches('\n').count();
        let mut given: Vec<Line<'a>> = Vec::new();
        let mut spans: Vec<(usize, usize)> = Vec::new();
        for (key, value) in table.into_inner() {
            let (number, span) = (line_of(key.span().start), value.span());
            spans.push((key.span().start, given.len()));
            let typed = text.get(span).unwrap_or_default();
            given.push(Line { key: key.into_inner().into_owned(), number, typed, value: value.into_inner() });
        }
        if let Some(error) = errors.iter().min_by_key(|error| error.span().map_or(0, |span| span.start)) {
            let span = error.span().unwrap_or(0..0);
            let number = line_of(span.start);
            if error.message().starts_with("duplicate key") {
                let key = text.get(span).unwrap_or_default().trim().to_owned();
                let first = given.iter().find(|line| line.key == key);
                let before =
                    first.map_or(String::new(), |line| format!(", the first time on line {}", line.number));
                return Err(Refusal::unanswerable(
                    format!("line {number} gives `{key}` a second time{before}"),
                    "keep one of them",
                ));
            }
            return Err(not_toml(text, number, error.message()));
        }
        if given.is_empty() {
            return Err(Refusal::unanswerable("the file gives no key", LEAST_FILE));
        }
        given.sort_by_key(|line| line.number);
        let lines = Lines { given };
        lines.known()?;
        Ok(lines)
    }

    /// Refuses the first key that is none.
    fn known(&self) -> Result<(), Refusal> {
        let names: Vec<&str> = keys().iter().map(|key| key.name).collect();
        let Some(stranger) = self.given.iter().find(|line| !names.contains(&line.key.as_str())) else {
            return Ok(());
        };
        let (number, key) = (stranger.number, &stranger.key);
        if let DeValue::Table(_) = stranger.value {
            return Err(Refusal::unanswerable(
                format!(
                    "line {number} puts keys below `{key}`, and the keys of a machine stand by themselves"
                ),
                "leave out the [section] or the dot, and keep the keys",
            ));
        }
        Err(Refusal::unanswerable(
            format!("line {number}: `{key}` is no key of a machine"),
            match nearest(key) {
                Some(name) => format!("perhaps `{name}` was meant, and docs/machine-file.md has all keys"),
                None => "delete the line, or find its key in docs/machine-file.md".to_owned(),
            },
        ))
    }

    fn line(&self, key: &str) -> Option<&Line<'a>> {
        self.given.iter().find(|line| line.key == key)
    }

    /// The line on which a key stands; `None` where the file does not give it.
    pub(super) fn line_of(&self, key: &str) -> Option<usize> {
        self.line(key).map(|line| line.number)
    }

    /// The line on which a key stands and what was typed there, short enough for a sentence.
    pub(super) fn typed(&self, key: &str) -> Option<(usize, String)> {
        self.line(key).map(|line| (line.number, line.said()))
    }

    /// The number that a key holds, whether or not it is believable.
    pub(super) fn number(&self, key: &str) -> Result<Option<f64>, Refusal> {
        self.line(key).map(Line::number).transpose()
    }

    /// The number that a key holds, within its range.
    pub(super) fn within(&self, key: &str, least: f64, most: f64) -> Result<Option<f64>, Refusal> {
        let Some(number) = self.number(key)? else { return Ok(None) };
        match self.line(key) {
            Some(line) if !(least <= number && number <= most) => {
                Err(line.bad(&format!("from {least} to {most}"), "give a value inside that range"))
            }
            _ => Ok(Some(number)),
        }
    }

    /// The whole number that a key holds, within its range.
    pub(super) fn count(&self, key: &str, least: u32, most: u32) -> Result<Option<u32>, Refusal> {
        let Some(line) = self.line(key) else { return Ok(None) };
        let number = line.number()?;
        let whole = (f64::from(least)..=f64::from(most)).contains(&number) && number.fract() == 0.0;
        if whole {
            Ok(Some(number as u32))
        } else {
            Err(line.bad(&Takes::Count(least, most).to_string(), "count them"))
        }
    }

    /// The word that a key holds, one of some.
    pub(super) fn word(
        &self,
        key: &str,
        words: &'static [&'static str],
    ) -> Result<Option<&'static str>, Refusal> {
        let Some(line) = self.line(key) else { return Ok(None) };
        let DeValue::String(typed) = &line.value else {
            return Err(line.bad(&Takes::Word(words).to_string(), "give one of them, in quotation marks"));
        };
        if key == "kind" && typed.trim() == "slide" {
            return Err(Refusal::unanswerable(
                format!("line {}: `kind` is \"slide\", and plain slides are not reckoned yet", line.number),
                format!("the kinds that are: {}", Takes::Word(words)),
            ));
        }
        match words.iter().find(|&&word| word == typed) {
            Some(word) => Ok(Some(word)),
            None => Err(line.bad(&Takes::Word(words).to_string(), "give one of them")),
        }
    }

    /// The list of numbers that a key holds, each within a range.
    pub(super) fn numbers(&self, key: &str, least: f64, most: f64) -> Result<Option<Vec<f64>>, Refusal> {
        let Some(line) = self.line(key) else { return Ok(None) };
        let takes = Takes::Numbers(least, most).to_string();
        match numbers_in(&line.value) {
            Some(numbers) if numbers.iter().all(|number| least <= *number && *number <= most) => {
                Ok(Some(numbers))
            }
            Some(_) => Err(line.bad(&takes, "give values inside that range")),
            None => Err(line.bad(&takes, "write them as [0.25, 0]")),
        }
    }

    /// The list of pairs that a key holds, each number of a pair within its range.
    pub(super) fn pairs(
        &self,
        key: &str,
        first: (f64, f64),
        second: (f64, f64),
    ) -> Result<Option<Vec<[f64; 2]>>, Refusal> {
        const WRITE: &str = "write them as [[1.5, 0.5], [2.5, 0.55]], or [] for none";
        let Some(line) = self.line(key) else { return Ok(None) };
        let takes = Takes::Pairs(first, second).to_string();
        let DeValue::Array(items) = &line.value else { return Err(line.bad(&takes, WRITE)) };
        let mut pairs = Vec::new();
        for item in items.iter() {
            let Some(&[one, two]) = numbers_in(item.get_ref()).as_deref() else {
                return Err(line.bad(&takes, WRITE));
            };
            let fits = first.0 <= one && one <= first.1 && second.0 <= two && two <= second.1;
            if !fits {
                return Err(line.bad(&takes, "give values inside those ranges"));
            }
            pairs.push([one, two]);
        }
        Ok(Some(pairs))
    }
}

impl Line<'_> {
    /// What was typed, short enough for a sentence.
    fn said(&self) -> String {
        short(self.typed)
    }

    fn bad(&self, allowed: &str, remedy: &str) -> Refusal {
        Refusal::unanswerable(
            format!("line {}: `{}` is {}, but must be {allowed}", self.number, self.key, self.said()),
            remedy,
        )
    }

    /// The number that it holds.
    fn number(&self) -> Result<f64, Refusal> {
        match number_in(&self.value) {
            Some(number) if number.is_finite() => Ok(number),
            Some(_) => Err(self.bad("a finite number", "delete the line, or give what was measured")),
            None => {
                Err(self
                    .bad("a number", "write it without its unit and without quotation marks, such as 0.46"))
            }
        }
    }
}

/// The number that a value is; `None` where it is none.
fn number_in(value: &DeValue<'_>) -> Option<f64> {
    match value {
        DeValue::Integer(integer) if integer.radix() == 10 => integer.as_str().parse().ok(),
        DeValue::Integer(integer) => {
            i64::from_str_radix(integer.as_str(), integer.radix()).ok().map(|whole| whole as f64)
        }
        DeValue::Float(float) => float.as_str().parse().ok(),
        _ => None,
    }
}

/// The numbers of a list; `None` where it is no list of numbers.
fn numbers_in(value: &DeValue<'_>) -> Option<Vec<f64>> {
    let DeValue::Array(items) = value else { return None };
    items.iter().map(|item| number_in(item.get_ref())).collect()
}

fn short(typed: &str) -> String {
    let one_line = typed.split_whitespace().collect::<Vec<_>>().join(" ");
    if one_line.chars().count() <= 60 {
        return one_line;
    }
    one_line.chars().take(57).chain("...".chars()).collect()
}

/// A text that breaks the rules of the format.
fn not_toml(text: &str, number: usize, because: &str) -> Refusal {
    let line = text.lines().nth(number - 1).unwrap_or_default();
    let line = line.split('#').next().unwrap_or_default().trim();
    // The slip of everyone who writes 0,46.
    if let Some((key, typed)) = line.split_once('=')
        && let Some((whole, part)) = typed.trim().split_once(',')
        && [whole, part].iter().all(|digits| !digits.is_empty() && digits.bytes().all(|b| b.is_ascii_digit()))
    {
        return Refusal::unanswerable(
            format!("line {number}: `{}` is {whole},{part}, with a decimal comma", key.trim()),
            format!("write {whole}.{part}"),
        );
    }
    if let Some((key, typed)) = line.split_once('=')
        && let Some(digits) = typed.trim().strip_prefix('.')
    {
        return Refusal::unanswerable(
            format!("line {number}: `{}` is .{digits}, and a number begins with a digit", key.trim()),
            format!("write 0.{digits}"),
        );
    }
    // Where the key is well formed, what is wrong stands behind it.
    if let Some((key, typed)) = line.split_once('=').map(|(key, typed)| (key.trim(), typed.trim()))
        && key.bytes().all(|byte| byte.is_ascii_alphanumeric() || byte == b'_')
        && typed.parse::<f64>().is_err()
    {
        if typed.is_empty() {
            return Refusal::unanswerable(
                format!("line {number}: nothing stands behind `{key} =`"),
                "give its value, or delete the line",
            );
        }
        if !typed.starts_with(['"', '\'', '[', '{']) {
            return Refusal::unanswerable(
                format!(
                    "line {number}: `{key}` is {}, which is neither a number nor in quotation marks",
                    short(typed)
                ),
                "write a number without its unit, a word in quotation marks",
            );
        }
    }
    let held = if line.is_empty() { "nothing".to_owned() } else { format!("“{}”", short(line)) };
    Refusal::unanswerable(format!("line {number} holds {held}, which is not TOML ({because})"), EXAMPLE)
}
