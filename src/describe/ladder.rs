//! A practice ladder: its speeds, the tempo of each step, and the steps on which another hearing leads or cells become too short to
//! be felt.

use crate::analysis::tempo_row;
use crate::analysis::{Leader, Limits, Report, SpeedReport};
use crate::rhythm::{Fraction, Groove, Section, print_note_value};

/// Range of the playing speed, in percent of the written tempo.
const MIN_SPEED: i64 = 20;
const MAX_SPEED: i64 = 200;
/// Maximum number of steps of a ladder.
pub(crate) const MAX_STEPS: usize = 200;

/// Parses `FROM-TO/STEP` in percent into rising speeds. The last one is `TO` even if the steps do not reach it exactly. `None` if
/// the form is different, the range falls or exceeds 20 to 200 percent, or there are more than [`MAX_STEPS`].
pub(crate) fn speeds(text: &str) -> Option<Vec<Fraction>> {
    let percent = |word: &str| Fraction::parse(word.trim_end_matches('%'))?.over(Fraction::whole(100));
    let bound = |n: i64| Fraction::new(n, 100);
    let (range, step) = text.split_once('/')?;
    let (from, to) = range.split_once('-')?;
    let (from, to) = (percent(from)?, percent(to)?);
    if from < bound(MIN_SPEED)? || to > bound(MAX_SPEED)? {
        return None;
    }
    steps(from, to, percent(step)?)
}

fn steps(from: Fraction, to: Fraction, step: Fraction) -> Option<Vec<Fraction>> {
    if step.numer() <= 0 || to < from {
        return None;
    }
    let mut speeds = vec![from];
    while let Some(&last) = speeds.last().filter(|s| **s < to) {
        if speeds.len() == MAX_STEPS {
            return None;
        }
        speeds.push(last.plus(step)?.min(to));
    }
    Some(speeds)
}

/// A speed in percent: `70%`.
pub(crate) fn percent(speed: Fraction) -> String {
    format!("{}%", Fraction::whole(100).times(speed).unwrap_or(speed))
}

/// A section's tempo at a speed: `1/4 = 105`; empty if it cannot be represented.
pub(crate) fn tempo_of(section: &Section, speed: Fraction) -> String {
    let bpm = section.tempo.bpm().times(speed);
    bpm.map_or(String::new(), |bpm| format!("{} = {bpm}", print_note_value(section.tempo.unit())))
}

/// Maximum number of tempos listed.
const MAX_TEMPOS: usize = 4;

/// The speed and the tempos of the sections at that speed, without repeats: `50%, 1/4 = 66, then 1/4. = 29.25`.
pub(crate) fn tempo(groove: &Groove, speed: Fraction) -> String {
    let section_tempo = |s: &Section| {
        let bpm = s.tempo.bpm().times(speed)?;
        // Metronomes have no fractions.
        let rounded = if bpm.to_string().contains('/') { format!(" (about {:.1})", value(bpm)) } else { String::new() };
        Some(tempo_of(s, speed) + &rounded)
    };
    let mut tempos: Vec<String> = groove.sections().iter().filter_map(section_tempo).collect();
    tempos.dedup();
    if tempos.len() > MAX_TEMPOS {
        tempos.truncate(MAX_TEMPOS);
        tempos.push("others".into());
    }
    let tempos = tempos.join(", then ");
    if tempos.is_empty() { percent(speed) } else { format!("{}, {tempos}", percent(speed)) }
}

/// What changes on a step.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(crate) struct StepChange {
    /// The hearing that leads from this step on.
    pub(crate) leader: Option<Leader>,
    /// The length of the cells, if they are too short to be felt from this step on.
    pub(crate) unfelt_cell_ms: Option<f64>,
    /// Whether most listeners leave the written beat from this step on.
    pub(crate) beat_is_lost: bool,
}

