//! The strokes of a loop as a detector can hear them.

use super::ScoreLoop;
use crate::recording::fit::onset::median;

/// What a detector cannot part is one event, in seconds (ours, no source).
const MERGE: f64 = 0.020;
/// Two loops of events are the same if no event differs by more, in seconds (ours, no source).
const SAME: f64 = 2e-3;
/// Range of a knot distance in score seconds: about a beat, whatever the beat is written as (ours, no source).
const KNOT: std::ops::RangeInclusive<f64> = 0.25..=0.9;
/// Log odds for a performance to begin at the first event, and at the first event of another bar (ours, no source).
const LOOP_BONUS: f64 = 3.0;
const BAR_BONUS: f64 = 1.5;
/// Added to a strength before its logarithm is taken (ours, no source).
pub(super) const LOG_FLOOR: f64 = 0.02;

/// An attack of [`ScoreLoop`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct AttackId {
    /// Index of the layer.
    pub layer: usize,
    /// Index of the attack in its layer.
    pub attack: usize,
}

/// Attacks that sound together.
#[derive(Debug, Clone, PartialEq)]
pub struct Event {
    /// Mean score time, in seconds from the start of the loop.
    pub seconds: f64,
    /// The attacks, by layer.
    pub attacks: Vec<AttackId>,
}

/// Logarithm of strength, and of the bands about their mean.
pub(super) type Features = [f64; 4];

/// A loop as a cycle of events.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Events {
    pub(super) list: Vec<Event>,
    /// Score times, ascending from 0 on.
    pub(super) times: Vec<f64>,
    /// What sounds: events of one class have the same layers with the same accents.
    pub(super) classes: Vec<usize>,
    /// Sums of accent weights relative to their mean, clipped.
    pub(super) weights: Vec<f64>,
    /// What an event of each class should look like.
    pub(super) features: Vec<Features>,
    /// Sum of accent weights of every layer in an event of each class.
    pub(super) layer_weights: Vec<Vec<f64>>,
    /// Whether the bands of `features` are known.
    pub(super) bands_known: bool,
    pub(super) length: f64,
    /// Shortest shift that leaves the loop as it is.
    pub(super) period: f64,
    /// Score seconds between two knots of the clock, and where one of them is.
    pub(super) beat: f64,
    pub(super) origin: f64,
    /// Log odds for beginning at each event.
    pub(super) bonus: Vec<f64>,
    /// Shortest distance of two events.
    pub(super) shortest: f64,
}

