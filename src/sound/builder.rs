//! Turns a groove into the notes of a loop: the attacks of the layers and the clicks of the sections in range. Nothing else
//! maps a groove to frames.

use super::clock::{FrameTime, Seconds, Timebase, frames_per_whole};
use super::position::{Piece, PositionMap};
use super::schedule::{Note, Range, Schedule, ScheduleOptions, wholes_f64};
use super::units::Gain;
use super::user_samples::UserSample;
use super::voice::{self, SampleSource, SynthKey};
use crate::rhythm::{Event, FLAM_DB, FLAM_LEAD_MS, Groove, Section, Time};
use std::collections::{BTreeSet, HashMap};
use std::sync::Arc;

/// A loop shorter than this many frames is silent.
const MIN_LOOP_FRAMES: i64 = 32;

/// A section, or a region of one, in the range.
pub(super) struct SectionSpan {
    pub(super) section: usize,
    first_pass: usize,
    passes: usize,
    pub(super) from: Time,
    pub(super) to: Time,
}

impl SectionSpan {
    fn contains(&self, e: &Event) -> bool {
        self.section == e.section && e.pass == 0 && (self.from..self.to).contains(&e.offset)
    }
}

/// Collects the notes of a loop.
pub(super) struct Builder<'a> {
    pub(super) groove: &'a Groove,
    pub(super) options: &'a ScheduleOptions,
    pub(super) spans: Vec<SectionSpan>,
    events: Vec<(usize, Vec<Event>)>,
    pub(super) timebase: Timebase,
    /// Start of the range within the whole groove at full speed.
    pub(super) range_start: Seconds,
    pub(super) notes: Vec<Note>,
    sounds: Vec<Arc<[f32]>>,
    known: HashMap<SampleSource, u32>,
}

impl<'a> Builder<'a> {
    /// Resolves the range and measures its sections.
    pub(super) fn new(groove: &'a Groove, options: &'a ScheduleOptions) -> Self {
        let sections = groove.sections();
        let whole = |s: usize, passes: usize| SectionSpan {
            section: s,
            first_pass: 0,
            passes,
            from: Time::ZERO,
            to: sections[s].length(),
        };
        let spans: Vec<SectionSpan> = match options.range {
            Range::Whole => (0..sections.len()).map(|s| whole(s, usize::from(sections[s].times))).collect(),
            Range::Section(s) if s < sections.len() => vec![whole(s, 1)],
            Range::Region { first, from, last, to } if first <= last && last < sections.len() => {
                let times = |s: usize| usize::from(sections[s].times);
                let part = |s: usize| match s {
                    _ if first == last => SectionSpan { from, to, ..whole(s, 1) },
                    _ if s == first => SectionSpan { first_pass: times(s).saturating_sub(1), from, ..whole(s, 1) },
                    _ if s == last => SectionSpan { to, ..whole(s, 1) },
                    _ => whole(s, times(s)),
                };
                let cut = |s: SectionSpan| {
                    let to = s.to.min(sections[s.section].length());
                    SectionSpan { from: s.from.max(Time::ZERO), to, ..s }
                };
                (first..=last).map(|s| cut(part(s))).filter(|s| s.from < s.to).collect()
            }
            Range::Section(_) | Range::Region { .. } => Vec::new(),
        };
        let events = events(groove, &spans);
        let mut range_start = Seconds::ZERO;
        if let (Some(span), false) = (spans.first(), options.lines.is_empty()) {
            let passes = |s: &Section, count: i64| Seconds::of(s.length(), s.tempo).times(count);
            let before = sections[..span.section].iter().map(|s| passes(s, s.times.into()));
            let section = &sections[span.section];
            let within = [passes(section, span.first_pass as i64), Seconds::of(span.from, section.tempo)];
            range_start = before.chain(within).fold(Seconds::ZERO, Seconds::plus);
        }
        // Sections outside the range must not widen the common denominator.
        let first = spans.first().map_or(0, |r| r.section);
        let tempo = |s: usize| sections[if spans.iter().any(|r| r.section == s) { s } else { first }].tempo;
        let per_whole = |s: usize| frames_per_whole(tempo(s), options.bounded_speed(), options.rate);
        let denominators = denominators(groove, options, &spans, &events);
        let timebase = Timebase::new(denominators.into_iter().enumerate().map(|(s, d)| (per_whole(s), d)).collect());
        // Times in seconds must not be rounded twice.
        let timebase = if options.lines.is_empty() { timebase } else { timebase.refined() };
        Self { spans, events, range_start, ..Self::empty(groove, options, timebase) }
    }

