//! Writes a groove as a Standard MIDI File, format 1.
//!
//! The file has a tempo and meter map, a track per layer and a track of clicks per chosen hearing. Passes are written out under a
//! marker with the section's name. The resolution is chosen so that every time is exact; if none up to 32767 ticks per quarter is,
//! each time is rounded once from the exact one, by at most half a tick.
//!
//! Text events that begin with `teeter` ([`teeter_meta`]) hold what MIDI cannot, so that our own import restores it. An attack without
//! a pitch of its own has note-off velocity 0, others 64.

use super::ExportInput;
use crate::analysis::Hearing;
use crate::notation::{FormatError, Pass, TimedNote, general_midi, passes, teeter_meta, timed_notes};
use crate::rhythm::{Accent, Fraction, Groove, Layer, Meter, Tempo, Time, Voice};
use midly::num::{u4, u7, u15, u24, u28};
use midly::{Format, Header, MetaMessage, MidiMessage, Smf, Timing, TrackEvent, TrackEventKind};
use num_integer::lcm;

/// Greatest number of ticks per quarter a file can tell.
const MAX_TICKS: i64 = 32_767;
/// Ticks per quarter where no number of them makes every time exact: highly composite, so that few times are rounded.
const ROUNDED: i64 = 30_240;
/// Ticks per quarter that a file has at least; common in the trade.
const LEAST: i64 = 480;

/// Whole notes to ticks.
#[derive(Debug, Clone, Copy)]
struct Ticks {
    per_quarter: i64,
}

impl Ticks {
    /// The tick nearest to an exact time.
    fn of(self, time: Time) -> u64 {
        // A file's times are not negative, and 128 bits hold every product of two 64-bit numbers.
        let (n, d) = (i128::from(time.numer()) * i128::from(4 * self.per_quarter), i128::from(time.denom()));
        u64::try_from((2 * n + d).div_euclid(2 * d)).unwrap_or(0)
    }
}

/// An event at its tick. The rank orders events at one tick: words, then ends of notes, then onsets.
type At<'a> = (u64, u8, TrackEventKind<'a>);

/// The bytes of a format 1 file with what is asked of the piece: its groove or one section, and a track of clicks per hearing.
///
/// # Errors
/// [`FormatError`] if a time cannot be held exactly, or the piece names a section or hearing that is not there.
pub fn export(piece: &ExportInput<'_>) -> Result<Vec<u8>, FormatError> {
    let groove = piece.groove;
    if piece.section.is_some_and(|s| s >= groove.sections().len()) {
        return Err(FormatError::new("", "no such section"));
    }
    let too_long = || FormatError::new("", "the groove is too long: its times do not fit 64-bit fractions");
    let through = passes(groove, piece.section).ok_or_else(too_long)?;
    let layers: Vec<Vec<TimedNote>> = (0..groove.layers().len())
        .map(|l| timed_notes(groove, l, &through))
        .collect::<Option<_>>()
        .ok_or_else(too_long)?;
    let last = through.last().and_then(|t| t.start.plus(groove.sections()[t.section].length())).ok_or_else(too_long)?;
    let (ticks, exact) = resolution(&through, &layers, last);
    let end = ticks.of(last);
    let words = Words::new(piece, &through, exact);
    let mut tracks = vec![finish(head(groove, &through, ticks, &words), end)];
    let mut channels = Channels::default();
    for ((layer, notes), words) in groove.layers().iter().zip(&layers).zip(&words.layers) {
        tracks.push(finish(layer_track(layer, notes, ticks, &mut channels, words), end));
    }
    for (n, (hearing, words)) in piece.hearings.iter().zip(&words.hearings).enumerate() {
        let found = piece.report.hearings.get(*hearing);
        let hearing = found.ok_or_else(|| FormatError::new("", format!("no such hearing: {}", hearing + 1)))?;
        tracks.push(finish(clicks(piece, hearing, n, ticks, end, words), end));
    }
    let header = Header::new(Format::Parallel, Timing::Metrical(u15::new(ticks.per_quarter as u16)));
    let mut bytes = Vec::new();
    Smf { header, tracks }
        .write_std(&mut bytes)
        .map_err(|e| FormatError::new("", format!("the groove is too large for a MIDI file: {e}")))?;
    Ok(bytes)
}

/// The texts that the events borrow.
struct Words {
    title: String,
    file: String,
    note: String,
    sections: Vec<(String, String)>,
    layers: Vec<(String, String)>,
    hearings: Vec<(String, String)>,
}

