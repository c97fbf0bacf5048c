//! What sounds at which exact frame of a loop: the only place where a groove becomes frames. It must not know devices,
//! threads or how a voice is made.

use super::click::{Click, ClickLine, Moment};
use super::clock::{Pace, Point, Ruler};
use super::own::OwnSounds;
use super::place::{Map, Piece, Position};
use super::units::{Frame, Gain, SampleRate};
use super::voice::{self, Origin, Strike};
use crate::rhythm::{Event, Fraction, Groove, Time};
use num_bigint::BigInt;
use num_rational::BigRational;
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

impl Ask {
    /// The whole groove at full speed without clicks.
    pub fn whole(rate: SampleRate) -> Self {
        Self { rate, speed: Fraction::ONE, range: Range::Whole, click: Click::Off, lines: Vec::new() }
    }

    /// Exact frames in which a second at full speed sounds.
    pub(super) fn frames_per_second(&self) -> BigRational {
        let speed = self.bounded_speed();
        BigRational::new(BigInt::from(self.rate.hertz()) * speed.denom(), BigInt::from(speed.numer()))
    }

    pub(super) fn bounded_speed(&self) -> Fraction {
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
    /// Where each of the sounds comes from.
    pub(super) origins: Vec<Origin>,
    map: Arc<Map>,
    rate: SampleRate,
}

impl Schedule {
    /// Builds the loop of a groove. Layers that are not heard give nothing. A range that is not in the groove, or a loop
    /// of less than 32 frames, gives a silent loop. This allocates and synthesises sounds: never call it on the audio
    /// thread.
    pub fn build(groove: &Groove, ask: &Ask) -> Schedule {
        Self::build_with(groove, ask, &OwnSounds::none())
    }

    /// The same with the user's own sounds, which are looked up by the names the layers give.
    pub fn build_with(groove: &Groove, ask: &Ask, own: &OwnSounds) -> Schedule {
        Builder { own: Some(own), ..Builder::new(groove, ask) }.build()
    }

    /// Builds a loop of so many seconds at full speed in which only the lines of clicks sound.
    pub(super) fn clicks(groove: &Groove, ask: &Ask, seconds: &BigRational) -> Schedule {
        let ruler = Ruler::new(Vec::new()).refined();
        let length = ruler.nearest(&(seconds * ask.frames_per_second()));
        Builder::empty(groove, ask, ruler).finish(Vec::new(), length)
    }

    /// A loop from its parts: notes in their order, each with the index of a sound.
    #[cfg_attr(not(feature = "audio"), allow(dead_code))]
    pub(super) fn of_parts(
        notes: Vec<Note>,
        sounds: Vec<(Origin, Arc<[f32]>)>,
        map: Map,
        rate: SampleRate,
    ) -> Schedule {
        let (origins, sounds) = sounds.into_iter().unzip();
        Schedule { notes, sounds, origins, map: Arc::new(map), rate }
    }

    /// The same loop, of the same clock, with only the first `n` of its sounds.
    #[cfg_attr(not(feature = "audio"), allow(dead_code))]
    pub(super) fn first(&self, n: usize) -> Schedule {
        Schedule {
            notes: self.notes[..n.min(self.notes.len())].to_vec(),
            sounds: self.sounds.clone(),
            origins: self.origins.clone(),
            map: Arc::clone(&self.map),
            rate: self.rate,
        }
    }

