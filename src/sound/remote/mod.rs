//! The remote speaker: the requests of an editor on another host, played here. Both ends of the socket between them, which ssh
//! forwards, encrypts and authenticates.
//!
//! The editor sends what it would ask of its own playback thread: the groove as its text, and the play request. The speaker
//! runs that thread and sends its events back. See [`message`] for the rest.

mod clock;
mod frame;
mod link;
mod message;
mod speaker;
#[cfg(test)]
mod tests;

pub(crate) use link::{Link, SampleFiles};
#[cfg(test)]
pub(crate) use message::is_sample_name;
pub(crate) use message::{HASH_DIGITS, MAX_RECORDING_FILE, MAX_SAMPLE_FILE, MAX_SAMPLE_FILES};
pub use message::{read_as_editor, read_as_speaker};
pub(crate) use speaker::{Reload, SampleStore, Speaker};

use std::io::{self, ErrorKind, Read, Write};
use std::os::unix::net::UnixStream;
use std::time::Duration;

/// Version of the messages; both ends must have the same.
const VERSION: u16 = 5;
const MAGIC: &[u8; 6] = b"teeter";
/// Time without a byte after which the connection is lost. The sound has faded within 3 s.
const TIMEOUT: Duration = Duration::from_millis(2500);

/// Exchanges versions.
///
/// # Errors
/// One sentence that says what to do.
fn greet(mut stream: &UnixStream) -> Result<(), String> {
    let mut theirs = [0; 8];
    let exchange = (|| {
        stream.set_read_timeout(Some(TIMEOUT))?;
        stream.set_write_timeout(Some(TIMEOUT))?;
        stream.write_all(&[MAGIC.as_slice(), &VERSION.to_be_bytes()].concat())?;
        stream.read_exact(&mut theirs)
    })();
    exchange
        .map_err(|error: io::Error| format!("no answer from `teeter remote` ({}); start it again", reason(&error)))?;
    let version = u16::from_be_bytes([theirs[6], theirs[7]]);
    match theirs.starts_with(MAGIC) {
        false => Err("the other end of the socket is not teeter; start `teeter remote` again".to_owned()),
        true if version != VERSION => Err(format!(
            "protocol version mismatch: {VERSION} here, {version} on the other machine; install the same version of teeter on both"
        )),
        true => Ok(()),
    }
}

/// Why reading or writing failed, for a message.
fn reason(error: &io::Error) -> String {
    match error.kind() {
        ErrorKind::UnexpectedEof | ErrorKind::BrokenPipe | ErrorKind::ConnectionReset => "closed".to_owned(),
        ErrorKind::WouldBlock | ErrorKind::TimedOut => "no data for several seconds".to_owned(),
        _ => error.to_string(),
    }
}