impl Words {
    fn new(piece: &ExportInput<'_>, through: &[Pass], exact: bool) -> Self {
        let groove = piece.groove;
        let sections = through.iter().map(|t| &groove.sections()[t.section]);
        let hearings = piece.hearings.iter().map(|h| {
            let name =
                piece.report.hearings.get(*h).map_or(String::new(), |found| {
                    format!("hearing {}: {}, {:.1} BPM", h + 1, found.kind, found.bpm(1.0))
                });
            (name, teeter_meta::click())
        });
        Self {
            title: groove.title().to_owned(),
            file: teeter_meta::file(exact),
            note: teeter_meta::note(groove.note()),
            sections: sections.map(|s| (s.name.clone(), teeter_meta::section(s))).collect(),
            layers: groove.layers().iter().map(|l| (l.name.clone(), teeter_meta::layer(l))).collect(),
            hearings: hearings.collect(),
        }
    }
}

/// The ticks per quarter, and whether every time is exact with them.
fn resolution(through: &[Pass], layers: &[Vec<TimedNote>], last: Time) -> (Ticks, bool) {
    let starts = through.iter().map(|t| t.start).chain([last]);
    let times = layers.iter().flatten().flat_map(|n| [n.start, n.length]).chain(starts);
    let mut needed = 1_i64;
    for time in times {
        let quarters = time.scaled(Fraction::whole(4)).map_or(i64::MAX, Time::denom);
        if quarters > MAX_TICKS {
            return (Ticks { per_quarter: ROUNDED }, false);
        }
        needed = lcm(needed, quarters);
        if needed > MAX_TICKS {
            return (Ticks { per_quarter: ROUNDED }, false);
        }
    }
    let per_quarter = needed * (LEAST / needed + i64::from(LEAST % needed != 0)).max(1);
    (Ticks { per_quarter }, true)
}

/// The track of tempos, meters and section names.
fn head<'a>(groove: &'a Groove, through: &[Pass], ticks: Ticks, words: &'a Words) -> Vec<At<'a>> {
    let meta = |m| TrackEventKind::Meta(m);
    let mut events = vec![
        (0, 0, meta(MetaMessage::TrackName(words.title.as_bytes()))),
        (0, 0, meta(MetaMessage::Text(words.file.as_bytes()))),
    ];
    if !groove.note().is_empty() {
        events.push((0, 0, meta(MetaMessage::Text(words.note.as_bytes()))));
    }
    for (t, (name, exact)) in through.iter().zip(&words.sections) {
        let (at, section) = (ticks.of(t.start), &groove.sections()[t.section]);
        events.push((at, 0, meta(time_signature(&section.meter))));
        events.push((at, 0, meta(MetaMessage::Tempo(u24::new(microseconds(section.tempo))))));
        events.push((at, 0, meta(MetaMessage::Marker(name.as_bytes()))));
        events.push((at, 0, meta(MetaMessage::Text(exact.as_bytes()))));
    }
    events
}

/// The meter as a file tells it: the sum of its terms, the lower number's power of two, MIDI clocks (24 a quarter) per beat.
fn time_signature(meter: &Meter) -> MetaMessage<'static> {
    let upper: u16 = meter.terms().iter().sum();
    let clocks = meter.beat().scaled(Fraction::whole(96)).map_or(24, |c| c.wholes().round().clamp(1, 255));
    MetaMessage::TimeSignature(upper as u8, meter.lower().trailing_zeros() as u8, clocks as u8, 8)
}

/// Microseconds per quarter, rounded and within what a file can tell.
fn microseconds(tempo: Tempo) -> u32 {
    let wholes = tempo.wholes_per_minute();
    let exact = Fraction::whole(15_000_000).over(wholes).map_or(500_000, Fraction::round);
    exact.clamp(1, i64::from(u24::max_value().as_int())) as u32
}

/// Which channels are taken. Channels other than percussion's are given out in order and then again from the first.
#[derive(Default)]
struct Channels {
    given: usize,
}

impl Channels {
    /// The next channel, and whether this is the first layer on it.
    fn next(&mut self) -> (u8, bool) {
        let n = (self.given % 15) as u8;
        self.given += 1;
        (n + u8::from(n >= general_midi::PERCUSSION), self.given <= 15)
    }
}

