//! Streams: pulses that sound on their own, and how two of them stand to each other.

use super::attacks::LayerAttacks;
use super::clock::{Clock, wholes};
use super::hearing::{Hearing, Kind};
use super::limits;
use crate::rhythm::{Groove, MeterKind};

/// A steady pulse that sounds on its own.
#[derive(Debug, Clone, PartialEq)]
pub struct Stream {
    /// What it is.
    pub source: Source,
    /// Period in seconds at the playing speed.
    pub period: f64,
    /// First pulse in seconds at the playing speed.
    pub start: f64,
    /// Where it ends, in seconds at the playing speed, if it does not go on from loop to loop.
    pub end: Option<f64>,
}

impl Stream {
    /// Seconds from a time to the nearest pulse.
    fn distance(&self, time: f64) -> f64 {
        let last = self.end.map_or(f64::INFINITY, |end| ((end - self.start) / self.period - 1e-6).floor());
        let pulse = ((time - self.start) / self.period).round().min(last);
        (time - self.start - pulse * self.period).abs()
    }
}

/// What two streams share that do not both go on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shared {
    /// Seconds at the playing speed in which both sound.
    pub seconds: f64,
    /// Pulses of the one within 20 ms of a pulse of the other.
    pub coincidences: usize,
}

/// Where a stream comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Source {
    /// The written beat.
    Written,
    /// A hearing, by its index in the report, or one of its stretches.
    Hearing {
        /// The hearing.
        hearing: usize,
        /// Its stretch, where it has several.
        stretch: Option<usize>,
    },
    /// A layer whose attacks are even, by its index.
    Layer(usize),
}

/// How two streams stand to each other.
#[derive(Debug, Clone, PartialEq)]
pub struct Pair {
    /// The first stream, as an index into the report's streams.
    pub a: usize,
    /// The second stream.
    pub b: usize,
    /// Pulses of the second per pulse of the first.
    pub ratio: f64,
    /// The ratio of rates, second to first, in whole numbers where one with terms up to 1000 is exact.
    pub exact: Option<(u32, u32)>,
    /// The nearest ratio with terms up to 8.
    pub simple: (u32, u32),
    /// How far the ratio is from the simple one, in percent of it.
    pub error_percent: f64,
    /// Whether that difference of tempo is audible (limits: tempo change).
    pub audible: bool,
    /// Seconds from one meeting within 20 ms to the next, at the playing speed; `None` if they do not meet in ten minutes, or do
    /// not both go on.
    pub meets_after: Option<f64>,
    /// What they share, if they do not both go on.
    pub shared: Option<Shared>,
    /// Where they do not meet, the least time between a pulse of the one and a pulse of the other, in seconds at the playing speed.
    pub apart: Option<f64>,
    /// Where the ratio is exact, the seconds at the playing speed after which they stand to each other as before.
    pub again_after: Option<f64>,
    /// How far the second stream gets ahead (plus) or behind in one bar against the simple ratio, in ms at the playing speed; a
    /// bar of the first section.
    pub drift_ms: f64,
}

/// Greatest term of a simple ratio.
const SIMPLE: u32 = 8;
/// Greatest term of a ratio that is called exact.
const EXACT: u32 = 1000;
/// Intervals that differ by less are equal, in seconds.
const SAME_TIME: f64 = 1e-6;
/// By how much of a period the length of a loop may miss whole periods of a pulse that goes on.
const SAME_PERIODS: f64 = 1e-3;
/// Seconds in which a meeting is looked for.
const PATIENCE: f64 = 600.0;

/// Hearings less likely than this are no streams, and most hearings that are (ours, no source).
const MIN_PROBABILITY: f64 = 0.05;
const MAX_HEARINGS: usize = 3;
/// Most stretches of a changing hearing that are streams.
const MAX_STRETCHES: usize = 4;

