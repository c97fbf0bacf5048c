//! Interprets meters, tempos, swing and accents.

use super::dom::{Children, Element, error_at};
use crate::notation::FormatError;
use crate::notation::Value;
use crate::rhythm::{Accent, Fraction, Meter, Swing, Tempo, Time, expected};

/// A time signature; `None` for music without a meter. Several fractions one after the other become one with the finest lower number.
pub(super) fn meter(time: Element<'_>) -> Result<Option<Meter>, FormatError> {
    if time.has("senza-misura") {
        return Ok(None);
    }
    let refuse = |message: String| error_at(time, message);
    let mut rows: Vec<(Vec<u16>, u16)> = Vec::new();
    let mut beats: Option<Vec<u16>> = None;
    for child in time.children() {
        let text = child.trimmed();
        match child.tag_name().name() {
            "beats" => {
                let terms: Result<Vec<u16>, _> = text.split('+').map(|t| t.trim().parse()).collect();
                beats = Some(
                    terms
                        .map_err(|_| refuse(expected("beats as a number or a sum like 3+2+2", format!("{text:?}"))))?,
                );
            }
            "beat-type" => {
                let lower =
                    text.parse().map_err(|_| refuse(expected("a beat type that is a number", format!("{text:?}"))))?;
                rows.extend(beats.take().map(|b| (b, lower)));
            }
            _ => {}
        }
    }
    let lower =
        rows.iter().map(|r| r.1).max().ok_or_else(|| refuse(expected("a time signature with beats", "none")))?;
    let mut terms = Vec::new();
    for (beats, own) in rows {
        if own == 0 || lower % own != 0 {
            return Err(refuse(expected("a beat type that is a power of two", own)));
        }
        for beat in beats {
            terms.push(beat.checked_mul(lower / own).ok_or_else(|| refuse(expected("fewer beats", beat)))?);
        }
    }
    Meter::new(terms, lower).map(Some).map_err(|e| refuse(e.to_string()))
}

/// A decimal number as a fraction; where it is a long one, the simplest that is rounded to it (133.333333333 is 400/3).
pub(crate) fn decimal(text: &str) -> Option<Fraction> {
    let text = text.trim();
    // A number has no letters of several bytes; cutting places off must not cut within one.
    if text.contains('/') || !text.is_ascii() {
        return None;
    }
    let places = text.split_once('.').map_or(0, |p| p.1.len());
    // More places than a fraction of 64 bits can bear are cut.
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
    let unit = Value::named(mark.child_text("beat-unit")?)?.length();
    let dots = mark.all("beat-unit-dot").count().min(3) as u32;
    let unit = unit.scaled(Fraction::new((2 << dots) - 1, 1 << dots)?)?;
    Tempo::new(decimal(mark.child_text("per-minute")?)?, unit).ok()
}

/// The tempo of a written mark and of a number of quarters per minute. The mark is taken unless the number is more than a
/// hundredth away from it; the number alone counts in beats of the meter.
pub(super) fn tempo(written: Option<Tempo>, quarters: Option<Fraction>, meter: Option<&Meter>) -> Option<Tempo> {
    let wholes = quarters.and_then(|q| q.over(Fraction::whole(4))).filter(|w| *w > Fraction::ZERO);
    if let Some(tempo) = written {
        let far = wholes.is_some_and(|w| {
            let ratio = w.over(tempo.wholes_per_minute());
            let around = Fraction::new(99, 100).zip(Fraction::new(101, 100));
            ratio.zip(around).is_some_and(|(r, (low, high))| r < low || r > high)
        });
        if !far {
            return Some(tempo);
        }
    }
    let unit = meter.map_or(Time::new(1, 4), |m| Some(m.beat()))?;
    Tempo::new(wholes?.over(unit.wholes())?, unit).ok()
}

/// A swing instruction for playing: ratio and the value that swings; `None` for straight.
pub(super) fn swing(element: Element<'_>) -> Option<(Swing, Time)> {
    let term = |name: &str| element.child_text(name)?.parse::<u8>().ok();
    let swing = Swing::new(term("first")?, term("second")?).ok()?;
    let kind = element.child_text("swing-type").unwrap_or("eighth");
    Some((swing, Value::named(kind)?.length()))
}

/// Whether message are ours about swing: `swing 2:1`, `straight`. They tell no note value, so that only a playing instruction makes
/// the swing known; without one what came before ends.
pub(super) fn about_swing(text: &str) -> bool {
    let text = text.trim();
    text == "straight" || text.strip_prefix("swing ").and_then(Swing::parse).is_some()
}

/// How strongly a note is played: accent signs, heads in parentheses.
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
