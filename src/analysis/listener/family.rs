//! Which pulses keep the written beat: the only part of the model that looks at the written meter, after everything is heard.

use super::hypothesis::Kind;
use super::input::{Section, WrittenMeter};

/// How far a pulse may lie from the written beat, as a part of its period.
const NEAR: f64 = 0.08;
/// How far the period may be from a whole number of beats, as a share.
const SAME_PERIOD: f64 = 0.02;
/// Share of the pulses that must lie on the written ones.
const MOST: f64 = 0.85;

/// How a hearing keeps the written beat.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Member {
    /// A pulse of `every` beats, `from` beats after the bar line: the beat itself is every 1.
    Beats {
        /// Beats in a pulse.
        every: usize,
        /// Beats from a bar line to the first pulse in a bar.
        from: usize,
    },
    /// So many pulses in a beat.
    Parts(u8),
    /// The heads of an additive meter.
    Heads,
    /// The bars.
    Bars,
}

/// What is tested: a pulse between two times, in seconds at full speed.
#[derive(Debug, Clone, Copy)]
pub(super) struct Pulse<'a> {
    pub(super) from: f64,
    pub(super) to: f64,
    pub(super) kind: Kind,
    pub(super) period: f64,
    /// In order.
    pub(super) pulses: &'a [f64],
}

/// Share of its time in which a pulse keeps the written beat, and how it does where it does for the longest time.
pub(super) fn share(pulse: &Pulse, sections: &[Section]) -> (f64, Option<Member>) {
    let (mut kept, mut all) = (0.0, 0.0);
    let mut most: Option<(f64, Member)> = None;
    for section in sections {
        let (from, to) = (pulse.from.max(section.start), pulse.to.min(section.end));
        if to - from <= 1e-9 {
            continue;
        }
        all += to - from;
        let inside = Pulse { from, to, ..*pulse };
        if let Some(member) = inside.member(&section.meter) {
            kept += to - from;
            if most.is_none_or(|m| m.0 < to - from) {
                most = Some((to - from, member));
            }
        }
    }
    (if all > 0.0 { kept / all } else { 0.0 }, most.map(|m| m.1))
}

impl Pulse<'_> {
    fn member(&self, meter: &WrittenMeter) -> Option<Member> {
        let near = NEAR * self.period;
        let mine: Vec<f64> =
            self.pulses.iter().copied().filter(|p| *p >= self.from - near && *p < self.to - near).collect();
        if mine.is_empty() {
            return None;
        }
        let beats_in_bar = (meter.bar / meter.beat).round().max(1.0) as usize;
        if !meter.heads.is_empty() && self.both_ways(&mine, &marks(meter, &meter.heads, self.from, self.to), near) {
            return Some(Member::Heads);
        }
        if !meter.heads.is_empty() && self.both_ways(&mine, &marks(meter, &[0.0], self.from, self.to), near) {
            return Some(Member::Bars);
        }
        if self.kind == Kind::Unequal {
            return None;
        }
        let beats: Vec<f64> = (0..beats_in_bar).map(|b| b as f64 * meter.beat).collect();
        let written = marks(meter, &beats, self.from, self.to);
        let ratio = self.period / meter.beat;
        let every = ratio.round() as usize;
        if every >= 1 && (ratio / every as f64 - 1.0).abs() < SAME_PERIOD {
            let counted =
                if meter.heads.is_empty() { every == 2 || beats_in_bar.is_multiple_of(every) } else { every == 1 };
            if !counted || nearest_share(&mine, &written, near) < MOST {
                return None;
            }
            let first = ((mine[0] - meter.origin) / meter.beat).round() as i64;
            return Some(Member::Beats { every, from: first.rem_euclid(every as i64) as usize });
        }
        let parts = f64::from(meter.parts);
        let is_part = (ratio * parts - 1.0).abs() < SAME_PERIOD;
        let inside: Vec<f64> =
            written.iter().copied().filter(|b| *b >= self.from - 1e-9 && *b < self.to - 1e-9).collect();
        // A pulse before the first and after the last stands for those the window cuts off.
        let mut all = vec![mine[0] - self.period];
        all.extend(&mine);
        all.push(mine[mine.len() - 1] + self.period);
        (is_part && inside.len() > 1 && nearest_share(&inside, &all, near) >= MOST)
            .then_some(Member::Parts(meter.parts))
    }

    /// Whether the pulses lie on the marks and the marks on the pulses.
    fn both_ways(&self, mine: &[f64], marks: &[f64], near: f64) -> bool {
        let inside: Vec<f64> =
            marks.iter().copied().filter(|m| *m >= self.from - near && *m < self.to - near).collect();
        let mut all = mine.to_vec();
        all.push(self.to);
        !inside.is_empty() && nearest_share(mine, marks, near) >= MOST && nearest_share(&inside, &all, near) >= MOST
    }
}

