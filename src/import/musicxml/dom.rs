//! From text to a tree of elements, without what nobody asks for. It must not know what the elements mean.

use crate::notation::FormatError;
use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};

/// Most elements kept.
const ELEMENTS: usize = 1_000_000;
/// Deepest nesting.
const DEPTH: usize = 64;
/// Elements that say how things look and not what they are.
const LOOKS: &[&str] = &[
    "appearance",
    "credit",
    "defaults",
    "figured-bass",
    "harmony",
    "lyric",
    "measure-layout",
    "print",
    "staff-layout",
    "system-layout",
];

/// An element.
#[derive(Debug, Default)]
pub(super) struct Element {
    pub(super) name: Box<str>,
    attributes: Vec<(Box<str>, Box<str>)>,
    pub(super) children: Vec<Element>,
    pub(super) text: String,
    /// Byte offset of its end tag's or its own end in the text.
    pub(super) at: usize,
}

impl Element {
    /// The value of an attribute.
    pub(super) fn attribute(&self, name: &str) -> Option<&str> {
        self.attributes.iter().find(|a| &*a.0 == name).map(|a| &*a.1)
    }

    /// The first child of a name.
    pub(super) fn child(&self, name: &str) -> Option<&Element> {
        self.children.iter().find(|c| &*c.name == name)
    }

    /// All children of a name.
    pub(super) fn all<'a>(&'a self, name: &'a str) -> impl Iterator<Item = &'a Element> {
        self.children.iter().filter(move |c| &*c.name == name)
    }

    /// The text of the first child of a name, without blanks around it.
    pub(super) fn said(&self, name: &str) -> Option<&str> {
        self.child(name).map(|c| c.text.trim())
    }

    /// Whether there is a child of a name.
    pub(super) fn has(&self, name: &str) -> bool {
        self.child(name).is_some()
    }
}

/// Line and column of a byte offset, from 1.
pub(super) fn place(text: &str, at: usize) -> String {
    let mut at = at.min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    let before = &text[..at];
    let line = before.matches('\n').count() + 1;
    let column = before.rsplit('\n').next().unwrap_or_default().chars().count() + 1;
    format!("line {line}, column {column}")
}

/// The root element of a document.
pub(super) fn parse(text: &str) -> Result<Element, FormatError> {
    let mut reader = Reader::from_str(text);
    let refuse = |at: usize, words: String| FormatError::new(place(text, at), words);
    let (mut stack, mut root, mut count, mut skipped): (Vec<Element>, Option<Element>, usize, usize) =
        (Vec::new(), None, 0, 0);
    loop {
        let at = usize::try_from(reader.buffer_position()).unwrap_or(usize::MAX);
        let event = reader.read_event().map_err(|e| {
            let at = usize::try_from(reader.error_position()).unwrap_or(at);
            refuse(at, format!("no well-formed XML: {e}"))
        })?;
        match event {
            Event::Start(start) if skipped > 0 || LOOKS.contains(&start.name().as_ref()) => {
                skipped += 1;
                if stack.len() + skipped > DEPTH {
                    return Err(refuse(at, format!("elements are nested more than {DEPTH} deep")));
                }
            }
            Event::Start(start) => {
                count += 1;
                if count > ELEMENTS {
                    return Err(refuse(at, format!("more than {ELEMENTS} elements")));
                }
                if stack.len() + 1 > DEPTH {
                    return Err(refuse(at, format!("elements are nested more than {DEPTH} deep")));
                }
                if stack.is_empty() && root.is_some() {
                    return Err(refuse(at, "a second root element".into()));
                }
                stack.push(element(&start, at).map_err(|e| refuse(at, e))?);
            }
            Event::Empty(start) if skipped > 0 || LOOKS.contains(&start.name().as_ref()) => {}
            Event::Empty(start) => {
                count += 1;
                if count > ELEMENTS {
                    return Err(refuse(at, format!("more than {ELEMENTS} elements")));
                }
                let made = element(&start, at).map_err(|e| refuse(at, e))?;
                match stack.last_mut() {
                    Some(parent) => parent.children.push(made),
                    None if root.is_none() => root = Some(made),
                    None => return Err(refuse(at, "a second root element".into())),
                }
            }
            Event::End(_) if skipped > 0 => skipped -= 1,
            Event::End(_) => {
                if let Some(made) = stack.pop() {
                    match stack.last_mut() {
                        Some(parent) => parent.children.push(made),
                        None => root = Some(made),
                    }
                }
            }
            Event::Text(words) if skipped == 0 => {
                if let Some(inner) = stack.last_mut() {
                    inner.text.push_str(&words.xml10_content());
                } else if !words.trim().is_empty() {
                    return Err(refuse(at, "text outside of all elements".into()));
                }
            }
            Event::CData(words) if skipped == 0 => {
                if let Some(inner) = stack.last_mut() {
                    inner.text.push_str(&words.xml10_content());
                }
            }
            Event::GeneralRef(name) => {
                let character = if name.is_char_ref() {
                    name.resolve_char_ref().ok().flatten().map(String::from)
                } else {
                    quick_xml::escape::resolve_xml_entity(&name).map(str::to_owned)
                };
                let Some(character) = character else {
                    return Err(refuse(
                        at,
                        format!(
                            "found the entity &{};, which is not read; allowed are characters and XML's own five",
                            &*name
                        ),
                    ));
                };
                if let Some(inner) = stack.last_mut().filter(|_| skipped == 0) {
                    inner.text.push_str(&character);
                }
            }
            Event::DocType(kind) if kind.contains("<!ENTITY") || kind.contains("<!entity") => {
                return Err(refuse(at, "the document type declares entities; they are not read".into()));
            }
            Event::Eof => break,
            _ => {}
        }
    }
    if let Some(open) = stack.last() {
        return Err(refuse(text.len(), format!("the document ends within <{}>", open.name)));
    }
    root.ok_or_else(|| refuse(text.len(), "no element in the document".into()))
}

fn element(start: &BytesStart<'_>, at: usize) -> Result<Element, String> {
    let mut made = Element { name: start.name().as_ref().into(), at, ..Element::default() };
    for attribute in start.attributes() {
        let attribute = attribute.map_err(|e| format!("no well-formed attribute: {e}"))?;
        let value =
            quick_xml::escape::unescape(&attribute.value).map_err(|e| format!("no well-formed attribute: {e}"))?;
        made.attributes.push((attribute.key.as_ref().into(), value.as_ref().into()));
    }
    Ok(made)
}