impl Events {
    pub(super) fn new(score: &ScoreLoop) -> Self {
        let length = score.length;
        let mut attacks: Vec<(f64, AttackId)> = Vec::new();
        for (layer, l) in score.layers.iter().enumerate() {
            for (attack, a) in l.attacks.iter().enumerate() {
                attacks.push((a.seconds.rem_euclid(length), AttackId { layer, attack }));
            }
        }
        attacks.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        let groups: Vec<&[(f64, AttackId)]> = attacks.chunk_by(|a, b| b.0 - a.0 < MERGE).collect();
        let list: Vec<Event> = groups
            .iter()
            .map(|g| {
                let mut ids: Vec<AttackId> = g.iter().map(|(_, id)| *id).collect();
                ids.sort_unstable();
                Event { seconds: g.iter().map(|(t, _)| t).sum::<f64>() / g.len() as f64, attacks: ids }
            })
            .collect();
        let times: Vec<f64> = list.iter().map(|e| e.seconds).collect();
        let weight = |id: &AttackId| score.layers[id.layer].attacks[id.attack].weight;
        let label = |e: &Event| -> Vec<(usize, u64)> {
            let mut label: Vec<_> = e.attacks.iter().map(|id| (id.layer, weight(id).to_bits())).collect();
            label.sort_unstable();
            label
        };
        let labels: Vec<_> = list.iter().map(label).collect();
        let mut known = labels.clone();
        known.sort();
        known.dedup();
        let classes: Vec<usize> = labels.iter().filter_map(|l| known.binary_search(l).ok()).collect();
        let sums: Vec<f64> = list.iter().map(|e| e.attacks.iter().map(weight).sum()).collect();
        let mean = sums.iter().sum::<f64>() / sums.len().max(1) as f64;
        let bands_known = score.layers.iter().all(|l| l.attacks.is_empty() || l.bands.is_some());
        let features = known.iter().map(|l| features_of(l, score)).collect();
        let beat = knot_distance(score);
        let next = |i: usize| times.get(i + 1).copied().unwrap_or_else(|| times[0] + length);
        let shortest = (0..times.len()).map(|i| next(i) - times[i]).fold(length, f64::min);
        let mut bonus = vec![0.0; times.len()];
        for bar in &score.bars {
            let first = times.partition_point(|t| *t < bar - 1e-6);
            if let Some(b) = bonus.get_mut(if first == times.len() { 0 } else { first }) {
                *b = BAR_BONUS;
            }
        }
        if let Some(b) = bonus.first_mut() {
            *b = LOOP_BONUS;
        }
        Self {
            period: period(&times, &classes, length),
            weights: sums.iter().map(|s| (s / mean).clamp(0.4, 2.0)).collect(),
            origin: score.beats.first().copied().unwrap_or(0.0),
            layer_weights: known.iter().map(|l| layer_weights(l, score.layers.len())).collect(),
            list,
            times,
            classes,
            features,
            bands_known,
            length,
            beat,
            bonus,
            shortest,
        }
    }

    /// Score time of the event nearest to an unrolled score time.
    pub(super) fn nearest(&self, score: f64) -> f64 {
        let pass = (score / self.length).floor() * self.length;
        let at = score - pass;
        let next = self.times.partition_point(|t| *t < at);
        let after = self.times.get(next).copied().unwrap_or_else(|| self.times[0] + self.length);
        let before = match next.checked_sub(1) {
            Some(i) => self.times[i],
            None => self.times[self.times.len() - 1] - self.length,
        };
        pass + if at - before <= after - at { before } else { after }
    }

    /// Index and score time of the events from an unrolled score time on to another.
    pub(super) fn between(&self, from: f64, to: f64) -> impl Iterator<Item = (usize, f64)> + '_ {
        let first = (from / self.length).floor() as i64;
        let last = (to / self.length).floor() as i64;
        let at = move |pass: i64| pass as f64 * self.length;
        (first..=last)
            .flat_map(move |pass| self.times.iter().enumerate().map(move |(i, t)| (i, t + at(pass))))
            .filter(move |(_, t)| *t >= from && *t < to)
    }

    /// How often the loop repeats inside itself.
    pub(super) fn copies(&self) -> usize {
        ((self.length / self.period).round() as usize).max(1)
    }

    /// What is left of a shift when whole periods are taken away: between minus and plus half a period.
    pub(super) fn modulo_period(&self, shift: f64) -> f64 {
        shift - (shift / self.period).round() * self.period
    }
}

fn features_of(label: &[(usize, u64)], score: &ScoreLoop) -> Features {
    let mut sums = [0.0; 4];
    for (layer, weight) in label {
        let weight = f64::from_bits(*weight);
        let bands = score.layers[*layer].bands.unwrap_or([1.0; 3]);
        sums[0] += weight;
        for (sum, band) in sums[1..].iter_mut().zip(bands) {
            *sum += weight * band;
        }
    }
    log_features(sums)
}

fn layer_weights(label: &[(usize, u64)], layers: usize) -> Vec<f64> {
    let mut weights = vec![0.0; layers];
    for (layer, weight) in label {
        weights[*layer] += f64::from_bits(*weight);
    }
    weights
}

/// Logarithms of strength and bands.
pub(super) fn logs(values: [f64; 4]) -> [f64; 4] {
    values.map(|v| (v.max(0.0) + LOG_FLOOR).ln())
}

