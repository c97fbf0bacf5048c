//! Turns a groove into the notes of a loop: the sections in range, the attacks of its layers, the clicks. Nothing else maps a
//! groove to frames.

use super::click::{ClickLine, Moment};
use super::clock::{FrameTime, FramesPerWhole, Seconds, Timebase};
use super::position::{Piece, PositionMap};
use super::schedule::{Note, Range, Schedule, ScheduleOptions, approx};
use super::units::Gain;
use super::user_samples::UserSamples;
use super::voice::{self, SampleSource, SynthKey};
use crate::rhythm::{Event, Groove, Time};
use std::collections::{BTreeSet, HashMap};
use std::sync::Arc;

/// A loop shorter than this many frames is silent.
const MIN_LOOP_FRAMES: i64 = 32;

/// A section, or a region of one, in the range.
pub(super) struct Run {
    pub(super) section: usize,
    passes: usize,
    pub(super) from: Time,
    pub(super) to: Time,
}

/// Collects the notes of a loop.
pub(super) struct Builder<'a> {
    pub(super) groove: &'a Groove,
    pub(super) ask: &'a ScheduleOptions,
    pub(super) runs: Vec<Run>,
    /// The attacks of every audible layer in the range, for one pass through each section.
    events: Vec<(usize, Vec<Event>)>,
    pub(super) timebase: Timebase,
    /// Start of the range within the whole groove at full speed.
    pub(super) lead: Seconds,
    pub(super) notes: Vec<Note>,
    sounds: Vec<(SampleSource, Arc<[f32]>)>,
    known: HashMap<SampleSource, u32>,
    own: Option<&'a UserSamples>,
}

impl<'a> Builder<'a> {
    /// Resolves the range and measures its sections.
    pub(super) fn new(groove: &'a Groove, ask: &'a ScheduleOptions, own: &'a UserSamples) -> Self {
        let sections = groove.sections();
        let whole = |s: usize, passes: usize| Run { section: s, passes, from: Time::ZERO, to: sections[s].length() };
        let runs: Vec<Run> = match ask.range {
            Range::Whole => (0..sections.len()).map(|s| whole(s, usize::from(sections[s].times))).collect(),
            Range::Section(s) if s < sections.len() => vec![whole(s, 1)],
            Range::Region { section, from, to } if section < sections.len() => {
                let (from, to) = (from.max(Time::ZERO), to.min(sections[section].length()));
                if from < to { vec![Run { section, passes: 1, from, to }] } else { Vec::new() }
            }
            Range::Section(_) | Range::Region { .. } => Vec::new(),
        };
        let events = events(groove, &runs);
        let denominators = denominators(groove, ask, &runs, &events);
        let speed = ask.bounded_speed();
        // Sections outside the range must not widen the common denominator.
        let tempo =
            |s: usize| if runs.iter().any(|r| r.section == s) { s } else { runs.first().map_or(0, |r| r.section) };
        let pace = |s: usize| FramesPerWhole::new(sections[tempo(s)].tempo, speed, ask.rate);
        let rows = denominators.into_iter().enumerate().map(|(s, d)| (pace(s), d)).collect();
        let mut lead = Seconds::ZERO;
        if let (Some(run), false) = (runs.first(), ask.lines.is_empty()) {
            for section in &sections[..run.section] {
                lead = lead.plus(Seconds::of(section.length(), section.tempo).times(section.times.into()));
            }
            lead = lead.plus(Seconds::of(run.from, sections[run.section].tempo));
        }
        let timebase = Timebase::new(rows);
        // Times in seconds must not be rounded twice.
        let timebase = if ask.lines.iter().any(ClickLine::has_seconds) { timebase.refined() } else { timebase };
        Self { runs, events, lead, own: Some(own), ..Self::empty(groove, ask, timebase) }
    }

    fn empty(groove: &'a Groove, ask: &'a ScheduleOptions, timebase: Timebase) -> Self {
        Self {
            groove,
            ask,
            runs: Vec::new(),
            events: Vec::new(),
            timebase,
            lead: Seconds::ZERO,
            notes: Vec::new(),
            sounds: Vec::new(),
            known: HashMap::new(),
            own: None,
        }
    }

    /// A loop of this length at full speed in which only the click lines sound.
    pub(super) fn clicks(groove: &'a Groove, ask: &'a ScheduleOptions, length: Seconds) -> Schedule {
        let timebase = Timebase::new(Vec::new()).refined();
        let length = timebase.of_seconds(length, ask.bounded_speed(), ask.rate);
        Self::empty(groove, ask, timebase).finish(Vec::new(), length)
    }

