//! What can make a groove hard, with its numbers and as a sentence.

use super::hearing::HearingKind;
use std::fmt;

/// What makes a groove hard. Tempos and times are those of the playing speed, shares are 0 to 1.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Reason {
    /// Cells are at or under the limit of what can be felt: length of the shortest, share of the attacks in beats cut so.
    CellTooFast { ms: f64, share: f64 },
    /// The beat is cut into more cells than there are syllables for: cells per beat, share of the attacks that need them.
    CellsPerBeat { cells: u16, share: f64 },
    /// Attacks on neither a beat nor its half, where beats are silent.
    WeakLandings {
        share: f64,
        /// Whether some meter is compound, where thirds of the beat count as plain.
        has_compound: bool,
    },
    /// Beats on which nothing in the whole groove sounds.
    SilentBeats(f64),
    /// Downbeats are seldom struck.
    DownbeatSilent { struck: usize, bars: usize },
    /// A silence that is longer than a pulse can be kept, in seconds.
    LongSilence(f64),
    /// Two sizes of groups that pass for one.
    NearlyEven { long: u32, short: u32, difference_ms: f64 },
    /// The figure does not fit the bar.
    AgainstTheBar {
        /// Cells of the figure.
        units: u32,
        /// Bars and figures until the figure's head falls on a downbeat again.
        bars: u64,
        figures: u64,
        /// Times it comes in a row.
        times: u32,
    },
    /// A layer's cycle does not come out even with the bar.
    CycleAgainstTheBar {
        layer: String,
        cells: usize,
        /// Bars until its start falls on a downbeat again.
        bars: u64,
        /// Whether the section ends before that.
        breaks_off: bool,
    },
    /// A few group sizes in no repeated order: number of groups.
    NoPeriod(usize),
    /// Beats of two sizes, in units; by how much the long ones are longer.
    UnequalBeats { sizes: String, limp_ms: f64 },
    /// A bar of five, seven or more beats of an odd number.
    OddBar(usize),
    /// Sections of different meters: how many meters.
    MeterChange(usize),
    /// The written beat changes: its tempos, at most four.
    BeatChanges(Vec<f64>),
    /// So many even pulses in the time of so many beats.
    CrossRhythm { pulses: u8, beats: u8 },
    /// The attacks form the beat in another place.
    Displacement(HearingKind),
    /// Accents that are not on a beat.
    AccentsOffBeat(f64),
    /// Accents at even distances against a figure of another length, in cells.
    AccentsAgainstFigure { accents: u32, figure: u32 },
    /// An average pulse has more of the attacks on it than the written beat: the shares.
    MoreOnPulse { pulse: f64, written: f64 },
    /// A likely pulse changes: the tempos of its stretches, at most four.
    Changes(Vec<f64>),
    /// Two layers of even attacks at rates not simply related.
    Unrelated { a: usize, b: usize, ratio: (u32, u32) },
    /// The layers asked about give another beat than all layers together.
    TwoStreams {
        /// What is heard of the layers asked about, with its tempos, and of all layers.
        followed: String,
        all: String,
        /// The ratio of two even pulses, or the nearest simple one.
        ratio: Option<(u32, u32)>,
        is_exact: bool,
        /// Seconds from one meeting to the next, where they meet.
        meets_after: Option<f64>,
    },
}

/// `58.5 then 132.0`.
pub(crate) fn tempo_row(tempos: &[f64]) -> String {
    tempos.iter().map(|t| format!("{t:.1}")).collect::<Vec<_>>().join(" then ")
}

/// A share or a probability in whole percent; only 0 is shown as `0%`.
pub(crate) fn percent(share: f64) -> String {
    match (share * 100.0).round() {
        p if p < 1.0 && share > 0.0 => "<1%".to_owned(),
        p => format!("{:.0}%", p + 0.0),
    }
}