/// The written beat, the likely hearings that do not keep it, changing ones stretch by stretch, and the layers of even attacks.
pub(super) fn streams(
    layer_attacks: &LayerAttacks<'_>,
    hearings: &[Hearing],
    range: (f64, f64),
    speed: f64,
) -> Vec<Stream> {
    let groove = layer_attacks.groove;
    let mut streams = Vec::new();
    let additive = groove.sections().iter().any(|s| s.meter.kind() == MeterKind::Additive);
    if let Some(written) = hearings.iter().find(|h| h.kind == Kind::Written && h.stretches.len() == 1 && !additive) {
        streams.push(Stream {
            source: Source::Written,
            period: written.stretches[0].period / speed,
            start: written.pulses[0] / speed,
            end: None,
        });
    }
    let likely = hearings.iter().enumerate().filter(|(_, h)| {
        !h.keeps_written() && h.probability >= MIN_PROBABILITY && !matches!(h.kind, Kind::Unequal { .. })
    });
    for (hearing, h) in likely.take(MAX_HEARINGS) {
        let several = h.stretches.len() > 1;
        let goes_on = goes_on(h, range.1 - range.0);
        // A tempo that comes back is the same stream.
        let is_new = |i: usize| {
            h.stretches[..i]
                .iter()
                .all(|s| (s.period / h.stretches[i].period - 1.0).abs() >= limits::NOISE.value / 100.0)
        };
        let stretches = h.stretches.iter().enumerate().filter(|(i, _)| is_new(*i));
        for (i, s) in stretches.take(MAX_STRETCHES) {
            let source = Source::Hearing { hearing, stretch: several.then_some(i) };
            let next = h.stretches.get(i + 1).map_or(range.1, |next| next.start);
            let end = (!goes_on).then_some(next / speed);
            streams.push(Stream { source, period: s.period / speed, start: s.start / speed, end });
        }
    }
    for layer in 0..groove.layers().len() {
        if let Some((step, start)) = even_layer(layer_attacks, layer)
            && !streams.iter().any(|s| (s.period * speed - step).abs() < SAME_TIME)
        {
            streams.push(Stream {
                source: Source::Layer(layer),
                period: step / speed,
                start: start / speed,
                end: None,
            });
        }
    }
    streams
}

/// Whether the one pulse of a hearing goes on evenly from loop to loop.
fn goes_on(h: &Hearing, length: f64) -> bool {
    let [s] = &h.stretches[..] else { return false };
    let count = length / s.period;
    h.kind == Kind::Written || (h.closes && (count - count.round()).abs() < SAME_PERIODS)
}

/// Period and first pulse, at full speed, of a layer of even attacks. Once in the loop the pulse may re-enter: one interval, wherever
/// the loop begins, is another one.
fn even_layer(layer_attacks: &LayerAttacks<'_>, layer: usize) -> Option<(f64, f64)> {
    let (groove, clock) = (layer_attacks.groove, layer_attacks.clock);
    let attacks = layer_attacks.joined(&[layer], None);
    if attacks.len() < 3 {
        return None;
    }
    let single = groove.sections().len() == 1;
    let length = if single { clock.range(0, 0)?.1 } else { clock.total() };
    let times: Vec<f64> = attacks.iter().map(|a| a.seconds).filter(|t| *t < length - SAME_TIME).collect();
    let n = times.len();
    let interval = |i: usize| times.get(i + 1).copied().unwrap_or(times[0] + length) - times[i];
    let mut sorted: Vec<f64> = (0..n).map(interval).collect();
    sorted.sort_by(f64::total_cmp);
    let step = *sorted.get(n / 2)?;
    let mut others = (0..n).filter(|i| (interval(*i) - step).abs() >= SAME_TIME);
    match (others.next(), others.next()) {
        (None, _) => Some((step, times[0])),
        (Some(i), None) if n > 2 => Some((step, times[(i + 1) % n])),
        _ => None,
    }
}

/// Seconds at the playing speed from one meeting of two hearings to the next; `None` unless both are even throughout.
pub(super) fn meets_after(a: &Hearing, b: &Hearing, length: f64, speed: f64) -> Option<f64> {
    let stream = |h: &Hearing| {
        let [s] = &h.stretches[..] else { return None };
        let is_even = goes_on(h, length) && !matches!(h.kind, Kind::Unequal { .. });
        let stream = Stream { source: Source::Written, period: s.period / speed, start: s.start / speed, end: None };
        is_even.then_some(stream)
    };
    meeting(&stream(a)?, &stream(b)?)
}

/// Every pair of streams that sound at one time, in order: the stretches of a hearing follow one another.
pub(super) fn pairs(groove: &Groove, streams: &[Stream], clock: &Clock, speed: f64) -> Vec<Pair> {
    let bar = groove.sections().first().map_or(1.0, |s| wholes(s.meter.bar()))
        * clock.seconds_per_whole(0).unwrap_or(1.0)
        / speed;
    let mut pairs = Vec::new();
    for a in 0..streams.len() {
        let hearing = |s: &Stream| if let Source::Hearing { hearing, .. } = s.source { Some(hearing) } else { None };
        let of_one = |b: &usize| hearing(&streams[a]).is_some_and(|h| hearing(&streams[*b]) == Some(h));
        pairs.extend((a + 1..streams.len()).filter(|b| !of_one(b)).map(|b| pair(streams, a, b, bar)));
    }
    pairs
}

