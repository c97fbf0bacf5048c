//! What the two ends say to each other. It must not know how it is carried or when it is said.

use serde::{Deserialize, Serialize};

/// Most characters of a reason that came over the line.
const REASON: usize = 160;

/// How a new loop takes over.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub(super) enum Keeping {
    Place,
    Fraction,
}

/// From the editor. New rows stand at the end, with a new version of the greeting.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) enum ToSpeaker<'a> {
    /// Play this loop (a packed schedule) from a frame; `age` names it from now on.
    Play { age: u16, from: u64, packed: &'a [u8] },
    /// Go on with this loop in the place of the one that plays.
    Swap { age: u16, keep: Keeping, packed: &'a [u8] },
    /// Stop.
    Stop,
    /// Go to a frame of the loop.
    Seek(u64),
    /// Gain of the mix in dB.
    Gain(f32),
    /// To be answered with a pong at once; the number is the editor's clock.
    Ping(u64),
    /// The editor ends.
    Bye,
}

/// From the speaker. New rows stand at the end, with a new version of the greeting.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) enum ToEditor {
    /// The device is there and has so many frames per second.
    Device(u32),
    /// There is no device: why.
    NoDevice(String),
    /// At this time of the speaker's clock (ns) this frame of the loop of this age was heard, after so many turns. The frame
    /// is below 0 while the first sound is on its way to the ear.
    Heard { age: u16, frame: i64, loops: u64, at: u64 },
    /// Answer to a ping: its number, and the speaker's clock.
    Pong { asked: u64, now: u64 },
    /// Nothing but a sign of life.
    Alive,
    /// Something was not done: why.
    Refused(String),
    /// The speaker ends.
    Bye,
}

/// A message as bytes.
pub(super) fn write<T: Serialize>(message: &T) -> Vec<u8> {
    postcard::to_allocvec(message).expect("messages have no parts that postcard refuses")
}

/// A message from bytes, all of them.
pub(super) fn read<'a, T: Deserialize<'a>>(bytes: &'a [u8]) -> Option<T> {
    match postcard::take_from_bytes(bytes) {
        Ok((message, [])) => Some(message),
        _ => None,
    }
}

/// Words that came over the line, fit for one line of a screen.
pub(super) fn words(text: &str) -> String {
    text.chars().take(REASON).map(|c| if c.is_control() { ' ' } else { c }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn messages_go_round(
            age: u16, from: u64, frame: i64, gain in -200.0_f32..200.0, text: String, packed in prop::collection::vec(any::<u8>(), 0..50),
        ) {
            for message in [
                ToSpeaker::Play { age, from, packed: &packed },
                ToSpeaker::Swap { age, keep: Keeping::Fraction, packed: &packed },
                ToSpeaker::Stop,
                ToSpeaker::Seek(from),
                ToSpeaker::Gain(gain),
                ToSpeaker::Ping(from),
                ToSpeaker::Bye,
            ] {
                let bytes = write(&message);
                prop_assert_eq!(read::<ToSpeaker<'_>>(&bytes), Some(message));
                let more = [bytes.as_slice(), &[0]].concat();
                prop_assert_eq!(read::<ToSpeaker<'_>>(&more), None);
            }
            for message in [
                ToEditor::Device(48_000),
                ToEditor::NoDevice(text.clone()),
                ToEditor::Heard { age, frame, loops: from, at: 7 },
                ToEditor::Pong { asked: 1, now: from },
                ToEditor::Alive,
                ToEditor::Refused(text.clone()),
                ToEditor::Bye,
            ] {
                prop_assert_eq!(read::<ToEditor>(&write(&message)), Some(message.clone()));
            }
        }

        #[test]
        fn any_bytes_are_a_message_or_none(bytes in prop::collection::vec(any::<u8>(), 0..100)) {
            let _ = read::<ToSpeaker<'_>>(&bytes);
            let _ = read::<ToEditor>(&bytes);
        }

        #[test]
        fn words_keep_to_one_line(text: String) {
            let words = words(&text);
            prop_assert!(!words.contains(|c: char| c.is_control()) && words.chars().count() <= REASON);
        }
    }

    #[test]
    fn the_bytes_of_this_version_stay_as_they_are() {
        // A change here needs a new version of the greeting.
        assert_eq!(super::super::hello::VERSION, 1);
        assert_eq!(write(&ToSpeaker::Play { age: 2, from: 300, packed: &[9] }), [0, 2, 0xac, 2, 1, 9]);
        assert_eq!(write(&ToSpeaker::Gain(1.0)), [4, 0, 0, 0x80, 0x3f]);
        assert_eq!(write(&ToEditor::Heard { age: 1, frame: -1, loops: 2, at: 3 }), [2, 1, 1, 2, 3]);
        assert_eq!(write(&ToEditor::Bye), [6]);
    }
}
