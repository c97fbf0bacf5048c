//! What the two ends say to each other.

use serde::{Deserialize, Serialize};

/// Most characters of a reason that came over the line.
const REASON: usize = 160;

/// When a leg is played.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub(super) enum How {
    /// Now, from a frame, instead of all that is played and waits.
    Start(u64),
    /// After all that wait.
    Queue,
    /// At the end of the time through that is played, instead of all that wait.
    Then,
    /// In the place of the leg that has its number.
    Replace,
}

/// From the editor. New rows stand at the end, with a new version of the greeting.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) enum ToSpeaker<'a> {
    /// Play this packed leg; `generation`, greater than all before, names this sending of the leg of this number.
    Segment { how: How, leg: u64, generation: u64, packed: &'a [u8] },
    /// Stop.
    Stop,
    /// Gain of the mix in dB.
    Gain(f32),
    /// To be answered with a pong at once; the number is the editor's clock.
    Ping(u64),
    /// The editor ends.
    Bye,
    /// A piece of a sound of the user's own, before the leg that needs it (see `Piece` of the shelf).
    Sound { hash: u64, hertz: u32, total: u32, at: u32, samples: &'a [u8] },
}

/// From the speaker. New rows stand at the end, with a new version of the greeting.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) enum ToEditor {
    /// The device is there and has so many frames per second and per buffer; all that is to sound is to be sent.
    Device { hertz: u32, grain: u32 },
    /// There is no device: why.
    NoDevice(String),
    /// At this time of the speaker's clock (ns) this frame of the leg's sending of this generation was heard, after so many turns. The
    /// frame is below 0 while the first sound is on its way to the ear, or if it lies in the turn before.
    Heard { generation: u64, frame: i64, loops: u64, at: u64 },
    /// Answer to a ping: its number, and the speaker's clock.
    Pong { asked: u64, now: u64 },
    /// Nothing but a sign of life.
    Alive,
    /// Something was not done: why.
    Refused(String),
    /// The speaker ends.
    Bye,
    /// The device is there again, and what was played goes on.
    Again,
    /// The leg of this number has been played through and has ended the playing.
    Ended(u64),
    /// A sound of the user's own of this hash is not there; what needs it does not sound.
    Lacks(u64),
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
        #![proptest_config(crate::rhythm::random::config(256))]

        #[test]
        fn messages_go_round(
            generation: u64, from: u64, frame: i64, gain in -200.0_f32..200.0, text: String, packed in prop::collection::vec(any::<u8>(), 0..50),
        ) {
            for message in [
                ToSpeaker::Segment { how: How::Start(from), leg: 3, generation, packed: &packed },
                ToSpeaker::Segment { how: How::Replace, leg: from, generation, packed: &packed },
                ToSpeaker::Segment { how: How::Queue, leg: from, generation, packed: &packed },
                ToSpeaker::Segment { how: How::Then, leg: from, generation, packed: &packed },
                ToSpeaker::Sound { hash: from, hertz: 48_000, total: 9, at: 7, samples: &packed },
                ToSpeaker::Stop,
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
                ToEditor::Device { hertz: 48_000, grain: 1024 },
                ToEditor::Again,
                ToEditor::Ended(generation),
                ToEditor::Lacks(generation),
                ToEditor::NoDevice(text.clone()),
                ToEditor::Heard { generation, frame, loops: from, at: 7 },
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
        assert_eq!(super::super::hello::VERSION, 2);
        let leg = |how| ToSpeaker::Segment { how, leg: 1, generation: 2, packed: &[9] };
        assert_eq!(write(&leg(How::Start(300))), [0, 0, 0xac, 2, 1, 2, 1, 9]);
        assert_eq!(write(&leg(How::Queue)), [0, 1, 1, 2, 1, 9]);
        assert_eq!(write(&leg(How::Then)), [0, 2, 1, 2, 1, 9]);
        assert_eq!(write(&leg(How::Replace)), [0, 3, 1, 2, 1, 9]);
        assert_eq!(write(&ToSpeaker::Stop), [1]);
        assert_eq!(write(&ToSpeaker::Gain(1.0)), [2, 0, 0, 0x80, 0x3f]);
        let sound = ToSpeaker::Sound { hash: 1, hertz: 2, total: 3, at: 4, samples: &[9] };
        assert_eq!(write(&sound), [5, 1, 2, 3, 4, 1, 9]);
        assert_eq!(write(&ToEditor::Device { hertz: 300, grain: 1 }), [0, 0xac, 2, 1]);
        assert_eq!(write(&ToEditor::Heard { generation: 1, frame: -1, loops: 2, at: 3 }), [2, 1, 1, 2, 3]);
        assert_eq!(write(&ToEditor::Bye), [6]);
        assert_eq!(write(&ToEditor::Again), [7]);
        assert_eq!(write(&ToEditor::Ended(5)), [8, 5]);
        assert_eq!(write(&ToEditor::Lacks(5)), [9, 5]);
    }
}
