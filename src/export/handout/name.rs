//! File names of a handout, and links to them.

use std::fmt::Write;

/// The name of a page without its extension, and the prefix of the files next to it, from the stem of the groove's file. Folder
/// separators and control characters become `-`; leading ones are dropped, so that no command takes the name for an option.
pub(crate) fn stem(name: &str) -> String {
    let replaced = |c: char| if c.is_control() || matches!(c, '/' | '\\') { '-' } else { c };
    let name: String = name.chars().map(replaced).collect();
    let name = name.trim_start_matches('-');
    if name.is_empty() { "groove".into() } else { name.to_owned() }
}

/// A link to a file next to the page: every byte outside the unreserved characters of RFC 3986 is percent-encoded.
pub(super) fn link(file: &str) -> String {
    file.bytes().fold(String::with_capacity(file.len()), |mut out, byte| {
        if byte.is_ascii_alphanumeric() || matches!(byte, b'-' | b'.' | b'_' | b'~') {
            out.push(char::from(byte));
        } else {
            // Writing to a String cannot fail.
            let _ = write!(out, "%{byte:02X}");
        }
        out
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn names_keep_their_letters_and_links_are_what_rfc_3986_says() {
        assert_eq!([stem("Stück"), stem("Урок 2"), stem("a.b")], ["Stück", "Урок 2", "a.b"]);
        assert_eq!([stem("--x-y"), stem("-"), stem(""), stem("a/b\n")], ["x-y", "groove", "groove", "a-b-"]);
        // U+00FC is C3 BC in UTF-8.
        assert_eq!(link("Stück (1)-1.wav"), "St%C3%BCck%20%281%29-1.wav");
    }

    proptest! {
        #![proptest_config(crate::rhythm::random::config(256))]

        #[test]
        fn a_link_is_read_back_byte_by_byte(file in "\\PC{0,12}") {
            let linked = link(&file);
            let (mut bytes, mut rest) = (Vec::new(), linked.as_bytes());
            while let [first, more @ ..] = rest {
                let (byte, after) = match (first, more) {
                    (b'%', [a, b, after @ ..]) => (u8::from_str_radix(&format!("{}{}", char::from(*a), char::from(*b)), 16).expect("hex"), after),
                    _ => (*first, more),
                };
                bytes.push(byte);
                rest = after;
            }
            prop_assert_eq!(bytes, file.as_bytes());
            prop_assert!(linked.is_ascii() && !linked.contains([' ', '(', ')', '"', '&', '<']));
        }
    }
}
