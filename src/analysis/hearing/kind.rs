//! What a hearing is, and its name.

use super::HearingContext;
use crate::analysis::listener::{self, Member, distinct_tempos};
use crate::analysis::stream::{exact, nearest};
use crate::rhythm::{MeterKind, Time};
use std::fmt;

/// What a hearing is, seen from the written meter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum HearingKind {
    /// The written beat; in an additive meter the heads of its groups.
    Written,
    /// A pulse of several beats.
    Every {
        /// Beats in a pulse.
        beats: u8,
        /// The beat of the bar on which it starts, from 1.
        from: u8,
    },
    /// So many pulses in a beat.
    Parts(u8),
    /// The units of an additive meter.
    Units,
    /// The bars.
    Bars,
    /// The written beat or a multiple or part of it, on another place.
    Displaced {
        /// Its period in beats, as a fraction.
        period: (u8, u8),
        /// How late it is.
        late: Lateness,
    },
    /// So many even pulses in the time of so many beats.
    Against {
        /// The pulses.
        pulses: u8,
        /// The beats.
        beats: u8,
        /// How late it is after a downbeat; `None` if a pulse is on the downbeat.
        late: Option<Lateness>,
    },
    /// Unequal beats.
    Unequal {
        /// Their sizes in units from the first pulse on, 0 for none.
        sizes: [u8; 5],
        /// The note value of the unit, as a part of a whole note with one as numerator; 0 if it is none.
        unit: u16,
    },
    /// An even pulse that no simple ratio relates to the beat.
    Even {
        /// The unit of an additive meter's bar on which it starts, from 1; 0 in other meters, or off the units.
        from: u8,
    },
    /// One pulse per attack, near their mean rate.
    Average,
    /// A pulse that changes from stretch to stretch.
    Changing,
}

/// By how much a pulse is displaced from the written beat.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lateness {
    /// As a part of the beat, below 1; `(0, 0)` where no part with a term up to 8 is near.
    pub(crate) part: (u8, u8),
    /// The note value it lasts, as a part of a whole note with one as numerator; 0 if it is none.
    pub(crate) note: u16,
    /// In ms at the playing speed.
    pub(crate) ms: f64,
    /// Whether it is so much early instead.
    pub(crate) early: bool,
}

impl HearingKind {
    /// Whether two hearings are of one kind, apart from numbers that differ from speed to speed.
    pub(crate) fn is_like(self, other: Self) -> bool {
        std::mem::discriminant(&self) == std::mem::discriminant(&other)
    }

    /// A name of few letters, for narrow columns.
    pub(crate) fn short(self) -> String {
        match self {
            Self::Every { beats, from: 1 } | Self::Against { pulses: 1, beats, .. } => format!("every {beats} beats"),
            Self::Every { beats, from } => format!("every {beats} from beat {from}"),
            Self::Displaced { late, .. } => late.to_string(),
            Self::Against { pulses, beats: 1, .. } => format!("{pulses} per beat"),
            Self::Against { pulses, beats, .. } => format!("{pulses} against {beats}"),
            Self::Unequal { sizes, .. } => sizes_text(sizes),
            Self::Average => "average pulse".to_owned(),
            other => other.to_string(),
        }
    }
}

fn sizes_text(sizes: [u8; 5]) -> String {
    let sizes: Vec<String> = sizes.iter().filter(|s| **s > 0).map(u8::to_string).collect();
    sizes.join("+")
}

/// ` in eighths`; empty for 0.
pub(in crate::analysis) fn unit_text(unit: u16) -> String {
    match (unit, note_name(unit)) {
        (0, _) => String::new(),
        (_, Some(name)) => format!(" in {name}s"),
        (n, None) => format!(" in parts of 1/{n}"),
    }
}

/// The name of a note value, by the denominator of its part of a whole note.
fn note_name(denominator: u16) -> Option<&'static str> {
    const NAMES: [&str; 7] = ["whole note", "half note", "quarter", "eighth", "sixteenth", "32nd", "64th"];
    denominator.is_power_of_two().then(|| NAMES.get(denominator.ilog2() as usize).copied()).flatten()
}

const NUMBERS: [&str; 9] = ["no", "one", "two", "three", "four", "five", "six", "seven", "eight"];

/// Greatest term of a ratio that names a pulse where it is exact.
const MAX_TERM: u32 = 16;

