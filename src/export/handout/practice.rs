//! The exercises of a handout.

use super::Handout;
use crate::analysis::{Hearing, HearingKind, Leader, SectionReport, limits};
use crate::describe::ladder::{self, StepChange};
use crate::describe::{self, tempos};

/// Maximum length of a line of groups that is quoted.
const MAX_QUOTED: usize = 60;

pub(super) fn steps(handout: &Handout<'_>) -> Vec<String> {
    let report = handout.piece.report;
    let changes = ladder::changes(report, handout.limits, &handout.ladder);
    let other = report.rival().map(|i| &report.hearings[i]);
    let mut lines = vec![say_groups(handout), begin(handout)];
    lines.extend(hearing_change(handout, &changes));
    lines.extend(short_cells(handout, &changes));
    lines.push(clap(handout, other));
    lines.push(listen(handout));
    lines
}

fn say_groups(handout: &Handout<'_>) -> String {
    let (groove, report) = (handout.piece.groove, handout.piece.report);
    let first = report.focus.iter().find(|l| groove.is_audible(**l)).or(report.focus.first());
    let of_layer = first.and_then(|l| report.layers.get(*l));
    let name = of_layer.and_then(|l| groove.layers().get(l.layer)).map_or("the first layer", |l| l.name.as_str());
    let several = groove.sections().len() > 1 && handout.piece.section.is_none();
    // The number of groups of each section, and their line if it is in cells.
    let sections = of_layer.into_iter().flat_map(|l| &l.sections).filter(|s| handout.piece.has_section(s.section));
    let line = |s: &SectionReport| {
        let groups = s.groups.as_ref()?;
        let section = groove.sections().get(s.section).filter(|_| several).map(|s| format!("in {} ", s.name));
        let line = groups.in_cells.then(|| format!("{}{}", section.unwrap_or_default(), groups.text));
        Some((groups.line.len(), line))
    };
    let lines: Vec<(usize, Option<String>)> = sections.filter_map(line).collect();
    let short = |l: &String| !l.is_empty() && l.chars().count() <= MAX_QUOTED;
    let all = lines.iter().map(|l| l.1.as_deref()).collect::<Option<Vec<&str>>>().map(|l| l.join("; ")).filter(short);
    // If all lines together are too long, the one with most groups that is short enough.
    let one = || {
        let quotable = lines.iter().filter_map(|(groups, l)| Some((groups, l.clone().filter(short)?)));
        quotable.max_by_key(|l| *l.0).map(|l| format!("{}, then those of the other sections", l.1))
    };
    let lines = all.or_else(|| one().filter(|_| several));
    let lines = lines.map_or_else(|| "(the numbers above its marks)".to_owned(), |lines| format!("({lines})"));
    format!(
        "Without keeping time, count the groups of {name} {lines} aloud, starting each group at 1, and clap on every 1."
    )
}

/// The pulse that is counted at a playing speed, and its name: the written beat, or where that is too fast to be a pulse the
/// likeliest one that is counted along with it.
fn counted_pulse<'a>(handout: &Handout<'a>, speed: f64) -> (Option<&'a Hearing>, String) {
    let hearings = &handout.piece.report.hearings;
    let slow = |h: &&Hearing| h.period() * 1000.0 / speed > limits::FASTEST_BEAT.low;
    let written = hearings.iter().find(|h| h.kind == HearingKind::Written);
    let other = || hearings.iter().filter(slow).find(|h| h.keeps_written());
    match written.filter(slow).or_else(other).or(written) {
        Some(h) if h.kind == HearingKind::Written => (Some(h), "the written beat".to_owned()),
        Some(h) => (Some(h), format!("the pulse “{}”", h.kind)),
        None => (None, "the written beat".to_owned()),
    }
}