    fn empty(groove: &'a Groove, options: &'a ScheduleOptions, timebase: Timebase) -> Self {
        Self {
            groove,
            options,
            spans: Vec::new(),
            events: Vec::new(),
            timebase,
            range_start: Seconds::ZERO,
            notes: Vec::new(),
            sounds: Vec::new(),
            known: HashMap::new(),
        }
    }

    /// Builds a loop of this length at full speed in which only the click lines sound. Its positions are in `section`, from its
    /// start to `to`.
    pub(super) fn clicks(
        groove: &'a Groove,
        options: &'a ScheduleOptions,
        length: Seconds,
        (section, to): (usize, f64),
    ) -> Schedule {
        let timebase = Timebase::new(Vec::new()).refined();
        let length = timebase.of_seconds(length, options.bounded_speed(), options.rate);
        let frames_per_whole = length.to_f64(timebase.denom) / to;
        let piece = Piece { start: FrameTime::ZERO, section, pass: 0, from: 0.0, to, frames_per_whole };
        Self::empty(groove, options, timebase).finish(vec![piece], length)
    }

    pub(super) fn build(self) -> Schedule {
        let denom = self.timebase.denom;
        let (mut pieces, mut length) = (Vec::new(), FrameTime::ZERO);
        for span in &self.spans {
            let duration = self.time_in(span, span.to);
            let (from, to) = (wholes_f64(span.from), wholes_f64(span.to));
            let frames_per_whole = self.timebase.frames_per_whole(span.section);
            for pass in span.first_pass..span.first_pass + span.passes {
                pieces.push(Piece { start: length, section: span.section, pass, from, to, frames_per_whole });
                length = length.plus(duration, denom);
            }
        }
        self.finish(pieces, length)
    }

    fn finish(mut self, pieces: Vec<Piece>, length: FrameTime) -> Schedule {
        if length.frame >= MIN_LOOP_FRAMES {
            self.add_layers(&pieces, length);
            self.add_beats(&pieces);
            self.add_lines(length);
            self.notes.sort_by_key(|n| n.at);
        }
        let map = PositionMap { pieces, length, denom: self.timebase.denom };
        Schedule::from_parts(self.notes, self.sounds, map, self.options.rate)
    }

    fn add_layers(&mut self, pieces: &[Piece], length: FrameTime) {
        let options = self.options;
        let denom = self.timebase.denom;
        for (l, events) in std::mem::take(&mut self.events) {
            let layer = &self.groove.layers()[l];
            let (left, right) = Gain::from_db(f32::from(layer.gain)).panned(layer.pan);
            let sample = layer.sound.as_ref().and_then(|name| options.samples.get(name, options.rate));
            for event in events {
                let Some(span) = self.spans.iter().find(|r| r.section == event.section) else { continue };
                let key = SynthKey::new(options.rate, layer.voice, event.attack.pitch, event.attack.accent);
                let hold = if key.is_held() {
                    let room = span.to.minus(event.offset).unwrap_or(event.length);
                    let duration = self.timebase.frame_time(event.section, event.length.min(room)).rounded(denom);
                    u32::try_from(duration).unwrap_or(u32::MAX - 1)
                } else {
                    u32::MAX
                };
                let at = self.time_in(span, event.offset);
                let source = sample.map_or(SampleSource::Synth(key), UserSample::source);
                let sound = match sample {
                    Some(sample) => self.sound(source, || Arc::clone(&sample.samples)),
                    None => self.synthesized(key),
                };
                let level = voice::level(event.attack.accent, layer.depth, source);
                let note = Note { at, sound, hold, left: left * level, right: right * level, is_for_next_pass: false };
                if event.attack.flam {
                    self.add_grace_strokes(event.section, note, pieces, length);
                }
                self.add_to_passes(event.section, note, pieces);
            }
        }
    }