/// Logarithms of strength and bands, those of the bands about their mean.
pub(super) fn log_features(values: [f64; 4]) -> Features {
    centred(logs(values))
}

/// Logarithms of bands about their mean.
pub(super) fn centred(mut logs: [f64; 4]) -> Features {
    let mean = (logs[1] + logs[2] + logs[3]) / 3.0;
    for log in &mut logs[1..] {
        *log -= mean;
    }
    logs
}

/// The median beat, doubled or halved into [`KNOT`].
fn knot_distance(score: &ScoreLoop) -> f64 {
    let mut spans: Vec<f64> = score.beats.windows(2).map(|b| b[1] - b[0]).collect();
    spans.extend(score.beats.last().map(|b| score.length - b).filter(|s| *s > 0.0));
    let mut beat = median(&spans).unwrap_or(score.length).max(1e-3);
    while beat < *KNOT.start() {
        beat *= 2.0;
    }
    while beat > *KNOT.end() {
        beat /= 2.0;
    }
    beat
}

fn period(times: &[f64], classes: &[usize], length: f64) -> f64 {
    let count = times.len();
    for shift in (1..count).filter(|i| count.is_multiple_of(*i)) {
        let by = times[shift] - times[0];
        // A shift that leaves a cycle of events as it is divides the cycle.
        let parts = (count / shift) as f64;
        let same = (by * parts - length).abs() < SAME * parts
            && (0..count).all(|i| {
                let j = (i + shift) % count;
                let off = (times[j] - times[i] - by + length / 2.0).rem_euclid(length) - length / 2.0;
                classes[i] == classes[j] && off.abs() < SAME
            });
        if same {
            return length / parts;
        }
    }
    length
}

#[cfg(test)]
mod tests {
    use super::super::{ScoreAttack, ScoreLayer};
    use super::*;
    use proptest::prelude::*;

    fn layer(times: &[f64]) -> ScoreLayer {
        ScoreLayer { attacks: times.iter().map(|t| ScoreAttack { seconds: *t, weight: 0.6 }).collect(), bands: None }
    }

    fn score(layers: Vec<ScoreLayer>, length: f64) -> ScoreLoop {
        ScoreLoop { layers, length, bars: vec![0.0], beats: (0..4).map(|i| f64::from(i) * length / 4.0).collect() }
    }

    #[test]
    fn attacks_nearer_than_a_detector_parts_are_one_event() {
        let events = Events::new(&score(vec![layer(&[0.0, 1.0]), layer(&[0.015, 0.5, 1.03])], 2.0));
        assert_eq!(events.times, vec![0.0075, 0.5, 1.0, 1.03]);
        assert_eq!(events.list[0].attacks.len(), 2);
        assert!((events.shortest - 0.03).abs() < 1e-9);
    }

    #[test]
    fn a_loop_of_two_equal_halves_has_two_copies_unless_their_accents_differ() {
        let mut both = score(vec![layer(&[0.0, 0.3, 1.0, 1.3])], 2.0);
        assert_eq!(Events::new(&both).copies(), 2);
        both.layers[0].attacks[2].weight = 1.0;
        assert_eq!(Events::new(&both).copies(), 1);
        assert_eq!(Events::new(&score(vec![layer(&[0.0, 0.3, 1.0, 1.4])], 2.0)).copies(), 1);
    }

    proptest! {
        #![proptest_config(crate::rhythm::random::config(256))]

        #[test]
        fn the_nearest_event_is_the_nearest_of_all(times in proptest::collection::vec(0.0..4.0f64, 1..20), at in -20.0..20.0f64) {
            let events = Events::new(&score(vec![layer(&times)], 4.0));
            let distance = events.between(at - 4.1, at + 4.1).map(|(_, t)| (t - at).abs()).fold(f64::INFINITY, f64::min);
            prop_assert!(((events.nearest(at) - at).abs() - distance).abs() < 1e-9);
        }
    }
}
