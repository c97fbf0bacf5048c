//! The first sixteen bytes of a line, in a form that never changes, so that every version understands every other one's
//! version.

/// Version of all that follows the first sixteen bytes. It is raised with every change of a message's form or meaning.
pub(crate) const VERSION: u16 = 2;

/// Bytes of a greeting.
pub(super) const LENGTH: usize = 16;

/// What stands first. The line break spoils a greeting that went through a text conversion.
const MAGIC: [u8; 8] = *b"teeter\r\n";

/// Who greets.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Role {
    Speaker = 1,
    Editor = 2,
}

/// Why a greeting was not accepted, in words for the one who reads it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Unwelcome {
    /// These are not the bytes of a teeter.
    Stranger,
    /// Two speakers or two editors met.
    SameRole,
    /// The other one is of this version.
    Version(u16),
}

/// The greeting of a role: magic (8 bytes), version (2, most significant first), role (1), zeros (5) that readers ignore.
pub(super) fn greeting(role: Role) -> [u8; LENGTH] {
    of_version(role, VERSION)
}

pub(super) fn of_version(role: Role, version: u16) -> [u8; LENGTH] {
    let mut bytes = [0; LENGTH];
    bytes[..8].copy_from_slice(&MAGIC);
    bytes[8..10].copy_from_slice(&version.to_be_bytes());
    bytes[10] = role as u8;
    bytes
}

/// Reads the greeting of the other end.
///
/// # Errors
/// [`Unwelcome`] if it is not the greeting of `role` in this version.
pub(super) fn read(bytes: &[u8; LENGTH], role: Role) -> Result<(), Unwelcome> {
    if bytes[..8] != MAGIC {
        return Err(Unwelcome::Stranger);
    }
    let version = u16::from_be_bytes([bytes[8], bytes[9]]);
    if version != VERSION {
        return Err(Unwelcome::Version(version));
    }
    if bytes[10] == role as u8 { Ok(()) } else { Err(Unwelcome::SameRole) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_form_is_the_agreed_one() {
        // Written out: this must hold for every version to come.
        let bytes = *b"teeter\r\n\x01\x02\x02\0\0\0\0\0";
        assert_eq!(of_version(Role::Editor, 0x0102), bytes);
        assert_eq!(read(&bytes, Role::Editor), Err(Unwelcome::Version(0x0102)));
    }

    #[test]
    fn each_end_takes_only_the_other() {
        assert_eq!(read(&greeting(Role::Editor), Role::Editor), Ok(()));
        assert_eq!(read(&greeting(Role::Editor), Role::Speaker), Err(Unwelcome::SameRole));
        assert_eq!(read(b"GET / HTTP/1.1\r\n", Role::Editor), Err(Unwelcome::Stranger));
        assert_eq!(read(&[0; LENGTH], Role::Editor), Err(Unwelcome::Stranger));
    }
}