impl Reason {
    /// The names of all reasons, in JSON and in conditions.
    pub(crate) const NAMES: [&str; 22] = [
        "cell-too-fast",
        "cells-per-beat",
        "weak-landings",
        "silent-beats",
        "downbeat-silent",
        "long-silence",
        "nearly-even",
        "against-the-bar",
        "cycle-against-the-bar",
        "no-period",
        "unequal-beats",
        "odd-bar",
        "meter-change",
        "beat-changes",
        "cross-rhythm",
        "displacement",
        "accents-off-beat",
        "accents-against-figure",
        "more-on-pulse",
        "changes",
        "unrelated-layers",
        "two-streams",
    ];

    /// Its name.
    pub(crate) fn name(&self) -> &'static str {
        use Reason as R;
        match self {
            R::CellTooFast { .. } => "cell-too-fast",
            R::CellsPerBeat { .. } => "cells-per-beat",
            R::WeakLandings { .. } => "weak-landings",
            R::SilentBeats(_) => "silent-beats",
            R::DownbeatSilent { .. } => "downbeat-silent",
            R::LongSilence(_) => "long-silence",
            R::NearlyEven { .. } => "nearly-even",
            R::AgainstTheBar { .. } => "against-the-bar",
            R::CycleAgainstTheBar { .. } => "cycle-against-the-bar",
            R::NoPeriod(_) => "no-period",
            R::UnequalBeats { .. } => "unequal-beats",
            R::OddBar(_) => "odd-bar",
            R::MeterChange(_) => "meter-change",
            R::BeatChanges(_) => "beat-changes",
            R::CrossRhythm { .. } => "cross-rhythm",
            R::Displacement(_) => "displacement",
            R::AccentsOffBeat(_) => "accents-off-beat",
            R::AccentsAgainstFigure { .. } => "accents-against-figure",
            R::MoreOnPulse { .. } => "more-on-pulse",
            R::Changes(_) => "changes",
            R::Unrelated { .. } => "unrelated-layers",
            R::TwoStreams { .. } => "two-streams",
        }
    }

    /// Its name in a few words.
    pub(crate) fn short(&self) -> &'static str {
        use Reason as R;
        match self {
            R::CellTooFast { .. } => "cells too fast to feel",
            R::CellsPerBeat { .. } => "many cells per beat",
            R::WeakLandings { .. } => "few attacks on the beat or its half",
            R::SilentBeats(_) => "silent beats",
            R::DownbeatSilent { .. } => "silent downbeats",
            R::LongSilence(_) => "a long silence",
            R::NearlyEven { .. } => "groups nearly even",
            R::AgainstTheBar { .. } => "figure against the bar",
            R::CycleAgainstTheBar { .. } => "cycle against the bar",
            R::NoPeriod(_) => "groups in no order",
            R::UnequalBeats { .. } => "unequal beats",
            R::OddBar(_) => "odd number of beats",
            R::MeterChange(_) => "changes of meter",
            R::BeatChanges(_) => "changes of tempo",
            R::CrossRhythm { .. } => "cross-rhythm",
            R::Displacement(_) => "shifted beat",
            R::AccentsOffBeat(_) => "accents off the beat",
            R::AccentsAgainstFigure { .. } => "accents against the figure",
            R::MoreOnPulse { .. } => "more attacks on another pulse",
            R::Changes(_) => "changing pulse",
            R::Unrelated { .. } => "layers at unrelated rates",
            R::TwoStreams { .. } => "competing pulses",
        }
    }
}

