//! Imports `MusicXML`, plain and compressed: bytes, text, tree, document, draft, groove.

mod directions;
mod document;
mod dom;
mod part;
#[cfg(test)]
mod tests;
mod text;
mod to_draft;
mod unfold;
mod unpack;

pub(crate) use document::ScoreDocument;

use crate::import::assemble::assemble;
use crate::import::{Imported, Warnings};
use crate::notation::FormatError;
use crate::rhythm::{Meter, Time, expected};
use dom::{Element, ElementExt, error_at};

/// Most bytes of a file, and of an unpacked document.
pub(crate) const MAX_BYTES: u64 = 32 << 20;

const MAX_PARTS: usize = 256;
const MAX_MEASURES_PER_PART: usize = 65_536;

/// Imports a score, plain or compressed.
///
/// Durations are exact: type, dots and tuplet count where the number of divisions is their rounded value. Repeats and endings are
/// written out, and what comes again unchanged becomes a section played several times. Grace and cue notes are left out, chords go to
/// several layers, a tempo that changes within a measure applies from its start, jumps (da capo and the like) are not followed; each
/// gets a warning.
///
/// # Errors
/// [`FormatError`], with line and column, for what is no well-formed score, for entities, and for numbers beyond what a groove holds.
pub fn read(bytes: &[u8]) -> Result<Imported, FormatError> {
    let mut warnings = Warnings::default();
    let document = parse(&text_of(bytes)?, &mut warnings)?;
    let draft = to_draft::draft(&document, &mut warnings)?;
    let groove = assemble(&draft, &mut warnings)?;
    Ok(Imported { groove, warnings: warnings.finish() })
}

/// Reads the content of a score, plain or compressed, before it is put on a grid.
///
/// # Errors
/// As [`read`].
pub fn read_document(bytes: &[u8]) -> Result<ScoreDocument, FormatError> {
    parse(&text_of(bytes)?, &mut Warnings::default())
}

fn text_of(bytes: &[u8]) -> Result<String, FormatError> {
    if bytes.starts_with(b"PK") {
        text::decode(&unpack::unpack(bytes, text::MAX_TEXT_BYTES)?)
    } else {
        text::decode(bytes)
    }
}

fn parse(text: &str, warnings: &mut Warnings) -> Result<ScoreDocument, FormatError> {
    let tree = dom::parse(text)?;
    let root = tree.root_element();
    let timewise = match root.tag_name().name() {
        "score-partwise" => false,
        "score-timewise" => true,
        other => return Err(error_at(root, expected("<score-partwise> or <score-timewise>", format!("<{other}>")))),
    };
    let list = root.child("part-list").ok_or_else(|| error_at(root, expected("a <part-list>", "none")))?;
    let title = root
        .child("work")
        .and_then(|w| w.child_text("work-title"))
        .filter(|t| !t.is_empty())
        .or(root.child_text("movement-title"));
    let fields = root.child("identification").and_then(|i| i.child("miscellaneous"));
    let note =
        fields.and_then(|m| m.children_named("miscellaneous-field").find(|f| f.attribute("name") == Some("note")));
    let mut document = ScoreDocument {
        title: title.unwrap_or_default().to_owned(),
        note: note.map(|n| n.trimmed_text().to_owned()).unwrap_or_default(),
        ..ScoreDocument::default()
    };
    if let Some(excess) = list.children_named("score-part").nth(MAX_PARTS) {
        return Err(error_at(excess, expected(format!("at most {MAX_PARTS} parts"), "more")));
    }
    for (index, declaration) in list.children_named("score-part").enumerate() {
        let id = declaration.attribute("id");
        let mut part = part::read_declaration(declaration);
        let measures: Vec<Element<'_>> = if timewise {
            root.children_named("measure").filter_map(|m| part_of(m, id, index)).collect()
        } else {
            part_of(root, id, index).into_iter().flat_map(|p| p.children_named("measure")).collect()
        };
        if measures.len() > MAX_MEASURES_PER_PART {
            let message = expected(format!("at most {MAX_MEASURES_PER_PART} measures in a part"), measures.len());
            return Err(error_at(declaration, message));
        }
        part::read(warnings, &mut part, &mut document.measures, &measures)?;
        document.parts.push(part);
    }
    if timewise {
        let numbers = root.children_named("measure").map(|m| m.attribute("number").unwrap_or_default());
        for (measure, number) in document.measures.iter_mut().zip(numbers) {
            number.clone_into(&mut measure.number);
        }
    }
    if document.measures.is_empty() {
        return Err(error_at(root, expected("at least one measure", "none")));
    }
    for part in &mut document.parts {
        let last = part.swings.last().copied().flatten();
        part.swings.resize(document.measures.len(), last);
    }
    // An empty measure is as long as its meter's bar.
    let mut bar = Time::WHOLE;
    for measure in &mut document.measures {
        bar = measure.meter.as_ref().map_or(bar, Meter::bar);
        if measure.length == Time::ZERO {
            measure.length = bar;
        }
    }
    Ok(document)
}

/// The part with an id, or else one without an id at that index.
fn part_of<'a>(parent: Element<'a>, id: Option<&str>, index: usize) -> Option<Element<'a>> {
    let named = parent.children_named("part").find(|p| id.is_some() && p.attribute("id") == id);
    named.or_else(|| parent.children_named("part").nth(index).filter(|p| p.attribute("id").is_none()))
}

/// Whether bytes begin as a score may: compressed, as XML, or as UTF-16.
pub(crate) fn is_score(bytes: &[u8]) -> bool {
    let starts: [&[u8]; 6] = [b"PK\x03\x04", b"<", b"\xef\xbb\xbf<", b"\xfe\xff", b"\xff\xfe", b"\n<"];
    starts.iter().any(|s| bytes.starts_with(s))
}
