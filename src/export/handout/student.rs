//! The page of a student, which prints on one sheet: what to count and play, why it is hard, and what to do.

use super::content::{Block, TEXT_WIDTH};
use super::figure::{Layout, PHONE_WIDTH, PageFigure};
use super::{Handout, practice};
use crate::describe::{self, ladder};
use crate::export::engraving;
use crate::export::picture::{self, PictureHeading, PictureKind, PictureOptions, Ruler, Staves, font};
use crate::export::{ExportInput, capitalized, section_summary};

const MAX_REASONS: usize = 3;
/// Height of the printed area, in CSS pixels: Letter, the shorter of the two papers, within its margins of 12 mm.
const SHEET_HEIGHT: f32 = 955.0;
/// Sizes of the printed text, in CSS pixels; they match the style sheet.
const TITLE_HEIGHT: f32 = 36.0;
const HEADING_HEIGHT: f32 = 27.0;
const LINE_HEIGHT: f32 = 15.5;
const TEXT_SIZE: f32 = 11.5;
/// Space below a paragraph, a list or a figure.
const GAP: f32 = 7.0;

/// A way to draw the pictures: the width they are laid out for before they are scaled to the page, and the staves they have.
#[derive(Debug, Clone, Copy)]
struct PictureLayout {
    width: f32,
    staves: Staves,
    has_strips: bool,
}

const fn layout(width: f32, staves: Staves, has_strips: bool) -> PictureLayout {
    PictureLayout { width, staves, has_strips }
}

/// From the most legible to the densest one.
const LAYOUTS: [PictureLayout; 10] = [
    layout(TEXT_WIDTH, Staves::All, true),
    layout(TEXT_WIDTH, Staves::All, false),
    layout(780.0, Staves::All, false),
    layout(TEXT_WIDTH, Staves::Analysed, false),
    layout(780.0, Staves::Analysed, false),
    layout(880.0, Staves::Analysed, false),
    layout(980.0, Staves::Analysed, false),
    layout(1100.0, Staves::Analysed, false),
    layout(1250.0, Staves::Analysed, false),
    layout(1400.0, Staves::Analysed, false),
];

pub(super) fn blocks<'a>(handout: &'a Handout<'_>, layouts: &[Layout]) -> Vec<Block<'a>> {
    let piece = &handout.piece;
    let (groove, report) = (piece.groove, piece.report);
    let summary: Vec<String> = piece.sections().into_iter().map(|s| section_summary(&groove.sections()[s])).collect();
    let mut out = vec![Block::Title(groove.title().to_owned()), Block::Text(summary.join("; "))];
    out.extend(describe::muted_layers(groove).map(|muted| Block::Text(format!("{}.", capitalized(&muted)))));
    if report.attacks.is_empty() {
        out.push(Block::Text("There are no attacks.".into()));
        return out;
    }
    let mut after = vec![Block::Heading("Why it is hard")];
    let reasons = report.findings.iter().take(MAX_REASONS);
    let reasons: Vec<String> = reasons.map(|f| format!("{}.", capitalized(&f.reason.to_string()))).collect();
    after.push(if reasons.is_empty() { Block::Text("No reason reported.".into()) } else { Block::List(reasons) });
    after.push(Block::Heading("What to do"));
    after.push(Block::Steps(practice::steps(handout)));
    if !handout.ladder.is_empty() {
        let tempo = |speed| ladder::tempo(groove, speed);
        // Several tempos are too long for a box, and all of them stand at the start of the page.
        let one_tempo = handout.ladder.iter().all(|speed| tempo(*speed).matches('=').count() == 1);
        let step = |speed| if one_tempo { tempo(speed) } else { ladder::percent(speed) };
        after.push(Block::TickBoxes(handout.ladder.iter().map(|speed| step(*speed)).collect()));
    }
    if !handout.takes.is_empty() {
        after.push(Block::Heading("Listen"));
        after.extend(handout.takes.iter().map(Block::Sound));
    }
    let text: f32 = out.iter().chain(&after).map(height).sum();
    let sheet = |layout: &PictureLayout| figures(handout, *layout, Layout::Sheet);
    let fits =
        |figures: &Vec<PageFigure>| text + figures.iter().map(PageFigure::printed_height).sum::<f32>() <= SHEET_HEIGHT;
    let first = sheet(&LAYOUTS[0]);
    let fits_at_all = fits(&first) || fits(&sheet(&LAYOUTS[LAYOUTS.len() - 1]));
    let mut figures = if fits(&first) {
        first
    } else if fits_at_all {
        LAYOUTS.iter().map(sheet).find(fits).unwrap_or(first)
    } else {
        // Several sheets: as legible as possible.
        sheet(&LAYOUTS[2])
    };
    if layouts.contains(&Layout::Phone) {
        figures.extend(self::figures(handout, layout(PHONE_WIDTH, Staves::All, true), Layout::Phone));
    }
    let data = super::player::data(handout, &figures);
    out.push(Block::Player(data));
    out.extend(figures.into_iter().map(Block::Picture));
    out.extend(after);
    out
}

/// The grid, and the notation if there is one.
fn figures(handout: &Handout<'_>, layout: PictureLayout, page: Layout) -> Vec<PageFigure> {
    let hearings = if layout.has_strips { handout.piece.hearings.clone() } else { Vec::new() };
    let piece = ExportInput { hearings, ..handout.piece.clone() };
    let options = |id: &str| PictureOptions {
        kind: PictureKind::Grid,
        width: layout.width,
        ruler: Ruler::Counting,
        staves: layout.staves,
        heading: PictureHeading::None,
        id: page.id(id),
        ..PictureOptions::default()
    };
    let grid = PageFigure::new("grid", page, picture::picture(&piece, &options("grid")));
    let notation = engraving::notation(&piece, &handout.notation, &options("notation"));
    let notation = notation.ok().map(|picture| PageFigure::new("notation", page, picture));
    [Some(grid), notation].into_iter().flatten().collect()
}

/// An upper estimate of the printed height of a block, in CSS pixels.
fn height(block: &Block<'_>) -> f32 {
    let lines = |text: &str| (font::width(text, TEXT_SIZE) / (TEXT_WIDTH - 25.0)).ceil().max(1.0) * LINE_HEIGHT;
    match block {
        Block::Title(_) => TITLE_HEIGHT,
        Block::Heading(_) => HEADING_HEIGHT,
        Block::Text(text) | Block::Small(text) => lines(text) + GAP,
        Block::List(items) | Block::Steps(items) => items.iter().map(|i| lines(i) + 2.0).sum::<f32>() + GAP,
        Block::TickBoxes(items) => lines(&items.join("        ")) + GAP,
        Block::Sound(take) => lines(&take.label()) + 2.0,
        _ => 0.0,
    }
}
