//! Messages on a stream: four bytes of length, most significant first, and the message, deflated if that makes it shorter.

use super::reason;
use crate::rhythm::expected;
use serde::Serialize;
use serde::de::DeserializeOwned;
use std::io::{self, ErrorKind, Read, Write};

/// Size of a message before it is deflated: twice that of the largest groove.
pub(super) const MAX_MESSAGE: usize = 8 << 20;
/// Bit of the length that marks a deflated message.
const DEFLATED_FLAG: u32 = 1 << 31;
/// A shorter message is not deflated.
const MIN_DEFLATED: usize = 256;
/// Effort: of its levels 0 to 10, one that takes milliseconds for a large groove.
const DEFLATE_LEVEL: u8 = 6;

/// A message with its length.
///
/// # Errors
/// [`ErrorKind::InvalidInput`] if it is longer than [`MAX_MESSAGE`].
pub(super) fn encode(message: &impl Serialize) -> io::Result<Vec<u8>> {
    let bytes = postcard::to_allocvec(message).map_err(|e| io::Error::new(ErrorKind::InvalidInput, e))?;
    if bytes.len() > MAX_MESSAGE {
        return Err(io::Error::new(ErrorKind::InvalidInput, "message too long"));
    }
    let deflated = (bytes.len() >= MIN_DEFLATED).then(|| miniz_oxide::deflate::compress_to_vec(&bytes, DEFLATE_LEVEL));
    let (flag, body) = match deflated.filter(|d| d.len() < bytes.len()) {
        Some(deflated) => (DEFLATED_FLAG, deflated),
        None => (0, bytes),
    };
    Ok([&(body.len() as u32 | flag).to_be_bytes(), body.as_slice()].concat())
}

pub(super) fn send(to: &mut impl Write, message: &impl Serialize) -> io::Result<()> {
    to.write_all(&encode(message)?)
}

/// Waits for a message. Memory is taken only as its bytes arrive.
///
/// # Errors
/// Why there is none: the stream ended or failed, or the bytes are not a message.
pub(super) fn receive<T: DeserializeOwned>(from: &mut impl Read) -> Result<T, String> {
    let mut length = [0; 4];
    from.read_exact(&mut length).map_err(|e| reason(&e))?;
    let length = u32::from_be_bytes(length);
    let (is_deflated, length) = (length & DEFLATED_FLAG != 0, (length & !DEFLATED_FLAG) as usize);
    if length > MAX_MESSAGE {
        return Err(expected(format!("a message of at most {MAX_MESSAGE} bytes"), length));
    }
    let mut body = Vec::new();
    from.by_ref().take(length as u64).read_to_end(&mut body).map_err(|e| reason(&e))?;
    if body.len() < length {
        return Err(reason(&ErrorKind::UnexpectedEof.into()));
    }
    if is_deflated {
        body = miniz_oxide::inflate::decompress_to_vec_with_limit(&body, MAX_MESSAGE)
            .map_err(|_| expected(format!("a compressed message of at most {MAX_MESSAGE} bytes"), "other data"))?;
    }
    match postcard::take_from_bytes(&body) {
        Ok((message, [])) => Ok(message),
        _ => Err(expected("a teeter message", "unrecognized data")),
    }
}