/// The reason in one sentence.
impl fmt::Display for Reason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::CellTooFast { ms, share } => write!(
                f,
                "a cell lasts {ms:.0} ms, too short to be felt as a subdivision ({} of the attacks need such cells)",
                percent(*share)
            ),
            Self::CellsPerBeat { cells, share } => write!(
                f,
                "{} of the attacks need up to {cells} cells per beat, more than there are counting syllables for",
                percent(*share)
            ),
            Self::BeatChanges(tempos) => write!(f, "the written beat changes: {} BPM", tempo_row(tempos)),
            Self::WeakLandings { share, has_compound } => {
                let thirds = if *has_compound { " (or, in a compound meter, on a third of a beat)" } else { "" };
                let share = percent(*share);
                write!(f, "{share} of the attacks land neither on a beat nor halfway between two beats{thirds}")
            }
            Self::SilentBeats(share) => write!(f, "{} of the beats have no attack in any layer", percent(*share)),
            Self::DownbeatSilent { struck: 0, bars: 1 } => write!(f, "the downbeat has no attack"),
            Self::DownbeatSilent { struck: 0, bars } => write!(f, "none of the {bars} downbeats has an attack"),
            Self::DownbeatSilent { struck, bars } => write!(f, "an attack on only {struck} of {bars} downbeats"),
            Self::LongSilence(seconds) => {
                write!(f, "{seconds:.1} s without an attack, longer than a pulse can be kept without counting")
            }
            Self::NearlyEven { long, short, difference_ms } => write!(
                f,
                "groups of {long} and {short} differ by {difference_ms:.0} ms: the difference is heard, but the cells can hardly be counted"
            ),
            Self::AgainstTheBar { units, bars, figures, times } if u64::from(*times) < *figures => write!(
                f,
                "the figure of {units} cells does not fit the bar; it is played {times} times, but would return to the same place in the bar only after {bars} bars"
            ),
            Self::AgainstTheBar { units, bars, figures, .. } => {
                write!(
                    f,
                    "the figure of {units} cells returns to the same place in the bar only after {bars} bars ({figures} repetitions)"
                )
            }
            Self::CycleAgainstTheBar { layer, cells, bars, breaks_off } => {
                let returns = if *breaks_off { "would return" } else { "returns" };
                write!(
                    f,
                    "the cycle of '{layer}' ({cells} cells) runs against the bar and {returns} to the same place in it after {bars} bars"
                )
            }
            Self::NoPeriod(n) => write!(f, "{n} groups of only a few sizes, in an order that hardly repeats"),
            Self::UnequalBeats { sizes, limp_ms } => {
                write!(f, "a listener may hear unequal beats, {sizes}: the long ones last {limp_ms:.0} ms longer")
            }
            Self::OddBar(beats) => write!(f, "a bar has {beats} beats, an odd number"),
            Self::MeterChange(meters) => write!(f, "the meter changes: {meters} different meters"),
            Self::CrossRhythm { pulses, beats } => {
                write!(f, "a listener may hear {pulses} even pulses in the time of {beats} beats")
            }
            Self::Displacement(HearingKind::Displaced { late, .. }) => {
                write!(f, "a listener may hear a shifted beat: {late}")
            }
            Self::Displacement(kind) => write!(f, "a listener may hear a shifted beat: {kind}"),
            Self::AccentsOffBeat(share) => write!(f, "{} of the accents are not on a beat", percent(*share)),
            Self::AccentsAgainstFigure { accents, figure } => {
                write!(f, "accents every {accents} cells run against the figure of {figure} cells")
            }
            Self::Changes(tempos) => write!(f, "a listener may hear a changing pulse: {} BPM", tempo_row(tempos)),
            Self::MoreOnPulse { pulse, written } => write!(
                f,
                "{} of the attacks are on a pulse near their average rate, {} on the written beat",
                percent(*pulse),
                percent(*written)
            ),
            Self::Unrelated { ratio, .. } => {
                write!(f, "two layers of even attacks run {} against {}", ratio.0, ratio.1)
            }
            Self::TwoStreams { followed, all, ratio, is_exact, meets_after } => {
                write!(f, "two pulses compete: {followed} in the layers analyzed, {all} in all layers together")?;
                match ratio {
                    Some((1, 1)) => return write!(f, ", but the pulses do not coincide everywhere"),
                    Some((a, b)) if *is_exact => write!(f, ", a ratio of {a} to {b}")?,
                    Some((a, b)) => write!(f, ", a ratio near {a} to {b}")?,
                    None => {}
                }
                meets_after.map_or(Ok(()), |s| write!(f, ", coinciding every {s:.2} s"))
            }
        }
    }
}
