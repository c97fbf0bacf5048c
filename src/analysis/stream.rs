//! Streams: pulses that sound on their own, and how two of them stand to each other.

use super::attacks::LayerAttacks;
use super::clock::{Clock, wholes};
use super::hearing::{Hearing, HearingKind};
use super::limits;
use crate::rhythm::{Groove, MeterKind};

/// A pulse that sounds on its own. Times are in seconds at the playing speed.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Stream {
    pub(crate) source: StreamSource,
    /// The time from a pulse to the next.
    pub(crate) period: f64,
    pub(crate) start: f64,
    /// Its pulses in one loop, if it does not go on evenly from loop to loop.
    pub(crate) loop_pulses: Option<LoopPulses>,
}

/// The pulses of one loop that do not go on evenly into the next.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct LoopPulses {
    /// In order, at least one.
    pub(crate) pulses: Vec<f64>,
    /// Where the last one is over.
    pub(crate) end: f64,
}

impl Stream {
    /// A stream that goes on from loop to loop.
    pub(crate) fn endless(source: StreamSource, period: f64, start: f64) -> Self {
        Self { source, period, start, loop_pulses: None }
    }

    pub(crate) fn end(&self) -> Option<f64> {
        self.loop_pulses.as_ref().map(|l| l.end)
    }

    /// The pulse nearest to a time.
    pub(crate) fn nearest(&self, time: f64) -> f64 {
        let Some(LoopPulses { pulses, .. }) = &self.loop_pulses else {
            return self.start + ((time - self.start) / self.period).round() * self.period;
        };
        let next = pulses.partition_point(|p| *p < time);
        let around = pulses[next.saturating_sub(1)..pulses.len().min(next + 1)].iter();
        around.copied().min_by(|a, b| (a - time).abs().total_cmp(&(b - time).abs())).unwrap_or(self.start)
    }

    /// Seconds from a time to the nearest pulse.
    pub(crate) fn distance(&self, time: f64) -> f64 {
        (self.nearest(time) - time).abs()
    }

    /// The pulses from one time to another.
    pub(crate) fn between(&self, from: f64, to: f64) -> Vec<f64> {
        if let Some(LoopPulses { pulses, .. }) = &self.loop_pulses {
            return pulses.iter().copied().filter(|p| (from..=to).contains(p)).collect();
        }
        let first = ((from - self.start) / self.period).ceil();
        let pulses = (0..).map(|k| self.start + (first + f64::from(k)) * self.period);
        pulses.take_while(|p| *p <= to).collect()
    }
}

/// What two streams share that do not both go on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct SharedTime {
    /// Seconds at the playing speed in which both sound.
    pub(crate) seconds: f64,
    /// Pulses of the one within 20 ms of a pulse of the other.
    pub(crate) coincidences: usize,
}

/// Where a stream comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum StreamSource {
    Written,
    /// A hearing, by its index in the report, or one of its stretches.
    Hearing {
        hearing: usize,
        /// Its stretch, where it has several.
        stretch: Option<usize>,
    },
    /// A layer whose attacks are even, by its index.
    Layer(usize),
}

/// How two streams stand to each other.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct StreamPair {
    /// The first stream, as an index into the report's streams.
    pub(crate) a: usize,
    pub(crate) b: usize,
    /// Pulses of the second per pulse of the first.
    pub(crate) ratio: f64,
    /// The ratio of rates, second to first, in whole numbers where one with terms up to 1000 is exact.
    pub(crate) exact: Option<(u32, u32)>,
    /// The nearest ratio with terms up to 8.
    pub(crate) simple: (u32, u32),
    /// How far the ratio is from the simple one, in percent of it.
    pub(crate) error_percent: f64,
    /// Whether that difference of tempo is audible (limits: tempo change).
    pub(crate) audible: bool,
    /// Seconds from one meeting within 20 ms to the next, at the playing speed; `None` if they do not meet in ten minutes, or do
    /// not both go on.
    pub(crate) meets_after: Option<f64>,
    /// What they share, if they do not both go on.
    pub(crate) shared: Option<SharedTime>,
    /// Where they do not meet, the least time between a pulse of the one and a pulse of the other, in seconds at the playing speed.
    pub(crate) apart: Option<f64>,
    /// Where the ratio is exact, the seconds at the playing speed after which they stand to each other as before.
    pub(crate) again_after: Option<f64>,
    /// How far the second stream gets ahead (plus) or behind in one bar against the simple ratio, in ms at the playing speed; a
    /// bar of the first section.
    pub(crate) drift_ms: f64,
}

