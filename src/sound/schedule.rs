//! What sounds at which exact frame of a loop: the only place where a groove becomes frames. It must not know devices,
//! threads or how a voice is made.

use super::clock::{Pace, Point, Ruler};
use super::place::{Map, Piece, Position};
use super::units::{Frame, Gain, SampleRate};
use super::voice::{self, Strike, Tone};
use crate::rhythm::{Accent, Event, Fraction, Groove, MeterKind, Time};
use num_bigint::BigInt;
use num_rational::BigRational;
use num_traits::FromPrimitive;
use std::collections::{BTreeSet, HashMap};
use std::sync::Arc;

/// Slowest playing speed: a fifth of full speed.
pub const SLOWEST: (i64, i64) = (1, 5);
/// Fastest playing speed: twice full speed.
pub const FASTEST: (i64, i64) = (2, 1);
/// A loop shorter than this many frames is silent.
const SHORTEST: i64 = 32;

/// What is to be sounded of a groove, and how.
#[derive(Debug, Clone, PartialEq)]
pub struct Ask {
    /// Frames per second.
    pub rate: SampleRate,
    /// Playing speed, 1 for full speed; brought within [`SLOWEST`] to [`FASTEST`].
    pub speed: Fraction,
    /// What loops.
    pub range: Range,
    /// Whether the written beat is clicked.
    pub click: Click,
    /// Further clicks, such as those of hearings.
    pub lines: Vec<ClickLine>,
}

/// What loops.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Range {
    /// The whole groove, every time through counted.
    Whole,
    /// One time through a section.
    Section(usize),
    /// A part of one time through a section.
    Region {
        /// The section.
        section: usize,
        /// Start from the section's start, included.
        from: Time,
        /// End from the section's start, not included.
        to: Time,
    },
}

/// The click of the written beat.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Click {
    /// None.
    Off,
    /// Every beat, the downbeat higher; in an additive meter the beats between the strong ones are quieter.
    Written,
}

/// A line of clicks beside the written beat.
#[derive(Debug, Clone, PartialEq)]
pub struct ClickLine {
    /// When they sound, in any order; what lies outside the range is left out.
    pub moments: Vec<Moment>,
    /// Which pitch, from 0; from [`super::TONES`] on they come again.
    pub tone: u8,
    /// Side, from left (-100) to right (100).
    pub side: i8,
}

/// When a click sounds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Moment {
    /// Exactly, in a time through a section.
    At {
        /// The section.
        section: usize,
        /// Which time through, from 0.
        pass: usize,
        /// Time from its start.
        offset: Time,
    },
    /// In seconds at full speed from the start of the whole groove, every time through counted; rounded to the fixed
    /// point of the schedule.
    Seconds(f64),
}

impl Ask {
    /// The whole groove at full speed without clicks.
    pub fn whole(rate: SampleRate) -> Self {
        Self { rate, speed: Fraction::ONE, range: Range::Whole, click: Click::Off, lines: Vec::new() }
    }

    fn bounded_speed(&self) -> Fraction {
        let bound = |(n, d)| Fraction::new(n, d).unwrap_or(Fraction::ONE);
        self.speed.clamp(bound(SLOWEST), bound(FASTEST))
    }
}

/// One sound of the loop.
#[derive(Debug, Clone, Copy)]
pub(super) struct Note {
    /// When it begins, from the start of the loop.
    pub(super) at: Point,
    /// Index of its sound.
    pub(super) sound: u32,
    /// Frames after which it is damped; `u32::MAX` if it rings out.
    pub(super) hold: u32,
    /// Factors of the two channels.
    pub(super) left: f32,
    pub(super) right: f32,
}

/// A loop, ready to be rendered: every sound at its exact offset.
///
/// The `k`th sound of turn `n` begins at frame `round(n * length + offset[k])`, halves upward, with `length` and
/// `offset[k]` exact fractions of frames over one common denominator up to 2^120 (beyond that see the clock's ruler).
#[derive(Debug)]
pub struct Schedule {
    pub(super) notes: Vec<Note>,
    pub(super) sounds: Vec<Arc<[f32]>>,
    map: Arc<Map>,
    rate: SampleRate,
}

impl Schedule {
    /// Builds the loop of a groove. Layers that are not heard give nothing. A range that is not in the groove, or a loop
    /// of less than 32 frames, gives a silent loop. This allocates and synthesises sounds: never call it on the audio
    /// thread.
    pub fn build(groove: &Groove, ask: &Ask) -> Schedule {
        Builder::new(groove, ask).build()
    }

    /// Frames per second.
    pub fn rate(&self) -> SampleRate {
        self.rate
    }

    /// Number of sounds in one turn of the loop.
    pub fn len(&self) -> usize {
        self.notes.len()
    }

    /// Whether nothing sounds.
    pub fn is_empty(&self) -> bool {
        self.notes.is_empty()
    }

