//! The content of a handout, block by block.

use super::{Handout, Take, practice, terms};
use crate::analysis::Hearing;
use crate::describe::{self, ladder, plain};
use crate::export::ExportInput;
use crate::export::engraving;
use crate::export::picture::{self, Layout, PictureKind, PictureOptions};
use crate::rhythm::{Fraction, Region, print_note_value};

/// Width of a handout's pictures: the text width of A4 with its margins, in CSS pixels.
const WIDTH: f32 = 690.0;
/// Reasons that are told.
const REASONS: usize = 8;
/// Bars above which boxes and syllables would be a wall of letters.
const BOXED: usize = 16;

/// Letters that fit a printed line of boxes.
const COLUMNS: usize = 92;

/// A piece of a handout.
pub(super) enum Block<'a> {
    Title(String),
    Heading(&'static str),
    Text(String),
    /// A remark in smaller letters.
    Small(String),
    List(Vec<String>),
    Numbered(Vec<(String, String)>),
    /// Lines in their order.
    Steps(Vec<String>),
    /// Rows under a head; the flags say which columns are figures.
    Table(Vec<&'static str>, Vec<Vec<String>>),
    /// Lines of characters of one width.
    Lines(String),
    Picture(String, Box<Layout>),
    Sound(&'a Take),
}

pub(super) fn blocks<'a>(handout: &'a Handout<'_>) -> Vec<Block<'a>> {
    let piece = &handout.piece;
    let (groove, report) = (piece.groove, piece.report);
    let mut out = vec![Block::Title(groove.title().to_owned())];
    if !groove.note().trim().is_empty() {
        out.push(Block::Text(groove.note().to_owned()));
    }
    out.push(Block::List(sections(piece).into_iter().map(|s| section(piece, s)).collect()));

    out.push(Block::Heading("How it is built"));
    let mut lines = Vec::new();
    for layer in &report.layers {
        let Some(l) = groove.layers().get(layer.layer) else { continue };
        let built: Vec<String> = describe::structure(groove, layer).into_iter().map(|(_, line)| line).collect();
        lines.push((format!("{} ({})", l.name, describe::voice_summary(groove, layer.layer)), built.join("; ")));
    }
    out.push(Block::Numbered(lines));
    for s in sections(piece) {
        let part = ExportInput { section: Some(s), ..piece.clone() };
        drawn(&mut out, &part, PictureKind::Grid, &format!("grid{}", s + 1));
        let ask = PictureOptions { width: WIDTH, id: format!("notation{}", s + 1), ..PictureOptions::default() };
        match engraving::layout(&part, &handout.writing, &ask) {
            Ok(picture) => out.push(Block::Picture(format!("notation{}", s + 1), Box::new(picture))),
            Err(refused) => out.push(Block::Small(format!("It cannot be notated: {refused}."))),
        }
        if usize::from(groove.sections()[s].bars) <= BOXED && !groove.layers().is_empty() {
            out.extend(boxed(piece, s).into_iter().map(Block::Lines));
        }
    }
    if report.attacks.is_empty() {
        out.push(Block::Text("There are no attacks.".into()));
        return out;
    }

    out.push(Block::Heading("Why it is hard"));
    if report.findings.is_empty() {
        out.push(Block::Text("No reason was found.".into()));
    }
    let reason = |f: &crate::analysis::Finding| {
        let place = f.place.map(|p| format!(", first at {}", describe::place(groove, p))).unwrap_or_default();
        (capital(&f.reason.to_string()), format!("{} ({}){place}", describe::threshold(f), describe::source(f)))
    };
    out.push(Block::Numbered(report.findings.iter().take(REASONS).map(reason).collect()));
    drawn(&mut out, piece, PictureKind::Landings, "landings");

    out.push(Block::Heading("Pulses a listener may hear"));
    out.push(Block::List(describe::whose_beat(groove, report).iter().map(|l| capital(l)).collect()));
    let rows = report.hearings.iter().enumerate().map(|(i, h)| hearing(piece, i, h));
    out.push(Block::Table(vec!["", "pulse", "BPM", "likely", "on pulse", "deviation"], rows.collect()));
    out.push(Block::Small(
        "Likely: how probable a model of listeners holds the pulse to be, an estimate. On pulse: the share of the attacks \
         that fall on it. Deviation: how far these are from it on average."
            .into(),
    ));
    let by_speed = describe::leaders_by_speed(groove, report);
    if !by_speed.is_empty() {
        out.push(Block::Text(format!("Leading hearing by playing speed: {by_speed}.")));
    }
    drawn(&mut out, piece, PictureKind::Streams, "streams");
    let told = describe::main_streams(report);
    let pairs = report.pairs.iter().filter(|p| told.contains(&p.a) && told.contains(&p.b));
    let pairs: Vec<String> = pairs.map(|p| capital(&describe::stream_pair(groove, report, p))).collect();
    if !pairs.is_empty() {
        out.push(Block::List(pairs));
    }

    if !handout.ladder.is_empty() {
        out.push(Block::Heading("The ladder"));
        let notes = ladder::notes(report, handout.limits, &handout.ladder);
        let step = |(k, (speed, note)): (usize, (&Fraction, String))| {
            vec![(k + 1).to_string(), ladder::tempo(groove, *speed), note]
        };
        let rows = handout.ladder.iter().zip(notes).enumerate().map(step).collect();
        out.push(Block::Table(vec!["step", "tempo", "most likely hearing"], rows));
    }
    if !handout.takes.is_empty() {
        out.push(Block::Heading("Listen"));
        out.extend(handout.takes.iter().map(Block::Sound));
    }
    out.push(Block::Heading("What to do with it"));
    out.push(Block::Steps(practice::steps(handout)));
    let told = terms::of(&out);
    if !told.is_empty() {
        out.push(Block::Heading("Words"));
        out.push(Block::List(told));
    }
    out
}

fn sections(piece: &ExportInput<'_>) -> Vec<usize> {
    let all = 0..piece.groove.sections().len();
    all.filter(|s| piece.section.is_none_or(|wanted| wanted == *s)).collect()
}

fn section(piece: &ExportInput<'_>, s: usize) -> String {
    let section = &piece.groove.sections()[s];
    let beat = print_note_value(section.tempo.unit());
    let bars = describe::bar_count(section.bars);
    let times = if section.times > 1 { format!(", {} times through", section.times) } else { String::new() };
    let swing = section.swing.map(|s| format!(", swing {s}")).unwrap_or_default();
    format!("Section {}: {} at {beat} = {}, {bars}{times}{swing}", section.name, section.meter, section.tempo.bpm())
}

/// Boxes and the syllables under them, so many bars at a time that a line fits the page; at least one.
fn boxed(piece: &ExportInput<'_>, s: usize) -> Vec<String> {
    let (groove, whole) = (piece.groove, plain::whole_section(piece.groove, s));
    let (bar, bars) = (groove.sections()[s].meter.bar(), usize::from(groove.sections()[s].bars));
    let of = |from: usize, to: usize| {
        let at = |n: usize| bar.repeated(n).unwrap_or(whole.to);
        let region = Region { from: at(from), to: at(to), ..whole.clone() };
        let number = if to > from + 1 { format!("bars {} to {to}", from + 1) } else { format!("bar {to}") };
        let (boxes, said) = (plain::boxes(groove, &region), plain::syllables(groove, &region));
        let legend = if said.contains('*') { format!("\n{}", plain::LEGEND) } else { String::new() };
        format!("{number}\n{boxes}\n\n{said}{legend}")
    };
    let blocks = |each: usize| (0..bars).step_by(each).map(|b| of(b, (b + each).min(bars))).collect::<Vec<_>>();
    let fits = |blocks: &Vec<String>| blocks.iter().flat_map(|b| b.lines()).all(|l| l.chars().count() <= COLUMNS);
    let best = (2..=bars).rev().map(blocks).find(fits);
    best.unwrap_or_else(|| blocks(1))
}

fn drawn(out: &mut Vec<Block<'_>>, piece: &ExportInput<'_>, kind: PictureKind, id: &str) {
    let picture =
        picture::layout(piece, &PictureOptions { kind, width: WIDTH, id: id.to_owned(), ..PictureOptions::default() });
    out.push(Block::Picture(id.to_owned(), Box::new(picture)));
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

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |c| c.to_uppercase().chain(chars).collect())
}
