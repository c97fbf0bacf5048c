//! The beats of a groove in its recording.

use crate::rhythm::{AnchorMap, Groove, MeterKind};

/// Every beat of the first pass through a groove, in playing order.
#[derive(Debug, Clone, PartialEq)]
pub struct GrooveBeats {
    /// Seconds of every beat, and of the end of the last one.
    pub seconds: Vec<f64>,
    /// Section of every beat, the pass through it, and the beat within that pass.
    pub places: Vec<(usize, usize, usize)>,
    /// Beats in a bar, if that is the same everywhere.
    pub per_bar: Option<usize>,
}

impl GrooveBeats {
    /// The beats of a groove, as its anchors place them. `None` without an anchor.
    pub fn of(groove: &Groove) -> Option<Self> {
        let map = AnchorMap::of(groove)?;
        let (mut seconds, mut places) = (Vec::new(), Vec::new());
        for (section, s) in groove.sections().iter().enumerate() {
            let beat = s.meter.beat();
            for pass in 0..usize::from(s.times) {
                for k in 0..s.beats() {
                    let score = groove.score_time(section, pass, beat.repeated(k)?)?;
                    seconds.push(map.recording_time(score) as f64 * 1e-9);
                    places.push((section, pass, k));
                }
            }
        }
        seconds.push(map.recording_time(map.pass_length()) as f64 * 1e-9);
        let mut per_bar = groove.sections().iter().map(|s| s.meter.beats());
        let first = per_bar.next();
        let per_bar = first.filter(|first| per_bar.all(|other| other == *first));
        Some(Self { seconds, places, per_bar })
    }
}

/// Cells per beat that strokes of a meter may stand on, the usual one first.
pub fn divisions(kind: MeterKind) -> &'static [u32] {
    match kind {
        MeterKind::Simple => &[4, 2, 3, 1, 8, 6],
        MeterKind::Compound => &[3, 6],
        MeterKind::Additive => &[1, 2],
    }
}
