//! An alignment in words.

use crate::recording::fit::align::{Alignment, Alternative, Remark, ScoreLoop};
use crate::recording::onsets::Onset;
use crate::rhythm::Groove;
use std::fmt::Write as _;

/// A shift of the same tempo below this in score seconds is none.
const NO_SHIFT: f64 = 0.01;

/// A groove that was found in a recording.
pub(crate) struct FoundGroove<'a> {
    pub(crate) groove: &'a Groove,
    pub(crate) score: &'a ScoreLoop,
    pub(crate) alignment: &'a Alignment,
    pub(crate) onsets: &'a [Onset],
}

impl FoundGroove<'_> {
    /// The tempo as played from a bar line on, in the written unit, at so many seconds per score second.
    pub(crate) fn bpm(&self, bar: usize, rate: f64) -> f64 {
        let mut left = bar;
        for s in self.groove.sections() {
            let bars = usize::from(s.bars) * usize::from(s.times);
            if left < bars {
                return s.tempo.bpm().numer() as f64 / s.tempo.bpm().denom() as f64 / rate;
            }
            left -= bars;
        }
        0.0
    }

    /// Mean length of a written beat in score seconds.
    pub(crate) fn beat(&self) -> f64 {
        self.score.length / self.score.beats.len().max(1) as f64
    }
}

/// All of it, a line for each bar and each stroke that is missing or too many.
pub(crate) fn text(found: &FoundGroove<'_>) -> String {
    let a = found.alignment;
    let mut text = String::new();
    let (from, to) = a.range;
    let percent = 100.0 / a.rate;
    let _ = writeln!(
        text,
        "{} is played from {from:.3} s to {to:.3} s, at {percent:.1}% of its tempo",
        found.groove.title()
    );
    if let Some(first) = a.hits.first() {
        let onset = found.onsets[first.onset].seconds;
        let _ = writeln!(text, "first stroke: {onset:.3} s, {}", place(found, first.score));
    }
    let (hits, missing, extra) = (a.hits.len(), a.missing.len(), a.extra.len());
    let _ = writeln!(text, "strokes: {hits} found, {missing} missing; onsets that are no stroke: {extra}");
    let _ = writeln!(text, "{}", deviations(found));
    text.push_str(&bars(found));
    for missing in &a.missing {
        let _ = writeln!(text, "missing: {:.3} s, {}", missing.seconds, place(found, missing.score));
    }
    for &extra in &a.extra {
        let onset = found.onsets[extra].seconds;
        let _ = writeln!(text, "no stroke: {onset:.3} s, {}", place(found, a.clock.score(onset)));
    }
    let remarks = remarks(found);
    if !remarks.is_empty() {
        text.push_str("\nRemarks\n");
    }
    for remark in remarks {
        let _ = writeln!(text, "- {remark}");
    }
    if !a.alternatives.is_empty() {
        text.push_str("\nOther readings; --take N takes one\n");
    }
    for (i, other) in a.alternatives.iter().enumerate() {
        let _ = writeln!(text, "{}. {}", i + 1, reading(found, other));
    }
    text
}

/// How far the strokes are from the tempo.
pub(crate) fn deviations(found: &FoundGroove<'_>) -> String {
    let a = found.alignment;
    let largest = a.hits.iter().max_by(|x, y| x.deviation.abs().total_cmp(&y.deviation.abs()));
    let squares: f64 = a.hits.iter().map(|h| h.deviation * h.deviation).sum();
    let rms = 1000.0 * (squares / a.hits.len().max(1) as f64).sqrt();
    let largest = largest.map_or(String::new(), |h| {
        let side = if h.deviation < 0.0 { "early" } else { "late" };
        format!(", largest {:.1} ms {side} at {}", 1000.0 * h.deviation.abs(), place(found, h.score))
    });
    format!("deviations from the tempo, those of the detector included: {rms:.1} ms (RMS){largest}")
}

/// The bar lines with their tempos.
fn bars(found: &FoundGroove<'_>) -> String {
    let a = found.alignment;
    let mut text = String::from("\npass   bar         s     BPM\n");
    for (k, anchor) in a.anchors.iter().enumerate() {
        let bpm = a.rates.get(k).map_or(String::new(), |r| format!("{:.1}", found.bpm(r.bar, r.rate)));
        let mark = if anchor.is_extrapolated { "  computed" } else { "" };
        let line = format!("{:4} {:5} {:9.3} {bpm:>7}{mark}", anchor.pass + 1, anchor.bar + 1, anchor.seconds);
        let _ = writeln!(text, "{}", line.trim_end());
    }
    text.push('\n');
    text
}

