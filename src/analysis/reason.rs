//! What can make a groove hard, with its numbers and as a sentence.

use std::fmt;

/// What makes a groove hard.
#[derive(Debug, Clone, PartialEq)]
pub enum Reason {
    /// Another pulse fits better than the written one.
    Rival {
        /// The hearing, as an index into the report.
        hearing: usize,
        /// The tempos of its stretches in BPM at the playing speed, at most four.
        bpm: Vec<f64>,
        /// The written tempos in beats of the meter per minute at the playing speed, at most four.
        written: Vec<f64>,
        /// Its score over the written beat's best score (of the beat, its doubles and halves).
        lead: f64,
    },
    /// Cells are at or under the limit of what can be felt.
    CellTooFast {
        /// Length of the shortest one in ms at the playing speed.
        ms: f64,
        /// Share of the attacks that stand in beats or tuplets cut into such cells.
        share: f64,
    },
    /// The beat is cut into more cells than players count.
    CellsPerBeat {
        /// Cells per beat.
        cells: u16,
        /// Share of the attacks that land so deep.
        share: f64,
    },
    /// Few attacks land on a beat or its half: share of attacks on neither.
    WeakLandings(f64),
    /// Beats on which nothing in the whole groove sounds: share of all beats, or of the strong ones where the beats of an additive meter
    /// are too fast to be felt as a pulse.
    SilentBeats {
        /// The share, 0 to 1.
        share: f64,
        /// Whether strong beats are meant.
        strong: bool,
    },
    /// The groups are nearly even, so that they pass for one length: longest over shortest.
    NearlyEven(f64),
    /// The figure does not fit the bar: bars and figures until they meet again, and whether it goes on so long.
    AgainstTheBar {
        /// Cells of the figure.
        units: u32,
        /// Bars until the figure's head falls on a downbeat again.
        bars: u64,
        /// Figures until then.
        figures: u64,
        /// Times it comes in a row.
        times: u32,
    },
    /// A layer's cycle does not come out even with the bar.
    CycleAgainstTheBar {
        /// The layer's name.
        layer: String,
        /// Cells of the cycle.
        cells: usize,
        /// Bars until its start falls on a downbeat again.
        bars: u64,
        /// Whether the section ends before that.
        breaks_off: bool,
    },
    /// A few group sizes in no repeated order: number of groups.
    NoPeriod(usize),
    /// The best pulse changes: number of stretches.
    Changes(usize),
    /// The written beat itself changes: its tempos in beats of the meter per minute at the playing speed, at most four.
    BeatChanges(Vec<f64>),
    /// Two layers of even attacks at rates not simply related: their names and rates.
    Unrelated {
        /// One layer, from 0.
        a: usize,
        /// The other layer.
        b: usize,
        /// Attacks of the second for so many of the first, where exact.
        ratio: (u32, u32),
    },
}

/// `58.5 then 132.0`.
fn row(tempos: &[f64]) -> String {
    tempos.iter().map(|t| format!("{t:.1}")).collect::<Vec<_>>().join(" then ")
}

/// The reason in one sentence.
impl fmt::Display for Reason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Reason::Rival { bpm, written, lead, .. } => {
                let (bpm, written) = (row(bpm), row(written));
                write!(
                    f,
                    "another pulse matches better: {bpm} BPM instead of the written {written}, {lead:.1} times its score"
                )
            }
            Reason::CellTooFast { ms, share } => {
                write!(
                    f,
                    "a cell lasts {ms:.0} ms, too fast to be felt as a subdivision ({:.0}% of the attacks need such cells)",
                    share * 100.0
                )
            }
            Reason::CellsPerBeat { cells, share } => {
                let percent = share * 100.0;
                write!(
                    f,
                    "{percent:.0}% of the attacks need up to {cells} cells per beat, more than players count with syllables"
                )
            }
            Reason::BeatChanges(tempos) => write!(f, "the written beat changes: {} BPM", row(tempos)),
            Reason::WeakLandings(share) => {
                write!(f, "{:.0}% of the attacks land neither on a beat nor on its half", share * 100.0)
            }
            Reason::SilentBeats { share, strong } => {
                let which = if *strong { "strong beats" } else { "beats" };
                write!(f, "nothing sounds on {:.0}% of the {which}", share * 100.0)
            }
            Reason::NearlyEven(ratio) => {
                write!(f, "the groups are nearly even (longest {ratio:.2} times the shortest) and sound equal")
            }
            Reason::AgainstTheBar { units, bars, figures, times } if u64::from(*times) < *figures => {
                write!(
                    f,
                    "the figure of {units} cells does not fit the bar and stops after {times} times (it would meet the bar after {bars} bars)"
                )
            }
            Reason::AgainstTheBar { units, bars, figures, .. } => {
                write!(f, "the figure of {units} cells meets the bar again after {bars} bars ({figures} figures)")
            }
            Reason::CycleAgainstTheBar { layer, cells, bars, breaks_off } => {
                let until = if *breaks_off { "would meet it after" } else { "meets it again after" };
                write!(f, "the cycle of '{layer}', {cells} cells, runs against the bar and {until} {bars} bars")
            }
            Reason::NoPeriod(n) => write!(f, "{n} groups of a few sizes without a repeating order"),
            Reason::Changes(n) => write!(f, "the best pulse changes: {n} stretches"),
            Reason::Unrelated { ratio, .. } => {
                write!(f, "two layers of even attacks run {} against {}", ratio.0, ratio.1)
            }
        }
    }
}
