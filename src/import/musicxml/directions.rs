//! Interprets meters, tempos, swing and accents.

use super::dom::{Element, ElementExt, error_at};
use crate::import::assemble::magnitude;
use crate::notation::{FormatError, NoteValue, SwungValue};
use crate::rhythm::bounds::{BEATS_PER_BAR, OutOfBound};
use crate::rhythm::{Accent, Fraction, Meter, Swing, Tempo, Time, expected};

/// A time signature; `None` for music without a meter. Several fractions in a row become one with the finest lower number.
pub(super) fn meter(time: Element<'_>) -> Result<Option<Meter>, FormatError> {
    if time.has_child("senza-misura") {
        return Ok(None);
    }
    let invalid = |message: String| error_at(time, message);
    let mut fractions: Vec<(Vec<u16>, u16)> = Vec::new();
    let mut upper: Option<Vec<u16>> = None;
    for child in time.children() {
        let text = child.trimmed_text();
        match child.tag_name().name() {
            "beats" => {
                let terms: Result<Vec<u16>, _> = text.split('+').map(|t| t.trim().parse()).collect();
                let error = |_| invalid(expected("beats as a number or a sum like 3+2+2", format!("{text:?}")));
                upper = Some(terms.map_err(error)?);
            }
            "beat-type" => {
                let error = |_| invalid(expected("a beat type that is a number", format!("{text:?}")));
                let lower = text.parse().map_err(error)?;
                fractions.extend(upper.take().map(|upper| (upper, lower)));
            }
            _ => {}
        }
    }
    let finest = fractions.iter().map(|f| f.1).max();
    let finest = finest.ok_or_else(|| invalid(expected("a time signature with beats", "none")))?;
    let mut terms = Vec::new();
    for (upper, lower) in fractions {
        if lower == 0 || finest % lower != 0 {
            return Err(invalid(expected("a beat type that is a power of two", lower)));
        }
        for beats in upper {
            let term = i64::from(beats) * i64::from(finest / lower);
            let out_of_bound = OutOfBound { bound: &BEATS_PER_BAR, value: term };
            terms.push(u16::try_from(term).map_err(|_| invalid(out_of_bound.to_string()))?);
        }
    }
    Meter::new(terms, finest).map(Some).map_err(|e| invalid(e.to_string()))
}

/// A 64-bit fraction holds so many.
const MAX_DECIMAL_PLACES: usize = 9;

/// An `xs:decimal` (W3C XML Schema Part 2, 3.2.3): a sign or none, digits, and a point that may stand before, after or between them.
/// Places beyond the ninth are cut off.
pub(super) fn parse_decimal(text: &str) -> Option<Fraction> {
    let text = text.trim();
    let (sign, digits) = match text.strip_prefix('-') {
        Some(rest) => (-1, rest),
        None => (1, text.strip_prefix('+').unwrap_or(text)),
    };
    let (whole, places) = digits.split_once('.').unwrap_or((digits, ""));
    let is_number = |s: &str| s.bytes().all(|b| b.is_ascii_digit());
    if whole.len() + places.len() == 0 || !is_number(whole) || !is_number(places) {
        return None;
    }
    let places = places[..places.len().min(MAX_DECIMAL_PLACES)].trim_end_matches('0');
    let numer = format!("0{whole}{places}").parse::<i64>().ok()?;
    Fraction::new(sign * numer, 10_i64.pow(places.len() as u32))
}

/// A positive decimal that may be rounded: with six places or more, the simplest number that rounds to it (133.333333 is 400/3).
pub(super) fn parse_unrounded(text: &str) -> Option<Fraction> {
    let exact = parse_decimal(text)?;
    let places = decimal_places(text).min(MAX_DECIMAL_PLACES);
    if places < 6 || exact <= Fraction::ZERO {
        return Some(exact);
    }
    let half = half_step(places)?;
    simplest_between(exact.minus(half)?, exact.plus(half)?).or(Some(exact))
}

fn decimal_places(text: &str) -> usize {
    text.trim().split_once('.').map_or(0, |p| p.1.len())
}

/// Half of the last of so many places, at most nine: the greatest error of rounding.
fn half_step(places: usize) -> Option<Fraction> {
    Fraction::new(1, 2 * 10_i64.pow(places as u32))
}

