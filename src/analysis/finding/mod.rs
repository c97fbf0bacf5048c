//! Why a groove is hard: facts with number, threshold, source and place, each under the part of the hardness it belongs to.

mod beat;
mod built;

use super::answer::{Answer, Part};
use super::attacks::TimedAttack;
use super::clock::Clock;
use super::hearing::Hearing;
use super::limits::Limits;
use super::listener::{Cause, Gain};
use super::reason::Reason;
use super::report::{LayerReport, Need};
use super::stream::{Pair, Stream};
use crate::rhythm::{Groove, Place};

/// One reason why a groove is hard.
#[derive(Debug, Clone, PartialEq)]
pub struct Finding {
    pub(crate) reason: Reason,
    /// The part of the hardness it belongs to; `None` for two streams, which is no part of it.
    pub(crate) part: Option<Part>,
    /// The number from which it is reported, in the reason's unit.
    pub(crate) threshold: f64,
    /// Where the threshold comes from.
    pub(crate) source: &'static str,
    /// Where in the groove it first holds.
    pub(crate) place: Option<Place>,
    /// How heavy it is within its part, 0 to 1 (ours, no source).
    pub(crate) weight: f64,
}

const OURS: &str = "chosen by teeter, no published source";

/// What the findings are drawn from.
pub(super) struct Material<'a> {
    pub(super) groove: &'a Groove,
    pub(super) layers: &'a [LayerReport],
    pub(super) focus: &'a [usize],
    pub(super) attacks: &'a [TimedAttack],
    pub(super) needs: &'a [Need],
    pub(super) everything: &'a [TimedAttack],
    pub(super) clock: &'a Clock,
    /// Start and end of what is looked at, in seconds at full speed.
    pub(super) range: (f64, f64),
    pub(super) answer: &'a Answer,
    pub(super) hearings: &'a [Hearing],
    /// The beat of all layers where it differs, and when it meets that of the layers asked about.
    pub(super) two_streams: Option<TwoStreams<'a>>,
    pub(super) streams: &'a [Stream],
    pub(super) pairs: &'a [Pair],
    pub(super) cell_ms: Option<f64>,
    pub(super) speed: f64,
    pub(super) limits: Limits,
}

impl Material<'_> {
    fn written(&self) -> Option<&Hearing> {
        self.hearings.iter().find(|h| h.kind == super::hearing::Kind::Written)
    }
}

/// A fact, and the parts of the hardness it can explain, the likeliest first.
struct Fact {
    reason: Reason,
    parts: &'static [Part],
    threshold: f64,
    source: &'static str,
    place: Option<Place>,
    weight: f64,
}

/// The findings, those of the largest part first. Each is listed under the largest of its parts; a part below
/// [`super::answer::MIN_PART`] has none.
pub(super) fn findings(m: &Material<'_>) -> Vec<Finding> {
    let parts = m.answer.parts();
    let mut found: Vec<Finding> = m.two_streams.as_ref().map(|t| beat::two_streams(t, m.speed)).into_iter().collect();
    if !parts.is_empty() {
        let facts = beat::facts(m).into_iter().chain(built::facts(m));
        found.extend(facts.filter_map(|f| {
            let part = parts.iter().find(|p| f.parts.contains(&p.0))?.0;
            let Fact { reason, threshold, source, place, weight, .. } = f;
            Some(Finding { reason, part: Some(part), threshold, source, place, weight })
        }));
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