fn begin(handout: &Handout<'_>) -> String {
    match handout.ladder.first() {
        Some(speed) => format!(
            "Begin on step 1 of the ladder ({}). Tap your foot on {}, play or clap the groove, and go to the next step only \
             after your foot has stayed with it for four passes.",
            ladder::tempo(handout.piece.groove, *speed),
            counted_pulse(handout, ladder::value(*speed)).1
        ),
        None => format!(
            "Begin as slowly as you like. Tap your foot on {}, play or clap the groove, and go faster only after your foot has \
             stayed with it for four passes.",
            counted_pulse(handout, 1.0).1
        ),
    }
}

/// Where the ear leaves the written beat; doubles and halves of the beat are counted with it.
fn hearing_change(handout: &Handout<'_>, changes: &[StepChange]) -> Option<String> {
    let chart = handout.piece.report.speeds.as_deref()?;
    let last = changes.len().checked_sub(1)?;
    let leaves = |c: &StepChange| c.beat_is_lost || matches!(c.leader, Some(Leader::Hearing(_) | Leader::Unclear));
    let other = |step: usize| {
        let leader = changes[step].leader.filter(|l| matches!(l, Leader::Hearing(_)))?;
        let speed = ladder::value(handout.ladder[step]);
        Some(format!("another pulse, {}", describe::leader_name(chart, leader, speed)))
    };
    Some(match changes.iter().position(leaves) {
        None => format!(
            "On every step, up to step {}, the beat you count is also the one you are likely to hear; go back to a slower step \
             whenever you get lost.",
            last + 1
        ),
        Some(0) => match other(0) {
            Some(name) => format!(
                "On step 1 the ear already tends to follow {name}: expect your foot to follow it too, and start slower if it does."
            ),
            None => "On step 1 most listeners already lose the beat you count: keep the click on, and start slower if your foot \
                     leaves it."
                .to_owned(),
        },
        Some(k) => format!(
            "Up to step {k} the beat you count is also the one you are likely to hear; on step {} ({}) {}. Stay \
             on step {k} until your foot is steady, then go on.",
            k + 1,
            ladder::percent(handout.ladder[k]),
            other(k).map_or_else(
                || "it is no longer the likeliest for most listeners".to_owned(),
                |name| format!("the ear moves to {name}")
            )
        ),
    })
}

fn pulse(h: &Hearing, speed: f64) -> String {
    let name = describe::hearing_name(h);
    format!("another pulse ({name}: {} BPM)", tempos(h, speed))
}

/// The step of the ladder from which cells are too short to count.
fn short_cells(handout: &Handout<'_>, changes: &[StepChange]) -> Option<String> {
    let at = changes.iter().position(|c| c.unfelt_cell_ms.is_some())?;
    let (speed, ms) = (handout.ladder.get(at)?, changes[at].unfelt_cell_ms?);
    let (step, percent) = (at + 1, ladder::percent(*speed));
    Some(if at == 0 {
        format!(
            "On some steps the cells are too short to count ({ms:.0} ms at {percent}): feel the groups as long and short."
        )
    } else {
        format!(
            "From step {step} ({percent}) on, a cell lasts {ms:.0} ms or less, too short to be counted. Count the cells on the steps \
             before it; from there on only feel the groups as long and short."
        )
    })
}

fn clap(handout: &Handout<'_>, other: Option<&Hearing>) -> String {
    let report = handout.piece.report;
    let (beat, name) = counted_pulse(handout, report.speed);
    let beat = beat.map_or_else(String::new, |h| format!(", {} BPM", tempos(h, report.speed)));
    match other {
        Some(h) => format!(
            "At full speed clap {name}{beat}; then clap {}; then switch between the two without stopping.",
            pulse(h, report.speed)
        ),
        None => format!("At full speed clap {name}{beat}, and keep clapping it when the groove enters."),
    }
}

fn listen(handout: &Handout<'_>) -> String {
    let pulse = counted_pulse(handout, handout.piece.report.speed).1;
    if handout.takes.is_empty() {
        format!(
            "While someone else plays the groove, tap {pulse} without switching to another pulse; then play the groove while \
             someone else taps."
        )
    } else {
        format!(
            "While the takes play (“Listen”), tap {pulse} in all of them, even when another pulse is clicked. You know the groove \
             when no take pulls you off your pulse."
        )
    }
}
