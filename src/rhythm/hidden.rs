//! The characters that names and messages never show as they are.

/// Whether a character acts on a terminal or on the text around it: a control character (C0, DEL, C1), a line or paragraph separator,
/// or one that changes direction (Unicode 15, UAX #9, table 4) or has no width, except joiners.
pub(crate) fn is_hidden(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{61c}' | '\u{200b}' | '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}')
        || matches!(c, '\u{2060}'..='\u{206f}' | '\u{feff}' | '\u{fff9}'..='\u{fffb}' | '\u{e0000}'..='\u{e007f}')
}