/// Greatest term of a simple ratio (ours, no source).
const MAX_SIMPLE_TERM: u32 = 8;
/// Ratios with terms up to this are so far apart that a mean rate may be rounded (ours, no source).
const MAX_ROUNDED_TERM: f64 = 32.0;
/// Greatest term of a ratio that is called exact (ours, no source).
const MAX_EXACT_TERM: u32 = 1000;
/// Intervals that differ by less are equal, in seconds.
const TIME_TOLERANCE: f64 = 1e-6;
/// By how much of a period the length of a loop may miss whole periods of a pulse that goes on (ours, no source).
const PERIOD_TOLERANCE: f64 = 1e-3;
/// Seconds in which a meeting is looked for (ours, no source).
const MAX_MEETING_SECONDS: f64 = 600.0;

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
    if let Some(written) =
        hearings.iter().find(|h| h.kind == HearingKind::Written && h.stretches.len() == 1 && !additive)
    {
        let (period, start) = (written.stretches[0].period, written.pulses[0]);
        streams.push(Stream::endless(StreamSource::Written, period / speed, start / speed));
    }
    let likely = hearings.iter().enumerate().filter(|(_, h)| {
        !h.keeps_written() && h.probability >= MIN_PROBABILITY && !matches!(h.kind, HearingKind::Unequal { .. })
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
            let source = StreamSource::Hearing { hearing, stretch: several.then_some(i) };
            let next = h.stretches.get(i + 1).map_or(range.1, |next| next.start);
            if several && !h.is_even_in(i) {
                continue;
            }
            let pulses: Vec<f64> = h.pulses_in(i).iter().map(|p| p / speed).collect();
            if goes_on || !pulses.is_empty() {
                let loop_pulses = (!goes_on).then_some(LoopPulses { pulses, end: next / speed });
                streams.push(Stream { source, period: s.period / speed, start: s.start / speed, loop_pulses });
            }
        }
    }
    for layer in 0..groove.layers().len() {
        let of_layer = even_layer(layer_attacks, layer, speed);
        streams
            .extend(of_layer.filter(|l| !streams.iter().any(|s| (s.period - l.period).abs() * speed < TIME_TOLERANCE)));
    }
    streams
}

/// Whether the pulses of a hearing come at one interval, as those of an additive meter do not.
pub(super) fn is_even(h: &Hearing) -> bool {
    h.stretches.len() == 1 && h.is_even_in(0)
}

/// Whether the one pulse of a hearing goes on evenly from loop to loop.
fn goes_on(h: &Hearing, length: f64) -> bool {
    let [s] = &h.stretches[..] else { return false };
    let count = length / s.period;
    (h.kind == HearingKind::Written && is_even(h)) || (h.closes && (count - count.round()).abs() < PERIOD_TOLERANCE)
}

/// A layer of even attacks. Once in the loop the pulse may start again: one interval, wherever the loop begins, is another one.
fn even_layer(layer_attacks: &LayerAttacks<'_>, layer: usize, speed: f64) -> Option<Stream> {
    let (groove, clock) = (layer_attacks.groove, layer_attacks.clock);
    let attacks = layer_attacks.joined(&[layer], None);
    if attacks.len() < 3 {
        return None;
    }
    let single = groove.sections().len() == 1;
    let length = if single { clock.range(0, 0)?.1 } else { clock.total() };
    let times: Vec<f64> = attacks.iter().map(|a| a.seconds).filter(|t| *t < length - TIME_TOLERANCE).collect();
    let n = times.len();
    let interval = |i: usize| times.get(i + 1).copied().unwrap_or(times[0] + length) - times[i];
    let mut sorted: Vec<f64> = (0..n).map(interval).collect();
    sorted.sort_by(f64::total_cmp);
    let step = *sorted.get(n / 2)?;
    let mut others = (0..n).filter(|i| (interval(*i) - step).abs() >= TIME_TOLERANCE);
    let loop_pulses = match (others.next(), others.next()) {
        (None, _) => None,
        (Some(last), None) if n > 2 => {
            // Where the gap is the loop's return, they are over one step after the last.
            let end = if last + 1 == n { (times[last] + step).min(length) } else { length };
            Some(LoopPulses { pulses: times.iter().map(|t| t / speed).collect(), end: end / speed })
        }
        _ => return None,
    };
    Some(Stream { source: StreamSource::Layer(layer), period: step / speed, start: times[0] / speed, loop_pulses })
}