    /// Which place of the groove sounds at which frame of the loop.
    pub fn map(&self) -> &Arc<Map> {
        &self.map
    }

    /// The place that sounds at a frame of the loop.
    pub fn position(&self, frame: Frame) -> Position {
        self.map.position(frame)
    }

    /// The place at a share of the loop, 0 to 1.
    pub fn at_fraction(&self, share: f64) -> Position {
        self.map.at_fraction(share)
    }

    /// The whole frame at which the `k`th sound of turn `turn` begins, counted from the start of turn 0.
    pub fn onset(&self, turn: u64, k: usize) -> Option<Frame> {
        let denom = self.denom();
        let note = self.notes.get(k)?;
        Some(Frame(self.length().times(turn, denom).plus(note.at, denom).rounded(denom)))
    }

    /// The whole frame at which turn `turn` begins.
    pub fn turn_start(&self, turn: u64) -> Frame {
        Frame(self.length().times(turn, self.denom()).rounded(self.denom()))
    }

    /// Frames by which the last sounds of a turn ring beyond the end of the loop.
    pub fn tail(&self) -> Frame {
        let ends = self.notes.iter().map(|n| {
            let full = self.sounds[n.sound as usize].len() as i64;
            n.at.frame + 1 + full.min(i64::from(n.hold).saturating_add(i64::from(super::render::release(self.rate))))
        });
        Frame((ends.max().unwrap_or(0) - self.length().frame).max(0))
    }

    pub(super) fn length(&self) -> Point {
        self.map.length
    }

    pub(super) fn denom(&self) -> i128 {
        self.map.denom
    }
}

/// A run of one section in the range: all of it, or a region.
struct Run {
    section: usize,
    passes: usize,
    from: Time,
    to: Time,
}

struct Builder<'a> {
    groove: &'a Groove,
    ask: &'a Ask,
    runs: Vec<Run>,
    /// The attacks of every heard layer in the range, one time through each section.
    events: Vec<(usize, Vec<Event>)>,
    ruler: Ruler,
    /// Start of the range within the whole groove at full speed, in seconds.
    lead: BigRational,
    notes: Vec<Note>,
    sounds: Vec<Arc<[f32]>>,
    known: HashMap<Strike, u32>,
}

impl<'a> Builder<'a> {
    fn new(groove: &'a Groove, ask: &'a Ask) -> Self {
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
        // Sections outside the range are never measured; they must not widen the common denominator.
        let tempo =
            |s: usize| if runs.iter().any(|r| r.section == s) { s } else { runs.first().map_or(0, |r| r.section) };
        let pace = |s: usize| Pace::new(sections[tempo(s)].tempo, speed, ask.rate);
        let rows = denominators.into_iter().enumerate().map(|(s, d)| (pace(s), d)).collect();
        let mut lead = BigRational::from_integer(BigInt::ZERO);
        let one = SampleRate::STUDIO;
        if let (Some(run), false) = (runs.first(), ask.lines.is_empty()) {
            let seconds = |section: usize, time: Time| {
                Pace::new(sections[section].tempo, Fraction::ONE, one).frames(time) / BigInt::from(one.hertz())
            };
            for (s, section) in sections.iter().enumerate().take(run.section) {
                lead += seconds(s, section.length()) * BigInt::from(section.times);
            }
            lead += seconds(run.section, run.from);
        }
        let ruler = Ruler::new(rows);
        Self { groove, ask, runs, events, ruler, lead, notes: Vec::new(), sounds: Vec::new(), known: HashMap::new() }
    }

    fn build(mut self) -> Schedule {
        let denom = self.ruler.denom();
        let (mut pieces, mut length) = (Vec::new(), Point::ZERO);
        for run in &self.runs {
            let lasts = self.ruler.at(run.section, run.to).minus(self.ruler.at(run.section, run.from), denom);
            for pass in 0..run.passes {
                let (from, to) = (approx(run.from), approx(run.to));
                let pace = self.ruler.pace(run.section).approx();
                pieces.push(Piece { start: length, section: run.section, pass, from, to, pace });
                length = length.plus(lasts, denom);
            }
        }
        if length.frame >= SHORTEST {
            self.layers(&pieces);
            if self.ask.click == Click::Written {
                self.beats(&pieces);
            }
            self.lines(&pieces, length);
            self.notes.sort_by_key(|n| n.at);
        }
        let map = Arc::new(Map { pieces, length, denom });
        Schedule { notes: self.notes, sounds: self.sounds, map, rate: self.ask.rate }
    }

