//! `bellmouth listen`: the speed of an engine in a recording.

use std::io::Write;
use std::path::PathBuf;

use bellmouth_workshop::Refusal;
use bellmouth_workshop::listen::{Engine, Listening, Question, Summary, listen_file};
use clap::Args;

/// Tells engine speed from a recording.
#[derive(Args)]
#[command(after_help = "Example:\n  bellmouth listen idle.wav --engine v-twin-45\n  \
    bellmouth listen idle.m4a --firing 0,315 --from 2 --to 20 --json\n\n\
    Reads wav, aiff, caf, flac, mp3, aac, ogg and webm (Vorbis, Opus), m4a, mp4, mov and 3gp (AAC, ALAC, Opus), at\n\
    8 to 192 kHz. AMR, AC-3 and Windows Media are to be converted first. `--engine unknown` ranks the layouts.")]
pub(crate) struct Listen {
    /// The recording
    file: PathBuf,
    /// Firing angles in crank degrees, such as 0,315
    #[arg(long, value_name = "DEGREES")]
    firing: Option<String>,
    /// The engine's layout by name, or unknown
    #[arg(long, value_name = "NAME")]
    engine: Option<String>,
    /// The working cycle in crank degrees: 720 four-stroke, 360 two-stroke
    #[arg(long, value_name = "DEGREES", default_value_t = 720.0)]
    cycle: f64,
    /// What a tachometer roughly shows; keeps half and double speeds out
    #[arg(long, value_name = "RPM")]
    about: Option<f64>,
    /// Listen from here, in seconds
    #[arg(long, value_name = "S")]
    from: Option<f64>,
    /// Listen to here, in seconds
    #[arg(long, value_name = "S")]
    to: Option<f64>,
    /// Print one JSON object
    #[arg(long, conflicts_with = "csv")]
    json: bool,
    /// Print the trace as comma-separated values
    #[arg(long)]
    csv: bool,
}

/// Runs the command.
pub(crate) fn run(typed: Listen) -> Result<(), Refusal> {
    let engine = Engine::from_words(typed.engine.as_deref(), typed.firing.as_deref(), typed.cycle)?;
    let question = Question { engine, about_rpm: typed.about, from_s: typed.from, to_s: typed.to };
    let heard = listen_file(&typed.file, &question)?;
    let text = if typed.json {
        serde_json::to_string(&heard).map_err(|error| {
            Refusal::ours(format!("the answer could not be written ({error})"), "report this")
        })? + "\n"
    } else if typed.csv {
        csv(&heard)
    } else {
        words(&heard)
    };
    // A reader that has gone away (a closed pipe) is no failure of ours.
    let _ = std::io::stdout().lock().write_all(text.as_bytes());
    if typed.csv {
        for caveat in &heard.caveats {
            eprintln!("bellmouth: {}", caveat.says);
        }
    }
    Ok(())
}

fn csv(heard: &Listening) -> String {
    let mut out = String::from("t_s,rpm,sd_rpm,heard\n");
    let number = |value: Option<f64>| value.map(|value| value.to_string()).unwrap_or_default();
    for point in &heard.trace {
        out += &format!("{},{},{},{}\n", point.t_s, number(point.rpm), number(point.sd_rpm), point.heard);
    }
    out
}

fn words(heard: &Listening) -> String {
    let name = heard.engine.name.clone().unwrap_or_else(|| {
        let angles: Vec<String> = heard.engine.firing_deg.iter().map(f64::to_string).collect();
        format!("firing at {} of {}°", angles.join(", "), heard.engine.cycle_deg)
    });
    let mut out = match heard.summary.rpm {
        Some(rpm) => {
            let error = heard.summary.rpm_se.map(|se| format!(" ± {se:.0}")).unwrap_or_default();
            let spread =
                heard.summary.spread_rpm.map(|sd| format!(", wandering by {sd:.0}")).unwrap_or_default();
            format!("{rpm:.0}{error} rpm{spread} ({name}, {:.1} s)\n", heard.duration_s)
        }
        None => format!("no speed ({name}, {:.1} s)\n", heard.duration_s),
    };
    out += &firings(&heard.summary);
    for row in heard.ranking.iter().take(5) {
        let rpm = row.rpm.map(|rpm| format!("{rpm:.0} rpm")).unwrap_or_else(|| "no speed".to_owned());
        out += &format!("  {:<20} {rpm:<10} evidence {:.0}\n", row.name, row.evidence);
    }
    for caveat in &heard.caveats {
        out += &format!("Note: {}.\n", caveat.says);
    }
    out
}

/// What is told of single firings, each figure with its interval.
fn firings(summary: &Summary) -> String {
    let mut out = String::new();
    let (Some(varies), Some(low), Some(high), Some(coverage)) = (
        summary.cycle_variation_pct,
        summary.cycle_variation_low_pct,
        summary.cycle_variation_high_pct,
        summary.evenness_coverage,
    ) else {
        return out;
    };
    out += &format!("  firings vary by {varies:.0} % ({low:.0} to {high:.0})");
    let each = |values: &Option<Vec<f64>>, low: &Option<Vec<f64>>, high: &Option<Vec<f64>>, digits: usize| {
        let all = values.iter().flatten().zip(low.iter().flatten().zip(high.iter().flatten()));
        let said =
            all.map(|(value, (low, high))| format!("{value:.digits$} ({low:.digits$} to {high:.digits$})"));
        said.collect::<Vec<String>>().join(", ")
    };
    let weak =
        each(&summary.weak_firings_pct, &summary.weak_firings_low_pct, &summary.weak_firings_high_pct, 1);
    out += &format!("; weak or missing, %: {weak}\n");
    let (low, high) = (&summary.strength_low_by_cylinder, &summary.strength_high_by_cylinder);
    let strength = each(&summary.strength_by_cylinder, low, high, 2);
    if !strength.is_empty() {
        out += &format!("  energy at the microphone: {strength}\n");
    }
    out + &format!("  in brackets, the {:.0} % interval of each\n", 100.0 * coverage)
}
