//! Why a groove is hard: facts with number, threshold, source and place, each under the part of the hardness it belongs to.

mod beat;
mod structure;

use super::answer::HardnessPart;
use super::attacks::TimedAttack;
use super::hearing::Hearing;
use super::limits::{self, Limits};
use super::listener::{self, Cause, Gain};
use super::reason::Reason;
use super::report::{Need, Report};
use crate::rhythm::{Groove, Place};

/// One reason why a groove is hard.
#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    pub(crate) reason: Reason,
    /// The part of the hardness it belongs to; `None` for two streams, which is no part of it.
    pub(crate) part: Option<HardnessPart>,
    /// The number from which it is reported, in the reason's unit.
    pub(crate) threshold: f64,
    /// Where the threshold comes from.
    pub(crate) source: &'static str,
    /// Where in the groove it first holds.
    pub(crate) place: Option<Place>,
    /// How heavy it is within its part, 0 to 1 (ours, no source).
    pub(crate) weight: f64,
}

/// What the findings are drawn from.
pub(super) struct FindingContext<'a> {
    pub(super) groove: &'a Groove,
    /// The report without its findings.
    pub(super) report: &'a Report,
    pub(super) needs: &'a [Need],
    pub(super) everything: &'a [TimedAttack],
    /// Start and end of what is looked at, in seconds at full speed.
    pub(super) range: (f64, f64),
    /// The beat of all layers where it differs, and when it meets that of the layers asked about.
    pub(super) two_streams: Option<TwoStreams<'a>>,
    pub(super) limits: Limits,
}

impl FindingContext<'_> {
    fn written(&self) -> Option<&Hearing> {
        self.report.hearings.iter().find(|h| h.kind == super::hearing::HearingKind::Written)
    }
}

/// A reason that holds, with its place and weight as in a [`Finding`].
struct Fact {
    reason: Reason,
    place: Option<Place>,
    weight: f64,
}

/// Share of attacks off the beat and its half from which on landings are weak (ours, no source).
const MIN_WEAK_SHARE: f64 = 0.4;
/// Share of beats without a sound from which on they are missed (ours, no source).
const MIN_SILENT_SHARE: f64 = 0.25;
/// Share of downbeats struck up to which they are seldom struck (ours, no source).
const MAX_STRUCK_SHARE: f64 = 0.25;
/// Probability of a hearing from which on it is a reason (ours, no source).
const MIN_PROBABILITY: f64 = 0.1;
/// By how much more of the attacks a pulse has on it than the written beat to be a reason (ours, no source).
const MIN_MORE_ON_PULSE: f64 = 0.25;
/// Cells per beat up to which there are counting syllables, quintuplets and 32nds included (common practice, no source).
const MAX_COUNTED_CELLS: u16 = 8;
/// Longest over shortest group up to which groups pass for one length while cells are not felt (ours, no source).
const MAX_EVEN_RATIO: f64 = 1.5;
/// Groups from which on missing order is noticed (ours, no source).
const MIN_ORDERED_GROUPS: usize = 12;
/// Share of the accents off the beat from which on it is told (ours, no source).
const MIN_OFF_BEAT_SHARE: f64 = 0.5;

/// What a reason rests on.
struct Basis {
    /// The parts of the hardness it can explain, the likeliest first.
    parts: &'static [HardnessPart],
    /// As in a [`Finding`].
    threshold: f64,
    source: &'static str,
}

impl Basis {
    fn new(reason: &Reason, limits: Limits) -> Self {
        use HardnessPart::{Average, Changing, Displaced, OtherRate, Unequal};
        use Reason as R;
        const FAST_CELLS: &[HardnessPart] = &[Average, Changing, Unequal];
        const OFF_THE_BEAT: &[HardnessPart] = &[Displaced, OtherRate, Average, Unequal, Changing];
        const OVER_THE_BEAT: &[HardnessPart] = &[OtherRate, Average, Unequal, Changing];
        const OURS: &str = "chosen by teeter, no published source";
        const SYLLABLES: &str =
            "common practice, no published source: there are counting syllables down to eighths of the beat";
        let (slowest_beat, tempo_change) = (limits::SLOWEST_BEAT, limits::TEMPO_CHANGE);
        let (parts, threshold, source): (&[HardnessPart], f64, &str) = match reason {
            R::CellTooFast { .. } => (FAST_CELLS, limits.cell_ms, limits::FASTEST_CELL.source),
            R::CellsPerBeat { .. } => (FAST_CELLS, f64::from(MAX_COUNTED_CELLS), SYLLABLES),
            R::NearlyEven { .. } => (FAST_CELLS, MAX_EVEN_RATIO, OURS),
            R::WeakLandings { .. } => (OFF_THE_BEAT, MIN_WEAK_SHARE, OURS),
            R::SilentBeats(_) => (OFF_THE_BEAT, MIN_SILENT_SHARE, OURS),
            R::DownbeatSilent { .. } => (OFF_THE_BEAT, MAX_STRUCK_SHARE, OURS),
            R::LongSilence(_) => (OFF_THE_BEAT, slowest_beat.low / 1000.0, slowest_beat.source),
            R::AgainstTheBar { .. } => (OVER_THE_BEAT, 1.0, "the least common multiple of figure and bar"),
            R::CycleAgainstTheBar { .. } => (OVER_THE_BEAT, 1.0, "the least common multiple of cycle and bar"),
            R::AccentsAgainstFigure { .. } => (OVER_THE_BEAT, 1.0, "neither length is a multiple of the other"),
            R::NoPeriod(_) => (OVER_THE_BEAT, MIN_ORDERED_GROUPS as f64, OURS),
            R::OddBar(_) => (&[Unequal, OtherRate, Changing], 5.0, OURS),
            R::MeterChange(_) => (&[Changing, Unequal, OtherRate, Displaced], 2.0, OURS),
            R::BeatChanges(_) => (&[Changing, OtherRate], tempo_change.value, tempo_change.source),
            R::AccentsOffBeat(_) => (&[Displaced, OtherRate, Unequal, Average], MIN_OFF_BEAT_SHARE, OURS),
            R::Unrelated { .. } => {
                (&[OtherRate, Displaced, Average, Changing], 1.0, "neither rate is a whole multiple of the other")
            }
            R::UnequalBeats { .. } => (&[Unequal], MIN_PROBABILITY, OURS),
            R::Displacement(_) => (&[Displaced], MIN_PROBABILITY, OURS),
            R::CrossRhythm { .. } => (&[OtherRate], MIN_PROBABILITY, OURS),
            R::Changes(_) => (&[Changing], tempo_change.value, tempo_change.source),
            R::MoreOnPulse { .. } => (&[Average], MIN_MORE_ON_PULSE, OURS),
            R::TwoStreams { .. } => (&[], listener::MIN_DIFFERENCE, OURS),
        };
        Self { parts, threshold, source }
    }
}

