//! A schedule as it travels: exact points and what each sound is made from, no samples. It must not know streams or
//! devices; whatever it is given, it makes a valid schedule or none.

use super::few::Few;
use crate::rhythm::{Accent, Pitch, Voice};
use crate::sound::TONES;
use crate::sound::clock::Point;
use crate::sound::place::{Map, Piece};
use crate::sound::render::VOICES;
use crate::sound::schedule::{Note, Schedule};
use crate::sound::units::SampleRate;
use crate::sound::voice::{Strike, Tone};
use serde::{Deserialize, Serialize};
use std::collections::HashMap;

/// Most sounds of a loop.
pub(super) const NOTES: usize = 1 << 19;
/// Most different sounds, and most ways to strike them.
const SOUNDS: usize = 512;
const KINDS: usize = 1 << 16;
/// Most stretches of one pace: 128 sections, 64 times through each.
const PIECES: usize = 128 * 64;
/// Longest loop in frames; the playhead has no place for more.
const LONGEST: u64 = 1 << 46;
/// Largest common denominator of the ruler.
const DENOM: u128 = 1 << 120;
/// Largest factor of a channel: +24 dB.
const FACTOR: f32 = 16.0;
/// Sounds that may begin at one frame.
const AT_ONCE: usize = VOICES;

/// Why a schedule cannot travel, or what came cannot be sounded, in one line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Unfit(String);

impl std::fmt::Display for Unfit {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0)
    }
}

fn unfit<T>(words: impl Into<String>) -> Result<T, Unfit> {
    Err(Unfit(words.into()))
}

/// A point: whole frames, and a part over the schedule's denominator.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct At(u64, u128);

/// What a sound is made from. A sound that travels as samples would be one more row at the end.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
enum Made {
    /// A voice by its name, the key of its pitch, its accent.
    Voice(String, Option<u8>, u8),
    /// The click of the written beat, with its accent.
    Beat(u8),
    /// The click of a hearing: its tone and accent.
    Line(u8, u8),
}

/// One way to strike: sound, frames after which it is damped, factors of the channels.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Kind(u32, u32, f32, f32);

/// Section, time through, whole notes from and to, frames per whole note.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Stretch(At, u16, u16, f64, f64, f64);

/// Frames since the note before, part of a frame, and its kind.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Knock(u64, u128, u32);

/// The form that travels.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Packed {
    rate: u32,
    denom: u128,
    length: At,
    pieces: Few<Stretch, PIECES>,
    sounds: Few<Made, SOUNDS>,
    kinds: Few<Kind, KINDS>,
    notes: Few<Knock, NOTES>,
}

fn accent_number(accent: Accent) -> u8 {
    match accent {
        Accent::Ghost => 0,
        Accent::Plain => 1,
        Accent::Accent => 2,
    }
}

fn accent_of(number: u8) -> Result<Accent, Unfit> {
    match number {
        0 => Ok(Accent::Ghost),
        1 => Ok(Accent::Plain),
        2 => Ok(Accent::Accent),
        n => unfit(format!("there is no accent {n}")),
    }
}

impl Made {
    fn of(strike: Strike) -> Self {
        let accent = accent_number(strike.accent);
        match strike.tone {
            Tone::Voice(voice, pitch) => Made::Voice(voice.name().to_owned(), pitch.map(Pitch::key), accent),
            Tone::Beat => Made::Beat(accent),
            Tone::Line(tone) => Made::Line(tone, accent),
        }
    }

    fn strike(&self, rate: SampleRate) -> Result<Strike, Unfit> {
        match self {
            Made::Voice(name, key, accent) => {
                let Some(voice) = Voice::parse(name) else {
                    return unfit("it has a voice that this speaker does not know");
                };
                let pitch = match key {
                    Some(key) => Some(Pitch::new(*key).ok_or_else(|| Unfit(format!("there is no pitch {key}")))?),
                    None => None,
                };
                Ok(Strike::new(rate, voice, pitch, accent_of(*accent)?))
            }
            Made::Beat(accent) => Ok(Strike { rate, tone: Tone::Beat, accent: accent_of(*accent)? }),
            Made::Line(tone, accent) if *tone < TONES => {
                Ok(Strike { rate, tone: Tone::Line(*tone), accent: accent_of(*accent)? })
            }
            Made::Line(tone, _) => unfit(format!("there is no click tone {tone}")),
        }
    }
}

