//! Parses the bytes that a terminal sends: keys, mouse reports, pasted text, and the colour of its background.

use ratatui::crossterm::event::{
    Event as Input, KeyCode, KeyEvent, KeyModifiers, MouseButton, MouseEvent, MouseEventKind,
};
use rustix::event::Timespec;

/// Time after which Esc is a key, and the start of anything else is dropped. A terminal sends a sequence at once.
const SEQUENCE_TIMEOUT: Timespec = Timespec { tv_sec: 0, tv_nsec: 25_000_000 };
/// Time after which pasted text counts as complete although its end is missing.
const PASTE_TIMEOUT: Timespec = Timespec { tv_sec: 5, tv_nsec: 0 };
/// Maximum bytes kept of pasted text, and of a control sequence.
const MAX_PASTE: usize = 1 << 20;
const MAX_SEQUENCE: usize = 64;
const PASTE_START: &[u8] = b"\x1b[200~";
const PASTE_END: &[u8] = b"\x1b[201~";
/// Asks for the background colour (OSC 11, as in xterm's control sequences), and how a reply starts.
pub(in crate::terminal::shell) const BACKGROUND_QUERY: &str = "\x1b]11;?\x1b\\";
const BACKGROUND_REPLY: &[u8] = b"\x1b]11;rgb:";

#[derive(Debug, Default)]
pub(super) struct Parser {
    /// The start of a character or a sequence.
    bytes: Vec<u8>,
    /// Pasted text whose end is still to come.
    paste: Option<Vec<u8>>,
    /// The last reply to [`BACKGROUND_QUERY`] that nobody has taken: red, green and blue from 0 to 1.
    background: Option<[f64; 3]>,
}

enum Parsed {
    /// So many bytes are this input, or are to be dropped.
    Done(usize, Option<Input>),
    PasteStart,
    /// So many bytes are a reply with this colour.
    Background(usize, [f64; 3]),
    Incomplete,
}

impl Parser {
    /// How long to wait for the rest of an input before [`Parser::flush`]; `None` if none has begun.
    pub(super) fn timeout(&self) -> Option<&'static Timespec> {
        match self {
            Self { paste: Some(_), .. } => Some(&PASTE_TIMEOUT),
            Self { bytes, .. } => (!bytes.is_empty()).then_some(&SEQUENCE_TIMEOUT),
        }
    }

    /// Parses further bytes, of which the last may be kept until more follow.
    pub(super) fn feed(&mut self, bytes: &[u8]) -> Vec<Input> {
        let mut inputs = Vec::new();
        let mut added = bytes.len();
        match &mut self.paste {
            Some(paste) => paste.extend(bytes),
            None => self.bytes.extend(bytes),
        }
        loop {
            if let Some(paste) = &mut self.paste {
                let unsearched = paste.len().saturating_sub(added + PASTE_END.len());
                let found = paste[unsearched..].windows(PASTE_END.len()).position(|bytes| bytes == PASTE_END);
                let Some(end) = found.map(|at| unsearched + at) else {
                    // The last bytes may be the start of the end sequence.
                    if paste.len() > MAX_PASTE + PASTE_END.len() {
                        paste.drain(MAX_PASTE..paste.len() - PASTE_END.len());
                    }
                    return inputs;
                };
                self.bytes = paste.split_off(end + PASTE_END.len());
                paste.truncate(end.min(MAX_PASTE));
                inputs.push(Input::Paste(String::from_utf8_lossy(paste).into_owned()));
                self.paste = None;
            }
            let mut at = 0;
            while at < self.bytes.len() {
                match parse(&self.bytes[at..]) {
                    Parsed::Done(count, input) => {
                        at += count;
                        inputs.extend(input);
                    }
                    Parsed::PasteStart => {
                        let start = self.bytes.split_off(at + PASTE_START.len());
                        added = start.len();
                        self.paste = Some(start);
                        self.bytes.clear();
                        break;
                    }
                    Parsed::Background(count, colour) => {
                        at += count;
                        self.background = Some(colour);
                    }
                    Parsed::Incomplete => break,
                }
            }
            if self.paste.is_none() {
                self.bytes.drain(..at);
                return inputs;
            }
        }
    }

    /// The colour of the background, if the terminal has sent it since the last call.
    pub(super) fn take_background(&mut self) -> Option<[f64; 3]> {
        self.background.take()
    }

    /// Parses the bytes that were kept, since none follow.
    pub(super) fn flush(&mut self) -> Vec<Input> {
        if let Some(paste) = self.paste.take() {
            return vec![Input::Paste(String::from_utf8_lossy(&paste).into_owned())];
        }
        match std::mem::take(&mut self.bytes)[..] {
            [0x1b] => vec![Input::Key(KeyCode::Esc.into())],
            [0x1b, byte @ (b'[' | b'O' | b']')] => vec![key(KeyCode::Char(byte.into()), KeyModifiers::ALT)],
            _ => Vec::new(),
        }
    }
}

