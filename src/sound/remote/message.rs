//! The messages between the two ends, and the limits of what is accepted.

use super::frame;
use super::speaker::{MessageHandler, Reload, SampleStore};
use crate::rhythm::{Groove, Time};
use crate::sound::playback::{ChunkRequest, LoopSpec, PlaybackEvent, PlaybackRequest, Requests, Sequence};
use crate::sound::schedule::Range;
use crate::sound::units::SampleRate;
use crate::sound::user_samples::UserSamples;
use serde::{Deserialize, Serialize};
use std::ops::RangeInclusive;
use std::time::{Duration, Instant};

/// Most bytes of one sound file, and of all that one speaker keeps.
pub(crate) const MAX_SAMPLE_FILE: u64 = 8 << 20;
pub(crate) const MAX_SAMPLE_FILES: u64 = 32 << 20;
/// Most bytes of a recording, of which a speaker keeps one.
pub(crate) const MAX_RECORDING_FILE: u64 = 1 << 30;
/// Takes of a sequence, passes of a take, hearings that click, and pulses of one hearing.
const MAX_TAKES: usize = 1000;
const MAX_PASSES: u32 = 10_000;
const MAX_HEARINGS: usize = 16;
const MAX_PULSES: usize = 1 << 18;
/// Largest denominator of a place in a section; those of cells and beats are far smaller.
const MAX_DENOM: i64 = 1_000_000;
/// Characters of a sentence from the other end, and of a file name's ending.
const MAX_SENTENCE: usize = 300;
const MAX_EXTENSION: usize = 5;
/// Hexadecimal digits of a hash in a file name.
pub(crate) const HASH_DIGITS: usize = 32;

/// Levels of a recording in dB, and semitones of its transposition.
const LEVELS: RangeInclusive<f32> = -60.0..=12.0;
const SEMITONES: RangeInclusive<i8> = -24..=24;

/// From the editor.
#[derive(Debug, PartialEq, Serialize, Deserialize)]
pub(super) enum ToSpeaker {
    /// A request, and the text of its groove, whose sound files and recording have the names of [`is_sample_name`].
    Request { groove: String, request: PlaybackRequest },
    /// Volume in dB.
    Volume(f32),
    /// Report what was heard at this time of the speaker's clock, in ns.
    Tap(u64),
    /// To be answered at once. Positions are to be reported this many ns before they are heard, so that a terminal beside the
    /// speaker shows them when they are heard.
    Ping { asked: u64, lookahead: u64 },
    /// A part of the sound file asked for, and the file's size; without bytes if it cannot be sent.
    Chunk { part: ChunkRequest, size: u64, bytes: Vec<u8> },
}

/// From the speaker.
#[derive(Debug, PartialEq, Serialize, Deserialize)]
pub(super) enum ToEditor {
    Event(PlaybackEvent),
    /// The time of the ping, and of the speaker's clock, in ns.
    Pong {
        asked: u64,
        now: u64,
    },
    /// The next part of a sound file that the speaker does not have.
    Want(ChunkRequest),
}

/// Whether a name is a hash with an ending of letters and digits, which no path can be.
pub(crate) fn is_sample_name(name: &str) -> bool {
    let (hash, extension) = name.split_once('.').unwrap_or((name, ""));
    hash.len() == HASH_DIGITS
        && hash.bytes().all(|b| b.is_ascii_hexdigit())
        && extension.len() <= MAX_EXTENSION
        && extension.bytes().all(|b| b.is_ascii_alphanumeric())
}

/// Whether a request from the other end is within the limits: what it builds is bounded, as that of an editor is.
pub(super) fn is_within_limits(request: &PlaybackRequest) -> bool {
    let is_sequence_within = |s: &Sequence| {
        s.at < s.takes.len()
            && s.takes.len() <= MAX_TAKES
            && s.takes.iter().all(|t| is_spec_within(&t.spec) && t.times.is_none_or(|n| (1..=MAX_PASSES).contains(&n)))
    };
    request.loop_spec().is_none_or(is_spec_within) && request.sequence().is_none_or(is_sequence_within)
}

fn is_spec_within(spec: &LoopSpec) -> bool {
    let place = |t: Time| t >= Time::ZERO && t.denom() <= MAX_DENOM;
    let range = match spec.range {
        Range::Whole | Range::Section(_) => true,
        Range::Region { from, to, .. } => place(from) && place(to),
    };
    let seconds = |s: f64| (0.0..1e9).contains(&s);
    let recording = spec
        .recording
        .is_none_or(|r| r.pass < MAX_PASSES && LEVELS.contains(&r.db) && SEMITONES.contains(&r.tone.semitones));
    range
        && recording
        && spec.hearings.len() <= MAX_HEARINGS
        && spec.hearings.iter().all(|h| {
            h.seconds.len() <= MAX_PULSES
                && h.seconds.iter().chain([&h.length, &h.lead]).all(|s| seconds(*s))
                && h.seconds.is_sorted()
        })
}

/// A sentence from the other end, fit for one line of a screen.
pub(super) fn sanitize_line(text: &str) -> String {
    text.chars().take(MAX_SENTENCE).map(|c| if c.is_control() { ' ' } else { c }).collect()
}

/// A store without files, for [`read_as_speaker`].
struct NoFiles;

impl SampleStore for NoFiles {
    fn has(&self, _: &str) -> bool {
        false
    }

    fn add(&mut self, _: &str, _: &[u8]) -> bool {
        true
    }

    fn has_recording(&self, _: &str) -> bool {
        false
    }

    fn start_recording(&mut self, _: &str) -> bool {
        true
    }

    fn add_to_recording(&mut self, _: &[u8]) -> bool {
        true
    }

    fn finish_recording(&mut self, _: Reload) -> bool {
        true
    }
}

/// Reads bytes as a speaker reads what comes from an editor, and builds what it is to play, until the bytes end or break a
/// rule; returns why it stopped. `read` reads the text of a groove.
pub fn read_as_speaker(bytes: &[u8], read: fn(&str) -> Option<Groove>) -> String {
    let (mut from, mut files, requests) = (bytes, NoFiles, Requests::new());
    let mut handler = MessageHandler::new(Instant::now(), &requests, &mut files, read);
    loop {
        if let Err(reason) = frame::receive(&mut from).and_then(|message| handler.on_message(message)) {
            return reason;
        }
        let Ok(orders) = requests.take_within(Duration::ZERO) else { return String::new() };
        let Some(request) = orders.request else { continue };
        let (rate, samples) = (SampleRate::STUDIO, UserSamples::default());
        if let Some(spec) = request.loop_spec() {
            drop(spec.take().segment(&spec.groove, rate, &samples));
        }
        if let Some(sequence) = request.sequence() {
            for (take, part) in sequence.takes().iter().zip(&sequence.takes).take(3) {
                drop(take.segment(&part.spec.groove, rate, &samples));
                drop(take.count_in_schedule(&part.spec.groove, rate));
            }
        }
    }
}

/// Reads bytes as an editor reads what comes from a speaker, until they end or break a rule; returns why it stopped.
pub fn read_as_editor(mut bytes: &[u8]) -> String {
    loop {
        match frame::receive::<ToEditor>(&mut bytes) {
            Ok(ToEditor::Event(event)) => drop(super::link::sanitize_event(event, Duration::ZERO)),
            Ok(ToEditor::Pong { .. } | ToEditor::Want(_)) => {}
            Err(reason) => return reason,
        }
    }
}
