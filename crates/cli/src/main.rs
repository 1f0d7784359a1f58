//! `bellmouth`: the commands.
//!
//! Each command is a file under `commands/`: what was typed (a clap struct), what is meant, and the
//! words printed. Answers go to stdout, everything else to stderr; nothing ever prompts.

mod commands;
mod misuse;

use std::process::ExitCode;

use clap::{CommandFactory, Parser};

/// A tuning bench for carburetted motorcycles.
#[derive(Parser)]
#[command(
    name = "bellmouth",
    version,
    about,
    arg_required_else_help = true,
    after_help = "Example: bellmouth serve --demo"
)]
struct Arguments {
    #[command(subcommand)]
    command: commands::Command,
}

fn main() -> ExitCode {
    let typed: Vec<std::ffi::OsString> = std::env::args_os().collect();
    let wants_json = typed.iter().any(|argument| argument == "--json");
    let answered = match Arguments::try_parse_from(&typed) {
        Ok(arguments) => commands::run(arguments.command),
        Err(shown) if shows_help(&shown, wants_json) => {
            // Nothing is left to do when the terminal itself has gone.
            let _ = shown.print();
            return ExitCode::from(shown.exit_code() as u8);
        }
        Err(misuse) => Err(misuse::refusal(&misuse, &Arguments::command(), &typed)),
    };
    match answered {
        Ok(()) => ExitCode::SUCCESS,
        Err(refusal) => {
            if wants_json {
                commands::print(&serde_json::json!({ "error": refusal }).to_string());
            }
            eprintln!("bellmouth: {refusal}");
            ExitCode::from(refusal.exit_status())
        }
    }
}

/// Whether help or the version is the answer: as asked for, or where a person typed no command at all.
fn shows_help(shown: &clap::Error, wants_json: bool) -> bool {
    let no_command = shown.kind() == clap::error::ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand;
    !shown.use_stderr() || (no_command && !wants_json)
}
