//! Exports a groove as a Standard MIDI File, format 1.
//!
//! The file has a tempo and meter map, a track per layer and a track of clicks per chosen hearing. Passes are written out, each under a
//! marker with the section's name. The resolution makes every time exact; if none up to 32767 ticks per quarter does, times are
//! rounded to the nearest tick.
//!
//! Text events that begin with `teeter` ([`teeter_meta`]) hold what MIDI cannot, so that an import restores it. An attack without a
//! pitch has note-off velocity 0, others 64.

mod flams;

use super::ExportInput;
use crate::notation::{FormatError, Pass, TimedNote, general_midi, passes, section_range, teeter_meta, timed_notes};
use crate::rhythm::{Accent, Attack, Fraction, Groove, Layer, Meter, Pitch, Tempo, Time, Voice};
use midly::num::{u4, u7, u15, u24, u28};
use midly::{Format, Header, MetaMessage, MidiMessage, Smf, Timing, TrackEvent, TrackEventKind};
use num_integer::lcm;

/// Maximum ticks per quarter of the format.
const MAX_TICKS: i64 = 32_767;
/// Ticks per quarter if no resolution is exact: highly composite, so that few times are rounded.
const ROUNDED_TICKS: i64 = 30_240;
/// Minimum ticks per quarter that are written: a common resolution.
const MIN_TICKS: u64 = 480;

/// An event at a tick.
type Event<'a> = (u64, TrackEventKind<'a>);

/// The tick nearest to an exact time.
fn tick_at(time: Time, per_quarter: i64) -> u64 {
    // A file's times are not negative, and 128 bits hold every product of two 64-bit numbers.
    let (n, d) = (i128::from(time.numer()) * i128::from(4 * per_quarter), i128::from(time.denom()));
    u64::try_from((2 * n + d).div_euclid(2 * d)).unwrap_or(0)
}

/// What a file has besides its tempo and meter map and the clicks of hearings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tracks {
    /// A track per layer.
    Layers,
    /// A track of clicks on the written beat.
    WrittenBeat,
}

/// Writes the groove or one section of it.
///
/// # Errors
/// [`FormatError`] if the groove is too long, or the section or a hearing does not exist.
pub fn export(piece: &ExportInput<'_>, content: Tracks) -> Result<Vec<u8>, FormatError> {
    let groove = piece.groove;
    section_range(groove, piece.section)?;
    let too_long = || FormatError::new("", "the groove is too long to export with exact times");
    let passes = passes(groove, piece.section).ok_or_else(too_long)?;
    let notes: Option<Vec<Vec<TimedNote>>> = match content {
        Tracks::Layers => (0..groove.layers().len()).map(|l| timed_notes(groove, l, &passes)).collect(),
        Tracks::WrittenBeat => beats(groove, &passes).map(|beats| vec![beats]),
    };
    let notes = notes.ok_or_else(too_long)?;
    let last = passes.last().and_then(|p| p.start.plus(groove.sections()[p.section].length())).ok_or_else(too_long)?;
    let exact = exact_resolution(&passes, &notes, last);
    let per_quarter = exact.unwrap_or(ROUNDED_TICKS);
    let end = tick_at(last, per_quarter);
    let texts = Texts::new(piece, &passes, exact.is_some())?;
    let mut tracks = vec![conductor_track(groove, &passes, per_quarter, &texts)];
    let mut channels = melodic_channels();
    match content {
        Tracks::Layers => {
            for ((layer, notes), texts) in groove.layers().iter().zip(&notes).zip(&texts.layers) {
                let lead = |at| flams::lead(groove, &passes, at, per_quarter);
                tracks.push(layer_track(layer, notes, (per_quarter, end), lead, &mut channels, texts));
            }
        }
        Tracks::WrittenBeat => tracks.push(beat_track(&notes[0], per_quarter, &texts.beat)),
    }
    for (n, (hearing, texts)) in piece.hearings.iter().zip(&texts.hearings).enumerate() {
        let pulses = &piece.report.hearings[*hearing].pulses;
        tracks.push(click_track(piece, pulses, n, per_quarter, end, texts));
    }
    let header = Header::new(Format::Parallel, Timing::Metrical(u15::new(per_quarter as u16)));
    let mut bytes = Vec::new();
    Smf { header, tracks: tracks.into_iter().map(|events| delta_encoded(events, end)).collect() }
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
    beat: (String, String),
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
            beat: ("written beat".to_owned(), teeter_meta::click()),
        })
    }
}