/// A place of the unrolled groove, by pass, bar and beats from the bar line.
pub(crate) fn place(found: &FoundGroove<'_>, score: f64) -> String {
    let pass = (score / found.score.length + 1e-9).floor();
    let within = score - pass * found.score.length;
    let line = |times: &[f64]| times.partition_point(|t| *t <= within + 1e-6).saturating_sub(1);
    let (bar, beat) = (line(&found.score.bars), line(&found.score.beats));
    let first = found.score.beats.partition_point(|t| *t < found.score.bars[bar] - 1e-6);
    let start = found.score.beats[beat];
    let next = found.score.beats.get(beat + 1).copied().unwrap_or(found.score.length);
    let part = (within - start) / (next - start);
    let beat = (beat - first + 1) as f64 + part;
    let shown = format!("{beat:.2}");
    let shown = shown.trim_end_matches('0').trim_end_matches('.');
    format!("pass {} bar {} beat {shown}", pass + 1.0, bar + 1)
}

/// What has to be said about an alignment, one sentence each.
pub(crate) fn remarks(found: &FoundGroove<'_>) -> Vec<String> {
    found.alignment.remarks.iter().map(|r| remark(found, r)).collect()
}

fn remark(found: &FoundGroove<'_>, remark: &Remark) -> String {
    let a = found.alignment;
    match *remark {
        Remark::Copies { count, period } => format!(
            "the groove repeats inside itself {count} times, every {}; which time is played cannot be heard, and the first is \
             assumed",
            beats(period / found.beat())
        ),
        Remark::OtherReading { alternative } => {
            let other = a.alternatives.get(alternative).map_or(String::new(), |o| reading(found, o));
            format!("reading {} may be the right one: {other}", alternative + 1)
        }
        Remark::LittleEvidence { total } => {
            format!("little speaks for the groove against other music: log odds of {total:.0}")
        }
        Remark::Dense { shortest } => format!(
            "strokes are as near as {:.0} ms, and their timing deviates by {:.0} ms: a shift by that distance cannot be excluded",
            1000.0 * shortest,
            1000.0 * a.sigma
        ),
        Remark::Sparse { hits } => format!("{hits} strokes only"),
        Remark::Weak { share } => format!("only {:.0}% of strokes and onsets fit each other", 100.0 * share),
        Remark::BeginningCut { seconds, share } => {
            format!("before {seconds:.3} s only {:.0}% fits: taken as other music", 100.0 * share)
        }
        Remark::EndCut { seconds, share } => {
            format!("after {seconds:.3} s only {:.0}% fits: taken as other music", 100.0 * share)
        }
        Remark::FirstAnchorExtrapolated => {
            "the first bar line comes before the first stroke: its time is computed".into()
        }
    }
}

/// Another reading: its tempo, its shift, and how much worse it fits.
pub(crate) fn reading(found: &FoundGroove<'_>, other: &Alternative) -> String {
    let Alignment { total, .. } = *found.alignment;
    let fit = if other.gap < 0.0 {
        format!("fits better by {:.0}", -other.gap)
    } else {
        format!("fits worse by {:.0} of {total:.0}", other.gap)
    };
    let tempo = tempo(other.ratio);
    let half = (other.shift.abs() - found.score.length / 2.0).abs() < NO_SHIFT;
    let shift = if half {
        "shifted by half of the groove".to_owned()
    } else if other.shift.abs() < NO_SHIFT {
        "at the same place in the middle".to_owned()
    } else {
        let side = if other.shift > 0.0 { "later" } else { "earlier" };
        format!("{} {side} in the groove", beats(other.shift.abs() / found.beat()))
    };
    format!("{tempo}, {shift}; {fit}")
}

/// The tempo of a reading whose rate is so many times that of the chosen one.
fn tempo(ratio: f64) -> String {
    let named = [(2.0, "at half the tempo"), (0.5, "at twice the tempo"), (1.0, "at the same tempo")];
    if let Some((_, name)) = named.iter().find(|(r, _)| (ratio / r - 1.0).abs() < 0.03) {
        return (*name).to_owned();
    }
    let simple = (1..=5).flat_map(|n| (1..=5).map(move |d| (n, d)));
    let near = |(n, d): &(i32, i32)| (ratio * f64::from(*n) / f64::from(*d) - 1.0).abs() < 0.02;
    match simple.into_iter().find(near) {
        Some((n, d)) => format!("at {n}/{d} of the tempo"),
        None => format!("at {:.0}% of the tempo", 100.0 / ratio),
    }
}

fn beats(count: f64) -> String {
    let shown = format!("{count:.2}");
    let shown = shown.trim_end_matches('0').trim_end_matches('.');
    if shown == "1" { "1 beat".to_owned() } else { format!("{shown} beats") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tempos_of_other_readings_are_simple_ratios() {
        for (ratio, words) in [
            (2.0, "at half the tempo"),
            (0.5, "at twice the tempo"),
            (1.01, "at the same tempo"),
            (1.5, "at 2/3 of the tempo"),
            (0.75, "at 4/3 of the tempo"),
            (1.1, "at 91% of the tempo"),
        ] {
            assert_eq!(tempo(ratio), words, "{ratio}");
        }
        assert_eq!((beats(1.0), beats(2.5), beats(1.333)), ("1 beat".into(), "2.5 beats".into(), "1.33 beats".into()));
    }
}
