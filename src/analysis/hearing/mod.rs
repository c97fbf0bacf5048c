//! Hearings: the pulses under which a listener may take some attacks, with their fit.
//!
//! Every hearing starts as a candidate (pulses in seconds, stretches), and one function fits and scores all candidates. `grid` has the
//! written beat, its relatives and pulses of whole cells; `steady` has pulses off the grid (Fourier transform, least squares); `changing`
//! finds the cheapest cut into stretches. `speeds` ranks them at every speed from 20% to 200% and decides what a report keeps, so a
//! hearing has one number everywhere.

mod changing;
mod grid;
mod score;
mod speeds;
mod steady;

pub(crate) use score::Parts;
pub(crate) use score::Scale;
use speeds::Profile;
pub(crate) use speeds::Turn;

use super::attacks::TimedAttack;
use super::clock::Clock;
use super::limits;
use crate::rhythm::Groove;

/// Where a hearing comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Kind {
    /// The written beat.
    Written,
    /// The strong beats of an additive meter: the written pulse of unequal steps.
    Heads,
    /// A relative of the written beat: its period is `.0 / .1` beats, and it starts on a beat.
    Relative(u8, u8),
    /// A pulse of whole cells that is none of these.
    Cells,
    /// One period and phase for everything, at the average rate of the attacks: one attack a pulse.
    Average,
    /// One period and phase for everything, not bound to the cells.
    Steady,
    /// A pulse that changes from stretch to stretch.
    Changing,
}

impl Kind {
    /// Whether players count it along with the written meter: the beat, the strong beats, the beat's double and half.
    pub fn is_counted(self) -> bool {
        matches!(self, Kind::Written | Kind::Heads | Kind::Relative(1, 2) | Kind::Relative(2, 1))
    }
}

/// The attacks over which a hearing keeps one pulse.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stretch {
    /// First attack, as an index into the report's attacks.
    pub first: usize,
    /// Number of attacks.
    pub attacks: usize,
    /// Start in seconds at full speed: its first pulse.
    pub start: f64,
    /// Period of the pulse in seconds at full speed, by least squares.
    pub period: f64,
    /// Tempo in pulses per minute at the playing speed, by least squares.
    pub bpm: f64,
    /// Tempo in pulses per minute at the playing speed by the mean rate: pulses from the first attack to the first attack of
    /// the next stretch (or the loop's return), over the time between.
    pub mean_bpm: f64,
    /// Its number of pulses.
    pub pulses: usize,
    /// RMS distance of the agreeing attacks from their pulses, in ms at the playing speed.
    pub wobble_ms: f64,
    /// The same as a share of the period, 0 to 0.175.
    pub wobble: f64,
}

/// A pulse, steady or changing, under which a listener may take the groove.
#[derive(Debug, Clone, PartialEq)]
pub struct Hearing {
    /// Where it comes from.
    pub kind: Kind,
    /// Its stretches, at least one.
    pub stretches: Vec<Stretch>,
    /// Its pulses in seconds at full speed, in order.
    pub pulses: Vec<f64>,
    /// Attacks that agree with a pulse.
    pub on_pulse: usize,
    /// Attacks between pulses, by the parts the pulse must be cut into to reach them: halves, thirds, quarters and so on.
    pub between: Vec<(u16, usize)>,
    /// Attacks reached by no such cut.
    pub astray: usize,
    /// Pulses on which none of the attacks falls.
    pub silent: usize,
    /// Pulses on which nothing in the whole groove falls.
    pub unsounded: usize,
    /// RMS distance of the agreeing attacks from their pulses, in ms at the playing speed.
    pub wobble_ms: f64,
    /// The same as a share of the period, 0 to 0.175.
    pub wobble: f64,
    /// Tempo salience of its mean period at the playing speed, 0 to 1.
    pub salience: f64,
    /// Whether it comes out even with what is looked at, so that it goes on through the loop's return; else it begins anew there.
    pub closes: bool,
    /// The parts of its score.
    pub parts: Parts,
    /// The score, 0 to 100: the product of its parts.
    pub score: f64,
}

impl Hearing {
    /// Share of the attacks that agree with a pulse, 0 to 1.
    pub fn share(&self) -> f64 {
        let all = self.on_pulse + self.astray + self.between.iter().map(|b| b.1).sum::<usize>();
        if all == 0 { 0.0 } else { self.on_pulse as f64 / all as f64 }
    }

    /// Whether its pulses lie on cells of the written grid.
    pub fn on_cells(&self) -> bool {
        !matches!(self.kind, Kind::Average | Kind::Steady | Kind::Changing)
    }

    /// Mean period in seconds at full speed.
    pub fn period(&self) -> f64 {
        mean_period(&self.pulses)
    }

    /// Tempo in pulses per minute at full speed times `speed`: that of the stretch with most attacks, the first of those. A mean
    /// over stretches would be a tempo that nobody hears.
    pub fn bpm(&self, speed: f64) -> f64 {
        let longest = self.stretches.iter().fold(None, |best: Option<&Stretch>, s| match best {
            Some(b) if b.attacks >= s.attacks => best,
            _ => Some(s),
        });
        60.0 * speed / longest.map_or_else(|| self.period(), |s| s.period)
    }

