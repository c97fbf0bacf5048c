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
mod warnings;

pub(crate) use document::ScoreDocument;

use crate::import::Imported;
use crate::import::assemble;
use crate::notation::FormatError;
use crate::rhythm::{Time, expected};
use dom::{Children, Element, error_at};
use warnings::Warnings;

/// Most bytes of a file, and of a document that is unpacked.
pub const LIMIT: u64 = 32 << 20;

/// Most parts.
const MAX_PARTS: usize = 256;
/// Most measures of a part.
const MAX_MEASURES: usize = 65_536;

/// A groove from a score, plain or compressed.
///
/// Durations are exact: where type, dots and tuplet say what the number of divisions is rounded to, they count. Repeats and endings are
/// written out, and what then comes again unchanged becomes times through. Grace and cue notes are left out, chords come on several
/// layers, a tempo that changes within a measure counts from its start, jumps (da capo and the like) are not followed; a warning
/// tells each.
///
/// # Errors
/// [`FormatError`], with line and column, for what is no well-formed score, for entities, and for numbers beyond what a groove holds.
pub fn read(bytes: &[u8]) -> Result<Imported, FormatError> {
    let mut warnings = Warnings::default();
    let document = parse(&text_of(bytes)?, &mut warnings)?;
    let draft = to_draft::draft(&document, &mut warnings)?;
    let mut imported = assemble::assemble(&draft)?;
    let mut warnings = warnings.finish();
    warnings.append(&mut imported.warnings);
    Ok(Imported { warnings, ..imported })
}

/// What a score says, plain or compressed, before it is put on a grid.
///
/// # Errors
/// As [`read`].
pub fn read_document(bytes: &[u8]) -> Result<ScoreDocument, FormatError> {
    parse(&text_of(bytes)?, &mut Warnings::default())
}

fn text_of(bytes: &[u8]) -> Result<String, FormatError> {
    if bytes.starts_with(b"PK") { text::decode(&unpack::unpack(bytes, text::MAX_BYTES)?) } else { text::decode(bytes) }
}

fn parse(text: &str, warnings: &mut Warnings) -> Result<ScoreDocument, FormatError> {
    let tree = dom::parse(text)?;
    let root = tree.root_element();
    let timewise = match root.tag_name().name() {
        "score-partwise" => false,
        "score-timewise" => true,
        other => {
            return Err(error_at(root, expected("<score-partwise> or <score-timewise>", format!("<{other}>"))));
        }
    };
    let list = root.child("part-list").ok_or_else(|| error_at(root, expected("a <part-list>", "none")))?;
    let title = root
        .child("work")
        .and_then(|w| w.child_text("work-title"))
        .filter(|t| !t.is_empty())
        .or(root.child_text("movement-title"));
    let fields = root.child("identification").and_then(|i| i.child("miscellaneous"));
    let note = fields.and_then(|m| m.all("miscellaneous-field").find(|f| f.attribute("name") == Some("note")));
    let mut written = ScoreDocument {
        title: title.unwrap_or_default().to_owned(),
        note: note.map(|n| n.trimmed().to_owned()).unwrap_or_default(),
        ..ScoreDocument::default()
    };
    if let Some(head) = list.all("score-part").nth(MAX_PARTS) {
        return Err(error_at(head, expected(format!("at most {MAX_PARTS} parts"), "more")));
    }
    for (index, head) in list.all("score-part").enumerate() {
        let id = head.attribute("id");
        let mut part = part::head(head);
        let measures: Vec<Element<'_>> = if timewise {
            root.all("measure").filter_map(|m| own(m, id, index)).collect()
        } else {
            own(root, id, index).into_iter().flat_map(|p| p.all("measure")).collect()
        };
        if measures.len() > MAX_MEASURES {
            return Err(error_at(head, expected(format!("at most {MAX_MEASURES} measures in a part"), measures.len())));
        }
        part::read(warnings, &mut part, &mut written.measures, &measures)?;
        written.parts.push(part);
    }
    if timewise {
        let numbers = root.all("measure").map(|m| m.attribute("number").unwrap_or_default());
        for (measure, number) in written.measures.iter_mut().zip(numbers) {
            number.clone_into(&mut measure.number);
        }
    }
    if written.measures.is_empty() {
        return Err(error_at(root, expected("at least one measure", "none")));
    }
    // An empty measure is as long as its meter's bar.
    let mut bar = Time::WHOLE;
    for measure in &mut written.measures {
        bar = measure.meter.as_ref().map_or(bar, crate::rhythm::Meter::bar);
        if measure.length == Time::ZERO {
            measure.length = bar;
        }
    }
    Ok(written)
}

/// The part of an id; where it has none, the one that comes in that place.
fn own<'a>(parent: Element<'a>, id: Option<&str>, index: usize) -> Option<Element<'a>> {
    let named = parent.all("part").find(|p| id.is_some() && p.attribute("id") == id);
    named.or_else(|| parent.all("part").nth(index).filter(|p| p.attribute("id").is_none()))
}

/// Whether bytes begin as a score may: packed, as XML, or as UTF-16.
pub fn is_one(bytes: &[u8]) -> bool {
    let starts: [&[u8]; 6] = [b"PK\x03\x04", b"<", b"\xef\xbb\xbf<", b"\xfe\xff", b"\xff\xfe", b"\n<"];
    starts.iter().any(|s| bytes.starts_with(s))
}
