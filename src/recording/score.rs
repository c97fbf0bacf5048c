//! A groove as the loop that is looked for in a recording, and what was found as anchors of the groove.

use super::fit;
use super::fit::align::{Alignment, ScoreAttack, ScoreLayer, ScoreLoop};
use super::onsets::Onset;
use crate::analysis::Clock;
use crate::analysis::attacks::LayerAttacks;
use crate::rhythm::bounds::ANCHOR_PASS;
use crate::rhythm::{Accent, Anchor, Fraction, GridPlace, Groove, Micros};

/// Weight of an accent (ours, no source).
fn weight(accent: Accent) -> f64 {
    match accent {
        Accent::Ghost => 0.25,
        Accent::Soft => 0.4,
        Accent::Plain => 0.6,
        Accent::Strong => 0.8,
        Accent::Accent => 1.0,
    }
}

/// The loop of these layers. Its bars are those of a pass in playing order, and its score time is that of the written tempos.
pub fn score_loop(groove: &Groove, layers: &[usize]) -> ScoreLoop {
    let clock = Clock::new(groove);
    let attacks = LayerAttacks::new(groove, &clock);
    let layer = |layer: &usize| ScoreLayer {
        attacks: attacks
            .layer(*layer)
            .iter()
            .map(|a| ScoreAttack { seconds: a.seconds, weight: weight(a.accent) })
            .collect(),
        // A layer's voice says little about the instrument in a recording.
        bands: None,
    };
    let (mut bars, mut beats) = (Vec::new(), Vec::new());
    for (section, pass) in clock.passes() {
        let Some(s) = groove.sections().get(section) else { continue };
        let at = |length, k| clock.seconds_after(section, pass, length, k);
        bars.extend((0..usize::from(s.bars)).filter_map(|k| at(s.meter.bar(), k)));
        beats.extend((0..s.beats()).filter_map(|k| at(s.meter.beat(), k)));
    }
    ScoreLoop { layers: layers.iter().map(layer).collect(), length: clock.total(), bars, beats }
}

/// Detected onsets with linear strengths.
pub fn linear_onsets(onsets: &[Onset]) -> Vec<fit::Onset> {
    let linear = |decibels: f32| 10_f64.powf(f64::from(decibels) / 20.0);
    let onset = |o: &Onset| fit::Onset {
        seconds: o.seconds,
        strength: linear(o.strength_db),
        low: linear(o.low_db),
        mid: linear(o.mid_db),
        high: linear(o.high_db),
    };
    onsets.iter().map(onset).collect()
}

/// The anchors of the groove's bar lines, as far as the recording has them.
pub fn anchors(alignment: &Alignment) -> Vec<Anchor> {
    let mut anchors: Vec<Anchor> = Vec::with_capacity(alignment.anchors.len());
    for found in &alignment.anchors {
        let at = Micros((found.seconds * 1e6).round() as i64);
        let is_inside = at.checked().is_ok() && ANCHOR_PASS.check(found.pass as i64 + 1).is_ok();
        if is_inside && anchors.last().is_none_or(|last| last.at < at) {
            let place = GridPlace { pass: found.pass as u32, bar: found.bar as u32, beat: Fraction::ZERO };
            anchors.push(Anchor { place, at });
        }
    }
    anchors
}