/// The fraction with the smallest denominator between two positive ones (Stern 1858, Brocot 1861).
fn simplest_between(low: Fraction, high: Fraction) -> Option<Fraction> {
    let (mut stack, mut low, mut high) = (Vec::new(), low, high);
    let mut best = loop {
        let whole = Fraction::new(low.floor(), 1)?;
        if whole == low {
            break whole;
        }
        if high.floor() > low.floor() {
            break whole.plus(Fraction::ONE)?;
        }
        stack.push(whole);
        (low, high) = (Fraction::ONE.over(high.minus(whole)?)?, Fraction::ONE.over(low.minus(whole)?)?);
        if stack.len() > 40 {
            return None;
        }
    };
    for whole in stack.into_iter().rev() {
        best = whole.plus(Fraction::ONE.over(best)?)?;
    }
    Some(best)
}

pub(super) struct Metronome {
    pub(super) tempo: Tempo,
    /// Greatest error of the number of beats, if it has decimal places.
    rounding: Option<Fraction>,
}

/// A metronome mark with a note value and a number.
pub(super) fn metronome(mark: Element<'_>) -> Option<Metronome> {
    if mark.children_named("beat-unit").count() != 1 {
        return None;
    }
    let unit = NoteValue::from_name(mark.child_text("beat-unit")?)?.length();
    let dots = mark.children_named("beat-unit-dot").count().min(3) as u32;
    let unit = unit.scaled(Fraction::new((2 << dots) - 1, 1 << dots)?)?;
    let number = mark.child_text("per-minute")?;
    let tempo = Tempo::new(parse_unrounded(number)?, unit).ok()?;
    let places = Some(decimal_places(number).min(MAX_DECIMAL_PLACES)).filter(|p| *p > 0);
    Some(Metronome { tempo, rounding: places.and_then(half_step) })
}

/// The tempo of a written mark and a number of quarters per minute. The mark is used unless the number differs from it by more than
/// one percent; if the mark is the number rounded to its decimal places, the number is used in the unit of the mark. A number alone
/// counts in beats of the meter.
pub(super) fn tempo(written: Option<Metronome>, quarters: Option<Fraction>, meter: Option<&Meter>) -> Option<Tempo> {
    let wholes = quarters.and_then(|q| q.over(Fraction::whole(4))).filter(|w| *w > Fraction::ZERO);
    let in_units = |unit: Time| Tempo::new(wholes?.over(unit.wholes())?, unit).ok();
    let agrees = |tempo: &Tempo| {
        let ratio = wholes.and_then(|w| w.over(tempo.wholes_per_minute()));
        let range = Fraction::new(99, 100).zip(Fraction::new(101, 100));
        ratio.zip(range).is_none_or(|(r, (low, high))| (low..=high).contains(&r))
    };
    if let Some(Metronome { tempo, rounding }) = written.filter(|w| agrees(&w.tempo)) {
        let is_rounded = |exact: &Tempo| {
            let error = exact.bpm().minus(tempo.bpm()).map(magnitude);
            error.zip(rounding).is_some_and(|(error, rounding)| error <= rounding)
        };
        return Some(in_units(tempo.unit()).filter(is_rounded).unwrap_or(tempo));
    }
    in_units(meter.map_or(Time::new(1, 4), |m| Some(m.beat()))?)
}

/// A swing instruction for playback; `None` for straight.
pub(super) fn swing(element: Element<'_>) -> Option<SwungValue> {
    let term = |name: &str| element.child_text(name)?.parse::<u8>().ok();
    let swing = Swing::new(term("first")?, term("second")?).ok()?;
    let kind = element.child_text("swing-type").unwrap_or("eighth");
    Some(SwungValue { swing, value: NoteValue::from_name(kind)?.length() })
}

/// The dynamics of soft and strong notes, in percent of a plain one (ours, no source): to the middle of the steps in dB.
const SOFT_BELOW: i32 = 84;
const STRONG_ABOVE: i32 = 109;

/// The accent of a note: articulation signs, and heads in parentheses for ghost notes; without either its dynamics for playback.
pub(super) fn accent(note: Element<'_>) -> Accent {
    let signs = || note.children_named("notations").flat_map(|n| n.children_named("articulations"));
    if signs().any(|a| a.has_child("accent") || a.has_child("strong-accent")) {
        Accent::Accent
    } else if note.child("notehead").and_then(|h| h.attribute("parentheses")) == Some("yes") {
        Accent::Ghost
    } else {
        match note.attribute("dynamics").and_then(parse_decimal) {
            Some(percent) if percent < Fraction::whole(SOFT_BELOW) => Accent::Soft,
            Some(percent) if percent > Fraction::whole(STRONG_ABOVE) => Accent::Strong,
            _ => Accent::Plain,
        }
    }
}