    /// Builds the loop.
    pub(super) fn build(self) -> Schedule {
        let denom = self.timebase.denom();
        let (mut pieces, mut length) = (Vec::new(), FrameTime::ZERO);
        for run in &self.runs {
            let lasts = self.timebase.at(run.section, run.to).minus(self.timebase.at(run.section, run.from), denom);
            for pass in 0..run.passes {
                let (from, to) = (approx(run.from), approx(run.to));
                let pace = self.timebase.per_whole(run.section).approx();
                pieces.push(Piece { start: length, section: run.section, pass, from, to, pace });
                length = length.plus(lasts, denom);
            }
        }
        self.finish(pieces, length)
    }

    fn finish(mut self, pieces: Vec<Piece>, length: FrameTime) -> Schedule {
        if length.frame >= MIN_LOOP_FRAMES {
            self.layers(&pieces);
            self.beats(&pieces);
            self.lines(&pieces, length);
            self.notes.sort_by_key(|n| n.at);
        }
        let map = PositionMap { pieces, length, denom: self.timebase.denom() };
        Schedule::of_parts(self.notes, self.sounds, map, self.ask.rate)
    }

    fn layers(&mut self, pieces: &[Piece]) {
        let denom = self.timebase.denom();
        for (l, events) in std::mem::take(&mut self.events) {
            let layer = &self.groove.layers()[l];
            let (left, right) = Gain::from_db(f32::from(layer.gain)).panned(layer.pan);
            let own = layer.sound.as_ref().zip(self.own).and_then(|(name, own)| own.get(name, self.ask.rate));
            for event in events {
                let Some(run) = self.runs.iter().find(|r| r.section == event.section) else { continue };
                let strike = SynthKey::new(self.ask.rate, layer.voice, event.attack.pitch, event.attack.accent);
                let hold = if strike.is_held() {
                    let room = run.to.minus(event.offset).unwrap_or(event.length);
                    let lasts = self.timebase.at(event.section, event.length.min(room)).rounded(denom);
                    u32::try_from(lasts).unwrap_or(u32::MAX - 1)
                } else {
                    u32::MAX
                };
                let at = self.within(run, event.offset);
                let sound = match own {
                    Some(own) => self.sound_of(own.origin, || Arc::clone(&own.samples)),
                    None => self.sound(strike),
                };
                let level = voice::level(event.attack.accent, layer.depth, own.is_some());
                let note = Note { at, sound, hold, left: left * level, right: right * level };
                self.repeat(event.section, note, pieces);
            }
        }
    }

    /// Adds a note of one pass through a section to every pass in the loop.
    pub(super) fn repeat(&mut self, section: usize, note: Note, pieces: &[Piece]) {
        let denom = self.timebase.denom();
        let first = pieces.partition_point(|p| p.section < section);
        let same = pieces[first..].iter().take_while(|p| p.section == section);
        self.notes.extend(same.map(|p| Note { at: p.start.plus(note.at, denom), ..note }));
    }

    pub(super) fn within(&self, run: &Run, offset: Time) -> FrameTime {
        let denom = self.timebase.denom();
        self.timebase.at(run.section, offset).minus(self.timebase.at(run.section, run.from), denom)
    }

    pub(super) fn sound(&mut self, strike: SynthKey) -> u32 {
        self.sound_of(SampleSource::Synth(strike), || voice::sound(strike))
    }

    fn sound_of(&mut self, origin: SampleSource, samples: impl FnOnce() -> Arc<[f32]>) -> u32 {
        *self.known.entry(origin).or_insert_with(|| {
            self.sounds.push((origin, samples()));
            self.sounds.len() as u32 - 1
        })
    }
}

/// The attacks of every audible layer in the range, for one pass through each section.
fn events(groove: &Groove, runs: &[Run]) -> Vec<(usize, Vec<Event>)> {
    let heard = (0..groove.layers().len()).filter(|&l| groove.is_audible(l) && !runs.is_empty());
    let within =
        |e: &Event| runs.iter().any(|r| r.section == e.section && e.pass == 0 && e.offset >= r.from && e.offset < r.to);
    heard
        .map(|l| {
            let mut events = groove.events(l);
            events.retain(within);
            (l, events)
        })
        .collect()
}

/// The denominators of all times of each section in the range.
fn denominators(groove: &Groove, ask: &ScheduleOptions, runs: &[Run], events: &[(usize, Vec<Event>)]) -> Vec<Vec<i64>> {
    let mut all = vec![BTreeSet::from([1_i64]); groove.sections().len()];
    for run in runs {
        let meter = &groove.sections()[run.section].meter;
        all[run.section].extend([run.from.denom(), run.to.denom(), meter.beat().denom()]);
        all[run.section].extend(meter.beat().divided(ask.click.parts()).map(Time::denom));
    }
    for event in events.iter().flat_map(|(_, events)| events) {
        all[event.section].extend([event.offset.denom(), event.length.denom()]);
    }
    for moment in ask.lines.iter().flat_map(|l| &l.moments) {
        if let Moment::At { section, offset, .. } = moment
            && let Some(row) = all.get_mut(*section)
        {
            row.insert(offset.denom());
        }
    }
    all.into_iter().map(|d| d.into_iter().collect()).collect()
}