fn layer_track<'a>(
    layer: &'a Layer,
    notes: &[TimedNote],
    ticks: Ticks,
    channels: &mut Channels,
    words: &'a (String, String),
) -> Vec<At<'a>> {
    let pitched = layer.voice.is_pitched() && notes.iter().any(|n| n.attack.pitch.is_some());
    let drum = general_midi::key(layer.voice).filter(|_| !pitched);
    let (channel, first) = if drum.is_some() { (general_midi::PERCUSSION, false) } else { channels.next() };
    let program = general_midi::program(layer.voice);
    let own_key = layer.voice.default_pitch().or(Voice::Pluck.default_pitch()).unwrap_or(60);
    let mut events = named(words);
    let midi = |message| TrackEventKind::Midi { channel: u4::new(channel), message };
    if first {
        events.push((0, 0, midi(MidiMessage::ProgramChange { program: u7::new(program) })));
        let volume = if layer.mute { 0 } else { general_midi::volume(layer.gain) };
        for (controller, value) in [(general_midi::VOLUME, volume), (general_midi::PAN, general_midi::pan(layer.pan))] {
            let message = MidiMessage::Controller { controller: u7::new(controller), value: u7::new(value) };
            events.push((0, 0, midi(message)));
        }
    }
    for note in notes {
        let pitch = note.attack.pitch.filter(|_| sounds(layer.voice));
        let key = u7::new(drum.unwrap_or_else(|| pitch.map_or(own_key, crate::rhythm::Pitch::key)));
        let release = u7::new(if pitch.is_some() { 64 } else { 0 });
        let velocity = u7::new(general_midi::velocity(note.attack.accent));
        let start = ticks.of(note.start);
        let end = note.start.plus(note.length).map_or(start, |e| ticks.of(e)).max(start + 1);
        events.push((start, 2, midi(MidiMessage::NoteOn { key, vel: velocity })));
        events.push((end, 1, midi(MidiMessage::NoteOff { key, vel: release })));
    }
    events
}

/// Whether a voice sounds pitches: what others are given is not heard and has no key.
fn sounds(voice: Voice) -> bool {
    voice.is_pitched()
}

fn named(words: &(String, String)) -> Vec<At<'_>> {
    vec![
        (0, 0, TrackEventKind::Meta(MetaMessage::TrackName(words.0.as_bytes()))),
        (0, 0, TrackEventKind::Meta(MetaMessage::Text(words.1.as_bytes()))),
    ]
}

/// A hearing's pulses, each rounded from its seconds once.
fn clicks<'a>(
    piece: &ExportInput<'_>,
    hearing: &Hearing,
    nth: usize,
    ticks: Ticks,
    end: u64,
    words: &'a (String, String),
) -> Vec<At<'a>> {
    let clock = &piece.report.clock;
    let start = piece.section.and_then(|s| clock.whole_notes(s, 0, Time::ZERO)).unwrap_or(0.0);
    let mut events = named(words);
    let key = u7::new(general_midi::CLICKS[nth % general_midi::CLICKS.len()]);
    let vel = u7::new(general_midi::velocity(Accent::Plain));
    let midi = |message| TrackEventKind::Midi { channel: u4::new(general_midi::PERCUSSION), message };
    for seconds in &hearing.pulses {
        let at = (clock.whole_of(*seconds) - start) * 4.0 * ticks.per_quarter as f64;
        let at = at.round();
        if !(0.0..end as f64).contains(&at) {
            continue;
        }
        let at = at as u64;
        events.push((at, 2, midi(MidiMessage::NoteOn { key, vel })));
        let off = (at + ticks.per_quarter as u64 / 16).min(end).max(at + 1);
        events.push((off, 1, midi(MidiMessage::NoteOff { key, vel: u7::new(0) })));
    }
    events
}

/// Sorts events and turns their ticks into steps; a silence longer than a step can be is cut by empty texts.
fn finish(mut events: Vec<At<'_>>, end: u64) -> Vec<TrackEvent<'_>> {
    events.push((
        end.max(events.iter().map(|e| e.0).max().unwrap_or(0)),
        3,
        TrackEventKind::Meta(MetaMessage::EndOfTrack),
    ));
    events.sort_by_key(|e| (e.0, e.1));
    let most = u64::from(u28::max_value().as_int());
    let (mut track, mut now) = (Vec::with_capacity(events.len()), 0);
    for (at, _, kind) in events {
        while at - now > most {
            track.push(TrackEvent { delta: u28::max_value(), kind: TrackEventKind::Meta(MetaMessage::Text(b"")) });
            now += most;
        }
        track.push(TrackEvent { delta: u28::new((at - now) as u32), kind });
        now = at;
    }
    track
}
