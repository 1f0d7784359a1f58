//! The page `docs/errors.md`, made of what the cases print.

use std::fmt::Write;
use std::path::PathBuf;

/// Where the page lies.
pub(crate) fn path() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../../docs/errors.md")
}

/// One refusal for the page: what was given, typed and said, and with which exit status.
pub(crate) struct Refused {
    pub(crate) section: &'static str,
    pub(crate) given: &'static str,
    pub(crate) typed: String,
    pub(crate) says: String,
    pub(crate) status: i32,
}

/// Input that looks bad and is answered: what was given, typed, and what comes back.
pub(crate) struct Answered {
    pub(crate) given: &'static str,
    pub(crate) typed: String,
    pub(crate) comes: &'static str,
}

const INTRODUCTION: &str = "\
# When it says no

Every refusal is one sentence: what is wrong and where, a semicolon, and what to do about it. It goes to stderr;
with `--json` the same two halves stand on stdout as `{\"error\":{\"message\",\"remedy\"}}`. Nothing that was saved
before is lost by a refusal.

The exit status says whose turn it is:

- 2: the command was typed wrongly; change what was typed;
- 3: this file or place cannot be used; change the file, or give another;
- 1: our own fault; report it.

This page is made by running each of these commands (`scripts/make-errors`), and a test compares it with what they
say now. `FOLDER` stands for the folder they ran in, `PORT` for a port that was taken,
`NNNN` for a length that differs from one coder to another.
";

/// The whole page.
pub(crate) fn page(refused: &[Refused], answered: &[Answered]) -> String {
    let mut page = INTRODUCTION.to_owned();
    let mut section = "";
    for one in refused {
        if one.section != section {
            section = one.section;
            write!(page, "\n## {section}\n").unwrap();
        }
        write!(
            page,
            "\n**{}** (exit status {})  \n`bellmouth {}`\n\n> {}\n",
            one.given, one.status, one.typed, one.says
        )
        .unwrap();
    }
    page += "\n## Looks bad, and is answered\n\nThe exit status is 0; doubts are told beside the answer.\n\n";
    for one in answered {
        writeln!(page, "- **{}**, `bellmouth {}`: {}", one.given, one.typed, one.comes).unwrap();
    }
    page
}
