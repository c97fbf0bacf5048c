//! The far speaker: `teeter speaker` on the user's machine, and the token that the editor asks for. It must not know what
//! travels between them.

use super::args::Speaker;
use super::{Exit, Failure};
use crate::sound::remote::{RemotePlayer, Token};
use std::io::{self, BufRead, IsTerminal, Write};

/// Where a token may stand instead of being typed.
const VARIABLE: &str = "TEETER_SPEAKER_TOKEN";
/// Longest line that is read as a token.
const LINE: u64 = 200;

/// Asks for the token and connects to the speaker behind a port of this host.
pub(super) fn connect(port: u16) -> Result<RemotePlayer, Failure> {
    let typed = match std::env::var(VARIABLE) {
        Ok(token) if !token.is_empty() => token,
        _ => ask()?,
    };
    let Some(token) = Token::parse(&typed) else {
        return Err(Failure::new(Exit::Usage, "that is no token; a token looks like k7mp-2xqd-9fht-w3bn"));
    };
    RemotePlayer::connect(port, &token).map_err(|e| Failure::new(Exit::Usage, e))
}

/// Asks on the terminal.
fn ask() -> Result<String, Failure> {
    if !io::stdin().is_terminal() {
        let words = format!("no terminal to ask for the token; it may stand in {VARIABLE}");
        return Err(Failure::new(Exit::Usage, words));
    }
    let mut err = io::stderr();
    write!(err, "token of the far speaker: ")?;
    err.flush()?;
    let mut line = String::new();
    io::Read::take(io::stdin().lock(), LINE).read_line(&mut line)?;
    Ok(line)
}

/// Says that a build without sound cannot do it.
#[cfg(not(feature = "audio"))]
pub(super) fn run(_: &Speaker) -> Result<Exit, Failure> {
    let words = "this teeter was built without sound and cannot be a speaker; its editor can use one all the same";
    Err(Failure::new(Exit::Usage, words))
}

/// Listens until it is ended by a signal.
#[cfg(feature = "audio")]
pub(super) fn run(ask: &Speaker) -> Result<Exit, Failure> {
    use crate::sound::Player;
    use crate::sound::remote::{self, Said};
    use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};
    use std::os::fd::AsFd;
    use std::sync::Arc;
    use std::sync::atomic::AtomicBool;

    // While a device is open, standard error is kept for nobody, because sound libraries write there.
    let mut log = std::fs::File::from(io::stderr().as_fd().try_clone_to_owned()?);
    let speaker = remote::Speaker::bind(ask.port).map_err(|e| {
        Failure::new(Exit::Usage, format!("cannot listen on port {}: {e}; --port takes another", ask.port))
    })?;
    let stop = Arc::new(AtomicBool::new(false));
    for signal in [SIGINT, SIGTERM, SIGHUP] {
        signal_hook::flag::register(signal, Arc::clone(&stop))?;
    }
    let port = speaker.port();
    let mut said = |said: Said| {
        // A terminal that has gone away ends nothing.
        let _ = match said {
            Said::Token(token) => show(port, &token),
            other => writeln!(log, "teeter speaker: {other}"),
        };
    };
    let player = Player::open().map_err(|e| Failure::new(Exit::Output, e))?;
    speaker.run(Box::new(player), &stop, &mut said).map_err(|e| Failure::new(Exit::Output, e))?;
    Ok(Exit::Good)
}

/// Shows the token and what to type.
#[cfg(feature = "audio")]
fn show(port: u16, token: &Token) -> io::Result<()> {
    let mut out = io::stdout().lock();
    writeln!(out, "Listening on port {port} of this machine only. To hear an editor on another host:")?;
    writeln!(out, "  here    ssh -R {port}:127.0.0.1:{port} HOST")?;
    writeln!(out, "  there   teeter --speaker {port} FILE")?;
    writeln!(out, "Its token, good once: {token}")?;
    out.flush()
}
