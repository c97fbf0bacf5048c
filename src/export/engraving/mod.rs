//! Engraves a score as SVG: a staff of five lines for layers with pitches, one for the drums that can share it, a line for each other
//! layer. It must not decide how notes are spelled.

mod bar;
mod glyph;
mod plan;
mod row;
mod shape;
mod spacing;
#[cfg(test)]
mod tests;

use super::pulses;
use super::{ExportInput, section_summary};
use crate::describe::notes::NotationOptions;
use crate::export::annotations::Annotator;
use crate::export::picture::theme::StyleClass;
use crate::export::picture::{Picture, PictureHeading, PictureOptions, Staves, TimeLine};
use crate::notation::{FormatError, Kit, Score, Staff};
use row::{StaffRow, prefix_width};
use spacing::BarColumn;

const MAX_NAME_WIDTH: f32 = 88.0;
const MIN_NAME_WIDTH: f32 = 48.0;
/// Size of the text over and under the notes.
const TEXT_SIZE: f32 = 8.5;
/// A picture ends with the line that exceeds this number of notes.
const MAX_NOTES: usize = 20_000;

/// Draws the notation of a groove. The pulses of chosen hearings are marked over the notes if all of them fall on written cells or
/// beats. The picture is wider than asked for if a bar needs more room.
///
/// # Errors
/// [`FormatError`] for a cell shorter than 1/1024, or a section that does not exist.
pub fn notation(
    piece: &ExportInput<'_>,
    notation: &NotationOptions,
    options: &PictureOptions,
) -> Result<Picture, FormatError> {
    let mut score = Score::spell(piece.groove, piece.section, notation.spelling)?;
    if options.staves == Staves::Analysed {
        score.staves.retain(|s| piece.report.focus.contains(&s.layer));
    }
    let marks = pulses::marked_hearings(piece);
    let kit = plan::kit(piece, &score, notation)?;
    let plans = plan::plans(piece, &score, kit.as_ref(), notation, &marks);
    let columns = spacing::columns(piece, &plans, &marks);
    let title = format!("{}: notation", piece.groove.title());
    let needed = columns.iter().map(|c| prefix_width(&plans, c.section, c.is_first_of_section) + c.width);
    let (mut canvas, page) = options.wide_page(&title, MAX_NAME_WIDTH + needed.fold(0.0, f32::max));
    let width = page.right - page.left;
    let mut y = page.top - 2.0;
    for mark in &marks {
        canvas.fitted_text(StyleClass::Text, page.left, y + 8.0, 9.5, &mark.description, width);
        y += 14.0;
    }
    let name_width = (width * 0.14).clamp(MIN_NAME_WIDTH, MAX_NAME_WIDTH);
    let room = width - name_width;
    let notes_of =
        |c: &BarColumn<'_>| plans.iter().flat_map(|p| &p.voices).map(|v| v[c.index].bar.notes.len()).sum::<usize>();
    let mut time_lines = Vec::new();
    let (mut notes, mut cut, mut rest) = (0, String::new(), &columns[..]);
    while let [first, ..] = rest {
        if notes > MAX_NOTES {
            let (number, section) = (first.number + 1, &first.section.name);
            cut = format!(
                "The notation ends before bar {number} of section {section}: the groove is too long for one picture."
            );
            break;
        }
        if rest.len() < columns.len() {
            canvas.allow_break(y + 3.0);
        }
        let is_named = options.heading == PictureHeading::Title || piece.sections().len() > 1;
        if first.is_first_of_section && is_named {
            y += 20.0;
            canvas.fitted_text(StyleClass::Text, page.left, y, 10.5, &section_summary(first.section), width);
        }
        let has_meter = first.is_first_of_section;
        let prefix = prefix_width(&plans, first.section, has_meter);
        let (mut taken, mut wide) = (1, first.width);
        while let Some(next) = rest.get(taken).filter(|c| !c.is_first_of_section && wide + c.width + prefix <= room) {
            wide += next.width;
            taken += 1;
        }
        let (now, later) = rest.split_at(taken);
        // The last line of a section is not stretched to the full width.
        let is_last = later.first().is_none_or(|c| c.is_first_of_section);
        let stretch = ((room - prefix) / wide).min(if is_last { 1.35 } else { f32::INFINITY });
        notes += now.iter().map(notes_of).sum::<usize>();
        let system = StaffRow { columns: now, plans: &plans, left: page.left + name_width, has_meter, stretch };
        let top = y + 8.0;
        y = system.draw(&mut canvas, page.left, top);
        let (section, points) = (now[0].section_index, system.points());
        time_lines.push(TimeLine { section, block: canvas.block(), top, bottom: y, points });
        rest = later;
    }
    if !cut.is_empty() {
        y += 16.0;
        canvas.fitted_text(StyleClass::Text, page.left, y, 10.0, &cut, width);
    }
    let alt = alt(piece, &score, kit.as_ref(), notation, &cut);
    Ok(Picture { drawing: canvas.finish((y + 14.0).ceil()), title, alt, time_lines })
}

fn alt(piece: &ExportInput<'_>, score: &Score, kit: Option<&Kit>, notation: &NotationOptions, cut: &str) -> String {
    let name = |layer: usize| piece.groove.layers()[layer].name.as_str();
    let staff = |staff: &Staff| {
        let sounds = staff.bars.iter().flat_map(|b| &b.notes).filter_map(|n| n.sound);
        format!("{} ({} attacks)", name(staff.layer), sounds.filter(|s| !s.tied_from).count())
    };
    let staves: Vec<String> = score.staves.iter().map(staff).collect();
    let bars = crate::rhythm::count(score.staves.first().map_or(0, |s| s.bars.len()), "bar");
    let staves = staves.join(", ");
    let mut sentences =
        vec![format!("Rhythm notation, {bars}: {staves}. The description of the grid picture lists the attacks.")];
    if let Some(kit) = kit {
        let mut shared: Vec<usize> = kit.layers().collect();
        shared.sort_unstable();
        let names: Vec<&str> = shared.into_iter().map(name).collect();
        sentences.push(format!("On one staff: {}.", names.join(", ")));
    }
    for (side, text) in [("Over", &notation.over), ("Under", &notation.under)] {
        let is_annotated = |layer: &usize| Annotator::new(piece, *layer).max_labels(text) > 0;
        let names: Vec<&str> = score.staves.iter().map(|s| s.layer).filter(is_annotated).map(name).collect();
        let groups = text.groups.then_some("the lengths of the groups in cells");
        let content: Vec<&str> = groups.into_iter().chain(text.has_landings().then_some("landings")).collect();
        if !names.is_empty() {
            sentences.push(format!("{side} the notes of {}: {}.", names.join(", "), content.join(" and ")));
        }
    }
    let is_marked = pulses::marked_layer(piece).is_some_and(|l| score.staves.iter().any(|s| s.layer == l));
    let marks = if is_marked { pulses::marked_hearings(piece) } else { Vec::new() };
    sentences.extend(marks.iter().map(|m| format!("Marked over the notes: {}.", m.description)));
    sentences.extend(Some(cut.to_owned()).filter(|c| !c.is_empty()));
    sentences.join(" ")
}
