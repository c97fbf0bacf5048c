//! Decodes bytes to text: UTF-8, UTF-16 with a byte order mark, declared ISO-8859-1.

use crate::notation::FormatError;
use crate::rhythm::expected;

pub(super) const MAX_TEXT_BYTES: usize = super::MAX_BYTES as usize;

pub(super) fn decode(bytes: &[u8]) -> Result<String, FormatError> {
    if bytes.len() > MAX_TEXT_BYTES {
        return Err(too_large_error());
    }
    let text = match bytes {
        [0xfe, 0xff, rest @ ..] => utf16(rest, u16::from_be_bytes)?,
        [0xff, 0xfe, rest @ ..] => utf16(rest, u16::from_le_bytes)?,
        [0xef, 0xbb, 0xbf, rest @ ..] => utf8(rest, 3)?,
        _ => match declared_encoding(bytes).as_deref() {
            None | Some("utf-8" | "utf8" | "us-ascii" | "ascii") => utf8(bytes, 0)?,
            Some("iso-8859-1" | "latin1" | "latin-1") => bytes.iter().map(|b| char::from(*b)).collect(),
            Some("utf-16") => {
                return Err(FormatError::new("", expected("a UTF-16 byte order mark, as declared", "none")));
            }
            Some(other) => {
                let message = expected("UTF-8, UTF-16 or ISO-8859-1", format!("{other:?}"));
                return Err(FormatError::new("line 1", message));
            }
        },
    };
    if text.len() > MAX_TEXT_BYTES { Err(too_large_error()) } else { Ok(text) }
}

pub(super) fn too_large_error() -> FormatError {
    FormatError::new("", expected(format!("a document of at most {} MB", MAX_TEXT_BYTES >> 20), "a larger one"))
}

/// Decodes UTF-8 that stands after so many bytes of the document.
fn utf8(bytes: &[u8], before: usize) -> Result<String, FormatError> {
    let text = std::str::from_utf8(bytes).map(str::to_owned);
    text.map_err(|e| FormatError::new(format!("byte {}", e.valid_up_to() + before + 1), "invalid UTF-8"))
}

/// Decodes UTF-16 after a byte order mark.
fn utf16(bytes: &[u8], unit: fn([u8; 2]) -> u16) -> Result<String, FormatError> {
    // Half a unit at the end becomes a lone surrogate, which is invalid.
    let units = || bytes.chunks(2).map(|c| <[u8; 2]>::try_from(c).map_or(0xd800, unit));
    char::decode_utf16(units()).collect::<Result<_, _>>().map_err(|_| {
        let valid = char::decode_utf16(units()).map_while(Result::ok).map(char::len_utf16);
        FormatError::new(format!("byte {}", 2 * valid.sum::<usize>() + 3), "invalid UTF-16")
    })
}

/// In lower case.
fn declared_encoding(bytes: &[u8]) -> Option<String> {
    let head = &bytes[..bytes.len().min(200)];
    let end = head.windows(2).position(|w| w == b"?>")?;
    let head = std::str::from_utf8(&head[..end]).ok()?.strip_prefix("<?xml")?;
    let value = head.split_once("encoding")?.1.trim_start().strip_prefix('=')?.trim_start();
    let quote = value.chars().next().filter(|c| matches!(c, '"' | '\''))?;
    Some(value[1..].split_once(quote)?.0.to_ascii_lowercase())
}