    fn layers(&mut self, pieces: &[Piece]) {
        let denom = self.ruler.denom();
        for (l, events) in std::mem::take(&mut self.events) {
            let layer = &self.groove.layers()[l];
            let (left, right) = Gain::from_db(f32::from(layer.gain)).panned(layer.pan);
            for event in events {
                let Some(run) = self.runs.iter().find(|r| r.section == event.section) else { continue };
                let strike = Strike::new(self.ask.rate, layer.voice, event.pitch(), event.accent());
                let hold = if strike.is_held() {
                    let room = run.to.minus(event.offset).unwrap_or(event.length);
                    let lasts = self.ruler.at(event.section, event.length.min(room)).rounded(denom);
                    u32::try_from(lasts).unwrap_or(u32::MAX - 1)
                } else {
                    u32::MAX
                };
                let at = self.within(run, event.offset);
                let sound = self.sound(strike);
                self.repeat(event.section, Note { at, sound, hold, left, right }, pieces);
            }
        }
    }

    /// A note of one time through a section, in every time through that is in the loop.
    fn repeat(&mut self, section: usize, note: Note, pieces: &[Piece]) {
        let denom = self.ruler.denom();
        let first = pieces.partition_point(|p| p.section < section);
        let same = pieces[first..].iter().take_while(|p| p.section == section);
        self.notes.extend(same.map(|p| Note { at: p.start.plus(note.at, denom), ..note }));
    }

    fn beats(&mut self, pieces: &[Piece]) {
        let (left, right) = Gain::UNITY.panned(0);
        for r in 0..self.runs.len() {
            let run = &self.runs[r];
            let (s, from, to) = (run.section, run.from, run.to);
            let section = &self.groove.sections()[s];
            let strong = section.meter.strong_beats();
            let additive = section.meter.kind() == MeterKind::Additive;
            let meter = section.meter.clone();
            for beat in 0..section.beats() {
                let offset = meter.beat().repeated(beat).expect("beats are bounded");
                if offset < from || offset >= to {
                    continue;
                }
                let accent = match beat % meter.beats() {
                    0 => Accent::Accent,
                    b if additive && !strong.contains(&b) => Accent::Ghost,
                    _ => Accent::Plain,
                };
                let sound = self.sound(Strike { rate: self.ask.rate, tone: Tone::Beat, accent });
                let at = self.within(&self.runs[r], offset);
                self.repeat(s, Note { at, sound, hold: u32::MAX, left, right }, pieces);
            }
        }
    }

    fn lines(&mut self, pieces: &[Piece], length: Point) {
        let denom = self.ruler.denom();
        let speed = self.ask.bounded_speed();
        let scale = BigRational::new(BigInt::from(self.ask.rate.hertz()) * speed.denom(), BigInt::from(speed.numer()));
        for line in &self.ask.lines {
            let (left, right) = Gain::UNITY.panned(line.side);
            let tone = Tone::Line(line.tone % super::TONES);
            let sound = self.sound(Strike { rate: self.ask.rate, tone, accent: Accent::Plain });
            for moment in &line.moments {
                let at = match *moment {
                    Moment::At { section, pass, offset } => {
                        self.runs.iter().find(|r| r.section == section).and_then(|r| {
                            let piece = pieces.iter().find(|p| p.section == section && p.pass == pass)?;
                            (offset >= r.from && offset < r.to).then(|| piece.start.plus(self.within(r, offset), denom))
                        })
                    }
                    Moment::Seconds(t) => {
                        BigRational::from_f64(t).map(|t| self.ruler.nearest(&((t - &self.lead) * &scale)))
                    }
                };
                if let Some(at) = at.filter(|&at| at >= Point::ZERO && at < length) {
                    self.notes.push(Note { at, sound, hold: u32::MAX, left, right });
                }
            }
        }
    }

    fn within(&self, run: &Run, offset: Time) -> Point {
        let denom = self.ruler.denom();
        self.ruler.at(run.section, offset).minus(self.ruler.at(run.section, run.from), denom)
    }

    fn sound(&mut self, strike: Strike) -> u32 {
        *self.known.entry(strike).or_insert_with(|| {
            self.sounds.push(voice::sound(strike));
            self.sounds.len() as u32 - 1
        })
    }
}

/// The attacks of every heard layer in the range, one time through each section.
fn events(groove: &Groove, runs: &[Run]) -> Vec<(usize, Vec<Event>)> {
    let heard = (0..groove.layers().len()).filter(|&l| groove.heard(l) && !runs.is_empty());
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

/// The denominators of every time of each section that is in the range.
fn denominators(groove: &Groove, ask: &Ask, runs: &[Run], events: &[(usize, Vec<Event>)]) -> Vec<Vec<i64>> {
    let mut all = vec![BTreeSet::from([1_i64]); groove.sections().len()];
    for run in runs {
        let meter = &groove.sections()[run.section].meter;
        all[run.section].extend([run.from.denom(), run.to.denom(), meter.beat().denom()]);
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

fn approx(time: Time) -> f64 {
    time.numer() as f64 / time.denom() as f64
}