/// The ticks per quarter that make every time exact, if the format has so many.
fn exact_resolution(passes: &[Pass], notes: &[Vec<TimedNote>], last: Time) -> Option<i64> {
    let starts = passes.iter().map(|p| p.start).chain([last]);
    let times = notes.iter().flatten().flat_map(|n| [n.start, n.length]).chain(starts);
    let mut needed = 1_i64;
    for time in times {
        // Checked first, so that the common multiple cannot overflow.
        let quarters = time.scaled(Fraction::whole(4)).map(Time::denom).filter(|d| *d <= MAX_TICKS)?;
        needed = Some(lcm(needed, quarters)).filter(|n| *n <= MAX_TICKS)?;
    }
    // At least two ticks between attacks leave one for the grace stroke of a flam.
    let has_flams = notes.iter().flatten().any(|n| n.attack.flam);
    let needed = if has_flams && 2 * needed <= MAX_TICKS { 2 * needed } else { needed };
    Some(MIN_TICKS.next_multiple_of(needed as u64) as i64)
}

fn meta_event(tick: u64, message: MetaMessage<'_>) -> Event<'_> {
    (tick, TrackEventKind::Meta(message))
}

fn channel_event(tick: u64, channel: u8, message: MidiMessage) -> Event<'static> {
    (tick, TrackEventKind::Midi { channel: u4::new(channel), message })
}

fn note_events(channel: u8, start: u64, end: u64, key: u7, velocity: u8, release: u8) -> [Event<'static>; 2] {
    let (velocity, release) = (u7::new(velocity), u7::new(release));
    [
        channel_event(start, channel, MidiMessage::NoteOn { key, vel: velocity }),
        channel_event(end, channel, MidiMessage::NoteOff { key, vel: release }),
    ]
}

/// The track of tempos, meters and section names.
fn conductor_track<'a>(groove: &'a Groove, passes: &[Pass], per_quarter: i64, texts: &'a Texts) -> Vec<Event<'a>> {
    let mut events = vec![
        meta_event(0, MetaMessage::TrackName(groove.title().as_bytes())),
        meta_event(0, MetaMessage::Text(texts.file.as_bytes())),
    ];
    if !groove.note().is_empty() {
        events.push(meta_event(0, MetaMessage::Text(texts.note.as_bytes())));
    }
    for (pass, (name, text)) in passes.iter().zip(&texts.sections) {
        let (tick, section) = (tick_at(pass.start, per_quarter), &groove.sections()[pass.section]);
        let tempo = MetaMessage::Tempo(u24::new(microseconds(section.tempo)));
        let (marker, text) = (MetaMessage::Marker(name.as_bytes()), MetaMessage::Text(text.as_bytes()));
        events.extend([time_signature(&section.meter), tempo, marker, text].map(|m| meta_event(tick, m)));
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
fn melodic_channels() -> impl Iterator<Item = (u8, bool)> {
    (0..).map(|k: usize| {
        let n = (k % 15) as u8;
        (n + u8::from(n >= general_midi::PERCUSSION_CHANNEL), k < 15)
    })
}

fn layer_track<'a>(
    layer: &'a Layer,
    notes: &[TimedNote],
    (per_quarter, file_end): (i64, u64),
    lead: impl Fn(Time) -> u64,
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
    if first {
        let volume = if layer.mute { 0 } else { general_midi::volume(layer.gain) };
        let controller =
            |(controller, value)| MidiMessage::Controller { controller: u7::new(controller), value: u7::new(value) };
        let pan = (general_midi::PAN_CONTROLLER, general_midi::pan(layer.pan));
        let [volume, pan] = [(general_midi::VOLUME_CONTROLLER, volume), pan].map(controller);
        let settings = [MidiMessage::ProgramChange { program }, volume, pan];
        events.extend(settings.map(|message| channel_event(0, channel, message)));
    }
    let ticked = |note: &TimedNote| {
        // The pitches of a voice without pitch do not sound.
        let pitch = note.attack.pitch.filter(|_| layer.voice.is_pitched());
        let start = tick_at(note.start, per_quarter);
        let end = note.start.plus(note.length).map_or(start, |e| tick_at(e, per_quarter)).max(start + 1);
        flams::TickNote {
            start,
            end,
            key: drum.unwrap_or_else(|| pitch.map_or(own_key, Pitch::key)),
            velocity: general_midi::velocity(note.attack.accent),
            release: if pitch.is_some() { 64 } else { 0 },
            lead: note.attack.flam.then(|| lead(note.start)),
        }
    };
    let mut notes: Vec<flams::TickNote> = notes.iter().map(ticked).collect();
    flams::add_grace_strokes(&mut notes, file_end);
    for n in notes {
        events.extend(note_events(channel, n.start, n.end, u7::new(n.key), n.velocity, n.release));
    }
    events
}

fn named_track(texts: &(String, String)) -> Vec<Event<'_>> {
    vec![
        meta_event(0, MetaMessage::TrackName(texts.0.as_bytes())),
        meta_event(0, MetaMessage::Text(texts.1.as_bytes())),
    ]
}

