//! The data of the player in a page: what sounds when, and where each moment is in the pictures. All times are seconds from the
//! start of the exported sections at full speed; the script that plays them is `player.js`.

use super::Handout;
use super::figure::PageFigure;
use crate::analysis::HearingKind;
use crate::analysis::clock::wholes;
use crate::describe::{self, ladder};
use crate::export::picture::TimeLine;
use crate::rhythm::{Accent, FLAM_DB, FLAM_LEAD_MS, Layer, Pitch, Section};
use serde_json::{Value, json};

/// Maximum number of hearings that can be clicked.
const MAX_HEARINGS: usize = 4;
/// Maximum number of attacks and positions, about 1 MB of data.
const MAX_ENTRIES: usize = 40_000;
/// Levels of a plain attack and of a ghost below an accent, in dB, in a layer without an accent depth: those of the voices.
const PLAIN_BELOW_ACCENT: f64 = 4.4;
const GHOST_BELOW_ACCENT: f64 = 13.9;

struct Timeline<'a> {
    handout: &'a Handout<'a>,
    /// Seconds from the start of the groove to that of the exported sections, and to their end.
    from: f64,
    to: f64,
}

/// The data as JSON, or `None` for a groove without attacks that sound, or with more than a page should hold.
pub(super) fn data(handout: &Handout<'_>, figures: &[PageFigure]) -> Option<String> {
    let piece = &handout.piece;
    let (groove, clock) = (piece.groove, &piece.report.clock);
    let mut passes = clock.passes().filter(|(s, _)| piece.has_section(*s)).filter_map(|(s, p)| clock.range(s, p));
    let (from, first_end) = passes.next()?;
    let timeline = Timeline { handout, from, to: passes.last().map_or(first_end, |r| r.1) };
    let layers: Vec<Value> = (0..groove.layers().len())
        .filter(|l| groove.is_audible(*l))
        .map(|l| timeline.layer(l))
        .filter(|l| l["hits"].as_array().is_some_and(|hits| !hits.is_empty()))
        .collect();
    if layers.is_empty() || timeline.entries(figures) > MAX_ENTRIES {
        return None;
    }
    let first = &groove.sections()[piece.sections().first().copied()?];
    let lines: Vec<Value> = figures.iter().flat_map(|f| timeline.lines(f)).collect();
    let data = json!({
        "title": groove.title(),
        "seconds": rounded(timeline.to - timeline.from),
        "bpm": ladder::value(first.tempo.bpm()),
        "unit": crate::rhythm::print_note_value(first.tempo.unit()),
        "bars": timeline.bars(),
        "layers": layers,
        "beat": timeline.beats(),
        "hearings": timeline.hearings(),
        "lines": lines,
        "flam": { "lead": f64::from(FLAM_LEAD_MS) / 1000.0, "level": amplitude(f64::from(FLAM_DB)) },
    });
    // `<` would end the script element that holds the data, and without `&` it is the same text in HTML and XML.
    Some(data.to_string().replace('<', "\\u003c").replace('&', "\\u0026"))
}