fn key(code: KeyCode, modifiers: KeyModifiers) -> Input {
    Input::Key(KeyEvent::new(code, modifiers))
}

/// Parses the first input of a non-empty slice.
fn parse(bytes: &[u8]) -> Parsed {
    match bytes {
        [0x1b] | [0x1b, b'O'] => Parsed::Incomplete,
        [0x1b, 0x1b, ..] => Parsed::Done(1, Some(Input::Key(KeyCode::Esc.into()))),
        [0x1b, b'[', rest @ ..] => parse_csi(bytes, rest),
        [0x1b, b']', ..] if let Some(parsed) = parse_background(bytes) => parsed,
        [0x1b, b'O', letter @ (b'A'..=b'D' | b'F' | b'H' | b'P'..=b'S'), ..] => {
            Parsed::Done(3, letter_key(*letter).map(|code| Input::Key(code.into())))
        }
        [0x1b, rest @ ..] => match parse_key(rest) {
            Parsed::Done(count, Some(Input::Key(mut event))) => {
                event.modifiers |= KeyModifiers::ALT;
                Parsed::Done(count + 1, Some(Input::Key(event)))
            }
            Parsed::Done(count, input) => Parsed::Done(count + 1, input),
            other => other,
        },
        _ => parse_key(bytes),
    }
}

fn parse_key(bytes: &[u8]) -> Parsed {
    let control = |c: u8| key(KeyCode::Char(c.into()), KeyModifiers::CONTROL);
    let input = match bytes[0] {
        b'\r' => Input::Key(KeyCode::Enter.into()),
        b'\t' => Input::Key(KeyCode::Tab.into()),
        0x7f => Input::Key(KeyCode::Backspace.into()),
        0 => control(b' '),
        c @ 0x01..=0x1a => control(c - 1 + b'a'),
        c @ 0x1c..=0x1f => control(c - 0x1c + b'4'),
        _ => {
            let start = &bytes[..bytes.len().min(4)];
            let (valid, error) = match std::str::from_utf8(start) {
                Ok(text) => (text, None),
                Err(e) => (std::str::from_utf8(&start[..e.valid_up_to()]).unwrap_or_default(), Some(e)),
            };
            return match (valid.chars().next(), error) {
                (Some(c), _) => Parsed::Done(c.len_utf8(), Some(key(KeyCode::Char(c), KeyModifiers::NONE))),
                (None, Some(e)) if e.error_len().is_none() => Parsed::Incomplete,
                // No UTF-8.
                (None, _) => Parsed::Done(1, None),
            };
        }
    };
    Parsed::Done(1, Some(input))
}

/// Parses a reply to [`BACKGROUND_QUERY`], which ends with BEL or ST; `None` if it is none, such as Alt and `]`.
fn parse_background(bytes: &[u8]) -> Option<Parsed> {
    if BACKGROUND_REPLY.starts_with(bytes) {
        return Some(Parsed::Incomplete);
    }
    let rest = bytes.strip_prefix(BACKGROUND_REPLY)?;
    let count = rest.iter().take(MAX_SEQUENCE).take_while(|b| b.is_ascii_hexdigit() || **b == b'/').count();
    let end = match rest[count..] {
        [0x07, ..] => 1,
        [0x1b, b'\\', ..] => 2,
        [] | [0x1b] if count < MAX_SEQUENCE => return Some(Parsed::Incomplete),
        _ => return None,
    };
    // Each channel has one to four hexadecimal digits.
    let channel = |digits: &str| {
        let value = u16::from_str_radix(digits, 16).ok()?;
        Some(f64::from(value) / f64::from((1_u32 << (4 * digits.len())) - 1))
    };
    let text = std::str::from_utf8(&rest[..count]).ok()?;
    let channels: Option<Vec<f64>> = text.split('/').map(channel).collect();
    let colour: [f64; 3] = channels?.try_into().ok()?;
    Some(Parsed::Background(BACKGROUND_REPLY.len() + count + end, colour))
}