fn packed_point(point: Point) -> Result<At, Unfit> {
    match (u64::try_from(point.frame), u128::try_from(point.part)) {
        (Ok(frame), Ok(part)) => Ok(At(frame, part)),
        _ => unfit("a time lies before the loop"),
    }
}

/// Packs a schedule.
///
/// # Errors
/// [`Unfit`] if it is larger than the far speaker takes.
pub(super) fn pack(schedule: &Schedule) -> Result<Packed, Unfit> {
    if schedule.notes.len() > NOTES {
        return unfit(format!("the loop has {} sounds, the far speaker takes {NOTES}", schedule.notes.len()));
    }
    if schedule.strikes.len() > SOUNDS {
        let many = schedule.strikes.len();
        return unfit(format!("the loop has {many} different sounds, the far speaker takes {SOUNDS}"));
    }
    let map = schedule.map();
    let mut kinds = Vec::new();
    let mut known = HashMap::new();
    let mut notes = Vec::with_capacity(schedule.notes.len());
    let mut last = 0;
    for note in &schedule.notes {
        let At(frame, part) = packed_point(note.at)?;
        let key = (note.sound, note.hold, note.left.to_bits(), note.right.to_bits());
        let kind = *known.entry(key).or_insert_with(|| {
            kinds.push(Kind(note.sound, note.hold, note.left, note.right));
            kinds.len() as u32 - 1
        });
        let Some(gap) = frame.checked_sub(last) else { return unfit("the sounds of the loop are not in order") };
        notes.push(Knock(gap, part, kind));
        last = frame;
    }
    if kinds.len() > KINDS {
        return unfit(format!("the sounds are struck in {} ways, the far speaker takes {KINDS}", kinds.len()));
    }
    let stretch = |p: &Piece| -> Result<Stretch, Unfit> {
        Ok(Stretch(packed_point(p.start)?, p.section as u16, p.pass as u16, p.from, p.to, p.pace))
    };
    Ok(Packed {
        rate: schedule.rate().hertz(),
        denom: map.denom.unsigned_abs(),
        length: packed_point(map.length)?,
        pieces: Few(map.pieces.iter().map(stretch).collect::<Result<_, _>>()?),
        sounds: Few(schedule.strikes.iter().copied().map(Made::of).collect()),
        kinds: Few(kinds),
        notes: Few(notes),
    })
}

impl Packed {
    /// Makes the schedule for a device of this rate. This synthesises sounds.
    ///
    /// # Errors
    /// [`Unfit`] if it is for another rate, or breaks a rule that every schedule keeps.
    pub(super) fn unpack(&self, rate: SampleRate) -> Result<Schedule, Unfit> {
        if self.rate != rate.hertz() {
            return unfit(format!("it is for {} frames per second, the device has {}", self.rate, rate.hertz()));
        }
        if self.denom == 0 || self.denom > DENOM {
            return unfit("its denominator is out of range");
        }
        let point = |At(frame, part): At| -> Result<Point, Unfit> {
            if frame > LONGEST || part >= self.denom {
                return unfit("a time of it is out of range");
            }
            Ok(Point { frame: frame as i64, part: part as i128 })
        };
        let length = point(self.length)?;
        let pieces = self.stretches(&point, length)?;
        let strikes = self.sounds.0.iter().map(|s| s.strike(rate)).collect::<Result<Vec<_>, _>>()?;
        for &Kind(sound, _, left, right) in &self.kinds.0 {
            if sound as usize >= strikes.len() {
                return unfit(format!("it strikes sound {sound} of {}", strikes.len()));
            }
            // A side that is silent may have a factor a hair below 0: the cosine of a right angle.
            if ![left, right].iter().all(|f| f.abs() <= FACTOR) {
                return unfit("a factor of it is no number up to 16");
            }
        }
        let notes = self.knocks(&point, length)?;
        let map = Map { pieces, length, denom: self.denom as i128 };
        Ok(Schedule::of_parts(notes, strikes, map, rate))
    }

    fn stretches(&self, point: &impl Fn(At) -> Result<Point, Unfit>, length: Point) -> Result<Vec<Piece>, Unfit> {
        let mut pieces: Vec<Piece> = Vec::with_capacity(self.pieces.0.len());
        for &Stretch(start, section, pass, from, to, pace) in &self.pieces.0 {
            let start = point(start)?;
            let finite = [from, to, pace].iter().all(|x| x.is_finite()) && 0.0 <= from && from <= to && pace > 0.0;
            let ordered = pieces
                .last()
                .is_none_or(|p| p.start <= start && (p.section, p.pass) < (usize::from(section), usize::from(pass)));
            if !finite || !ordered || start > length {
                return unfit("its sections are not in order");
            }
            pieces.push(Piece { start, section: section.into(), pass: pass.into(), from, to, pace });
        }
        Ok(pieces)
    }

