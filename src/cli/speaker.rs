//! The remote speaker: `teeter speaker` on the user's machine, and the token that the editor asks for.

use super::args::SpeakerArgs;
use super::{Exit, Failure};
use crate::sound::remote::{RemotePlayer, Token};
use std::io::{self, BufRead, IsTerminal, Write};

/// Environment variable with the token, instead of typing it.
const TOKEN_VARIABLE: &str = "TEETER_SPEAKER_TOKEN";
/// Most bytes of a line that is read as a token.
const MAX_TOKEN_LINE: u64 = 200;

/// Connects to the speaker behind a port of this host.
pub(super) fn connect(port: u16) -> Result<RemotePlayer, Failure> {
    let typed = match std::env::var(TOKEN_VARIABLE) {
        Ok(token) if !token.is_empty() => token,
        _ => ask_for_token()?,
    };
    let Some(token) = Token::parse(&typed) else {
        return Err(Failure::usage("that is not a token; a token looks like k7mp-2xqd-9fht-w3bn"));
    };
    RemotePlayer::connect(port, &token).map_err(Failure::usage)
}

fn ask_for_token() -> Result<String, Failure> {
    if !io::stdin().is_terminal() {
        return Err(Failure::usage(format!("no terminal to ask for the token; set {TOKEN_VARIABLE} to it")));
    }
    let mut err = io::stderr();
    write!(err, "token of the remote speaker: ")?;
    err.flush()?;
    let mut line = String::new();
    io::Read::take(io::stdin().lock(), MAX_TOKEN_LINE).read_line(&mut line)?;
    Ok(line)
}

#[cfg(not(feature = "audio"))]
pub(super) fn run(_: &SpeakerArgs) -> Result<Exit, Failure> {
    Err(Failure::usage("this teeter was built without sound and cannot be a speaker; its editor can use one"))
}

/// Listens until a signal ends it.
#[cfg(feature = "audio")]
pub(super) fn run(args: &SpeakerArgs) -> Result<Exit, Failure> {
    use crate::sound::Player;
    use crate::sound::remote::{self, Said};
    use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};
    use std::os::fd::AsFd;
    use std::sync::Arc;
    use std::sync::atomic::AtomicBool;

    // Sound libraries write to standard error, so it is redirected while a device is open.
    let mut log = std::fs::File::from(io::stderr().as_fd().try_clone_to_owned()?);
    let speaker = remote::Speaker::bind(args.port)
        .map_err(|e| Failure::usage(format!("cannot listen on port {}: {e}; choose another with --port", args.port)))?;
    let stop = Arc::new(AtomicBool::new(false));
    for signal in [SIGINT, SIGTERM, SIGHUP] {
        signal_hook::flag::register(signal, Arc::clone(&stop))?;
    }
    let port = speaker.port();
    let mut said = |said: Said| {
        // The speaker keeps playing if its terminal is gone.
        let _ = match said {
            Said::Token(token) => show_token(port, &token),
            other => writeln!(log, "teeter speaker: {other}"),
        };
    };
    let player = Player::open(None).map_err(|e| Failure::new(Exit::Output, e))?;
    speaker.run(Box::new(player), &stop, &mut said).map_err(|e| Failure::new(Exit::Output, e))?;
    Ok(Exit::Good)
}

#[cfg(feature = "audio")]
fn show_token(port: u16, token: &Token) -> io::Result<()> {
    let mut out = io::stdout().lock();
    writeln!(out, "Listening on port {port} of this machine only. To hear an editor on another host:")?;
    writeln!(out, "  here    ssh -R {port}:127.0.0.1:{port} HOST")?;
    writeln!(out, "  there   teeter --speaker {port} FILE")?;
    writeln!(out, "Its token, valid once: {token}")?;
    out.flush()
}