fn letter_key(letter: u8) -> Option<KeyCode> {
    Some(match letter {
        b'A' => KeyCode::Up,
        b'B' => KeyCode::Down,
        b'C' => KeyCode::Right,
        b'D' => KeyCode::Left,
        b'F' => KeyCode::End,
        b'H' => KeyCode::Home,
        b'P'..=b'S' => KeyCode::F(letter - b'P' + 1),
        _ => return None,
    })
}

/// Parses a control sequence (ECMA-48, 5.4; keys and mouse reports as in xterm's control sequences). `rest` stands after `ESC [`.
fn parse_csi(bytes: &[u8], rest: &[u8]) -> Parsed {
    match rest {
        // Function keys of the Linux console.
        [b'[', letter @ b'A'..=b'E', ..] => {
            return Parsed::Done(4, Some(Input::Key(KeyCode::F(letter - b'A' + 1).into())));
        }
        // A mouse report of a terminal that knows no other form.
        [b'M', button, column, row, ..] => {
            let at = |byte: u8| u16::from(byte.saturating_sub(33));
            return Parsed::Done(6, mouse(u16::from(button.saturating_sub(32)), at(*column), at(*row), false));
        }
        [b'['] | [b'M', ..] => return Parsed::Incomplete,
        _ if bytes.starts_with(PASTE_START) => return Parsed::PasteStart,
        _ => {}
    }
    let is_mouse = rest.first() == Some(&b'<');
    let is_parameter = |b: &u8| matches!(b, 0x20..=0x3f) && (!is_mouse || matches!(b, b'0'..=b'9' | b';' | b'<'));
    let count = rest.iter().take(MAX_SEQUENCE + 1).take_while(|b| is_parameter(b)).count();
    let Some(&last) = rest.get(count).filter(|_| count <= MAX_SEQUENCE) else {
        return if count > MAX_SEQUENCE { Parsed::Done(2 + count, None) } else { Parsed::Incomplete };
    };
    let is_end = if is_mouse { matches!(last, b'M' | b'm') } else { matches!(last, 0x40..=0x7e) };
    if !is_end {
        // A truncated sequence; what follows is input of its own.
        return Parsed::Done(2 + count, None);
    }
    let text = std::str::from_utf8(&rest[usize::from(is_mouse)..count]).unwrap_or_default();
    let numbers: Vec<u16> = text.split(';').map(|n| n.parse().unwrap_or(0)).collect();
    let number = |at: usize| numbers.get(at).copied().unwrap_or(0);
    let input = if is_mouse {
        mouse(number(0), number(1).saturating_sub(1), number(2).saturating_sub(1), last == b'm')
    } else {
        csi_key(number(0), last).map(|code| key(code, modifiers(number(1).saturating_sub(1))))
    };
    Parsed::Done(3 + count, input)
}

fn csi_key(number: u16, last: u8) -> Option<KeyCode> {
    Some(match (last, number) {
        (b'Z', _) => KeyCode::BackTab,
        (b'~', 1 | 7) => KeyCode::Home,
        (b'~', 2) => KeyCode::Insert,
        (b'~', 3) => KeyCode::Delete,
        (b'~', 4 | 8) => KeyCode::End,
        (b'~', 5) => KeyCode::PageUp,
        (b'~', 6) => KeyCode::PageDown,
        (b'~', n @ 11..=15) => KeyCode::F(n as u8 - 10),
        (b'~', n @ 17..=21) => KeyCode::F(n as u8 - 11),
        (b'~', n @ (23 | 24)) => KeyCode::F(n as u8 - 12),
        // A key by its character, where a terminal was told to send all keys so.
        (b'u', 27) => KeyCode::Esc,
        (b'u', 13) => KeyCode::Enter,
        (b'u', 9) => KeyCode::Tab,
        (b'u', 127) => KeyCode::Backspace,
        (b'u', n) => KeyCode::Char(char::from_u32(n.into()).filter(|c| !c.is_control())?),
        _ => letter_key(last)?,
    })
}

/// Bit 0 is Shift, bit 1 Alt, bit 2 Ctrl. The parameter of a key sequence is one more.
fn modifiers(bits: u16) -> KeyModifiers {
    let each = [(1, KeyModifiers::SHIFT), (2, KeyModifiers::ALT), (4, KeyModifiers::CONTROL)];
    each.into_iter().filter(|(bit, _)| bits & bit != 0).map(|(_, modifier)| modifier).collect()
}

