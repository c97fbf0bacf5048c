//! Tokens, and keys made from them: each end proves that it knows the token without sending it.

use hmac::{Hmac, KeyInit, Mac};
use sha2::Sha256;
use std::fmt;

/// Bytes of a proof and of a nonce.
pub(super) const PROOF: usize = 32;
/// Bytes of the tag on every message.
pub(super) const TAG: usize = 16;
/// Characters of a token, 5 bits each.
const CHARACTERS: usize = 16;
/// Digits and letters that are not taken for each other (no i, l, o, u).
const ALPHABET: &[u8; 32] = b"0123456789abcdefghjkmnpqrstvwxyz";

/// A one-time token of 80 bits, written `k7mp-2xqd-9fht-w3bn`. It is too long to be guessed from what is sent, so that a
/// plain challenge and response is enough.
#[derive(Clone, PartialEq, Eq)]
pub struct Token([u8; CHARACTERS]);

impl Token {
    /// A new token from the system's random source.
    ///
    /// # Errors
    /// The system's reason, if it has no random source.
    pub fn random() -> Result<Self, String> {
        let bytes: [u8; CHARACTERS] = random()?;
        Ok(Self(bytes.map(|b| ALPHABET[usize::from(b % 32)])))
    }

    /// Reads what a person typed: 16 characters in any case, with spaces or dashes or without; `o` is read as 0, `i` and `l` as 1.
    pub fn parse(text: &str) -> Option<Self> {
        let mut token = [0; CHARACTERS];
        let mut at = 0;
        for c in text.chars().filter(|c| !c.is_whitespace() && *c != '-') {
            let c = match c.to_ascii_lowercase() {
                'o' => '0',
                'i' | 'l' => '1',
                c => c,
            };
            let c = u8::try_from(c).ok().filter(|c| ALPHABET.contains(c))?;
            *token.get_mut(at)? = c;
            at += 1;
        }
        (at == CHARACTERS).then_some(Self(token))
    }

    /// The key that stands for it.
    pub(super) fn key(&self) -> Key {
        Key(*b"teeter, far speaker, token key 1").derive("token", &[&self.0])
    }
}

impl fmt::Display for Token {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (k, c) in self.0.iter().enumerate() {
            if k > 0 && k % 4 == 0 {
                f.write_str("-")?;
            }
            write!(f, "{}", char::from(*c))?;
        }
        Ok(())
    }
}

impl fmt::Debug for Token {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Token(..)")
    }
}

/// Bytes nobody can foretell.
pub(super) fn random<const N: usize>() -> Result<[u8; N], String> {
    let mut bytes = [0; N];
    getrandom::fill(&mut bytes).map_err(|e| format!("no random numbers available: {e}"))?;
    Ok(bytes)
}

/// A secret of 256 bits.
#[derive(Clone)]
pub(super) struct Key([u8; 32]);

impl fmt::Debug for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Key(..)")
    }
}

impl Key {
    /// HMAC-SHA-256 (RFC 2104, FIPS 180-4) of a purpose and of parts, each with its length before it.
    fn mac(&self, purpose: &str, parts: &[&[u8]]) -> Hmac<Sha256> {
        let mut mac = Hmac::<Sha256>::new_from_slice(&self.0).expect("HMAC takes keys of any length");
        for part in std::iter::once(purpose.as_bytes()).chain(parts.iter().copied()) {
            mac.update(&(part.len() as u64).to_be_bytes());
            mac.update(part);
        }
        mac
    }

    /// A proof of knowing this key.
    pub(super) fn proof(&self, purpose: &str, parts: &[&[u8]]) -> [u8; PROOF] {
        self.mac(purpose, parts).finalize().into_bytes().into()
    }

    /// Whether a proof was made with this key, in a time that does not tell where it differs.
    pub(super) fn verifies(&self, purpose: &str, parts: &[&[u8]], proof: &[u8]) -> bool {
        self.mac(purpose, parts).verify_slice(proof).is_ok()
    }

    /// Another key, from which this one cannot be found.
    pub(super) fn derive(&self, purpose: &str, parts: &[&[u8]]) -> Key {
        Key(self.proof(purpose, parts))
    }

    /// The tag of the message of this number.
    pub(super) fn tag(&self, number: u64, message: &[u8]) -> [u8; TAG] {
        let full = self.proof("message", &[&number.to_be_bytes(), message]);
        let mut tag = [0; TAG];
        tag.copy_from_slice(&full[..TAG]);
        tag
    }

    /// Whether that is the tag of the message of this number.
    pub(super) fn tags(&self, number: u64, message: &[u8], tag: &[u8; TAG]) -> bool {
        self.mac("message", &[&number.to_be_bytes(), message]).verify_truncated_left(tag).is_ok()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn tokens_are_read_as_they_are_typed() {
        let token = Token::parse("k7mp-2xqd-9fht-w3b0").expect("a token");
        assert_eq!(token.to_string(), "k7mp-2xqd-9fht-w3b0");
        assert_eq!(Token::parse(" K7MP 2XQD9FHT-W3BO \n"), Some(token.clone()));
        assert_eq!(Token::parse("k7mp-2xqd-9fht-w3b"), None);
        assert_eq!(Token::parse("k7mp-2xqd-9fht-w3b00"), None);
        assert_eq!(Token::parse("k7mp-2xqd-9fht-w3bu"), None);
        assert_eq!(Token::parse("k7mp-2xqd-9fht-w3bé"), None);
        assert_ne!(Token::random().expect("random"), Token::random().expect("random"));
        assert!(!format!("{token:?}").contains("k7mp"));
    }

    #[test]
    fn the_mac_is_that_of_the_standard() {
        // HMAC-SHA-256 of what `mac` feeds, computed by another implementation:
        // python3 -c "import hmac,hashlib;print(hmac.new(b'\x0b'*32,b'\0'*7+b'\5token'+b'\0'*7+b'\2ab',hashlib.sha256).hexdigest())"
        let proof = Key([0x0b; 32]).proof("token", &[b"ab"]);
        let hex = u128::from_be_bytes(proof[..16].try_into().expect("16 bytes"));
        assert_eq!(format!("{hex:032x}"), "c61eb5458bc6b9005b0b7c320d157652");
    }

    proptest! {
        #![proptest_config(crate::rhythm::random::config(256))]

        #[test]
        fn only_the_same_message_verifies(a: Vec<u8>, b: Vec<u8>, n: u64, m: u64) {
            let key = Key([7; 32]);
            let tag = key.tag(n, &a);
            prop_assert!(key.tags(n, &a, &tag));
            prop_assert_eq!(key.tags(m, &b, &tag), n == m && a == b);
            prop_assert!(!Key([8; 32]).tags(n, &a, &tag));
            prop_assert!(key.verifies("x", &[&a, &b], &key.proof("x", &[&a, &b])));
            prop_assert!(!key.verifies("y", &[&a, &b], &key.proof("x", &[&a, &b])));
        }

        #[test]
        fn typed_tokens_never_panic(text: String) {
            if let Some(token) = Token::parse(&text) {
                prop_assert_eq!(Token::parse(&token.to_string()), Some(token));
            }
        }
    }
}
