//! The text alternative of a picture.

use super::{DrawingSummary, PictureKind, landings, sections, strip};
use crate::describe::{self, plain};
use crate::export::ExportInput;
use crate::rhythm::print_note_value;
use std::fmt::Write;

/// Longest text: what is read aloud has an end.
const LONGEST: usize = 4000;
/// Most meetings that are named.
const MEETINGS: usize = 8;

pub(super) fn words(piece: &ExportInput<'_>, kind: PictureKind, shown: &DrawingSummary) -> String {
    let mut text = match kind {
        PictureKind::Grid => grid(piece),
        PictureKind::Streams => streams(piece, shown),
        PictureKind::Landings => landing(piece),
    };
    if text.chars().count() > LONGEST {
        text = text.chars().take(LONGEST).collect::<String>() + "…";
    }
    if !shown.cut.is_empty() {
        text.push(' ');
        text.push_str(&shown.cut);
    }
    text
}

fn pulses(piece: &ExportInput<'_>) -> Vec<String> {
    strip::chosen(piece).into_iter().map(|(index, h)| strip::named(index, h)).collect()
}

fn grid(piece: &ExportInput<'_>) -> String {
    let groove = piece.groove;
    let layers = groove.layers().len();
    let mut text = format!("Rows of cells over time, {layers} {}.", if layers == 1 { "layer" } else { "layers" });
    for s in sections(piece) {
        let section = &groove.sections()[s];
        let beat = print_note_value(section.tempo.unit());
        let times = if section.times > 1 { format!(", {} times through", section.times) } else { String::new() };
        // Writing to a String cannot fail.
        let _ = write!(
            text,
            " Section {}: {} of {} at {beat} = {}{times}.",
            section.name,
            describe::bar_count(section.bars),
            section.meter,
            section.tempo.bpm()
        );
        for (l, layer) in groove.layers().iter().enumerate() {
            let region = crate::rhythm::Region { layers: l..l + 1, ..plain::whole_section(groove, s) };
            let _ = write!(text, " {}: {}.", layer.name, plain::groups(groove, &region));
            if text.len() > 4 * LONGEST {
                return text;
            }
        }
    }
    match &pulses(piece)[..] {
        [] => text.push_str(" Below, the written beat."),
        names => {
            let _ = write!(text, " Below, in the same columns, the written beat and {}.", names.join(", "));
            for (index, h) in strip::chosen(piece) {
                let _ = write!(text, " Attacks under hearing {}: {}.", index + 1, describe::hearing_landings(h));
            }
        }
    }
    text
}

fn streams(piece: &ExportInput<'_>, shown: &DrawingSummary) -> String {
    let mut text = "Marks against time for the written beat".to_owned();
    let names = pulses(piece);
    for name in &names {
        text.push_str(" and ");
        text.push_str(name);
    }
    // Writing to a String cannot fail.
    let _ = write!(text, ", from {:.2} to {:.2} seconds.", shown.range.0, shown.range.1);
    let Some(first) = names.first() else { return text };
    let times: Vec<String> = shown.meetings.iter().take(MEETINGS).map(|t| format!("{t:.2}")).collect();
    match shown.meetings.len() {
        0 => {
            let _ = write!(text, " The beat and {first} never fall within 20 ms of each other there.");
        }
        n => {
            let more = if n > times.len() { format!(" and {} more", n - times.len()) } else { String::new() };
            let _ = write!(
                text,
                " The beat and {first} fall within 20 ms of each other {n} times: at {}{more} s.",
                times.join(", ")
            );
        }
    }
    text
}

fn landing(piece: &ExportInput<'_>) -> String {
    let block = |b: landings::Block| {
        let share = |count: usize| 100.0 * count as f64 / b.total.max(1) as f64;
        let bars: Vec<String> =
            b.bars.iter().map(|bar| format!("{} {} ({:.0}%)", bar.words, bar.count, share(bar.count))).collect();
        if bars.is_empty() {
            format!(" {}: no attack.", capital(&b.name))
        } else {
            format!(" {}: {}.", capital(&b.name), bars.join(", "))
        }
    };
    let text: String = landings::blocks(piece).into_iter().map(block).collect();
    format!("Bar chart of the number of attacks per landing.{text}")
}

/// With its first letter large.
fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |c| c.to_uppercase().chain(chars).collect())
}
