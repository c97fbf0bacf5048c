//! Exports a groove as a Standard MIDI File, format 1.
//!
//! The file has a tempo and meter map, a track per layer and a track of clicks per chosen hearing. Passes are written out, each under a
//! marker with the section's name. The resolution makes every time exact; if none up to 32767 ticks per quarter does, times are
//! rounded to the nearest tick.
//!
//! Text events that begin with `teeter` ([`teeter_meta`]) hold what MIDI cannot, so that an import restores it. An attack without a
//! pitch has note-off velocity 0, others 64.

use super::ExportInput;
use crate::notation::{FormatError, Pass, TimedNote, general_midi, passes, teeter_meta, timed_notes};
use crate::rhythm::{Accent, Fraction, Groove, Layer, Meter, Pitch, Tempo, Time, Voice};
use midly::num::{u4, u7, u15, u24, u28};
use midly::{Format, Header, MetaMessage, MidiMessage, Smf, Timing, TrackEvent, TrackEventKind};
use num_integer::lcm;

/// Maximum ticks per quarter of the format.
const MAX_TICKS: i64 = 32_767;
/// Ticks per quarter if no resolution is exact: highly composite, so that few times are rounded.
const ROUNDED_TICKS: i64 = 30_240;
/// Minimum ticks per quarter that are written: a common resolution.
const MIN_TICKS: u64 = 480;

/// Converts whole notes to ticks.
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

struct Event<'a> {
    tick: u64,
    rank: Rank,
    kind: TrackEventKind<'a>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Rank {
    Meta,
    NoteOff,
    NoteOn,
    End,
}

/// Writes the groove or one section of it.
///
/// # Errors
/// [`FormatError`] if the groove is too long, or the section or a hearing does not exist.
pub fn export(piece: &ExportInput<'_>) -> Result<Vec<u8>, FormatError> {
    let groove = piece.groove;
    if piece.section.is_some_and(|s| s >= groove.sections().len()) {
        return Err(FormatError::new("", "no such section"));
    }
    let too_long = || FormatError::new("", "the groove is too long to export with exact times");
    let passes = passes(groove, piece.section).ok_or_else(too_long)?;
    let notes = (0..groove.layers().len()).map(|l| timed_notes(groove, l, &passes));
    let notes: Vec<Vec<TimedNote>> = notes.collect::<Option<_>>().ok_or_else(too_long)?;
    let last = passes.last().and_then(|p| p.start.plus(groove.sections()[p.section].length())).ok_or_else(too_long)?;
    let (ticks, exact) = resolution(&passes, &notes, last);
    let end = ticks.of(last);
    let texts = Texts::new(piece, &passes, exact)?;
    let mut tracks = vec![delta_encoded(conductor_track(groove, &passes, ticks, &texts), end)];
    let mut channels = channels();
    for ((layer, notes), texts) in groove.layers().iter().zip(&notes).zip(&texts.layers) {
        tracks.push(delta_encoded(layer_track(layer, notes, ticks, &mut channels, texts), end));
    }
    for (n, (hearing, texts)) in piece.hearings.iter().zip(&texts.hearings).enumerate() {
        let pulses = &piece.report.hearings[*hearing].pulses;
        tracks.push(delta_encoded(click_track(piece, pulses, n, ticks, end, texts), end));
    }
    let header = Header::new(Format::Parallel, Timing::Metrical(u15::new(ticks.per_quarter as u16)));
    let mut bytes = Vec::new();
    Smf { header, tracks }
        .write_std(&mut bytes)
        .map_err(|e| FormatError::new("", format!("the groove is too large for a MIDI file: {e}")))?;
    Ok(bytes)
}

/// The texts that the events borrow. Tracks and sections have two: the name and the text event.
struct Texts {
    file: String,
    note: String,
    sections: Vec<(String, String)>,
    layers: Vec<(String, String)>,
    hearings: Vec<(String, String)>,
}

impl Texts {
    fn new(piece: &ExportInput<'_>, passes: &[Pass], exact: bool) -> Result<Self, FormatError> {
        let groove = piece.groove;
        let sections = passes.iter().map(|p| &groove.sections()[p.section]);
        let mut order: Vec<usize> = passes.iter().map(|p| p.section).collect();
        order.dedup();
        let hearing = |h: &usize| {
            let number = h + 1;
            let hearing = piece.report.hearings.get(*h);
            let hearing = hearing.ok_or_else(|| FormatError::new("", format!("no such hearing: {number}")))?;
            let name = format!("hearing {number}: {}, {:.1} BPM", hearing.kind, hearing.bpm(1.0));
            Ok((name, teeter_meta::click()))
        };
        Ok(Self {
            file: teeter_meta::file(exact),
            note: teeter_meta::note(groove.note()),
            sections: sections.map(|s| (s.name.clone(), teeter_meta::section(s))).collect(),
            layers: groove.layers().iter().map(|l| (l.name.clone(), teeter_meta::layer(l, &order))).collect(),
            hearings: piece.hearings.iter().map(hearing).collect::<Result<_, _>>()?,
        })
    }
}