impl fmt::Display for HearingKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let number = |n: u8| NUMBERS.get(usize::from(n)).map_or_else(|| n.to_string(), ToString::to_string);
        match *self {
            Self::Written => f.write_str("written beat"),
            Self::Every { beats, from: 1 } => write!(f, "every {beats} beats"),
            Self::Every { beats, from } => write!(f, "every {beats} beats, from beat {from}"),
            Self::Parts(2) => f.write_str("double the beat"),
            Self::Parts(n) => write!(f, "{} pulses per beat", number(n)),
            Self::Against { pulses, beats, late: Some(late) } => {
                write!(f, "{}, {late}", Self::Against { pulses, beats, late: None })
            }
            Self::Against { pulses: 1, beats, .. } => write!(f, "every {beats} beats"),
            Self::Against { pulses, beats: 1, .. } => write!(f, "{} pulses per beat", number(pulses)),
            Self::Units => f.write_str("units of the meter"),
            Self::Bars => f.write_str("the bars"),
            Self::Displaced { period: (1, 1), late } => write!(f, "the same tempo, {late}"),
            Self::Displaced { period: (1, 2), late } => write!(f, "double the tempo, {late}"),
            Self::Displaced { period: (2, 1), late } => write!(f, "half the tempo, {late}"),
            Self::Displaced { period: (1, n), late } => write!(f, "{} pulses per beat, {late}", number(n)),
            Self::Displaced { period: (n, _), late } => write!(f, "every {n} beats, {late}"),
            Self::Against { pulses, beats, .. } if pulses.max(beats) > 8 => write!(f, "{pulses} against {beats}"),
            Self::Against { pulses, beats, .. } => write!(f, "{} against {}", number(pulses), number(beats)),
            Self::Unequal { sizes, unit } => write!(f, "unequal beats {}{}", sizes_text(sizes), unit_text(unit)),
            Self::Even { from: 0 | 1 } => f.write_str("even pulse"),
            Self::Even { from } => write!(f, "even pulse, from unit {from}"),
            Self::Average => f.write_str("one pulse per attack, near the mean rate"),
            Self::Changing => f.write_str("changing pulse"),
        }
    }
}

impl fmt::Display for Lateness {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let way = if self.early { "early" } else { "late" };
        match (self.part, note_name(self.note)) {
            ((1, 2), _) => write!(f, "half a beat {way}"),
            ((0, 0), _) => write!(f, "{:.0} ms {way}", self.ms),
            ((n, d), None) => write!(f, "{n}/{d} of a beat ({:.0} ms) {way}", self.ms),
            (_, Some("eighth")) => write!(f, "an eighth ({:.0} ms) {way}", self.ms),
            (_, Some(name)) => write!(f, "a {name} ({:.0} ms) {way}", self.ms),
        }
    }
}

/// How far the ratio of a period to the beat may be from a fraction that names it, as a share (ours, no source).
const RATIO_TOLERANCE: f64 = 0.02;

/// What a hearing of the model is.
pub(in crate::analysis) fn hearing_kind(h: &listener::ModelHearing, m: &HearingContext<'_>) -> HearingKind {
    let additive = listener::TimedSection::longest(m.sections).is_some_and(|s| !s.meter.heads.is_empty());
    if h.written_share > 0.99 {
        match h.member {
            Some(Member::Beats { every: 1, .. }) if additive => return HearingKind::Units,
            Some(Member::Beats { every: 1, .. } | Member::Heads) => return HearingKind::Written,
            Some(Member::Beats { every, from }) => {
                return HearingKind::Every { beats: every as u8, from: from as u8 + 1 };
            }
            Some(Member::Parts(n)) => return HearingKind::Parts(n),
            Some(Member::Bars) => return HearingKind::Bars,
            None => {}
        }
    }
    let is_one_tempo = || distinct_tempos(h.stretches.iter().map(|s| s.period), 1.0).len() == 1;
    let kind = match h.main_kind() {
        listener::PulseKind::Even if !h.stretches.is_empty() && !is_one_tempo() => listener::PulseKind::Changing,
        kind => kind,
    };
    match kind {
        listener::PulseKind::Changing => HearingKind::Changing,
        listener::PulseKind::Average => HearingKind::Average,
        listener::PulseKind::Unequal => {
            let mut sizes = [0; 5];
            let of_stretch = h.stretches.first().map(|s| s.sizes.as_slice()).unwrap_or_default();
            sizes.iter_mut().zip(of_stretch).for_each(|(a, b)| *a = *b);
            let units = f64::from(sizes.iter().map(|s| u16::from(*s)).sum::<u16>());
            let unit = h.period * of_stretch.len() as f64 / units;
            HearingKind::Unequal { sizes, unit: unit_of(unit, m) }
        }
        listener::PulseKind::Even => even(h, m),
    }
}