/// Places within the bars, from one bar before a time to one bar after another.
fn marks(meter: &WrittenMeter, places: &[f64], from: f64, to: f64) -> Vec<f64> {
    let first = ((from - meter.origin) / meter.bar).floor() as i64 - 1;
    let last = ((to - meter.origin) / meter.bar).ceil() as i64 + 1;
    (first..=last).flat_map(|b| places.iter().map(move |p| meter.origin + b as f64 * meter.bar + p)).collect()
}

/// Share of the times `a` within `near` of one of `b`, both in order.
fn nearest_share(a: &[f64], b: &[f64], near: f64) -> f64 {
    let mut next = 0;
    let mut close = 0;
    for &t in a {
        while next < b.len() && b[next] < t - near {
            next += 1;
        }
        close += usize::from(b.get(next).is_some_and(|x| *x <= t + near));
    }
    close as f64 / a.len().max(1) as f64
}

/// Whether a period is one that a member of the family has: a pulse of that period that is none stands on another phase.
pub(crate) fn is_familiar(period: f64, meter: &WrittenMeter) -> bool {
    let ratio = period / meter.beat;
    let near = |x: f64| (ratio / x - 1.0).abs() < SAME_PERIOD;
    let beats = (meter.bar / meter.beat).round().max(1.0) as usize;
    let whole = (1..=beats).filter(|b| *b == 2 || beats.is_multiple_of(*b));
    near(1.0 / f64::from(meter.parts))
        || near(2.0)
        || meter.heads.is_empty() && whole.into_iter().any(|b| near(b as f64))
        || near(1.0)
}

/// The probability of cycles of half, one or two written bars on the bar lines; cycles as length, first head and probability, in
/// seconds at full speed from the start of the span.
pub(super) fn on_bars(cycles: &[(f64, f64, f64)], sections: &[Section], range: (f64, f64)) -> f64 {
    let mut bars: Vec<f64> = Vec::new();
    let mut lengths: Vec<f64> = Vec::new();
    for s in sections.iter().filter(|s| s.start < range.1 - 1e-9 && s.end > range.0 + 1e-9) {
        let (from, to) = (s.start.max(range.0), s.end.min(range.1));
        let lines: Vec<f64> =
            marks(&s.meter, &[0.0], from, to).into_iter().filter(|m| *m >= from - 1e-9 && *m < to - 1e-9).collect();
        lengths.extend(lines.iter().map(|_| s.meter.bar));
        bars.extend(lines.iter().map(|l| l - range.0));
    }
    lengths.sort_by(f64::total_cmp);
    let Some(&bar) = lengths.get(lengths.len() / 2) else { return 0.0 };
    let length = range.1 - range.0;
    let on = |cycle: f64, head: f64| {
        let ratio = cycle / bar;
        if ![0.5, 1.0, 2.0].iter().any(|z| (ratio / z - 1.0).abs() < SAME_PERIOD) {
            return false;
        }
        let start = head.rem_euclid(cycle);
        let count = ((length - start) / cycle - 1e-6).ceil().max(0.0) as usize;
        let mut heads: Vec<f64> = (0..count).map(|k| start + k as f64 * cycle).collect();
        let mut lines = bars.clone();
        let near = 0.06 * cycle;
        heads.push(length);
        let of_bars = if ratio < 1.5 { nearest_share(&bars, &heads, near) } else { 0.0 };
        heads.pop();
        lines.push(length);
        let of_heads = if ratio > 0.8 { nearest_share(&heads, &lines, near) } else { 0.0 };
        of_bars.max(of_heads) > MOST
    };
    cycles.iter().filter(|c| c.2 > 1e-6 && on(c.0, c.1)).map(|c| c.2).sum()
}
