//! How the two ends meet: greeting, challenge and response both ways, keys for this line.

use super::hello::{self, Role, Unwelcome, VERSION};
use super::proof::{Key, PROOF, Token, random};
use std::fmt;
use std::io::{self, Read, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

/// Time for a meeting.
pub(super) const MEETING: Duration = Duration::from_secs(5);
/// Bytes of a session's name.
pub(super) const NAME: usize = 8;

const KNOCK: usize = PROOF + 1 + NAME + PROOF;

/// Why there is no line to a far speaker.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum RemoteError {
    /// Nothing takes connections at the port; the system's reason.
    NoPort(String),
    /// The port takes connections and closes them: it is forwarded, but nobody is at the other end.
    NobodyThere,
    /// What answers is no teeter.
    Stranger,
    /// What answers is no speaker.
    NoSpeaker,
    /// The speaker is of another version of the line.
    Version {
        /// Its version.
        theirs: u16,
    },
    /// The token is not the one the speaker shows.
    WrongToken,
    /// Another editor is connected.
    Busy,
    /// The speaker does not know this session any more.
    Forgotten,
    /// What answers does not know the token.
    Impostor,
    /// The speaker has no device; its reason.
    NoDevice(String),
    /// The line failed; the reason.
    Line(String),
}

impl fmt::Display for RemoteError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoPort(why) => {
                write!(f, "connection to that port of this host failed ({why}); is it forwarded with `ssh -R`?")
            }
            Self::NobodyThere => f.write_str("the port is forwarded, but no `teeter speaker` runs at the other end"),
            Self::Stranger => f.write_str("the service at that port is not teeter"),
            Self::NoSpeaker => f.write_str("the service at that port is an editor, not a speaker"),
            Self::Version { theirs } => {
                let old = if *theirs < VERSION { "the speaker is older" } else { "this editor is older" };
                write!(f, "expected protocol version {VERSION}, found {theirs}: {old}; update it")
            }
            Self::WrongToken => f.write_str("the token is not the one that the speaker shows now"),
            Self::Busy => f.write_str("another editor is connected to the speaker"),
            Self::Forgotten => {
                f.write_str("the speaker was restarted or serves another editor; reconnect with its current token")
            }
            Self::Impostor => {
                f.write_str("the service at that port does not know the token, so it is not your speaker")
            }
            Self::NoDevice(why) => write!(f, "no sound on the remote speaker: {why}"),
            Self::Line(why) => write!(f, "connection to the speaker failed: {why}"),
        }
    }
}

impl std::error::Error for RemoteError {}

impl From<io::Error> for RemoteError {
    fn from(error: io::Error) -> Self {
        match error.kind() {
            io::ErrorKind::WouldBlock | io::ErrorKind::TimedOut => Self::Line("no reply for several seconds".into()),
            io::ErrorKind::UnexpectedEof => Self::Line("connection closed".into()),
            _ => Self::Line(error.to_string()),
        }
    }
}

/// What the speaker says to a knock.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Verdict {
    Welcome = 0,
    WrongToken = 1,
    Busy = 2,
    Forgotten = 3,
}

/// By what right an editor comes.
#[derive(Debug, Clone)]
pub(super) enum Right {
    Token(Token),
    Session(Session),
}

/// What both ends keep of a spent token: a name that is no secret, and a key.
#[derive(Debug, Clone)]
pub(super) struct Session {
    pub(super) name: [u8; NAME],
    pub(super) key: Key,
}

impl Session {
    /// The session that a token begins in this meeting.
    pub(super) fn begun(token: &Token, meeting: &[u8]) -> Self {
        let key = token.key().derive("session", &[meeting]);
        let mut name = [0; NAME];
        name.copy_from_slice(&key.proof("name", &[])[..NAME]);
        Self { name, key }
    }
}

/// Two ends that have met.
#[derive(Debug)]
pub(super) struct Met {
    pub(super) session: Session,
    /// Keys of the two directions, of this line only.
    pub(super) to_speaker: Key,
    pub(super) to_editor: Key,
}

impl Met {
    fn new(session: Session, meeting: &[u8]) -> Self {
        let to_speaker = session.key.derive("to the speaker", &[meeting]);
        let to_editor = session.key.derive("to the editor", &[meeting]);
        Self { session, to_speaker, to_editor }
    }
}

/// A stream with a time by which the meeting must be over, however slowly bytes come.
struct Timed<'a>(&'a TcpStream, Instant);

impl Timed<'_> {
    fn read<const N: usize>(&mut self) -> io::Result<[u8; N]> {
        let mut bytes = [0; N];
        let mut at = 0;
        while at < N {
            let left = self.1.saturating_duration_since(Instant::now());
            if left.is_zero() {
                return Err(io::ErrorKind::TimedOut.into());
            }
            self.0.set_read_timeout(Some(left))?;
            match self.0.read(&mut bytes[at..]) {
                Ok(0) => return Err(io::ErrorKind::UnexpectedEof.into()),
                Ok(n) => at += n,
                Err(e) if e.kind() == io::ErrorKind::Interrupted => {}
                Err(e) => return Err(e),
            }
        }
        Ok(bytes)
    }

    fn write(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.0.write_all(bytes)
    }
}