/// The findings, those of the largest part first. Each is listed under the largest of its parts; a part below
/// [`super::answer::MIN_PART`] has none.
pub(super) fn findings(m: &FindingContext<'_>) -> Vec<Finding> {
    let parts = m.report.answer.map(|a| a.parts()).unwrap_or_default();
    let finding = |Fact { reason, place, weight }: Fact| {
        let Basis { parts: possible, threshold, source } = Basis::new(&reason, m.limits);
        let part = parts.iter().map(|p| p.0).find(|p| possible.contains(p));
        Finding { reason, part, threshold, source, place, weight }
    };
    let mut found: Vec<Finding> = beat::two_streams(m).map(finding).into_iter().collect();
    if !parts.is_empty() {
        let facts = beat::facts(m).into_iter().chain(structure::facts(m));
        found.extend(facts.map(finding).filter(|f| f.part.is_some()));
    }
    let rank = |f: &Finding| parts.iter().position(|p| Some(p.0) == f.part);
    found.sort_by(|a, b| rank(a).cmp(&rank(b)).then(b.weight.total_cmp(&a.weight)));
    found
}

/// The first hearings of the layers asked about and of all layers, where these lead to different beats.
pub(super) struct TwoStreams<'a> {
    /// P(written) of the followed layers less that of all layers.
    pub(super) difference: f64,
    pub(super) followed: &'a Hearing,
    pub(super) all: &'a Hearing,
    /// Seconds at the playing speed from one coincidence to the next, if both are even throughout.
    pub(super) meets_after: Option<f64>,
}

/// Orders the findings of each part by what the written beat would regain without them, then by weight.
pub(super) fn order_by_gain(findings: &mut [Finding], gains: &[Gain]) {
    let gain = |f: &Finding| {
        let causes = causes(&f.reason);
        let of = |g: &Gain| causes.contains(&g.cause);
        gains.iter().filter(|g| of(g)).map(|g| g.gain).fold(0.0, f64::max)
    };
    // The parts keep their order: only neighbours of one part change places.
    for of_part in findings.chunk_by_mut(|a, b| a.part == b.part) {
        of_part.sort_by(|a, b| gain(b).total_cmp(&gain(a)).then(b.weight.total_cmp(&a.weight)));
    }
}

/// What would have to be otherwise for a reason to go.
fn causes(reason: &Reason) -> Vec<Cause> {
    match reason {
        Reason::CellTooFast { .. } | Reason::CellsPerBeat { .. } | Reason::NearlyEven { .. } => vec![Cause::FastCells],
        Reason::SilentBeats(_)
        | Reason::DownbeatSilent { .. }
        | Reason::LongSilence(_)
        | Reason::WeakLandings { .. } => {
            vec![Cause::SilentBeats]
        }
        Reason::AccentsOffBeat(_) | Reason::AccentsAgainstFigure { .. } => vec![Cause::Accents],
        Reason::UnequalBeats { .. } | Reason::OddBar(_) => vec![Cause::UnequalBeats],
        Reason::Displacement(_) => vec![Cause::FirstAttack, Cause::Accents],
        Reason::CrossRhythm { .. } => vec![Cause::Tempo],
        Reason::Unrelated { a, b, .. } => vec![Cause::Layer(*a), Cause::Layer(*b)],
        _ => Vec::new(),
    }
}

fn place_of(attack: &TimedAttack) -> Place {
    Place { layer: attack.layer, section: attack.section, cell: attack.cell }
}