    /// Adds the grace stroke of a flam to every pass of its section in the loop.
    fn add_grace_strokes(&mut self, section: usize, note: Note, pieces: &[Piece], length: FrameTime) {
        let denom = self.timebase.denom;
        let lead = (u64::from(self.options.rate.hertz()) * u64::from(FLAM_LEAD_MS) + 500) / 1000;
        let lead = FrameTime { frame: lead as i64, part: 0 };
        let softer = Gain::from_db(f32::from(FLAM_DB)).linear();
        // A held sound ends where the attack begins.
        let hold = if note.hold == u32::MAX { u32::MAX } else { lead.frame as u32 };
        let grace = Note { hold, left: note.left * softer, right: note.right * softer, ..note };
        for piece in pieces.iter().filter(|p| p.section == section) {
            let at = piece.start.plus(note.at, denom).minus(lead, denom);
            if at >= FrameTime::ZERO {
                self.notes.push(Note { at, ..grace });
            } else if length >= lead {
                self.notes.push(Note { at: at.plus(length, denom), is_for_next_pass: true, ..grace });
            }
        }
    }

    /// Adds a note of one pass through a section to every pass in the loop.
    pub(super) fn add_to_passes(&mut self, section: usize, note: Note, pieces: &[Piece]) {
        let denom = self.timebase.denom;
        let first = pieces.partition_point(|p| p.section < section);
        let same = pieces[first..].iter().take_while(|p| p.section == section);
        self.notes.extend(same.map(|p| Note { at: p.start.plus(note.at, denom), ..note }));
    }

    /// The time from the start of the span to an offset in its section.
    pub(super) fn time_in(&self, span: &SectionSpan, offset: Time) -> FrameTime {
        let denom = self.timebase.denom;
        self.timebase.frame_time(span.section, offset).minus(self.timebase.frame_time(span.section, span.from), denom)
    }

    /// Index of a synthesized sound.
    pub(super) fn synthesized(&mut self, key: SynthKey) -> u32 {
        self.sound(SampleSource::Synth(key), || voice::sound(key))
    }

    fn sound(&mut self, source: SampleSource, samples: impl FnOnce() -> Arc<[f32]>) -> u32 {
        *self.known.entry(source).or_insert_with(|| {
            self.sounds.push(samples());
            self.sounds.len() as u32 - 1
        })
    }
}

/// The attacks of every audible layer in the range, for one pass through each section.
fn events(groove: &Groove, spans: &[SectionSpan]) -> Vec<(usize, Vec<Event>)> {
    let audible = (0..groove.layers().len()).filter(|&l| groove.is_audible(l) && !spans.is_empty());
    audible
        .map(|l| {
            let mut events = groove.events(l);
            events.retain(|e| spans.iter().any(|r| r.contains(e)));
            (l, events)
        })
        .collect()
}

/// The denominators of all times of each section in the range.
fn denominators(
    groove: &Groove,
    options: &ScheduleOptions,
    spans: &[SectionSpan],
    events: &[(usize, Vec<Event>)],
) -> Vec<Vec<i64>> {
    let mut all = vec![BTreeSet::from([1_i64]); groove.sections().len()];
    for span in spans {
        let meter = &groove.sections()[span.section].meter;
        all[span.section].extend([span.from.denom(), span.to.denom(), meter.beat().denom()]);
        all[span.section].extend(meter.beat().divided(options.click.parts()).map(Time::denom));
    }
    for event in events.iter().flat_map(|(_, events)| events) {
        all[event.section].extend([event.offset.denom(), event.length.denom()]);
    }
    all.into_iter().map(|d| d.into_iter().collect()).collect()
}
