//! Interprets meters, tempos, swing and accents.

use super::document::SwungValue;
use super::dom::{Children, Element, error_at};
use crate::notation::{FormatError, Value};
use crate::rhythm::{Accent, Fraction, Meter, Swing, Tempo, Time, expected};

/// A time signature; `None` for music without a meter. Several fractions in a row become one with the finest lower number.
pub(super) fn meter(time: Element<'_>) -> Result<Option<Meter>, FormatError> {
    if time.has("senza-misura") {
        return Ok(None);
    }
    let invalid = |message: String| error_at(time, message);
    let mut fractions: Vec<(Vec<u16>, u16)> = Vec::new();
    let mut upper: Option<Vec<u16>> = None;
    for child in time.children() {
        let text = child.trimmed();
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
            terms.push(beats.checked_mul(finest / lower).ok_or_else(|| invalid(expected("fewer beats", beats)))?);
        }
    }
    Meter::new(terms, finest).map(Some).map_err(|e| invalid(e.to_string()))
}

/// A decimal number as a fraction; for one with many places, the simplest that rounds to it (133.333333333 is 400/3).
pub(crate) fn decimal(text: &str) -> Option<Fraction> {
    let text = text.trim();
    // ASCII, because places are cut off by bytes.
    if text.contains('/') || !text.is_ascii() {
        return None;
    }
    let places = text.split_once('.').map_or(0, |p| p.1.len());
    // A 64-bit fraction holds nine places.
    let exact = Fraction::parse(&text[..text.len() - places.saturating_sub(9)])?;
    if places < 6 {
        return Some(exact);
    }
    let half = Fraction::new(1, 2 * 10_i64.pow(places.min(9) as u32))?;
    simplest(exact.minus(half)?, exact.plus(half)?).or(Some(exact))
}

/// The fraction with the smallest denominator between two positive ones (Stern 1858, Brocot 1861).
fn simplest(low: Fraction, high: Fraction) -> Option<Fraction> {
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

/// A metronome mark with a note value and a number.
pub(super) fn metronome(mark: Element<'_>) -> Option<Tempo> {
    if mark.all("beat-unit").count() != 1 {
        return None;
    }
    let unit = Value::from_name(mark.child_text("beat-unit")?)?.length();
    let dots = mark.all("beat-unit-dot").count().min(3) as u32;
    let unit = unit.scaled(Fraction::new((2 << dots) - 1, 1 << dots)?)?;
    Tempo::new(decimal(mark.child_text("per-minute")?)?, unit).ok()
}

/// The tempo of a written mark and a number of quarters per minute. The mark is used unless the number differs from it by more than
/// one percent; the number alone counts in beats of the meter.
pub(super) fn tempo(written: Option<Tempo>, quarters: Option<Fraction>, meter: Option<&Meter>) -> Option<Tempo> {
    let wholes = quarters.and_then(|q| q.over(Fraction::whole(4))).filter(|w| *w > Fraction::ZERO);
    let agrees = |tempo: &Tempo| {
        let ratio = wholes.and_then(|w| w.over(tempo.wholes_per_minute()));
        let range = Fraction::new(99, 100).zip(Fraction::new(101, 100));
        ratio.zip(range).is_none_or(|(r, (low, high))| (low..=high).contains(&r))
    };
    if let Some(tempo) = written.filter(agrees) {
        return Some(tempo);
    }
    let unit = meter.map_or(Time::new(1, 4), |m| Some(m.beat()))?;
    Tempo::new(wholes?.over(unit.wholes())?, unit).ok()
}

/// A swing instruction for playback; `None` for straight.
pub(super) fn swing(element: Element<'_>) -> Option<SwungValue> {
    let term = |name: &str| element.child_text(name)?.parse::<u8>().ok();
    let swing = Swing::new(term("first")?, term("second")?).ok()?;
    let kind = element.child_text("swing-type").unwrap_or("eighth");
    Some(SwungValue { swing, value: Value::from_name(kind)?.length() })
}

/// Whether a text is one that this program writes about swing: `swing 2:1`, `straight`. It has no note value, so it only ends the
/// swing before it; a playback instruction sets one.
pub(super) fn is_swing_text(text: &str) -> bool {
    text == "straight" || text.strip_prefix("swing ").and_then(Swing::parse).is_some()
}

/// The accent of a note: articulation signs, and heads in parentheses for ghost notes.
pub(super) fn accent(note: Element<'_>) -> Accent {
    let signs = || note.all("notations").flat_map(|n| n.all("articulations"));
    if signs().any(|a| a.has("accent") || a.has("strong-accent")) {
        Accent::Accent
    } else if note.child("notehead").and_then(|h| h.attribute("parentheses")) == Some("yes") {
        Accent::Ghost
    } else {
        Accent::Plain
    }
}
