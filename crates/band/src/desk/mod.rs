//! The desk: a page on this machine on which a teacher writes charts, narrows lines, hears them and hands them
//! out.
//!
//! [`serve`] listens on 127.0.0.1 only. Whoever asks has to pass the [`door`]; what is asked for is in
//! `routes`: charts of one [`folder`], read as they are typed ([`chart_view`]), and lines over them ([`line_view`]),
//! what is handed out ([`hand_out`]), taken in ([`take_in`]) and came back ([`came_back`]). The page is plain modules of script and one
//! style, built into the program.

pub mod came_back;
pub mod chart_view;
pub mod door;
pub mod folder;
pub mod hand_out;
pub mod handed_files;
pub mod line_view;
mod routes;
pub mod take_in;

use crate::{
    failure::{Failure, shown},
    outputs::destination,
};
use axum::{Router, body::Body, extract::State, http::Request, response::Response};
use door::Door;
use folder::Folder;
use std::{net::Ipv4Addr, path::Path, sync::Arc, time::Duration};
use tokio::net::TcpListener;

/// What all requests share.
#[derive(Debug)]
pub struct Desk {
    door: Door,
    folder: Folder,
}

/// How long work under way may take once the desk is told to stop.
const LAST_WORK: Duration = Duration::from_secs(2);

/// Listens on a port of this machine, any free one for 0, until Ctrl-C or a signal to end; prints the address
/// as its first line.
///
/// # Errors
/// A folder that cannot be made or a port that cannot be had.
pub fn serve(folder: &Path, port: u16, open_browser: bool) -> Result<(), Failure> {
    let folder = Folder::open(folder)?;
    // Line after line over one chart.
    endpin_walker::keep_workings();
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .map_err(|error| Failure::output(format!("cannot start listening: {error}")))?;
    let listened = runtime.block_on(async {
        let stop = stop_signal()?;
        let address = (Ipv4Addr::LOCALHOST, port);
        let listener = TcpListener::bind(address)
            .await
            .map_err(|error| Failure::output(format!("cannot listen on port {port}: {error}")))?;
        let port = listener.local_addr().map_err(Failure::output)?.port();
        let desk = Arc::new(Desk {
            door: Door::new(port)?,
            folder,
        });
        let address = desk.door.address();
        destination::print(&format!("{address}\n"))?;
        eprintln!(
            "The desk of {}. The address is for this machine only; Ctrl-C ends it.",
            shown(desk.folder.path())
        );
        if open_browser {
            browse(&address);
        }
        let app = Router::new().fallback(answer).with_state(desk);
        axum::serve(listener, app)
            .with_graceful_shutdown(stop)
            .await
            .map_err(Failure::output)
    });
    runtime.shutdown_timeout(LAST_WORK);
    listened
}

async fn answer(State(desk): State<Arc<Desk>>, request: Request<Body>) -> Response {
    routes::answer(desk, request).await
}

/// Done when the program is told to end. Browsers keep connections open, so those that are idle do not hold it up.
fn stop_signal() -> Result<impl Future<Output = ()> + Send + 'static, Failure> {
    #[cfg(unix)]
    {
        use tokio::signal::unix::{SignalKind, signal};
        let problem = |error| Failure::output(format!("cannot watch for signals: {error}"));
        let mut interrupted = signal(SignalKind::interrupt()).map_err(problem)?;
        let mut ended = signal(SignalKind::terminate()).map_err(problem)?;
        let mut hung_up = signal(SignalKind::hangup()).map_err(problem)?;
        Ok(async move {
            std::future::poll_fn(|context| {
                let told = [&mut interrupted, &mut ended, &mut hung_up]
                    .into_iter()
                    .any(|signal| signal.poll_recv(context).is_ready());
                match told {
                    true => std::task::Poll::Ready(()),
                    false => std::task::Poll::Pending,
                }
            })
            .await;
        })
    }
    #[cfg(not(unix))]
    {
        Ok(async {
            let _ = tokio::signal::ctrl_c().await;
        })
    }
}

/// Asks the system to show an address; where it has no way to, the printed address has to do.
fn browse(address: &str) {
    let program = match std::env::consts::OS {
        "macos" => "open",
        "windows" => "explorer",
        _ => "xdg-open",
    };
    let quiet = std::process::Stdio::null;
    let begun = std::process::Command::new(program)
        .arg(address)
        .stdin(quiet())
        .stdout(quiet())
        .stderr(quiet())
        .spawn();
    if begun.is_err() {
        eprintln!("No browser was found; open the address above in one.");
    }
}
