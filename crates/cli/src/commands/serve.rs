//! `bellmouth serve`: the bench in a browser.

use std::io::Write as _;
use std::net::{SocketAddr, TcpListener};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use bellmouth_workshop::refusal::in_words;
use bellmouth_workshop::{Refusal, Workshop, place};
use clap::Args;

/// What was typed after `serve`.
#[derive(Args)]
#[command(
    after_help = "Example: bellmouth serve --demo\n\nNothing here stops an engine: only the kill switch does."
)]
pub(crate) struct Typed {
    /// Where to listen; only this machine's own addresses are taken.
    #[arg(long, default_value = "127.0.0.1:7474", value_name = "ADDRESS:PORT")]
    address: String,
    /// The logbook; by default the one in your data folder.
    #[arg(long, value_name = "FILE")]
    logbook: Option<PathBuf>,
    /// Enter the demonstration workshop into a logbook that has none; it can be removed in one step.
    #[arg(long)]
    demo: bool,
    /// Print where the bench and the logbook are as one JSON object
    #[arg(long)]
    json: bool,
}

/// Serves until it is interrupted.
pub(crate) fn run(typed: &Typed) -> Result<(), Refusal> {
    let address = loopback(&typed.address)?;
    let file = match &typed.logbook {
        Some(given) => given.clone(),
        None => place::default_logbook()?,
    };
    // Before the logbook: where the port is taken, none is made.
    let listener = bind(address)?;
    let (workshop, recovered) = Workshop::open(&file)?;
    if let Some(recovered) = recovered {
        let bytes = recovered.left_bytes;
        eprintln!(
            "bellmouth: the last use did not end cleanly; the logbook was checked, is whole, and took in {bytes} bytes"
        );
    }
    if typed.demo && workshop.enter_demo()? {
        eprintln!("bellmouth: entered the demonstration workshop; the garage page removes it in one step");
    }
    let workshop = Arc::new(workshop);
    let served = serve(listener, workshop.clone(), &file, typed.json);
    // Threads that listened have hung up by now; the logbook is closed cleanly if none holds it.
    match Arc::try_unwrap(workshop) {
        Ok(workshop) => workshop.close().and(served),
        Err(_) => served,
    }
}

/// Reads the address, and refuses what others could reach.
fn loopback(text: &str) -> Result<SocketAddr, Refusal> {
    let text = text.replace("localhost:", "127.0.0.1:");
    let address: SocketAddr = text.parse().map_err(|_| {
        Refusal::misused(format!("\"{text}\" is no address with a port"), "give one such as 127.0.0.1:7474")
    })?;
    if !address.ip().is_loopback() {
        return Err(Refusal::misused(
            format!("{address} can be reached from outside this machine, and nothing here asks who it is"),
            "use 127.0.0.1 until phones are supported",
        ));
    }
    Ok(address)
}

fn bind(address: SocketAddr) -> Result<TcpListener, Refusal> {
    TcpListener::bind(address).map_err(|error| match error.kind() {
        std::io::ErrorKind::AddrInUse => Refusal::misused(
            format!("another program, or another bench, listens at {address}"),
            "close it, or give --address 127.0.0.1:0 for any free port",
        ),
        _ => Refusal::misused(
            format!("nothing can listen at {address}: {}", in_words(&error)),
            "give another --address, such as 127.0.0.1:0 for any free port",
        ),
    })
}

fn serve(listener: TcpListener, workshop: Arc<Workshop>, file: &Path, json: bool) -> Result<(), Refusal> {
    let failed = |error: std::io::Error| {
        Refusal::ours(format!("the server failed: {}", in_words(&error)), "start it again")
    };
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().map_err(failed)?;
    runtime.block_on(async {
        listener.set_nonblocking(true).map_err(failed)?;
        let listener = tokio::net::TcpListener::from_std(listener).map_err(failed)?;
        let address = listener.local_addr().map_err(failed)?;
        let told = if json {
            serde_json::json!({ "bench": format!("http://{address}/"), "logbook": file }).to_string()
        } else {
            format!("bench    http://{address}/\nlogbook  {}", file.display())
        };
        // Whoever started it may have stopped reading by now; the bench goes on all the same.
        let _ = writeln!(std::io::stdout(), "{told}");
        let _ = writeln!(
            std::io::stderr(),
            "Never run an engine in a closed room; a worn carbon monoxide alarm is not optional. Ctrl-C stops the bench, \
             not the engine."
        );
        bellmouth_web::serve(listener, workshop, interrupted()).await.map_err(failed)
    })
}

/// Waits for Ctrl-C, or for the system to ask for an end.
async fn interrupted() {
    #[cfg(unix)]
    {
        use tokio::signal::unix::{SignalKind, signal};
        let Ok(mut asked) = signal(SignalKind::terminate()) else { return };
        tokio::select! {
            _ = tokio::signal::ctrl_c() => {}
            _ = asked.recv() => {}
        }
    }
    #[cfg(not(unix))]
    {
        // Without a handler the default one ends the process; nothing saved is lost by it.
        let _ = tokio::signal::ctrl_c().await;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_that_others_can_reach_is_refused_with_the_reason() {
        assert!(
            loopback("127.0.0.1:0").is_ok()
                && loopback("localhost:80").is_ok()
                && loopback("[::1]:7474").is_ok()
        );
        let refused = loopback("0.0.0.0:7474").unwrap_err().to_string();
        assert!(refused.contains("0.0.0.0:7474") && refused.contains("outside this machine"), "{refused}");
        assert!(loopback("7474").unwrap_err().to_string().contains("\"7474\""));
    }
}
