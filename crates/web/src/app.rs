//! The running server: what its handlers share, and how it starts and stops.

use std::future::Future;
use std::net::SocketAddr;
use std::sync::Arc;

use bellmouth_workshop::{Refusal, Workshop};
use tokio::net::TcpListener;

use crate::error::Nope;
use crate::guard::Hosts;
use crate::live::Benches;
use crate::routes::router;

/// What every handler shares.
#[derive(Clone)]
pub struct App {
    workshop: Arc<Workshop>,
    pub(crate) benches: Arc<Benches>,
}

impl App {
    /// A server's shared state over a workshop.
    pub fn new(workshop: Arc<Workshop>) -> App {
        App { workshop: workshop.clone(), benches: Arc::new(Benches::new(workshop)) }
    }

    /// Asks the workshop something, off the async threads: it waits for the disk and fits curves.
    pub(crate) async fn ask<T: Send + 'static>(
        &self,
        question: impl FnOnce(&Workshop) -> Result<T, Refusal> + Send + 'static,
    ) -> Result<T, Nope> {
        let workshop = self.workshop.clone();
        match tokio::task::spawn_blocking(move || question(&workshop)).await {
            Ok(answer) => answer.map_err(Nope::from),
            Err(_) => {
                Err(Refusal::ours("the workshop stumbled over this", "try again, and report what you did")
                    .into())
            }
        }
    }
}

/// Serves a workshop on a bound listener until `stop` is done.
///
/// # Errors
///
/// What the system said of the listener.
pub async fn serve(
    listener: TcpListener,
    workshop: Arc<Workshop>,
    stop: impl Future<Output = ()> + Send + 'static,
) -> std::io::Result<()> {
    let address: SocketAddr = listener.local_addr()?;
    let app = App::new(workshop);
    let benches = app.benches.clone();
    let service = router(app, Hosts::of(address));
    let stopping = async move {
        stop.await;
        benches.stop();
    };
    axum::serve(listener, service).with_graceful_shutdown(stopping).await
}