/// The event of a mouse report, if it is one that is used.
fn mouse(code: u16, column: u16, row: u16, is_release: bool) -> Option<Input> {
    let (button, is_motion) = (code & 0b11 | (code & 0b1100_0000) >> 4, code & 0b10_0000 != 0);
    let kind = match (button, is_motion) {
        (0, false) if is_release => MouseEventKind::Up(MouseButton::Left),
        (0, false) => MouseEventKind::Down(MouseButton::Left),
        (0, true) => MouseEventKind::Drag(MouseButton::Left),
        // A release of any button, in the old form of a report.
        (3, false) => MouseEventKind::Up(MouseButton::Left),
        (4, false) => MouseEventKind::ScrollUp,
        (5, false) => MouseEventKind::ScrollDown,
        (6, false) => MouseEventKind::ScrollLeft,
        (7, false) => MouseEventKind::ScrollRight,
        _ => return None,
    };
    Some(Input::Mouse(MouseEvent { kind, column, row, modifiers: modifiers(code >> 2) }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn keys(bytes: &[u8]) -> Vec<Input> {
        let mut parser = Parser::default();
        let mut inputs = parser.feed(bytes);
        inputs.extend(parser.flush());
        assert!(parser.bytes.is_empty() && parser.paste.is_none());
        inputs
    }

    /// Sequences as in xterm's control sequences and, with two brackets, of the Linux console (`console_codes(4)`).
    #[test]
    fn keys_have_the_sequences_of_terminals() {
        use KeyModifiers as M;
        let rows: [(&[u8], KeyCode, M); 24] = [
            (b"x", KeyCode::Char('x'), M::NONE),
            ("é".as_bytes(), KeyCode::Char('é'), M::NONE),
            ("漢".as_bytes(), KeyCode::Char('漢'), M::NONE),
            (b"\r", KeyCode::Enter, M::NONE),
            (b"\n", KeyCode::Char('j'), M::CONTROL),
            (b"\t", KeyCode::Tab, M::NONE),
            (b"\x7f", KeyCode::Backspace, M::NONE),
            (b"\x13", KeyCode::Char('s'), M::CONTROL),
            (b"\0", KeyCode::Char(' '), M::CONTROL),
            (b"\x1b", KeyCode::Esc, M::NONE),
            (b"\x1bx", KeyCode::Char('x'), M::ALT),
            (b"\x1b[", KeyCode::Char('['), M::ALT),
            (b"\x1b[A", KeyCode::Up, M::NONE),
            (b"\x1b[1;5C", KeyCode::Right, M::CONTROL),
            (b"\x1b[1;6D", KeyCode::Left, M::CONTROL.union(M::SHIFT)),
            (b"\x1bOH", KeyCode::Home, M::NONE),
            (b"\x1bOS", KeyCode::F(4), M::NONE),
            (b"\x1b[5~", KeyCode::PageUp, M::NONE),
            (b"\x1b[3;2~", KeyCode::Delete, M::SHIFT),
            (b"\x1b[15~", KeyCode::F(5), M::NONE),
            (b"\x1b[24~", KeyCode::F(12), M::NONE),
            (b"\x1b[Z", KeyCode::BackTab, M::NONE),
            (b"\x1b[[B", KeyCode::F(2), M::NONE),
            (b"\x1b[107;5u", KeyCode::Char('k'), M::CONTROL),
        ];
        for (bytes, code, modifiers) in rows {
            assert_eq!(keys(bytes), [key(code, modifiers)], "{bytes:?}");
        }
    }

    #[test]
    fn mouse_reports_have_both_forms_and_unused_ones_are_dropped() {
        let at = |kind, modifiers| vec![Input::Mouse(MouseEvent { kind, column: 9, row: 4, modifiers })];
        let left = MouseButton::Left;
        assert_eq!(keys(b"\x1b[<0;10;5M"), at(MouseEventKind::Down(left), KeyModifiers::NONE));
        assert_eq!(keys(b"\x1b[<4;10;5M"), at(MouseEventKind::Down(left), KeyModifiers::SHIFT));
        assert_eq!(keys(b"\x1b[<0;10;5m"), at(MouseEventKind::Up(left), KeyModifiers::NONE));
        assert_eq!(keys(b"\x1b[<32;10;5M"), at(MouseEventKind::Drag(left), KeyModifiers::NONE));
        assert_eq!(keys(b"\x1b[<65;10;5M"), at(MouseEventKind::ScrollDown, KeyModifiers::NONE));
        assert_eq!(keys(b"\x1b[M *%"), at(MouseEventKind::Down(left), KeyModifiers::NONE));
        assert!(keys(b"\x1b[<35;10;5M\x1b[<2;10;5M").is_empty());
    }

    #[test]
    fn the_background_is_read_from_the_reply_and_is_no_key() {
        let x = key(KeyCode::Char('x'), KeyModifiers::NONE);
        for (reply, colour) in [
            (&b"\x1b]11;rgb:ffff/8000/0000\x1b\\"[..], [1.0, 32_768.0 / 65_535.0, 0.0]),
            (b"\x1b]11;rgb:ff/ff/ff\x07", [1.0; 3]),
        ] {
            for at in 0..reply.len() {
                let mut parser = Parser::default();
                assert_eq!(parser.feed(&reply[..at]), []);
                assert_eq!(parser.feed(&[&reply[at..], b"x"].concat()), std::slice::from_ref(&x));
                assert_eq!(parser.take_background(), Some(colour));
                assert_eq!(parser.take_background(), None);
            }
        }
        assert_eq!(keys(b"\x1b]"), [key(KeyCode::Char(']'), KeyModifiers::ALT)]);
        assert_eq!(keys(b"\x1b]11;rgb:zz/\x07x").last(), Some(&x));
    }

    #[test]
    fn truncated_input_swallows_no_key_after_it() {
        let x = || key(KeyCode::Char('x'), KeyModifiers::NONE);
        for start in [&b"\xc3"[..], b"\xe6\xbc", b"\xff", b"\x1b[<0;10", b"\x1b[<0;10;5;;;", b"\x1b[12\x01\x1b[38;5m"] {
            let inputs = keys(&[start, b"x"].concat());
            assert_eq!(inputs.last(), Some(&x()), "{start:?}");
        }
        assert_eq!(keys(b"\x1b\x1b[A"), [Input::Key(KeyCode::Esc.into()), Input::Key(KeyCode::Up.into())]);
    }

    #[test]
    fn pasted_text_is_no_key_and_has_an_end() {
        let paste = |text: &str| Input::Paste(text.to_owned());
        let x = key(KeyCode::Char('x'), KeyModifiers::NONE);
        assert_eq!(keys(b"\x1b[200~3+3\x1b[A\r\x1b[201~x"), [paste("3+3\u{1b}[A\r"), x.clone()]);
        assert_eq!(keys(b"\x1b[200~3+3"), [paste("3+3")]);
        let long = [PASTE_START, &vec![b'3'; 3 * MAX_PASTE], PASTE_END, b"x"].concat();
        let mut parser = Parser::default();
        let inputs: Vec<Input> = long.chunks(4096).flat_map(|chunk| parser.feed(chunk)).collect();
        assert_eq!(inputs, [paste(&"3".repeat(MAX_PASTE)), x]);
    }

    /// Bytes of which sequences are made.
    fn bytes() -> impl Strategy<Value = Vec<u8>> {
        let pieces: [&[u8]; 11] =
            [b"\x1b", b"\x1b[", b"\x1b[<", b"\x1b[M", PASTE_START, PASTE_END, b"0;1", b"~", b"\xc3", b"\xa9", b"x"];
        let piece = prop::sample::select(pieces.to_vec());
        let noise = prop::collection::vec(any::<u8>(), 0..3);
        prop::collection::vec((piece, noise), 0..12)
            .prop_map(|all| all.into_iter().flat_map(|(piece, noise)| [piece, &noise].concat()).collect())
    }

    proptest! {
        #![proptest_config(crate::rhythm::random::config(512))]

        #[test]
        fn bytes_mean_the_same_however_they_are_split(bytes in bytes(), at in any::<prop::sample::Index>()) {
            let at = at.index(bytes.len() + 1);
            let mut parser = Parser::default();
            let mut inputs = parser.feed(&bytes[..at]);
            inputs.extend(parser.feed(&bytes[at..]));
            inputs.extend(parser.flush());
            prop_assert_eq!(inputs, keys(&bytes));
            // Whatever came before, the next key is a key.
            prop_assert_eq!(parser.feed(b"x"), [key(KeyCode::Char('x'), KeyModifiers::NONE)]);
        }
    }
}