/// The changes on each step of rising speeds, from a report made at any speed.
pub(crate) fn changes(report: &Report, limits: Limits, speeds: &[Fraction]) -> Vec<StepChange> {
    let (mut leader, mut felt, mut was_kept) = (None, true, true);
    let change = |speed: &Fraction| {
        let speed = value(*speed);
        let mut change = StepChange::default();
        if let Some(chart) = &report.speeds {
            let now = chart.change_at(speed * 100.0).map(|c| c.leader);
            if now != leader {
                change.leader = now;
            }
            leader = now;
            let is_lost = chart.is_lost(speed);
            change.beat_is_lost = is_lost && std::mem::replace(&mut was_kept, !is_lost);
        }
        let cell = report.cell_ms.map(|ms| ms * report.speed / speed);
        if let Some(cell) = cell.filter(|ms| felt && limits.feel(*ms) <= 0.0) {
            felt = false;
            change.unfelt_cell_ms = Some(cell);
        }
        change
    };
    speeds.iter().map(change).collect()
}

/// The leading hearing with its tempos at a speed.
pub(crate) fn leader_name(speeds: &SpeedReport, leader: Leader, speed: f64) -> String {
    match (leader, speeds.hearing(leader)) {
        (_, Some(h)) => format!("{} ({} BPM)", h.kind, tempo_row(&h.tempos(speed))),
        (Leader::Unclear, _) => "no pulse is clearly the likeliest".to_owned(),
        _ => "a pulse that keeps the written beat".to_owned(),
    }
}

/// The changes as text; empty where nothing changes.
pub(crate) fn notes(report: &Report, limits: Limits, speeds: &[Fraction]) -> Vec<String> {
    let note = |(change, speed): (StepChange, &Fraction)| {
        let chart = report.speeds.as_deref();
        let leads = change.leader.zip(chart).map(|(h, c)| match h {
            Leader::Unclear => leader_name(c, h, value(*speed)),
            _ => format!("most likely: {}", leader_name(c, h, value(*speed))),
        });
        let lost = change.beat_is_lost.then(|| "on this step most listeners lose the written beat".to_owned());
        let limit = limits.cell_ms;
        let unfelt = change
            .unfelt_cell_ms
            .map(|ms| format!("cells of {ms:.0} ms are too short to be felt (limit {limit:.0} ms)"));
        leads.into_iter().chain(lost).chain(unfelt).collect::<Vec<_>>().join("; ")
    };
    changes(report, limits, speeds).into_iter().zip(speeds).map(note).collect()
}

/// A speed as a number.
pub(crate) fn value(speed: Fraction) -> f64 {
    speed.numer() as f64 / speed.denom() as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_tempos_of_all_sections_are_told_and_fractions_with_what_is_near() {
        use crate::rhythm::{Edit, Meter, Tempo};
        let tempo = |bpm: &str, unit: (i64, i64)| {
            Tempo::new(
                Fraction::parse(bpm).expect("a number"),
                crate::rhythm::Time::new(unit.0, unit.1).expect("a time"),
            )
            .expect("a tempo")
        };
        let groove = Groove::blank(Meter::parse("4/4").expect("a meter"), tempo("400/3", (1, 4)), 1).expect("a groove");
        let half = Fraction::new(1, 2).expect("a half");
        assert_eq!(super::tempo(&groove, half), "50%, 1/4 = 200/3 (about 66.7)");
        let other = |g: Groove, name: &str, t| {
            let section = Section { name: name.into(), tempo: t, ..g.sections()[0].clone() };
            g.edited(&Edit::AddSection(g.sections().len(), section)).expect("a section")
        };
        let two = other(other(groove, "B", tempo("90", (3, 8))), "C", tempo("90", (3, 8)));
        assert_eq!(super::tempo(&two, half), "50%, 1/4 = 200/3 (about 66.7), then 1/4. = 45");
    }

    #[test]
    fn a_ladder_climbs_to_its_end() {
        let percent = |n, d| Fraction::new(n, d).expect("percent");
        assert_eq!(speeds("50-100/25"), Some(vec![percent(1, 2), percent(3, 4), Fraction::ONE]));
        assert_eq!(speeds("80%-100%/15").map(|s| s[1..].to_vec()), Some(vec![percent(95, 100), Fraction::ONE]));
        assert_eq!(speeds("70-70/5").map(|s| s.len()), Some(1));
        assert_eq!(speeds("62.5-100/12.5").map(|s| s.len()), Some(4));
        for bad in
            ["", "50", "50-100", "50-100/0", "100-50/10", "10-100/10", "50-201/10", "50-100/-5", "20-200/0.1", "a-b/c"]
        {
            assert_eq!(speeds(bad), None, "{bad}");
        }
    }
}