/// Seconds at the playing speed from one meeting of two hearings to the next; `None` unless both are even throughout.
pub(super) fn meets_after(a: &Hearing, b: &Hearing, length: f64, speed: f64) -> Option<f64> {
    let stream = |h: &Hearing| {
        let [s] = &h.stretches[..] else { return None };
        let is_even = goes_on(h, length) && !matches!(h.kind, HearingKind::Unequal { .. });
        is_even.then(|| Stream::endless(StreamSource::Written, s.period / speed, s.start / speed))
    };
    meeting(&stream(a)?, &stream(b)?)
}

/// Every pair of streams that sound at one time, in order: the stretches of a hearing follow one another.
pub(super) fn pairs(groove: &Groove, streams: &[Stream], clock: &Clock, speed: f64) -> Vec<StreamPair> {
    let bar = groove.sections().first().map_or(1.0, |s| wholes(s.meter.bar()))
        * clock.seconds_per_whole(0).unwrap_or(1.0)
        / speed;
    let mut pairs = Vec::new();
    for a in 0..streams.len() {
        let hearing =
            |s: &Stream| if let StreamSource::Hearing { hearing, .. } = s.source { Some(hearing) } else { None };
        let of_one = |b: &usize| hearing(&streams[a]).is_some_and(|h| hearing(&streams[*b]) == Some(h));
        let sound_together = |b: &usize| common_time(&streams[a], &streams[*b]).is_some();
        let others = (a + 1..streams.len()).filter(|b| !of_one(b) && sound_together(b));
        pairs.extend(others.map(|b| pair(streams, a, b, bar)));
    }
    pairs
}

fn pair(streams: &[Stream], a: usize, b: usize, bar: f64) -> StreamPair {
    let (x, y) = (&streams[a], &streams[b]);
    let ratio = x.period / y.period;
    let exact = exact(ratio);
    let simple = nearest(ratio, MAX_SIMPLE_TERM).unwrap_or((1, 1));
    let error_percent = (ratio / (f64::from(simple.0) / f64::from(simple.1)) - 1.0) * 100.0;
    // Pulses of each in a bar; at the simple ratio the second would have `n / d` for each of the first.
    let slip = bar / y.period - bar / x.period * f64::from(simple.0) / f64::from(simple.1);
    let shared = shared(x, y);
    let meets_after = if shared.is_none() { meeting(x, y) } else { None };
    let is_apart = shared.map_or(meets_after.is_none(), |s| s.coincidences == 0);
    let apart = || distances(x, y).into_iter().min_by(f64::total_cmp);
    StreamPair {
        a,
        b,
        ratio,
        exact,
        simple,
        error_percent,
        audible: error_percent.abs() >= limits::TEMPO_CHANGE.value,
        meets_after,
        shared,
        apart: is_apart.then(apart).flatten(),
        again_after: exact.filter(|_| shared.is_none()).map(|(_, of_first)| f64::from(of_first) * x.period),
        drift_ms: slip * y.period * 1000.0,
    }
}