    /// The tempos of its stretches in their order at full speed times `speed`, those without an attack and those that cannot be told
    /// from the one before left out; at most four.
    pub fn tempos(&self, speed: f64) -> Vec<f64> {
        let mut tempos: Vec<f64> = Vec::new();
        for s in self.stretches.iter().filter(|s| s.attacks > 0) {
            let bpm = 60.0 * speed / s.period;
            let told = |last: &f64| (bpm / last - 1.0).abs() * 100.0 >= limits::TEMPO_CHANGE.value;
            if tempos.last().is_none_or(told) {
                tempos.push(bpm);
            }
        }
        tempos.truncate(4);
        tempos
    }
}

/// The words for the hearing's kind.
impl std::fmt::Display for Kind {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Kind::Written => f.write_str("written beat"),
            Kind::Heads => f.write_str("strong beats"),
            Kind::Relative(1, 2) => f.write_str("double the beat"),
            Kind::Relative(3, 2) => f.write_str("dotted beat"),
            Kind::Relative(3, 4) => f.write_str("dotted half-beat"),
            Kind::Relative(1, 3) => f.write_str("thirds of the beat"),
            Kind::Relative(2, 3) => f.write_str("two thirds of the beat"),
            Kind::Relative(n, 1) => write!(f, "every {n} beats"),
            Kind::Relative(n, d) => write!(f, "{n}/{d} of a beat"),
            Kind::Cells => f.write_str("grid pulse"),
            Kind::Average => f.write_str("average pulse"),
            Kind::Steady => f.write_str("steady pulse"),
            Kind::Changing => f.write_str("changing pulse"),
        }
    }
}

/// A hearing before it is fitted: its pulses and its stretches.
#[derive(Debug, Clone, PartialEq)]
struct Draft {
    kind: Kind,
    /// Pulses in seconds.
    pulses: Vec<f64>,
    /// For each stretch, the index of its first pulse and its period in seconds.
    stretches: Vec<(usize, f64)>,
    /// Whether its pulses lie on the cells, so that only exact positions count as between.
    exact: bool,
}

/// Hearings kept in a report besides those that are first at some speed.
const KEPT: usize = 10;

/// All hearings of some attacks, best first at the playing speed, and the speeds at which another one becomes the first.
/// `everything` are the attacks of all heard layers, Without attacks there is no hearing.
pub(crate) fn hearings(
    groove: &Groove,
    clock: &Clock,
    attacks: &[TimedAttack],
    everything: &[TimedAttack],
    scale: &Scale,
) -> (Vec<Hearing>, Vec<Turn>) {
    if attacks.is_empty() {
        return (Vec::new(), Vec::new());
    }
    let times: Vec<f64> = attacks.iter().map(|a| a.seconds).collect();
    let all: Vec<f64> = everything.iter().map(|a| a.seconds).collect();
    let range = scale.range;
    let mut drafts = grid::drafts(groove, clock, attacks, range);
    drafts.extend(steady::drafts(attacks, range));
    drafts.extend(changing::drafts(attacks, range));
    let mut pool: Vec<(Hearing, Profile)> = Vec::new();
    for draft in drafts {
        if let Some(fitted) = score::fit(&draft, &times, &all, scale) {
            add(&mut pool, fitted);
        }
    }
    speeds::rank(pool, scale, KEPT)
}

/// Adds a hearing unless it is there already. Of hearings that differ only in phase, both on the cells or both not, the one stays that
/// more attacks agree with at any speed; the written beat and its relatives always do.
fn add(pool: &mut Vec<(Hearing, Profile)>, fitted: (Hearing, Profile)) {
    if pool.iter().any(|(h, _)| same(h, &fitted.0)) {
        return;
    }
    let like = |h: &Hearing| alike(h, &fitted.0) && h.on_cells() == fitted.0.on_cells();
    match pool.iter().position(|(h, _)| like(h)) {
        Some(i) if fitted.1.plain() > pool[i].1.plain() + score::HAIR => pool[i] = fitted,
        Some(_) => {}
        None => pool.push(fitted),
    }
}

/// Whether two hearings are pulses of one rate and differ only in phase, and neither is counted by the meter.
pub(super) fn alike(a: &Hearing, b: &Hearing) -> bool {
    let free = |h: &Hearing| matches!(h.kind, Kind::Cells | Kind::Average | Kind::Steady) && h.stretches.len() == 1;
    free(a) && free(b) && (a.period() / b.period() - 1.0).abs() < 0.003
}

fn mean_period(pulses: &[f64]) -> f64 {
    match pulses {
        [first, .., last] => (last - first) / (pulses.len() - 1) as f64,
        _ => f64::INFINITY,
    }
}

/// Whether two hearings cannot be told apart: as many stretches, and nearly all pulses at the same times.
fn same(a: &Hearing, b: &Hearing) -> bool {
    if a.pulses.len().abs_diff(b.pulses.len()) > 1 {
        return false;
    }
    let period = a.period();
    let tolerance = period * 0.03;
    let mut far = 0;
    let mut j = 0;
    for &p in &a.pulses {
        while j + 1 < b.pulses.len() && (b.pulses[j + 1] - p).abs() <= (b.pulses[j] - p).abs() + score::HAIR {
            j += 1;
        }
        far += usize::from((b.pulses[j] - p).abs() > tolerance + score::HAIR);
    }
    far * 20 <= a.pulses.len()
}
