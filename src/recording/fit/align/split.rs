//! Where a performance fits clearly worse on one side than on the other: there it is other music.

use super::reading::Item;

/// Items on either side at least, and of all.
const MIN_SIDE: usize = 8;
const MIN_ITEMS: usize = 24;
/// Log likelihood gained by two shares of hits over one (ours, no source).
const MIN_GAIN: f64 = 7.0;
/// The lower share as a fraction of the higher, at most (ours, no source).
const MAX_SHARE: f64 = 0.8;

/// A place where the share of hits changes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Split {
    pub(super) seconds: f64,
    pub(super) share_before: f64,
    pub(super) share_after: f64,
}

/// The split of largest likelihood (binomial on either side), if it is clear enough.
pub(super) fn split(items: &[Item]) -> Option<Split> {
    if items.len() < MIN_ITEMS {
        return None;
    }
    let hits = |i: &Item| f64::from(u8::from(i.hit().is_some()));
    let total: f64 = items.iter().map(hits).sum();
    let count = items.len() as f64;
    let mut before = 0.0;
    let mut best: Option<(f64, Split)> = None;
    for (i, item) in items.iter().enumerate() {
        let n = i as f64;
        if i >= MIN_SIDE && i + MIN_SIDE < items.len() {
            let gain = likelihood(before, n) + likelihood(total - before, count - n) - likelihood(total, count);
            if best.is_none_or(|(g, _)| gain > g) {
                let share_after = (total - before) / (count - n);
                best = Some((gain, Split { seconds: item.seconds, share_before: before / n, share_after }));
            }
        }
        before += hits(item);
    }
    best.filter(|(gain, s)| {
        let (low, high) = (s.share_before.min(s.share_after), s.share_before.max(s.share_after));
        *gain > MIN_GAIN && low < MAX_SHARE * high
    })
    .map(|(_, s)| s)
}

/// Log likelihood of so many hits of so many items at their own share.
fn likelihood(hits: f64, of: f64) -> f64 {
    let misses = of - hits;
    hits * (hits.max(0.5) / of).ln() + misses * (misses.max(0.5) / of).ln()
}

#[cfg(test)]
mod tests {
    use super::super::reading::Stroke;
    use super::*;

    fn items(pattern: impl Iterator<Item = bool>) -> Vec<Item> {
        let item = |(i, hit): (usize, bool)| Item {
            seconds: i as f64,
            odds: 0.0,
            onset: Some(i),
            stroke: hit.then_some(Stroke { event: 0, score: i as f64 }),
        };
        pattern.enumerate().map(item).collect()
    }

    #[test]
    fn a_beginning_with_half_the_hits_is_found_to_a_few_strokes() {
        let found = split(&items((0..100).map(|i| i >= 40 || i % 2 == 0))).expect("a clear split");
        assert!((found.seconds - 40.0).abs() <= 2.0, "{found:?}");
        assert!(found.share_before < 0.6 && found.share_after == 1.0);
    }

    #[test]
    fn even_misses_and_short_lists_are_not_split() {
        assert_eq!(split(&items((0..100).map(|i| i % 5 != 0))), None);
        assert_eq!(split(&items((0..20).map(|i| i > 10))), None);
    }
}
