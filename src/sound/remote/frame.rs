//! Messages on a stream: length, bytes, tag.

use super::proof::{Key, TAG};
use std::io::{self, Read, Write};

/// Most bytes of a message: 4 MiB.
pub(super) const MOST: usize = 4 << 20;

/// Why no message came.
#[derive(Debug)]
pub(super) enum Broken {
    /// The stream ended or failed, or nothing came in time.
    Stream(io::Error),
    /// A message of so many bytes was announced.
    TooLong(u32),
    /// The tag is not that of the other end.
    Forged,
}

impl std::fmt::Display for Broken {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Broken::Stream(e) => match e.kind() {
                io::ErrorKind::UnexpectedEof => f.write_str("connection closed"),
                io::ErrorKind::WouldBlock | io::ErrorKind::TimedOut => f.write_str("no data for several seconds"),
                _ => write!(f, "{e}"),
            },
            Broken::TooLong(n) => write!(f, "expected a message of at most {MOST} bytes, found {n}"),
            Broken::Forged => f.write_str("a message with a wrong authentication tag"),
        }
    }
}

impl From<io::Error> for Broken {
    fn from(error: io::Error) -> Self {
        Broken::Stream(error)
    }
}

/// Sends messages: 4 bytes of length (most significant first), the bytes, and a tag over their number and them.
#[derive(Debug)]
pub(super) struct Sender<W> {
    to: W,
    key: Key,
    number: u64,
    bytes: Vec<u8>,
}

impl<W: Write> Sender<W> {
    pub(super) fn new(to: W, key: Key) -> Self {
        Self { to, key, number: 0, bytes: Vec::new() }
    }

    /// Sends a message. A longer one than [`MOST`] is refused here already.
    pub(super) fn send(&mut self, message: &[u8]) -> io::Result<()> {
        let length = u32::try_from(message.len()).ok().filter(|&n| n as usize <= MOST);
        let length = length.ok_or_else(|| io::Error::new(io::ErrorKind::InvalidInput, "message too long"))?;
        self.bytes.clear();
        self.bytes.extend_from_slice(&length.to_be_bytes());
        self.bytes.extend_from_slice(message);
        self.bytes.extend_from_slice(&self.key.tag(self.number, message));
        self.number += 1;
        self.to.write_all(&self.bytes)?;
        self.to.flush()?;
        // One great message does not keep its room for ever.
        self.bytes.shrink_to(1 << 16);
        Ok(())
    }

    /// The stream.
    pub(super) fn stream(&self) -> &W {
        &self.to
    }
}

/// Receives messages.
#[derive(Debug)]
pub(super) struct Receiver<R> {
    from: R,
    key: Key,
    number: u64,
}

impl<R: Read> Receiver<R> {
    pub(super) fn new(from: R, key: Key) -> Self {
        Self { from, key, number: 0 }
    }

    /// Waits for a message. Room is made only as its bytes come in.
    pub(super) fn receive(&mut self) -> Result<Vec<u8>, Broken> {
        let mut length = [0; 4];
        self.from.read_exact(&mut length)?;
        let length = u32::from_be_bytes(length);
        if length as usize > MOST {
            return Err(Broken::TooLong(length));
        }
        let mut message = Vec::new();
        let got = self.from.by_ref().take(u64::from(length)).read_to_end(&mut message)?;
        if got < length as usize {
            return Err(io::Error::from(io::ErrorKind::UnexpectedEof).into());
        }
        let mut tag = [0; TAG];
        self.from.read_exact(&mut tag)?;
        if !self.key.tags(self.number, &message, &tag) {
            return Err(Broken::Forged);
        }
        self.number += 1;
        Ok(message)
    }
}

#[cfg(test)]
mod tests {
    use super::super::proof::Token;
    use super::*;
    use proptest::prelude::*;

    fn key() -> Key {
        Token::parse("0000-1111-2222-3333").expect("a token").key()
    }

    fn framed(messages: &[Vec<u8>]) -> Vec<u8> {
        let mut sender = Sender::new(Vec::new(), key());
        for m in messages {
            sender.send(m).expect("a vector takes all");
        }
        sender.to
    }

    #[test]
    fn a_great_length_is_refused_before_room_is_made() {
        let mut bytes = u32::MAX.to_be_bytes().to_vec();
        bytes.extend([0; 64]);
        let mut receiver = Receiver::new(bytes.as_slice(), key());
        assert!(matches!(receiver.receive(), Err(Broken::TooLong(u32::MAX))));
        assert!(Sender::new(Vec::new(), key()).send(&vec![0; MOST + 1]).is_err());
    }

    proptest! {
        #![proptest_config(crate::rhythm::random::config(256))]

        #[test]
        fn messages_come_as_they_were_sent(messages in prop::collection::vec(prop::collection::vec(any::<u8>(), 0..300), 0..5)) {
            let bytes = framed(&messages);
            let mut receiver = Receiver::new(bytes.as_slice(), key());
            for m in &messages {
                prop_assert_eq!(&receiver.receive().expect("sent"), m);
            }
            prop_assert!(matches!(receiver.receive(), Err(Broken::Stream(_))));
        }

        #[test]
        fn what_was_changed_on_the_way_is_refused(
            message in prop::collection::vec(any::<u8>(), 0..100), at: prop::sample::Index, bit in 0..8_u8,
        ) {
            let mut bytes = framed(&[message]);
            let at = at.index(bytes.len());
            bytes[at] ^= 1 << bit;
            prop_assert!(Receiver::new(bytes.as_slice(), key()).receive().is_err());
        }

        #[test]
        fn a_message_sent_twice_is_refused(message in prop::collection::vec(any::<u8>(), 0..100)) {
            let bytes = framed(&[message]);
            let twice = [bytes.as_slice(), bytes.as_slice()].concat();
            let mut receiver = Receiver::new(twice.as_slice(), key());
            prop_assert!(receiver.receive().is_ok());
            prop_assert!(matches!(receiver.receive(), Err(Broken::Forged)));
        }

        #[test]
        fn any_bytes_are_no_message(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
            prop_assert!(Receiver::new(bytes.as_slice(), key()).receive().is_err());
        }
    }
}
