//! The text alternative of a picture.

use super::{DrawingSummary, PictureKind, landings, strip};
use crate::describe::{self, plain};
use crate::export::{ExportInput, capitalized, section_summary};
use crate::rhythm::{Region, count};

/// Maximum length in characters: a screen reader reads all of it.
const MAX_LENGTH: usize = 4000;
/// Maximum number of meetings whose times are listed.
const MAX_MEETINGS: usize = 8;

pub(super) fn text(piece: &ExportInput<'_>, kind: PictureKind, summary: &DrawingSummary) -> String {
    let mut text = match kind {
        PictureKind::Grid => grid(piece),
        PictureKind::Streams => streams(piece, summary),
        PictureKind::Landings => landings(piece),
    };
    if text.chars().count() > MAX_LENGTH {
        text = text.chars().take(MAX_LENGTH).collect::<String>() + "…";
    }
    if !summary.cut.is_empty() {
        text.extend([" ", &summary.cut]);
    }
    text
}

fn pulses(piece: &ExportInput<'_>) -> Vec<String> {
    strip::selected_hearings(piece).into_iter().map(|(index, h)| strip::hearing_label(index, h)).collect()
}

fn grid(piece: &ExportInput<'_>) -> String {
    let groove = piece.groove;
    let mut sentences = vec![format!("Rows of cells over time, {}.", count(groove.layers().len(), "layer"))];
    let mut length = 0;
    for s in piece.sections() {
        sentences.push(format!("{}.", section_summary(&groove.sections()[s])));
        for (l, layer) in groove.layers().iter().enumerate() {
            let region = Region { layers: l..l + 1, ..plain::whole_section(groove, s) };
            let groups = format!("{}: {}.", layer.name, plain::groups(groove, &region));
            length += groups.len();
            sentences.push(groups);
            if length > 4 * MAX_LENGTH {
                return sentences.join(" ");
            }
        }
    }
    match &pulses(piece)[..] {
        [] => sentences.push("Below, the written beat.".to_owned()),
        names => {
            sentences.push(format!("Below, in the same columns, the written beat and {}.", names.join(", ")));
            let landings =
                |(index, h)| format!("Attacks under hearing {}: {}.", index + 1, describe::hearing_landings(h));
            sentences.extend(strip::selected_hearings(piece).into_iter().map(landings));
        }
    }
    sentences.join(" ")
}

fn streams(piece: &ExportInput<'_>, summary: &DrawingSummary) -> String {
    let pulses = pulses(piece);
    let names = [vec!["the written beat".to_owned()], pulses.clone()].concat().join(" and ");
    let text =
        format!("Marks against time for {names}, from {:.2} to {:.2} seconds.", summary.range.0, summary.range.1);
    let Some(first) = pulses.first() else { return text };
    let count = summary.meetings.len();
    if count == 0 {
        return format!("{text} The beat and {first} never fall within 20 ms of each other there.");
    }
    let times: Vec<String> = summary.meetings.iter().take(MAX_MEETINGS).map(|t| format!("{t:.2}")).collect();
    let more = if count > MAX_MEETINGS { format!(" and {} more", count - MAX_MEETINGS) } else { String::new() };
    let times = times.join(", ");
    let often = if count == 1 { "once".to_owned() } else { format!("{count} times") };
    format!("{text} The beat and {first} fall within 20 ms of each other {often}: at {times} s{more}.")
}

fn landings(piece: &ExportInput<'_>) -> String {
    let block = |b: landings::Block| {
        let share = |count: usize| 100.0 * count as f64 / b.total.max(1) as f64;
        let bar = |bar: &landings::Bar| format!("{} {} ({:.0}%)", bar.label, bar.count, share(bar.count));
        let bars: Vec<String> = b.bars.iter().map(bar).collect();
        let bars = if bars.is_empty() { "no attack".into() } else { bars.join(", ") };
        format!(" {}: {bars}.", capitalized(&b.name))
    };
    let blocks: Vec<String> = landings::blocks(piece).into_iter().map(block).collect();
    format!("Bar chart of the number of attacks per landing.{}", blocks.concat())
}