impl Timeline<'_> {
    fn passes(&self) -> impl Iterator<Item = (usize, usize, &Section)> {
        let piece = &self.handout.piece;
        let passes = piece.report.clock.passes().filter(|(s, _)| piece.has_section(*s));
        passes.map(|(s, pass)| (s, pass, &piece.groove.sections()[s]))
    }

    /// The number of attacks and of positions in the figures, in all passes.
    fn entries(&self, figures: &[PageFigure]) -> usize {
        let piece = &self.handout.piece;
        let points = |s: usize| -> usize {
            let lines = figures.iter().flat_map(|f| &f.picture.time_lines).filter(|l| l.section == s);
            lines.map(|l| l.points.len()).sum()
        };
        let events: usize = (0..piece.groove.layers().len()).map(|l| piece.groove.events(l).len()).sum();
        events + self.passes().map(|(s, ..)| points(s)).sum::<usize>()
    }

    fn seconds(&self, section: usize, pass: usize, whole_notes: f64) -> f64 {
        let clock = &self.handout.piece.report.clock;
        let start = clock.range(section, pass).map_or(0.0, |r| r.0);
        rounded(start + whole_notes * clock.seconds_per_whole(section).unwrap_or(0.0) - self.from)
    }

    fn bars(&self) -> Vec<Value> {
        let several = self.handout.piece.sections().len() > 1;
        let bars = self.passes().flat_map(|(s, pass, section)| {
            let bar = wholes(section.meter.bar());
            (0..section.bars).map(move |n| {
                let number = n + 1;
                let label = if several { format!("{} {number}", section.name) } else { number.to_string() };
                json!([self.seconds(s, pass, f64::from(n) * bar), label])
            })
        });
        bars.collect()
    }

    fn beats(&self) -> Vec<Value> {
        let beats = self.passes().flat_map(|(s, pass, section)| {
            let (beat, per_bar) = (wholes(section.meter.beat()), section.meter.beats());
            (0..section.beats())
                .map(move |b| json!([self.seconds(s, pass, b as f64 * beat), u8::from(b % per_bar == 0)]))
        });
        beats.collect()
    }

    fn layer(&self, index: usize) -> Value {
        let piece = &self.handout.piece;
        let layer = &piece.groove.layers()[index];
        let events = piece.groove.events(index).into_iter().filter(|e| piece.has_section(e.section));
        let hits = events.map(|e| {
            let at = self.seconds(e.section, e.pass, wholes(e.offset));
            let length = wholes(e.length) * piece.report.clock.seconds_per_whole(e.section).unwrap_or(0.0);
            let level = level(layer, e.attack.accent);
            let mut hit = vec![json!(at), json!(level), json!(e.attack.pitch.map(Pitch::key)), json!(rounded(length))];
            // Only flams have a fifth entry, so that pages stay small.
            hit.extend(e.attack.flam.then(|| json!(1)));
            Value::Array(hit)
        });
        json!({
            "name": layer.name,
            "voice": layer.voice.name(),
            "gain_db": layer.gain,
            "pan": f64::from(layer.pan) / 100.0,
            "hits": hits.collect::<Vec<_>>(),
        })
    }

    fn hearings(&self) -> Vec<Value> {
        let report = self.handout.piece.report;
        let chosen = self.handout.piece.hearings.iter().filter_map(|h| report.hearings.get(*h));
        let hearings = chosen.filter(|h| h.kind != HearingKind::Written).take(MAX_HEARINGS).map(|h| {
            let inside =
                h.pulses.iter().map(|p| rounded(p - self.from)).filter(|p| (0.0..self.to - self.from).contains(p));
            json!({
                "name": describe::hearing_name(h),
                "tempo": format!("{} BPM", describe::tempos(h, 1.0)),
                "pulses": inside.collect::<Vec<_>>(),
            })
        });
        hearings.collect()
    }

    /// The lines of a figure, once for every pass.
    fn lines(&self, figure: &PageFigure) -> Vec<Value> {
        let line = |line: &TimeLine| {
            let passes = self.passes().filter(|(s, ..)| *s == line.section);
            let points = |pass| -> Vec<Value> {
                let point = |(at, x): &(f64, f32)| json!([self.seconds(line.section, pass, *at), hundredths(*x)]);
                line.points.iter().map(point).collect()
            };
            let part = |(_, pass, _): (usize, usize, &Section)| {
                let points = points(pass);
                let ends = (points.first().map(|p| p[0].clone()), points.last().map(|p| p[0].clone()));
                json!({
                    "figure": figure.element_id(),
                    "part": line.block,
                    "from": ends.0,
                    "to": ends.1,
                    "points": points,
                    "top": hundredths(line.top),
                    "bottom": hundredths(line.bottom),
                })
            };
            passes.map(part).collect::<Vec<_>>()
        };
        figure.picture.time_lines.iter().flat_map(line).collect()
    }
}

/// The amplitude of an attack, 1 for an accent.
fn level(layer: &Layer, accent: Accent) -> f64 {
    let depth = layer.depth.map(f64::from);
    let voiced = |accent| match accent {
        Accent::Ghost | Accent::Soft => GHOST_BELOW_ACCENT,
        Accent::Plain => PLAIN_BELOW_ACCENT,
        Accent::Strong | Accent::Accent => 0.0,
    };
    let below = match depth {
        Some(depth) => depth * f64::from(Accent::Accent.level() - accent.level()) / 2.0,
        // Soft and strong are halfway between their neighbours.
        None if accent.level() % 2 != 0 => f64::midpoint(voiced(accent), PLAIN_BELOW_ACCENT),
        None => voiced(accent),
    };
    amplitude(-below)
}

fn amplitude(db: f64) -> f64 {
    (10_f64.powf(db / 20.0) * 1e3).round() / 1e3
}

/// To a tenth of a microsecond.
fn rounded(seconds: f64) -> f64 {
    (seconds * 1e7).round() / 1e7
}

fn hundredths(x: f32) -> f64 {
    (f64::from(x) * 100.0).round() / 100.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rhythm::Voice;

    #[test]
    fn levels_are_those_of_the_voices_or_of_the_accent_depth() {
        let db = |depth| {
            let layer = Layer { depth, ..Layer::new("rope", Voice::Snare, 4, Vec::new()) };
            Accent::ALL.map(|a| (20.0 * level(&layer, a).log10() * 10.0).round() / 10.0)
        };
        // The voices: accent 0 dB, plain -4.4 dB, ghost -14 dB.
        assert_eq!(db(None), [-13.9, -9.1, -4.4, -2.2, 0.0]);
        assert_eq!(db(Some(6)), [-12.0, -9.0, -6.0, -3.0, 0.0]);
    }
}
