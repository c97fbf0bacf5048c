//! A ladder as words have it: its speeds, the tempo of each step, where another hearing becomes the first and where cells become
//! too short to be felt. It must not know sound, nor how the lines are drawn.

use super::tempos;
use crate::analysis::{Limits, Report};
use crate::rhythm::{Fraction, Groove, Section, print_note_value};

/// Slowest and fastest playing speed, in percent of the written tempo.
const MIN_SPEED: i64 = 20;
const MAX_SPEED: i64 = 200;
/// Most steps of a ladder.
pub const STEPS: usize = 200;

/// The speeds of `FROM-TO/STEP` in percent, in rising order: `FROM`, then each `STEP` faster, the last one `TO` also where the
/// steps do not meet it. `None` if it has another form, goes down or leaves 20 to 200 percent, or has more than [`STEPS`].
pub fn speeds(words: &str) -> Option<Vec<Fraction>> {
    let percent = |text: &str| Fraction::parse(text.trim_end_matches('%'))?.over(Fraction::whole(100));
    let bound = |n: i64| Fraction::new(n, 100);
    let (range, step) = words.split_once('/')?;
    let (from, to) = range.split_once('-')?;
    let (from, to) = (percent(from)?, percent(to)?);
    if from < bound(MIN_SPEED)? || to > bound(MAX_SPEED)? {
        return None;
    }
    rungs(from, to, percent(step)?)
}

fn rungs(from: Fraction, to: Fraction, step: Fraction) -> Option<Vec<Fraction>> {
    if step.numer() <= 0 || to < from {
        return None;
    }
    let mut speeds = vec![from];
    while let Some(&last) = speeds.last().filter(|s| **s < to) {
        if speeds.len() == STEPS {
            return None;
        }
        speeds.push(last.plus(step)?.min(to));
    }
    Some(speeds)
}

/// A speed in percent: `70%`.
pub fn percent(speed: Fraction) -> String {
    format!("{}%", Fraction::whole(100).times(speed).unwrap_or(speed))
}

/// A section's tempo at a speed: `1/4 = 105`; empty where it cannot be held.
pub fn tempo_of(section: &Section, speed: Fraction) -> String {
    let bpm = section.tempo.bpm().times(speed);
    bpm.map_or(String::new(), |bpm| format!("{} = {bpm}", print_note_value(section.tempo.unit())))
}

/// Most tempos that are told one after the other.
const TEMPOS: usize = 4;

/// Speed and tempos of the sections at that speed, each where it is another one than before: `50%, 1/4 = 66, then 1/4. = 29.25`.
pub fn tempo(groove: &Groove, speed: Fraction) -> String {
    let told = |s: &Section| {
        let bpm = s.tempo.bpm().times(speed)?;
        // No metronome has a fraction.
        let near = if bpm.to_string().contains('/') { format!(" (about {:.1})", value(bpm)) } else { String::new() };
        Some(tempo_of(s, speed) + &near)
    };
    let mut tempos: Vec<String> = groove.sections().iter().filter_map(told).collect();
    tempos.dedup();
    if tempos.len() > TEMPOS {
        tempos.truncate(TEMPOS);
        tempos.push("and so on".into());
    }
    let tempos = tempos.join(", then ");
    if tempos.is_empty() { percent(speed) } else { format!("{}, {tempos}", percent(speed)) }
}

/// What changes on a step.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Change {
    /// The hearing of the report that is the first from here on, and whether another one was before.
    pub first: Option<(usize, bool)>,
    /// How long the cells last in ms, where they are too short to be felt from here on.
    pub cells: Option<f64>,
}

/// What changes on each step of rising speeds, by a report made at any speed.
pub fn changes(report: &Report, limits: Limits, speeds: &[Fraction]) -> Vec<Change> {
    let (mut first, mut felt) = (None, true);
    let change = |speed: &Fraction| {
        let speed = value(*speed);
        let mut said = Change::default();
        let turn = report.turns.iter().rev().find(|t| f64::from(t.percent) <= speed * 100.0 + 1e-9);
        if let Some(turn) = turn.filter(|t| t.hearing < report.hearings.len()) {
            if first.is_none_or(|f| f != turn.hearing) {
                said.first = Some((turn.hearing, first.is_some()));
            }
            first = Some(turn.hearing);
        }
        let cell = report.cell_ms.map(|ms| ms * report.speed / speed);
        if let Some(cell) = cell.filter(|ms| felt && limits.feel(*ms) <= 0.0) {
            felt = false;
            said.cells = Some(cell);
        }
        said
    };
    speeds.iter().map(change).collect()
}

/// The same in words; empty where nothing changes.
pub fn notes(report: &Report, limits: Limits, speeds: &[Fraction]) -> Vec<String> {
    let note = |(change, speed): (Change, &Fraction)| {
        let mut said = Vec::new();
        if let Some((hearing, again)) = change.first
            && let Some(h) = report.hearings.get(hearing)
        {
            let when = if again { "from here on first" } else { "first" };
            said.push(format!("{when}: {} {} BPM", h.kind, tempos(h, value(*speed))));
        }
        if let Some(cell) = change.cells {
            said.push(format!("cells of {cell:.0} ms are too fast to be felt, the limit is {:.0} ms", limits.cell_ms));
        }
        said.join("; ")
    };
    changes(report, limits, speeds).into_iter().zip(speeds).map(note).collect()
}

/// A speed as a number.
pub fn value(speed: Fraction) -> f64 {
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