/// Also returns whether every time is exact.
fn resolution(passes: &[Pass], notes: &[Vec<TimedNote>], last: Time) -> (Ticks, bool) {
    let starts = passes.iter().map(|p| p.start).chain([last]);
    let times = notes.iter().flatten().flat_map(|n| [n.start, n.length]).chain(starts);
    let mut needed = 1_i64;
    for time in times {
        let quarters = time.scaled(Fraction::whole(4)).map_or(i64::MAX, Time::denom);
        // Checked first, so that the common multiple cannot overflow.
        if quarters > MAX_TICKS || lcm(needed, quarters) > MAX_TICKS {
            return (Ticks { per_quarter: ROUNDED_TICKS }, false);
        }
        needed = lcm(needed, quarters);
    }
    (Ticks { per_quarter: MIN_TICKS.next_multiple_of(needed as u64) as i64 }, true)
}

fn meta(tick: u64, message: MetaMessage<'_>) -> Event<'_> {
    Event { tick, rank: Rank::Meta, kind: TrackEventKind::Meta(message) }
}

/// The track of tempos, meters and section names.
fn conductor_track<'a>(groove: &'a Groove, passes: &[Pass], ticks: Ticks, texts: &'a Texts) -> Vec<Event<'a>> {
    let mut events = vec![
        meta(0, MetaMessage::TrackName(groove.title().as_bytes())),
        meta(0, MetaMessage::Text(texts.file.as_bytes())),
    ];
    if !groove.note().is_empty() {
        events.push(meta(0, MetaMessage::Text(texts.note.as_bytes())));
    }
    for (pass, (name, text)) in passes.iter().zip(&texts.sections) {
        let (tick, section) = (ticks.of(pass.start), &groove.sections()[pass.section]);
        events.push(meta(tick, time_signature(&section.meter)));
        events.push(meta(tick, MetaMessage::Tempo(u24::new(microseconds(section.tempo)))));
        events.push(meta(tick, MetaMessage::Marker(name.as_bytes())));
        events.push(meta(tick, MetaMessage::Text(text.as_bytes())));
    }
    events
}

/// The sum of the meter's terms, the lower number's power of two, and the MIDI clocks (24 per quarter) of a beat.
fn time_signature(meter: &Meter) -> MetaMessage<'static> {
    let upper: u16 = meter.terms().iter().sum();
    let clocks = meter.beat().scaled(Fraction::whole(96)).map_or(24, |c| c.wholes().round().clamp(1, 255));
    MetaMessage::TimeSignature(upper as u8, meter.lower().trailing_zeros() as u8, clocks as u8, 8)
}

/// Microseconds per quarter, rounded and clamped to the range of the format.
fn microseconds(tempo: Tempo) -> u32 {
    let wholes = tempo.wholes_per_minute();
    let exact = Fraction::whole(15_000_000).over(wholes).map_or(500_000, Fraction::round);
    exact.clamp(1, i64::from(u24::max_value().as_int())) as u32
}

/// All channels but that of percussion in turn, and whether each is new.
fn channels() -> impl Iterator<Item = (u8, bool)> {
    (0..).map(|k: usize| {
        let n = (k % 15) as u8;
        (n + u8::from(n >= general_midi::PERCUSSION_CHANNEL), k < 15)
    })
}

fn midi(tick: u64, rank: Rank, channel: u8, message: MidiMessage) -> Event<'static> {
    Event { tick, rank, kind: TrackEventKind::Midi { channel: u4::new(channel), message } }
}