/// The editor's side.
///
/// # Errors
/// [`RemoteError`] for whatever keeps the two from meeting.
pub(super) fn knock(stream: &TcpStream, right: &Right) -> Result<Met, RemoteError> {
    stream.set_nodelay(true)?;
    stream.set_write_timeout(Some(MEETING))?;
    let mut line = Timed(stream, Instant::now() + MEETING);
    let ours = hello::greeting(Role::Editor);
    let theirs: [u8; hello::LENGTH] = match line.write(&ours).and_then(|()| line.read()) {
        Ok(bytes) => bytes,
        // A forwarded port accepts before it knows whether anyone is at the other end.
        Err(e) if e.kind() == io::ErrorKind::TimedOut || e.kind() == io::ErrorKind::WouldBlock => return Err(e.into()),
        Err(_) => return Err(RemoteError::NobodyThere),
    };
    hello::read(&theirs, Role::Speaker).map_err(|e| match e {
        Unwelcome::Stranger => RemoteError::Stranger,
        Unwelcome::SameRole => RemoteError::NoSpeaker,
        Unwelcome::Version(theirs) => RemoteError::Version { theirs },
    })?;
    let challenge: [u8; PROOF] = line.read()?;
    let nonce: [u8; PROOF] = random().map_err(RemoteError::Line)?;
    let (kind, name) = match right {
        Right::Token(_) => (0, [0; NAME]),
        Right::Session(s) => (1, s.name),
    };
    let meeting = [&theirs[..], &ours, &challenge, &nonce, &[kind], &name].concat();
    let key = match right {
        Right::Token(token) => token.key(),
        Right::Session(session) => session.key.clone(),
    };
    line.write(&[&nonce[..], &[kind], &name, &key.proof("editor", &[&meeting])].concat())?;
    match line.read::<1>()?[0] {
        0 => {}
        1 => return Err(RemoteError::WrongToken),
        2 => return Err(RemoteError::Busy),
        3 => return Err(RemoteError::Forgotten),
        _ => return Err(RemoteError::Impostor),
    }
    let proof: [u8; PROOF] = line.read()?;
    if !key.verifies("speaker", &[&meeting], &proof) {
        return Err(RemoteError::Impostor);
    }
    let session = match right {
        Right::Token(token) => Session::begun(token, &meeting),
        Right::Session(session) => session.clone(),
    };
    Ok(Met::new(session, &meeting))
}

/// What an editor says to be let in.
#[derive(Debug)]
pub(super) struct Knock {
    /// The session it comes back to; `None` for a token.
    pub(super) session: Option<[u8; NAME]>,
    meeting: Vec<u8>,
    proof: [u8; PROOF],
}

impl Knock {
    /// Whether it was made with this key.
    pub(super) fn is_of(&self, key: &Key) -> bool {
        key.verifies("editor", &[&self.meeting], &self.proof)
    }

    /// The session it begins with this token.
    pub(super) fn begins(&self, token: &Token) -> Session {
        Session::begun(token, &self.meeting)
    }
}

/// Why a speaker did not let someone in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Unmet {
    Stranger,
    Version(u16),
    Refused(Verdict),
    Stream,
}

impl From<io::Error> for Unmet {
    fn from(_: io::Error) -> Self {
        Unmet::Stream
    }
}

/// The speaker's side. `judge` gives the session and the key that proves it, or why not.
pub(super) fn open(
    stream: &TcpStream,
    judge: impl FnOnce(&Knock) -> Result<(Session, Key), Verdict>,
) -> Result<Met, Unmet> {
    stream.set_nodelay(true)?;
    stream.set_write_timeout(Some(MEETING))?;
    let mut line = Timed(stream, Instant::now() + MEETING);
    let ours = hello::greeting(Role::Speaker);
    line.write(&ours)?;
    let theirs: [u8; hello::LENGTH] = line.read()?;
    hello::read(&theirs, Role::Editor).map_err(|e| match e {
        Unwelcome::Version(v) => Unmet::Version(v),
        Unwelcome::Stranger | Unwelcome::SameRole => Unmet::Stranger,
    })?;
    let challenge: [u8; PROOF] = random().map_err(|_| Unmet::Stream)?;
    line.write(&challenge)?;
    let answer: [u8; KNOCK] = line.read()?;
    let (said, proof) = answer.split_at(KNOCK - PROOF);
    let mut name = [0; NAME];
    name.copy_from_slice(&said[PROOF + 1..]);
    let knock = Knock {
        session: (said[PROOF] != 0).then_some(name),
        meeting: [&ours[..], &theirs, &challenge, said].concat(),
        proof: proof.try_into().map_err(|_| Unmet::Stream)?,
    };
    match judge(&knock) {
        Ok((session, key)) => {
            let proof = key.proof("speaker", &[&knock.meeting]);
            line.write(&[&[Verdict::Welcome as u8][..], &proof].concat())?;
            Ok(Met::new(session, &knock.meeting))
        }
        Err(verdict) => {
            // A guess is one also where nobody waits for the answer.
            drop(line.write(&[verdict as u8]));
            Err(Unmet::Refused(verdict))
        }
    }
}