fn pair(streams: &[Stream], a: usize, b: usize, bar: f64) -> Pair {
    let (x, y) = (&streams[a], &streams[b]);
    let ratio = x.period / y.period;
    let exact = exact(ratio);
    let simple = nearest(ratio, SIMPLE).unwrap_or((1, 1));
    let error_percent = (ratio / (f64::from(simple.0) / f64::from(simple.1)) - 1.0) * 100.0;
    // Pulses of each in a bar; at the simple ratio the second would have `n / d` for each of the first.
    let slip = bar / y.period - bar / x.period * f64::from(simple.0) / f64::from(simple.1);
    let shared = shared(x, y);
    let meets_after = if shared.is_none() { meeting(x, y) } else { None };
    let is_apart = shared.map_or(meets_after.is_none(), |s| s.coincidences == 0);
    Pair {
        a,
        b,
        ratio,
        exact,
        simple,
        error_percent,
        audible: error_percent.abs() >= limits::TEMPO_CHANGE.value,
        meets_after,
        shared,
        apart: is_apart.then(|| apart(x, y)),
        again_after: exact.filter(|_| shared.is_none()).map(|(_, of_first)| f64::from(of_first) * x.period),
        drift_ms: slip * y.period * 1000.0,
    }
}

/// The ratio with both terms up to [`EXACT`] that equals `x` but for rounding, if there is one (two such ratios differ by a millionth
/// or more): such a ratio is a convergent of the
/// continued fraction of `x` (Legendre 1798).
pub(super) fn exact(x: f64) -> Option<(u32, u32)> {
    let (mut before, mut now) = ((0.0, 1.0), (1.0, 0.0));
    let mut rest = x;
    loop {
        let whole = (rest + 1e-9).floor();
        (before, now) = (now, (whole * now.0 + before.0, whole * now.1 + before.1));
        if now.0 > f64::from(EXACT) || now.1 > f64::from(EXACT) || !rest.is_finite() {
            return None;
        }
        if now.0 > 0.0 && (now.0 / now.1 / x - 1.0).abs() < 5e-8 {
            return Some((now.0 as u32, now.1 as u32));
        }
        rest = 1.0 / (rest - whole);
    }
}

/// The ratio with both terms up to `most` that is nearest to `x` in percent; `None` unless `x` is positive and finite.
pub(crate) fn nearest(x: f64, most: u32) -> Option<(u32, u32)> {
    if !x.is_finite() || x <= 0.0 {
        return None;
    }
    (1..=most)
        .flat_map(|d| {
            // Both neighbours: halfway between them either may be the simpler one.
            let below = (x * f64::from(d)).floor();
            [below, below + 1.0].map(|n| {
                let n = n.clamp(1.0, f64::from(most)) as u32;
                ((f64::from(n) / f64::from(d) / x - 1.0).abs(), n, d)
            })
        })
        .filter(|(_, n, d)| num_integer::gcd(*n, *d) == 1)
        // Of equally near ones the one with smaller terms comes first.
        .fold(
            None,
            |best: Option<(f64, u32, u32)>, c| if best.is_none_or(|b| c.0 < b.0 - 1e-12) { Some(c) } else { best },
        )
        .map(|(_, n, d)| (n, d))
}

/// Pulses of `x` while both sound.
fn pulses_while_both<'a>(x: &'a Stream, y: &Stream) -> impl Iterator<Item = f64> + 'a {
    let until = [x.end, y.end].into_iter().flatten().fold(x.start + PATIENCE, f64::min);
    let from = y.start.max(x.start) - x.period / 2.0;
    let pulses = (0..).map(|k| x.start + f64::from(k) * x.period);
    pulses.take_while(move |t| *t < until - 1e-9).skip_while(move |t| *t < from)
}

fn shared(x: &Stream, y: &Stream) -> Option<Shared> {
    let until = [x.end, y.end].into_iter().flatten().reduce(f64::min)?;
    let close = limits::TOGETHER.value / 1000.0 + 1e-9;
    Some(Shared {
        seconds: (until - x.start.max(y.start)).max(0.0),
        coincidences: pulses_while_both(x, y).filter(|t| y.distance(*t) <= close).count(),
    })
}