fn layer_track<'a>(
    layer: &'a Layer,
    notes: &[TimedNote],
    ticks: Ticks,
    channels: &mut impl Iterator<Item = (u8, bool)>,
    texts: &'a (String, String),
) -> Vec<Event<'a>> {
    let pitched = layer.voice.is_pitched() && notes.iter().any(|n| n.attack.pitch.is_some());
    let drum = general_midi::key(layer.voice).filter(|_| !pitched);
    let melodic = if drum.is_some() { None } else { channels.next() };
    let (channel, first) = melodic.unwrap_or((general_midi::PERCUSSION_CHANNEL, false));
    let program = u7::new(general_midi::program(layer.voice));
    let own_key = layer.voice.default_pitch().or(Voice::Pluck.default_pitch()).unwrap_or(60);
    let mut events = named_track(texts);
    let midi = |tick, rank, message| midi(tick, rank, channel, message);
    if first {
        events.push(midi(0, Rank::Meta, MidiMessage::ProgramChange { program }));
        let volume = if layer.mute { 0 } else { general_midi::volume(layer.gain) };
        for (controller, value) in
            [(general_midi::VOLUME_CONTROLLER, volume), (general_midi::PAN_CONTROLLER, general_midi::pan(layer.pan))]
        {
            let message = MidiMessage::Controller { controller: u7::new(controller), value: u7::new(value) };
            events.push(midi(0, Rank::Meta, message));
        }
    }
    for note in notes {
        // The pitches of a voice without pitch do not sound.
        let pitch = note.attack.pitch.filter(|_| layer.voice.is_pitched());
        let key = u7::new(drum.unwrap_or_else(|| pitch.map_or(own_key, Pitch::key)));
        let release = u7::new(if pitch.is_some() { 64 } else { 0 });
        let velocity = u7::new(general_midi::velocity(note.attack.accent));
        let start = ticks.of(note.start);
        let end = note.start.plus(note.length).map_or(start, |e| ticks.of(e)).max(start + 1);
        events.push(midi(start, Rank::NoteOn, MidiMessage::NoteOn { key, vel: velocity }));
        events.push(midi(end, Rank::NoteOff, MidiMessage::NoteOff { key, vel: release }));
    }
    events
}

fn named_track(texts: &(String, String)) -> Vec<Event<'_>> {
    vec![meta(0, MetaMessage::TrackName(texts.0.as_bytes())), meta(0, MetaMessage::Text(texts.1.as_bytes()))]
}

/// The pulses of the `n`th hearing as clicks on the percussion channel.
fn click_track<'a>(
    piece: &ExportInput<'_>,
    pulses: &[f64],
    n: usize,
    ticks: Ticks,
    end: u64,
    texts: &'a (String, String),
) -> Vec<Event<'a>> {
    let clock = &piece.report.clock;
    let start = piece.section.and_then(|s| clock.whole_notes(s, 0, Time::ZERO)).unwrap_or(0.0);
    let mut events = named_track(texts);
    let key = u7::new(general_midi::CLICK_KEYS[n % general_midi::CLICK_KEYS.len()]);
    let (on, off) = (u7::new(general_midi::velocity(Accent::Plain)), u7::new(0));
    let midi = |tick, rank, message| midi(tick, rank, general_midi::PERCUSSION_CHANNEL, message);
    for seconds in pulses {
        let at = ((clock.whole_of(*seconds) - start) * 4.0 * ticks.per_quarter as f64).round();
        if !(0.0..end as f64).contains(&at) {
            continue;
        }
        let at = at as u64;
        let until = (at + ticks.per_quarter as u64 / 16).min(end).max(at + 1);
        events.push(midi(at, Rank::NoteOn, MidiMessage::NoteOn { key, vel: on }));
        events.push(midi(until, Rank::NoteOff, MidiMessage::NoteOff { key, vel: off }));
    }
    events
}

/// Sorts the events, ends the track and replaces ticks by deltas. Empty texts divide a silence that is longer than the largest delta.
fn delta_encoded(mut events: Vec<Event<'_>>, end: u64) -> Vec<TrackEvent<'_>> {
    let last = end.max(events.iter().map(|e| e.tick).max().unwrap_or(0));
    events.push(Event { tick: last, rank: Rank::End, kind: TrackEventKind::Meta(MetaMessage::EndOfTrack) });
    events.sort_by_key(|e| (e.tick, e.rank));
    let max_delta = u64::from(u28::max_value().as_int());
    let (mut track, mut now) = (Vec::with_capacity(events.len()), 0);
    for Event { tick, kind, .. } in events {
        while tick - now > max_delta {
            track.push(TrackEvent { delta: u28::max_value(), kind: TrackEventKind::Meta(MetaMessage::Text(b"")) });
            now += max_delta;
        }
        track.push(TrackEvent { delta: u28::new((tick - now) as u32), kind });
        now = tick;
    }
    track
}
