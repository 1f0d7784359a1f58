//! `bellmouth`: the commands.
//!
//! Each command is a file under `commands/`: what was typed (a clap struct), what is meant, and the
//! words printed. Answers go to stdout, everything else to stderr; nothing ever prompts.

mod commands;

use std::process::ExitCode;

use clap::Parser;

/// A tuning bench for carburetted motorcycles.
#[derive(Parser)]
#[command(name = "bellmouth", version, about, arg_required_else_help = true)]
struct Arguments {
    #[command(subcommand)]
    command: commands::Command,
}

fn main() -> ExitCode {
    let typed: Vec<std::ffi::OsString> = std::env::args_os().collect();
    let wants_json = typed.iter().any(|argument| argument == "--json");
    let arguments = match Arguments::try_parse_from(&typed) {
        Ok(arguments) => arguments,
        Err(misuse) => return say_misuse(&misuse, wants_json),
    };
    match commands::run(arguments.command) {
        Ok(()) => ExitCode::SUCCESS,
        Err(refusal) => {
            if wants_json {
                println!("{}", serde_json::json!({ "error": refusal }));
            }
            eprintln!("bellmouth: {refusal}");
            ExitCode::from(refusal.exit_status())
        }
    }
}

/// Prints help and version as asked for; anything else is misuse, with exit status 2.
fn say_misuse(misuse: &clap::Error, wants_json: bool) -> ExitCode {
    if misuse.use_stderr() && wants_json {
        let text = misuse.to_string();
        let message = text.lines().next().unwrap_or_default().trim_start_matches("error: ");
        println!("{}", serde_json::json!({ "error": { "message": message, "remedy": "see --help" } }));
    }
    // Nothing is left to do when the terminal itself has gone.
    let _ = misuse.print();
    ExitCode::from(misuse.exit_code() as u8)
}
