//! Pages and live streams. Computes nothing.
//!
//! A request passes the [`guard`](guard::Hosts), is answered by a handler that asks the workshop off the
//! async threads, and leaves as a page from `page`. The live stream of a bench is in `live`.

mod app;
mod assets;
mod error;
pub mod guard;
mod handlers;
mod live;
mod page;
mod routes;

pub use app::{App, serve};
pub use routes::router;
