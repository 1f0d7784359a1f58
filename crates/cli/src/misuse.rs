//! What was typed wrongly, as one sentence with its remedy.

use bellmouth_workshop::Refusal;
use clap::error::{ContextKind, ContextValue, ErrorKind};

/// The refusal of what was typed; `root` is the command and `typed` the words, the program's name first.
pub(crate) fn refusal(misuse: &clap::Error, root: &clap::Command, typed: &[std::ffi::OsString]) -> Refusal {
    let of = |kind| misuse.get(kind).map(plain).filter(|text| !text.is_empty());
    let argument = of(ContextKind::InvalidArg).unwrap_or_else(|| "an argument".to_owned());
    let (command, path) = reached(root, typed);
    let names = command.get_subcommands().map(clap::Command::get_name).collect::<Vec<_>>().join(", ");
    let help = format!("see `{path} --help`");
    match misuse.kind() {
        ErrorKind::MissingRequiredArgument => {
            let remedy = match values(command, &argument) {
                Some(values) => format!("give one of {values}"),
                None => "add it".to_owned(),
            };
            Refusal::misused(format!("`{path}` lacks {argument}"), format!("{remedy}; {help}"))
        }
        ErrorKind::InvalidValue => {
            let message = match of(ContextKind::InvalidValue) {
                Some(value) => format!("`{argument}` is {value:?}, which is not one of its values"),
                None => format!("`{argument}` was given without its value"),
            };
            match of(ContextKind::ValidValue) {
                Some(values) => Refusal::misused(message, format!("give one of {values}")),
                None => Refusal::misused(message, help),
            }
        }
        ErrorKind::ValueValidation => {
            let value = of(ContextKind::InvalidValue).unwrap_or_default();
            Refusal::misused(format!("`{argument}` is {value:?}, which is not the number it takes"), help)
        }
        // A program that typed no command but wants JSON is told of the command.
        ErrorKind::UnknownArgument if argument == "--json" && command.has_subcommands() => {
            no_command(&path, &names)
        }
        ErrorKind::UnknownArgument => {
            let nearest = of(ContextKind::SuggestedArg).map(|name| format!("perhaps {name} was meant; "));
            let remedy = format!("{}{help}", nearest.unwrap_or_default());
            Refusal::misused(format!("`{path}` knows no argument `{argument}`"), remedy)
        }
        ErrorKind::ArgumentConflict => {
            let other = of(ContextKind::PriorArg).unwrap_or_else(|| "another argument".to_owned());
            let message = if other == argument {
                format!("`{argument}` was given more than once")
            } else {
                format!("`{argument}` cannot stand beside `{other}`")
            };
            Refusal::misused(message, "leave one of them out")
        }
        ErrorKind::InvalidSubcommand => {
            let name = of(ContextKind::InvalidSubcommand).unwrap_or_default();
            Refusal::misused(
                format!("`{path}` knows no command `{name}`"),
                format!("the commands are {names}; {help}"),
            )
        }
        ErrorKind::MissingSubcommand | ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand => {
            no_command(&path, &names)
        }
        _ => {
            let text = misuse.to_string();
            let first = text.lines().next().unwrap_or_default().trim_start_matches("error: ").to_owned();
            Refusal::misused(first, help)
        }
    }
}

fn no_command(path: &str, names: &str) -> Refusal {
    Refusal::misused(
        format!("`{path}` was given no command"),
        format!("the commands are {names}; see `{path} --help`"),
    )
}

/// The command that was reached, and how it is typed.
fn reached<'a>(root: &'a clap::Command, typed: &[std::ffi::OsString]) -> (&'a clap::Command, String) {
    let (mut command, mut path) = (root, root.get_name().to_owned());
    for word in typed.iter().skip(1) {
        // Options stand between; the first word that names nothing below is an argument.
        match command.find_subcommand(word) {
            Some(below) => {
                command = below;
                path += &format!(" {}", below.get_name());
            }
            None if word.to_string_lossy().starts_with('-') => {}
            None => break,
        }
    }
    (command, path)
}

/// The values that an argument such as `--screw <SCREW>` takes, where they are few.
fn values(command: &clap::Command, argument: &str) -> Option<String> {
    let long = argument.split(' ').next()?.strip_prefix("--")?;
    let found = command.get_arguments().find(|known| known.get_long() == Some(long))?;
    let names: Vec<String> =
        found.get_possible_values().iter().map(|value| value.get_name().to_owned()).collect();
    (!names.is_empty()).then(|| names.join(", "))
}

fn plain(value: &ContextValue) -> String {
    match value {
        ContextValue::String(text) => text.clone(),
        ContextValue::Strings(texts) => texts.join(", "),
        ContextValue::Number(number) => number.to_string(),
        other => other.to_string(),
    }
}