    /// The same loop, of the same clock, with only what begins before `until` in the first time through its first section.
    pub(super) fn hushed(&self, until: Time) -> Schedule {
        let piece = self.map.pieces.first();
        let end = piece.map_or(0.0, |p| (approx(until) - p.from).clamp(0.0, p.to - p.from) * p.pace);
        // Halfway between two frames nothing begins that the rounding could move across.
        let kept = self.notes.iter().filter(|n| n.at.approx(self.map.denom) < end - 0.5);
        Schedule {
            notes: kept.copied().collect(),
            sounds: self.sounds.clone(),
            origins: self.origins.clone(),
            map: Arc::clone(&self.map),
            rate: self.rate,
        }
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
        self.map.turn_start(turn)
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
pub(super) struct Run {
    pub(super) section: usize,
    passes: usize,
    pub(super) from: Time,
    pub(super) to: Time,
}

pub(super) struct Builder<'a> {
    pub(super) groove: &'a Groove,
    pub(super) ask: &'a Ask,
    pub(super) runs: Vec<Run>,
    /// The attacks of every heard layer in the range, one time through each section.
    events: Vec<(usize, Vec<Event>)>,
    pub(super) ruler: Ruler,
    /// Start of the range within the whole groove at full speed, in seconds.
    pub(super) lead: BigRational,
    pub(super) notes: Vec<Note>,
    sounds: Vec<Arc<[f32]>>,
    origins: Vec<Origin>,
    known: HashMap<Origin, u32>,
    own: Option<&'a OwnSounds>,
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
        // Seconds that are no exact times must not be rounded twice.
        let ruler = if ask.lines.iter().any(ClickLine::has_seconds) { ruler.refined() } else { ruler };
        Self { runs, events, lead, ..Self::empty(groove, ask, ruler) }
    }

    fn empty(groove: &'a Groove, ask: &'a Ask, ruler: Ruler) -> Self {
        Self {
            groove,
            ask,
            runs: Vec::new(),
            events: Vec::new(),
            ruler,
            lead: BigRational::from_integer(BigInt::ZERO),
            notes: Vec::new(),
            sounds: Vec::new(),
            origins: Vec::new(),
            known: HashMap::new(),
            own: None,
        }
    }

    fn build(self) -> Schedule {
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
        self.finish(pieces, length)
    }

    fn finish(mut self, pieces: Vec<Piece>, length: Point) -> Schedule {
        if length.frame >= SHORTEST {
            self.layers(&pieces);
            self.beats(&pieces);
            self.lines(&pieces, length);
            self.notes.sort_by_key(|n| n.at);
        }
        let map = Arc::new(Map { pieces, length, denom: self.ruler.denom() });
        Schedule { notes: self.notes, sounds: self.sounds, origins: self.origins, map, rate: self.ask.rate }
    }

    fn layers(&mut self, pieces: &[Piece]) {
        let denom = self.ruler.denom();
        for (l, events) in std::mem::take(&mut self.events) {
            let layer = &self.groove.layers()[l];
            let (left, right) = Gain::from_db(f32::from(layer.gain)).panned(layer.pan);
            let own = layer.sound.as_ref().zip(self.own).and_then(|(name, own)| own.get(name, self.ask.rate));
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
                let sound = match own {
                    Some(own) => self.sound_of(own.origin, || Arc::clone(&own.samples)),
                    None => self.sound(strike),
                };
                let level = voice::level(event.accent(), layer.depth, own.is_some());
                let note = Note { at, sound, hold, left: left * level, right: right * level };
                self.repeat(event.section, note, pieces);
            }
        }
    }

    /// A note of one time through a section, in every time through that is in the loop.
    pub(super) fn repeat(&mut self, section: usize, note: Note, pieces: &[Piece]) {
        let denom = self.ruler.denom();
        let first = pieces.partition_point(|p| p.section < section);
        let same = pieces[first..].iter().take_while(|p| p.section == section);
        self.notes.extend(same.map(|p| Note { at: p.start.plus(note.at, denom), ..note }));
    }

    pub(super) fn within(&self, run: &Run, offset: Time) -> Point {
        let denom = self.ruler.denom();
        self.ruler.at(run.section, offset).minus(self.ruler.at(run.section, run.from), denom)
    }

    pub(super) fn sound(&mut self, strike: Strike) -> u32 {
        self.sound_of(Origin::Struck(strike), || voice::sound(strike))
    }

    fn sound_of(&mut self, origin: Origin, samples: impl FnOnce() -> Arc<[f32]>) -> u32 {
        *self.known.entry(origin).or_insert_with(|| {
            self.sounds.push(samples());
            self.origins.push(origin);
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

fn approx(time: Time) -> f64 {
    time.numer() as f64 / time.denom() as f64
}