/// The ratio with both terms up to [`MAX_EXACT_TERM`] that equals `x` but for rounding, if there is one (two such ratios differ by a
/// millionth or more): such a ratio is a convergent of the continued fraction of `x` (Legendre 1798).
pub(super) fn exact(x: f64) -> Option<(u32, u32)> {
    let (mut before, mut now) = ((0.0, 1.0), (1.0, 0.0));
    let mut rest = x;
    loop {
        let whole = (rest + 1e-9).floor();
        (before, now) = (now, (whole * now.0 + before.0, whole * now.1 + before.1));
        if now.0 > f64::from(MAX_EXACT_TERM) || now.1 > f64::from(MAX_EXACT_TERM) || !rest.is_finite() {
            return None;
        }
        let tolerance = if now.0.max(now.1) <= MAX_ROUNDED_TERM { 1e-5 } else { 5e-8 };
        if now.0 > 0.0 && (now.0 / now.1 / x - 1.0).abs() < tolerance {
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

/// The time in which both sound; `None` if there is none. Of two that go on it is ten minutes.
fn common_time(x: &Stream, y: &Stream) -> Option<(f64, f64)> {
    let range = |s: &Stream| s.end().map_or((f64::NEG_INFINITY, f64::INFINITY), |end| (s.start, end));
    let (from, to) = (range(x).0.max(range(y).0), range(x).1.min(range(y).1));
    let from = if from.is_finite() { from } else { x.start.min(y.start) };
    let to = if to.is_finite() { to } else { from + MAX_MEETING_SECONDS };
    (to - from > TIME_TOLERANCE).then_some((from, to))
}

/// The distances in seconds of the pulses of the one, in the time in which both sound, from the nearest of the other.
fn distances(x: &Stream, y: &Stream) -> Vec<f64> {
    let Some((from, to)) = common_time(x, y) else { return Vec::new() };
    // The pulses of the one that ends are counted: the other one's may lie on the very end.
    let (counted, other) = if x.loop_pulses.is_some() { (x, y) } else { (y, x) };
    counted.between(from - TIME_TOLERANCE, to - TIME_TOLERANCE).into_iter().map(|t| other.distance(t)).collect()
}

/// Seconds up to which two pulses coincide.
fn max_distance() -> f64 {
    limits::COINCIDENCE.value / 1000.0 + 1e-9
}

fn shared(x: &Stream, y: &Stream) -> Option<SharedTime> {
    if x.loop_pulses.is_none() && y.loop_pulses.is_none() {
        return None;
    }
    let (from, to) = common_time(x, y)?;
    let coincidences = distances(x, y).iter().filter(|d| **d <= max_distance()).count();
    Some(SharedTime { seconds: to - from, coincidences })
}

/// Seconds from the first pulse of the one that meets a pulse of the other to the next one that does.
fn meeting(x: &Stream, y: &Stream) -> Option<f64> {
    let pulses = (0..).map(|k| f64::from(k) * x.period).take_while(|elapsed| *elapsed < MAX_MEETING_SECONDS);
    let mut meetings = pulses.map(|elapsed| x.start + elapsed).filter(|t| y.distance(*t) <= max_distance());
    let first = meetings.next()?;
    meetings.next().map(|next| next - first)
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
        let stream = |period| Stream::endless(StreamSource::Written, period, 0.0);
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
        let stream = |period, start: f64, count: u32, end| {
            let pulses = (0..count).map(|k| start + f64::from(k) * period).collect();
            Stream {
                loop_pulses: Some(LoopPulses { pulses, end }),
                ..Stream::endless(StreamSource::Written, period, start)
            }
        };
        let beat = Stream::endless(StreamSource::Written, 0.5, 0.0);
        // Against a beat of 500 ms: 600 ms from 1 s to 2.8 s meets it at 1 s only.
        let p = pair(&[beat.clone(), stream(0.6, 1.0, 3, 2.8)], 0, 1, 2.0);
        let shared = p.shared.expect("one of them ends");
        assert!((shared.seconds - 1.8).abs() < 1e-9 && shared.coincidences == 1, "{shared:?}");
        assert_eq!((p.meets_after, p.apart, p.again_after), (None, None, None));
        // 250 ms late it never does; 50 ms is the least distance, at 2.45 s.
        let p = pair(&[beat.clone(), stream(0.6, 1.25, 3, 2.8)], 0, 1, 2.0);
        assert_eq!(p.shared.map(|s| s.coincidences), Some(0));
        assert!((p.apart.expect("never") - 0.05).abs() < 1e-9, "{:?}", p.apart);
        // The beat on its very end is none of its pulses: 0, 0.4 and 0.8 s.
        let p = pair(&[beat, stream(0.4, 0.0, 3, 1.0)], 0, 1, 2.0);
        assert_eq!(p.shared.map(|s| s.coincidences), Some(1));
        // One is over when the other begins.
        assert_eq!(common_time(&stream(0.5, 0.0, 2, 1.0), &stream(0.5, 1.0, 2, 2.0)), None);
    }
}