    fn knocks(&self, point: &impl Fn(At) -> Result<Point, Unfit>, length: Point) -> Result<Vec<Note>, Unfit> {
        let mut notes: Vec<Note> = Vec::with_capacity(self.notes.0.len());
        let (mut last, mut frame, mut at_once) = (Point::ZERO, 0_u64, 0);
        for &Knock(gap, part, kind) in &self.notes.0 {
            frame = frame.saturating_add(gap);
            let at = point(At(frame, part))?;
            let Some(&Kind(sound, hold, left, right)) = self.kinds.0.get(kind as usize) else {
                return unfit(format!("it strikes in way {kind} of {}", self.kinds.0.len()));
            };
            if at < last {
                return unfit("its sounds are not in order");
            }
            if at >= length {
                return unfit("a sound of it lies beyond its end");
            }
            at_once = if at.frame == last.frame { at_once + 1 } else { 1 };
            if at_once > AT_ONCE {
                return unfit(format!("more than {AT_ONCE} of its sounds begin at one frame"));
            }
            last = at;
            notes.push(Note { at, sound, hold, left, right });
        }
        Ok(notes)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rhythm::Fraction;
    use crate::sound::tests::{groove, hard};
    use crate::sound::{Ask, Click, ClickLine, Moment, Range};
    use proptest::prelude::*;

    fn same(a: &Schedule, b: &Schedule) {
        assert_eq!(a.map(), b.map());
        assert_eq!(a.strikes, b.strikes);
        assert_eq!(a.rate(), b.rate());
        assert_eq!(a.notes.len(), b.notes.len());
        for (x, y) in a.notes.iter().zip(&b.notes) {
            assert_eq!((x.at, x.sound, x.hold), (y.at, y.sound, y.hold));
            assert_eq!((x.left.to_bits(), x.right.to_bits()), (y.left.to_bits(), y.right.to_bits()));
        }
        assert!(a.sounds.iter().zip(&b.sounds).all(|(x, y)| x == y));
    }

    fn asks() -> Vec<Ask> {
        let plain = Ask::whole(SampleRate::STUDIO);
        let line = ClickLine { moments: vec![Moment::Seconds(0.1), Moment::Between(0.337)], tone: 2, side: -40 };
        vec![
            Ask { speed: Fraction::new(97, 100).expect("speed"), ..plain.clone() },
            Ask { click: Click::Divided(3), lines: vec![line], ..plain.clone() },
            Ask { range: Range::Section(7), ..plain },
        ]
    }

    fn some() -> (Schedule, Packed) {
        let groove = groove(&[Voice::Rim, Voice::Pluck], &[("4/4", "137.3", 2, None, "X..x{5: xoxxx}x..x..x.")]);
        let schedule = Schedule::build(&groove, &asks()[0]);
        let packed = pack(&schedule).expect("small");
        (schedule, packed)
    }

    #[test]
    fn what_arrives_is_what_was_built() {
        for groove in hard() {
            for ask in asks() {
                let sides = [-100, -37, 0, 100].iter().enumerate();
                let lines =
                    sides.map(|(k, &side)| ClickLine { moments: vec![Moment::Seconds(0.2)], tone: k as u8, side });
                let ask = Ask { lines: ask.lines.iter().cloned().chain(lines).collect(), ..ask };
                let schedule = Schedule::build(&groove, &ask);
                let bytes = postcard::to_allocvec(&pack(&schedule).expect("small")).expect("packed");
                let packed: Packed = postcard::from_bytes(&bytes).expect("packed");
                same(&schedule, &packed.unpack(ask.rate).expect("valid"));
            }
        }
    }

    #[test]
    fn it_is_compact() {
        let voices =
            [Voice::Kick, Voice::Snare, Voice::Hat, Voice::Wood, Voice::Rim, Voice::Tom, Voice::Bass, Voice::Bell];
        let bar = ["xxxxxxxxxxxxxxxx"; 64].join("|");
        let groove = groove(&voices, &[("4/4", "137.3", 1, None, &bar)]);
        let schedule = Schedule::build(&groove, &Ask::whole(SampleRate::STUDIO));
        let bytes = postcard::to_allocvec(&pack(&schedule).expect("small")).expect("packed");
        assert_eq!(schedule.len(), 8 * 64 * 16);
        assert!(bytes.len() < 5 * schedule.len(), "{} bytes for {} sounds", bytes.len(), schedule.len());
    }

    #[test]
    #[allow(clippy::type_complexity, reason = "a table of changes")]
    fn what_breaks_a_rule_is_refused_by_its_name() {
        let refused = |change: &dyn Fn(&mut Packed)| {
            let (_, mut packed) = some();
            change(&mut packed);
            packed.unpack(SampleRate::STUDIO).expect_err("broken").to_string()
        };
        let rows: [(&str, &dyn Fn(&mut Packed)); 20] = [
            ("44100 frames per second", &|p| p.rate = 44_100),
            ("denominator", &|p| p.denom = 0),
            ("denominator", &|p| p.denom = u128::MAX),
            ("out of range", &|p| p.length.0 = u64::MAX),
            ("out of range", &|p| p.length.1 = p.denom),
            ("out of range", &|p| p.notes.0[3].1 = u128::MAX),
            ("sections", &|p| p.length = At(0, 0)),
            ("beyond its end", &|p| p.notes.0[3].0 = 1 << 40),
            ("out of range", &|p| p.notes.0[3].0 = u64::MAX),
            ("not in order", &|p| (p.notes.0[3].0, p.notes.0[2].1, p.notes.0[3].1) = (0, 1, 0)),
            ("way 4000000000 of", &|p| p.notes.0[3].2 = 4_000_000_000),
            ("strikes sound 99 of", &|p| p.kinds.0[1].0 = 99),
            ("factor", &|p| p.kinds.0[1].2 = f32::NAN),
            ("factor", &|p| p.kinds.0[1].3 = f32::INFINITY),
            ("factor", &|p| p.kinds.0[1].3 = -17.0),
            ("sections", &|p| p.pieces.0[0].5 = f64::NAN),
            ("sections", &|p| p.pieces.0[1].2 = 0),
            ("voice", &|p| p.sounds.0[0] = Made::Voice("no such".into(), None, 1)),
            ("pitch 200", &|p| p.sounds.0[0] = Made::Voice("pluck".into(), Some(200), 1)),
            ("accent 7", &|p| p.sounds.0[0] = Made::Beat(7)),
        ];
        for (expected, change) in rows {
            let words = refused(change);
            assert!(words.contains(expected), "'{words}' for '{expected}'");
        }
        assert!(refused(&|p| p.sounds.0[0] = Made::Line(TONES, 1)).contains("tone"));
        let crowd = |p: &mut Packed| p.notes.0 = vec![Knock(0, 0, 0); AT_ONCE + 1];
        assert!(refused(&crowd).contains("one frame"));
    }

    #[test]
    fn a_loop_that_is_too_large_is_refused_before_it_travels() {
        let (mut schedule, _) = some();
        let note = schedule.notes[0];
        schedule.notes = vec![note; NOTES + 1];
        assert!(pack(&schedule).expect_err("too large").to_string().contains("far speaker takes"));
    }

    proptest! {
        #[test]
        fn any_bytes_give_a_valid_schedule_or_none(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
            if let Ok(packed) = postcard::from_bytes::<Packed>(&bytes) {
                let _ = packed.unpack(SampleRate::STUDIO);
            }
        }

        #[test]
        fn a_changed_byte_gives_a_valid_schedule_or_none(at: prop::sample::Index, byte: u8) {
            let (_, packed) = some();
            let mut bytes = postcard::to_allocvec(&packed).expect("packed");
            let at = at.index(bytes.len());
            bytes[at] = byte;
            let Ok(packed) = postcard::from_bytes::<Packed>(&bytes) else { return Ok(()) };
            let Ok(schedule) = packed.unpack(SampleRate::STUDIO) else { return Ok(()) };
            prop_assert!(schedule.notes.is_sorted_by_key(|n| n.at));
            prop_assert!(schedule.notes.iter().all(|n| (n.sound as usize) < schedule.sounds.len()));
            let mut renderer = crate::sound::Renderer::new(SampleRate::STUDIO);
            renderer.play(Box::new(schedule), crate::sound::Frame(0));
            let mut out = vec![0.0; 9_000];
            renderer.render(&mut out);
            prop_assert!(out.iter().all(|x| x.is_finite()));
        }
    }
}