/// The note value that lasts so many seconds, as a part of a whole note with one as numerator; 0 if none does.
fn unit_of(seconds: f64, m: &HearingContext<'_>) -> u16 {
    let of_beat =
        listener::TimedSection::longest(m.sections).and_then(|s| nearest(seconds / s.meter.beat, 8).zip(Some(s)));
    let Some(((n, d), section)) = of_beat else { return 0 };
    if (f64::from(n) / f64::from(d) * section.meter.beat / seconds - 1.0).abs() > RATIO_TOLERANCE {
        return 0;
    }
    let beats = m.groove.sections().iter().map(|s| s.meter.beat());
    let value = |beat: Time| beat.repeated(n as usize)?.divided(d as usize);
    let mut values: Vec<Option<Time>> = beats.map(value).collect();
    values.dedup();
    match values[..] {
        [Some(value)] if value.numer() == 1 && (value.denom() as u64).is_power_of_two() => value.denom() as u16,
        _ => 0,
    }
}

/// An even pulse by its ratio to the beat and its phase.
fn even(h: &listener::ModelHearing, m: &HearingContext<'_>) -> HearingKind {
    let Some(section) = listener::TimedSection::longest(m.sections) else { return HearingKind::Even { from: 0 } };
    let ratio = h.period / section.meter.beat;
    // The bars and beats of an additive meter are no pulses of one length.
    if !section.meter.heads.is_empty() {
        let units = h.pulses.first().map(|p| (p - section.meter.origin) / section.meter.beat);
        let on_unit = units.filter(|u| (u - u.round()).abs() < RATIO_TOLERANCE && (0.0..250.0).contains(&u.round()));
        return HearingKind::Even { from: on_unit.map_or(0, |u| u.round() as u8 + 1) };
    }
    let exact = exact(ratio).filter(|(n, d)| *n.max(d) <= MAX_TERM);
    let Some((n, d)) = exact.or_else(|| nearest(ratio, 8)) else { return HearingKind::Even { from: 0 } };
    if (f64::from(n) / f64::from(d) / ratio - 1.0).abs() > RATIO_TOLERANCE {
        return HearingKind::Even { from: 0 };
    }
    let Some(first) = h.pulses.first() else { return HearingKind::Even { from: 0 } };
    let period = f64::from(n) / f64::from(d);
    // How many beats after a pulse that starts on a downbeat.
    let late = ((first - section.meter.origin) / section.meter.beat).rem_euclid(period);
    let is_on = late.min(period - late) < RATIO_TOLERANCE;
    if listener::is_familiar(h.period, &section.meter) && !is_on {
        return HearingKind::Displaced { period: (n as u8, d as u8), late: lateness(late, period, section, m) };
    }
    let on_beat = late.round() % period;
    if d == 1 && (late - late.round()).abs() < RATIO_TOLERANCE {
        return HearingKind::Every { beats: n as u8, from: on_beat as u8 + 1 };
    }
    let late = (!is_on).then(|| lateness(late, period, section, m));
    HearingKind::Against { pulses: d as u8, beats: n as u8, late }
}

fn lateness(late: f64, period: f64, section: &listener::TimedSection, m: &HearingContext<'_>) -> Lateness {
    let early = late > period / 2.0 + 1e-6;
    let beats = if early { period - late } else { late };
    let part = nearest(beats, 8).filter(|(n, d)| (f64::from(*n) / f64::from(*d) - beats).abs() < RATIO_TOLERANCE);
    let beat = m.groove.sections().iter().map(|s| s.meter.beat()).next();
    // The beat of a compound meter is dotted: its parts are note values only where the lower unit says so.
    let compound = m.groove.sections().iter().any(|s| s.meter.kind() == MeterKind::Compound);
    let note = part.zip(beat).and_then(|((n, d), beat)| beat.repeated(n as usize)?.divided(d as usize));
    let is_note = |t: &Time| t.numer() == 1 && (t.denom() as u64).is_power_of_two() && !compound;
    Lateness {
        part: part.map_or((0, 0), |(n, d)| (n as u8, d as u8)),
        note: note.filter(is_note).map_or(0, |t| t.denom() as u16),
        ms: beats * section.meter.beat * 1000.0 / m.speed,
        early,
    }
}
