//! The content of a teacher's page, independent of its format, and what pages are made of.

use super::figure::{Layout, PHONE_WIDTH, PageFigure};
use super::{Handout, Take, practice, terms};
use crate::analysis::{Finding, Hearing};
use crate::describe::{self, ladder, plain};
use crate::export::picture::{self, PictureKind, PictureOptions};
use crate::export::{ExportInput, capitalized, engraving, section_summary};
use crate::notation::FormatError;
use crate::rhythm::Region;

/// Width of the text and the pictures on paper: that of A4 within its margins, in CSS pixels.
pub(super) const TEXT_WIDTH: f32 = 690.0;
const MAX_REASONS: usize = 8;
/// Maximum number of bars of a section with boxes and syllables.
const MAX_BOXED_BARS: usize = 16;
/// Characters that fit a printed line of boxes.
const MAX_COLUMNS: usize = 92;

pub(super) enum Block<'a> {
    Title(String),
    Heading(&'static str),
    Text(String),
    /// Text in a smaller size.
    Small(String),
    List(Vec<String>),
    /// Numbered items, each with its explanation.
    Numbered(Vec<(String, String)>),
    /// Numbered items.
    Steps(Vec<String>),
    /// Column headers and rows.
    Table(Vec<&'static str>, Vec<Vec<String>>),
    /// Lines in a monospaced font.
    Preformatted(String),
    Picture(PageFigure),
    Sound(&'a Take),
    /// Items with a box to tick.
    TickBoxes(Vec<String>),
    /// The data of the player; `None` if there cannot be one.
    Player(Option<String>),
}

pub(super) fn blocks<'a>(handout: &'a Handout<'_>, layouts: &[Layout]) -> Vec<Block<'a>> {
    let piece = &handout.piece;
    let (groove, report) = (piece.groove, piece.report);
    let mut out = vec![Block::Title(groove.title().to_owned())];
    if !groove.note().trim().is_empty() {
        out.push(Block::Text(groove.note().to_owned()));
    }
    out.push(Block::List(piece.sections().into_iter().map(|s| section_summary(&groove.sections()[s])).collect()));
    out.extend(describe::muted_layers(groove).map(|muted| Block::Text(format!("{}.", capitalized(&muted)))));

    out.push(Block::Heading("How it is built"));
    let built = report.layers.iter().filter_map(|layer| {
        let name = &groove.layers().get(layer.layer)?.name;
        let lines: Vec<String> = describe::structure(groove, layer).into_iter().map(|(_, line)| line).collect();
        Some((format!("{name} ({})", describe::voice_summary(groove, layer.layer)), lines.join("; ")))
    });
    out.push(Block::Numbered(built.collect()));
    for s in piece.sections() {
        let part = ExportInput { section: Some(s), ..piece.clone() };
        out.extend(pictures(&part, PictureKind::Grid, &format!("grid{}", s + 1), layouts));
        let name = format!("notation{}", s + 1);
        let notation = |layout| {
            let picture = engraving::notation(&part, &handout.notation, &options(PictureKind::Grid, &name, layout))?;
            Ok(Block::Picture(PageFigure::new(&name, layout, picture)))
        };
        match layouts.iter().copied().map(notation).collect::<Result<Vec<_>, FormatError>>() {
            Ok(figures) => out.extend(figures),
            Err(error) => out.push(Block::Small(format!("This section cannot be notated: {error}."))),
        }
        if usize::from(groove.sections()[s].bars) <= MAX_BOXED_BARS && !groove.layers().is_empty() {
            out.extend(boxes(piece, s).into_iter().map(Block::Preformatted));
        }
    }
    if report.attacks.is_empty() {
        out.push(Block::Text("There are no attacks.".into()));
        return out;
    }

    out.push(Block::Heading("Why it is hard"));
    if report.findings.is_empty() {
        out.push(Block::Text("No reason reported.".into()));
    }
    let reason = |f: &Finding| {
        let place = f.place.map(|p| format!(", first at {}", describe::place(groove, p))).unwrap_or_default();
        (capitalized(&f.reason.to_string()), format!("{} ({}){place}", describe::threshold(f), f.source))
    };
    out.push(Block::Numbered(report.findings.iter().take(MAX_REASONS).map(reason).collect()));
    out.extend(pictures(piece, PictureKind::Landings, "landings", layouts));

    out.push(Block::Heading("Pulses a listener may hear"));
    out.push(Block::List(describe::whose_beat(groove, report).iter().map(|l| capitalized(l)).collect()));
    let rows = report.hearings.iter().enumerate().map(|(i, h)| hearing(piece, i, h));
    out.push(Block::Table(vec!["", "pulse", "BPM", "likely", "on pulse", "deviation"], rows.collect()));
    out.push(Block::Small(
        "Likely: a model's estimate of the probability that a listener hears this pulse. On pulse: the share of the attacks \
         that fall on it. Deviation: the average distance of those attacks from it."
            .into(),
    ));
    let by_speed = describe::leaders_by_speed(groove, report);
    if !by_speed.is_empty() {
        out.push(Block::Text(format!("Leading hearing by playing speed: {by_speed}.")));
    }
    out.extend(pictures(piece, PictureKind::Streams, "streams", layouts));
    let streams = describe::main_streams(report);
    let pairs = report.pairs.iter().filter(|p| streams.contains(&p.a) && streams.contains(&p.b));
    let pairs: Vec<String> = pairs.map(|p| capitalized(&describe::stream_pair(groove, report, p))).collect();
    if !pairs.is_empty() {
        out.push(Block::List(pairs));
    }

    if !handout.ladder.is_empty() {
        out.push(Block::Heading("The ladder"));
        let notes = ladder::notes(report, handout.limits, &handout.ladder);
        let steps = handout.ladder.iter().zip(notes).enumerate();
        let rows = steps.map(|(k, (speed, note))| vec![(k + 1).to_string(), ladder::tempo(groove, *speed), note]);
        out.push(Block::Table(vec!["step", "tempo", "most likely hearing"], rows.collect()));
    }
    if !handout.takes.is_empty() {
        out.push(Block::Heading("Listen"));
        out.extend(handout.takes.iter().map(Block::Sound));
    }
    out.push(Block::Heading("How to practice it"));
    out.push(Block::Steps(practice::steps(handout)));
    let terms = terms::explain(&out);
    if !terms.is_empty() {
        out.push(Block::Heading("Words"));
        out.push(Block::List(terms));
    }
    out
}

/// Boxes with the syllables below them, as many bars in a row as fit the page.
fn boxes(piece: &ExportInput<'_>, s: usize) -> Vec<String> {
    let (groove, whole) = (piece.groove, plain::whole_section(piece.groove, s));
    let (bar, bars) = (groove.sections()[s].meter.bar(), usize::from(groove.sections()[s].bars));
    let row = |from: usize, to: usize| {
        let at = |n: usize| bar.repeated(n).unwrap_or(whole.to);
        let region = Region { from: at(from), to: at(to), ..whole.clone() };
        let number = if to > from + 1 { format!("bars {} to {to}", from + 1) } else { format!("bar {to}") };
        let (boxes, syllables) = (plain::boxes(groove, &region), plain::syllables(groove, &region));
        let legend = if syllables.contains('*') { format!("\n{}", plain::LEGEND) } else { String::new() };
        format!("{number}\n{boxes}\n\n{syllables}{legend}")
    };
    let rows = |each: usize| (0..bars).step_by(each).map(|b| row(b, (b + each).min(bars))).collect::<Vec<_>>();
    let fits_page = |rows: &Vec<String>| rows.iter().flat_map(|r| r.lines()).all(|l| l.chars().count() <= MAX_COLUMNS);
    (2..=bars).rev().map(rows).find(fits_page).unwrap_or_else(|| rows(1))
}

fn options(kind: PictureKind, name: &str, layout: Layout) -> PictureOptions {
    let width = match layout {
        Layout::Sheet => TEXT_WIDTH,
        Layout::Phone => PHONE_WIDTH,
    };
    PictureOptions { kind, width, id: layout.id(name), ..PictureOptions::default() }
}

/// A picture in some layouts.
fn pictures<'a>(
    piece: &ExportInput<'_>,
    kind: PictureKind,
    name: &str,
    layouts: &[Layout],
) -> impl Iterator<Item = Block<'a>> {
    layouts.iter().map(move |&layout| {
        let picture = picture::picture(piece, &options(kind, name, layout));
        Block::Picture(PageFigure::new(name, layout, picture))
    })
}

fn hearing(piece: &ExportInput<'_>, index: usize, h: &Hearing) -> Vec<String> {
    vec![
        (index + 1).to_string(),
        describe::hearing_name(h),
        describe::tempos(h, piece.report.speed),
        describe::likelihood(h),
        format!("{:.0}%", h.share() * 100.0),
        format!("{:.0} ms", h.deviation_ms),
    ]
}