/// The written beats of all passes, the downbeats accented.
fn beats(groove: &Groove, passes: &[Pass]) -> Option<Vec<TimedNote>> {
    let mut notes = Vec::new();
    for pass in passes {
        let section = &groove.sections()[pass.section];
        for b in 0..section.beats() {
            let is_downbeat = b.is_multiple_of(section.meter.beats());
            let accent = if is_downbeat { Accent::Accent } else { Accent::Plain };
            let start = pass.start.plus(section.meter.beat().repeated(b)?)?;
            let length = Time::new(1, 64)?.min(section.meter.beat());
            notes.push(TimedNote { start, length, attack: Attack { accent, ..Attack::default() } });
        }
    }
    Some(notes)
}

/// The written beat as clicks on the percussion channel; the downbeats have a key of their own.
fn beat_track<'a>(beats: &[TimedNote], per_quarter: i64, texts: &'a (String, String)) -> Vec<Event<'a>> {
    let mut events = named_track(texts);
    for beat in beats {
        let key = match beat.attack.accent {
            Accent::Accent => general_midi::DOWNBEAT_KEY,
            _ => general_midi::BEAT_KEY,
        };
        let start = tick_at(beat.start, per_quarter);
        let end = beat.start.plus(beat.length).map_or(start, |e| tick_at(e, per_quarter)).max(start + 1);
        let velocity = general_midi::velocity(beat.attack.accent);
        events.extend(note_events(general_midi::PERCUSSION_CHANNEL, start, end, u7::new(key), velocity, 0));
    }
    events
}

/// The pulses of the `n`th hearing as clicks on the percussion channel.
fn click_track<'a>(
    piece: &ExportInput<'_>,
    pulses: &[f64],
    n: usize,
    per_quarter: i64,
    end: u64,
    texts: &'a (String, String),
) -> Vec<Event<'a>> {
    let clock = &piece.report.clock;
    let start = piece.section.and_then(|s| clock.whole_notes(s, 0, Time::ZERO)).unwrap_or(0.0);
    let mut events = named_track(texts);
    let key = u7::new(general_midi::CLICK_KEYS[n % general_midi::CLICK_KEYS.len()]);
    for seconds in pulses {
        let at = (clock.whole_of(*seconds) - start) * 4.0 * per_quarter as f64;
        if (-0.5..end as f64).contains(&at) {
            // A pulse less than half a tick before the end stays inside.
            let at = (at.round() as u64).min(end - 1);
            let until = (at + per_quarter as u64 / 16).min(end).max(at + 1);
            let velocity = general_midi::velocity(Accent::Plain);
            events.extend(note_events(general_midi::PERCUSSION_CHANNEL, at, until, key, velocity, 0));
        }
    }
    events
}

/// The order of events at one tick: a note ends before the next begins.
fn rank(kind: &TrackEventKind<'_>) -> u8 {
    match kind {
        TrackEventKind::Midi { message: MidiMessage::NoteOff { .. }, .. } => 1,
        TrackEventKind::Midi { message: MidiMessage::NoteOn { .. }, .. } => 2,
        TrackEventKind::Meta(MetaMessage::EndOfTrack) => 3,
        _ => 0,
    }
}

/// Sorts the events, ends the track and replaces ticks by deltas. Empty texts divide a silence that is longer than the largest delta.
fn delta_encoded(mut events: Vec<Event<'_>>, end: u64) -> Vec<TrackEvent<'_>> {
    let last = end.max(events.iter().map(|e| e.0).max().unwrap_or(0));
    events.push(meta_event(last, MetaMessage::EndOfTrack));
    events.sort_by_key(|(tick, kind)| (*tick, rank(kind)));
    let max_delta = u64::from(u28::max_value().as_int());
    let (mut track, mut now) = (Vec::with_capacity(events.len()), 0);
    for (tick, kind) in events {
        while tick - now > max_delta {
            track.push(TrackEvent { delta: u28::max_value(), kind: TrackEventKind::Meta(MetaMessage::Text(b"")) });
            now += max_delta;
        }
        track.push(TrackEvent { delta: u28::new((tick - now) as u32), kind });
        now = tick;
    }
    track
}