/// Seconds from the first meeting within the limit to the next one, with the streams apart between.
fn meeting(x: &Stream, y: &Stream) -> Option<f64> {
    let close = limits::TOGETHER.value / 1000.0 + 1e-9;
    let mut first: Option<f64> = None;
    let mut apart = false;
    let mut k = 0.0;
    while k * x.period < PATIENCE {
        let t = x.start + k * x.period;
        let phase = (t - y.start) / y.period;
        let away = (phase - phase.round()).abs() * y.period;
        match first {
            None if away <= close => first = Some(t),
            Some(met) if apart && away <= close => return Some(t - met),
            Some(_) if away > close => apart = true,
            // Streams of whole multiples meet at every pulse of the slower one.
            Some(met) if !apart && away <= close && k > 0.0 => return Some(t - met),
            _ => {}
        }
        k += 1.0;
    }
    None
}

/// The least time between pulses of the two while both sound, at most ten minutes, in seconds.
fn apart(x: &Stream, y: &Stream) -> f64 {
    pulses_while_both(x, y).map(|t| y.distance(t)).fold(f64::INFINITY, f64::min)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nearest_ratios() {
        for (x, n, d) in
            [(1.5, 3, 2), (2.0, 2, 1), (0.75, 3, 4), (12.0 / 13.0, 7, 8), (1.0, 1, 1), (1.2, 6, 5), (4.5, 4, 1)]
        {
            assert_eq!(nearest(x, 8), Some((n, d)), "{x}");
        }
        for (n, d) in [(12, 13), (1, 1), (7, 8), (997, 991), (1, 3), (1000, 1), (1, 1000)] {
            assert_eq!(exact(f64::from(n) / f64::from(d)), Some((n, d)));
        }
        assert_eq!((exact(std::f64::consts::PI), exact(0.0), exact(f64::NAN)), (None, None, None));
        assert_eq!(nearest(f64::NAN, 8), None);
    }

    #[test]
    fn three_against_two_meet_every_two_beats() {
        let stream = |period| Stream { source: Source::Written, period, start: 0.0, end: None };
        let streams = [stream(0.5), stream(1.0 / 3.0)];
        let p = pair(&streams, 0, 1, 2.0);
        assert_eq!((p.exact, p.simple, p.audible), (Some((3, 2)), (3, 2), false));
        assert!((p.meets_after.expect("meet") - 1.0).abs() < 1e-9 && p.drift_ms.abs() < 1e-9);
        assert!((p.again_after.expect("exact") - 1.0).abs() < 1e-9);
        // 260 ms against 400: within 20 ms after 0.8 s, where two of the second and three of the first last 780 and 800; the same again
        // after 13 of the second.
        let p = pair(&[stream(0.4), stream(0.26)], 0, 1, 1.6);
        assert_eq!(p.exact, Some((20, 13)));
        assert!(
            (p.meets_after.expect("meet") - 0.8).abs() < 1e-9 && (p.again_after.expect("exact") - 5.2).abs() < 1e-9
        );
        // Three against two, 50 ms apart at the nearest.
        let apart = [stream(0.6), Stream { start: 0.05, ..stream(0.4) }];
        let p = pair(&apart, 0, 1, 2.4);
        assert_eq!((p.exact, p.meets_after), (Some((3, 2)), None));
        assert!((p.apart.expect("never") - 0.05).abs() < 1e-9, "{:?}", p.apart);
    }

    #[test]
    fn streams_that_end_share_what_sounds_of_both() {
        let stream = |period, start, end| Stream { source: Source::Written, period, start, end };
        // Against a beat of 500 ms: 600 ms from 1 s to 2.8 s meets it at 1 s only.
        let p = pair(&[stream(0.5, 0.0, None), stream(0.6, 1.0, Some(2.8))], 0, 1, 2.0);
        let shared = p.shared.expect("one of them ends");
        assert!((shared.seconds - 1.8).abs() < 1e-9 && shared.coincidences == 1, "{shared:?}");
        assert_eq!((p.meets_after, p.apart, p.again_after), (None, None, None));
        // 250 ms late it never does; 50 ms is the least distance, at 2.45 s.
        let p = pair(&[stream(0.5, 0.0, None), stream(0.6, 1.25, Some(2.8))], 0, 1, 2.0);
        assert_eq!(p.shared.map(|s| s.coincidences), Some(0));
        assert!((p.apart.expect("never") - 0.05).abs() < 1e-9, "{:?}", p.apart);
    }
}
