//! The formats grooves are put into and made from, as tables: the command line and the editor offer the same. It must not know
//! paths, nor what the formats are made of.

use super::handout::{self, Handout};
use super::notation::notation;
use super::picture::{self, Kind, Picture, Theme};
use super::writing::Writing;
use super::{Imported, Piece, Refused, midi, musicxml};
use crate::analysis;
use crate::describe::plain;
use crate::rhythm::Fraction;

/// A format grooves can be put into.
#[derive(Debug)]
pub struct Format {
    /// Its name after `--as`.
    pub name: &'static str,
    /// The ending of its files, without a dot.
    pub ending: &'static str,
    /// What it is.
    pub words: &'static str,
    /// Whether it is a picture, of which there are several.
    pub drawn: bool,
    /// Makes a file's bytes.
    pub make: fn(&Piece<'_>, &Wish) -> Result<Vec<u8>, Refused>,
}

impl Format {
    /// Whether what is made is notation, given which picture would be drawn.
    pub fn is_notes(&self, picture: Option<Kind>) -> bool {
        matches!(self.name, "musicxml" | "mxl") || self.drawn && picture.is_none()
    }
}

/// What else a format may be asked for.
#[derive(Debug, Clone)]
pub struct Wish {
    /// Which picture; `None` is notation.
    pub picture: Option<Kind>,
    /// Where a picture is looked at.
    pub theme: Theme,
    /// Width in CSS pixels.
    pub width: f32,
    /// Pixels of a PNG to a CSS pixel; the usual ones if `None`.
    pub scale: Option<f32>,
    /// How notation is written.
    pub writing: Writing,
    /// The limits the report was made with.
    pub limits: analysis::Limits,
}

/// The pictures there are: name, what is seen, and which it is.
pub const PICTURES: &[(&str, &str, Option<Kind>)] = &[
    ("grid", "cells, groups, landings and pulses", Some(Kind::Grid)),
    ("streams", "the streams against each other", Some(Kind::Streams)),
    ("landings", "where the attacks land", Some(Kind::Landings)),
    ("notation", "notation", None),
];

/// Every format.
pub const FORMATS: &[Format] = &[
    Format {
        name: "midi",
        ending: "mid",
        words: "a Standard MIDI File, format 1",
        drawn: false,
        make: |piece, _| midi::export(piece),
    },
    Format {
        name: "musicxml",
        ending: "musicxml",
        words: "notation as MusicXML 4.0",
        drawn: false,
        make: |piece, wish| musicxml::write(piece, &wish.writing),
    },
    Format {
        name: "mxl",
        ending: "mxl",
        words: "MusicXML 4.0, compressed",
        drawn: false,
        make: |piece, wish| musicxml::write_mxl(piece, &wish.writing),
    },
    Format {
        name: "svg",
        ending: "svg",
        words: "a picture that is sharp at every size",
        drawn: true,
        make: |piece, wish| Ok(drawn(piece, wish)?.svg.into_bytes()),
    },
    Format {
        name: "png",
        ending: "png",
        words: "a picture of pixels",
        drawn: true,
        make: |piece, wish| {
            let picture = drawn(piece, wish)?;
            picture::png(&picture, wish.scale.unwrap_or_else(|| picture::usual_scale(&picture)))
        },
    },
    Format {
        name: "html",
        ending: "html",
        words: "a handout as one page, without sound",
        drawn: false,
        make: |piece, wish| Ok(handout::html(&sheet(piece.clone(), wish.limits, wish.writing.clone())).into_bytes()),
    },
    Format {
        name: "txt",
        ending: "txt",
        words: "groups, boxes and counting syllables as plain text",
        drawn: false,
        make: |piece, _| Ok(plain::all(piece.groove, piece.section).into_bytes()),
    },
];

/// Endings of files that are told by them, some of more than one kind of name: the first is the one that is used.
const ENDINGS: &[&[&str]] = &[
    &["toml"],
    &["mid", "midi", "smf", "kar"],
    &["musicxml", "xml"],
    &["mxl"],
    &["svg"],
    &["png"],
    &["html", "htm"],
    &["md"],
    &["txt"],
    &["wav"],
    &["tsv"],
];

/// What is wrong with a name for a file that should have an ending: it ends as those of another kind do.
pub fn other_ending(name: &str, ending: &str) -> Option<String> {
    let found = name.rsplit_once('.')?.1.to_lowercase();
    let row = ENDINGS.iter().find(|row| row.contains(&found.as_str()))?;
    (!row.contains(&ending)).then(|| format!("{name}: found the ending .{found}, allowed is .{ending}"))
}

/// A picture in words: `grid`, `streams`, `landings`, `notation`.
///
/// # Errors
/// The words that are allowed.
pub fn picture_of(words: &str) -> Result<Option<Kind>, String> {
    let names: Vec<&str> = PICTURES.iter().map(|p| p.0).collect();
    let found = PICTURES.iter().find(|p| p.0 == words);
    found.map(|p| p.2).ok_or_else(|| format!("allowed are: {}", names.join(", ")))
}

/// A theme in words: `print`, `screen`.
///
/// # Errors
/// The words that are allowed.
pub fn theme_of(words: &str) -> Result<Theme, String> {
    match words {
        "print" => Ok(Theme::Print),
        "screen" => Ok(Theme::Screen),
        _ => Err("allowed are: print, screen".into()),
    }
}

fn drawn(piece: &Piece<'_>, wish: &Wish) -> Result<Picture, Refused> {
    let ask = picture::Ask { theme: wish.theme, width: wish.width, ..picture::Ask::default() };
    match wish.picture {
        Some(kind) => Ok(picture::picture(piece, &picture::Ask { kind, ..ask })),
        None => notation(piece, &wish.writing, &ask),
    }
}

/// A handout with the usual ladder, from half the tempo up, and no sound.
pub fn sheet(piece: Piece<'_>, limits: analysis::Limits, writing: Writing) -> Handout<'_> {
    let step = |percent| Fraction::new(percent, 100);
    let ladder = (50..=100).step_by(10).filter_map(step).collect();
    Handout { piece, limits, ladder, writing, takes: Vec::new(), stem: "groove".into() }
}

/// The hearings that are drawn where none was asked for: the rival of the written beat, and the best besides.
pub fn usual(report: &analysis::Report) -> Vec<usize> {
    let rival = report.rival();
    let other = |i: &usize| Some(*i) != rival && report.hearings[*i].kind != analysis::Kind::Written;
    rival.into_iter().chain((0..report.hearings.len()).filter(other).take(1)).collect()
}

/// The format of a name.
///
/// # Errors
/// What is wrong, and every format there is.
pub fn format(name: &str) -> Result<&'static Format, String> {
    FORMATS.iter().find(|f| f.name == name).ok_or_else(|| {
        let allowed: Vec<String> = FORMATS.iter().map(|f| format!("{} ({})", f.name, f.words)).collect();
        format!("there is no format '{name}', allowed are: {}", allowed.join(", "))
    })
}

/// A format grooves are made from.
pub struct Source {
    /// Endings of its files, without a dot.
    pub endings: &'static [&'static str],
    /// What it is.
    pub words: &'static str,
    /// One of its files.
    pub one: &'static str,
    /// Whether bytes begin as it does.
    pub begins: fn(&[u8]) -> bool,
    /// Most bytes of a file.
    pub limit: u64,
    /// Makes a groove, with a tolerance in ms for formats whose times are rounded or played.
    pub read: fn(&[u8], Fraction) -> Result<Imported, Refused>,
}

/// Every format that grooves are made from.
pub const SOURCES: &[Source] = &[
    Source {
        endings: &["mid", "midi", "rmi"],
        words: "Standard MIDI Files (.mid)",
        one: "a Standard MIDI File",
        begins: |bytes| bytes.starts_with(b"MThd") || bytes.starts_with(b"RIFF") && bytes.get(8..12) == Some(b"RMID"),
        limit: midi::LIMIT,
        read: midi::import_with,
    },
    Source {
        endings: &["musicxml", "mxl", "xml"],
        words: "MusicXML (.musicxml, .mxl)",
        one: "a MusicXML score",
        begins: musicxml::is_one,
        limit: musicxml::LIMIT,
        read: |bytes, _| musicxml::read(bytes),
    },
];

/// What grooves can be made from, in words.
pub fn sources() -> String {
    SOURCES.iter().map(|f| f.words).collect::<Vec<_>>().join(", ")
}

/// Most bytes of anything that is read.
pub fn longest() -> u64 {
    SOURCES.iter().map(|f| f.limit).max().unwrap_or(0)
}

/// Makes a groove of a file's bytes. Its format is that of the file's ending, or else the one it begins as; `stem` becomes its title
/// where it has none of its own; `tolerance` in ms, 0 to 100, is for formats whose times are rounded or played.
///
/// # Errors
/// [`Refused`] where no format is known here, the file is too long or is not what it says it is.
pub fn bring(bytes: &[u8], ending: Option<&str>, stem: &str, tolerance: Fraction) -> Result<Imported, Refused> {
    let named = |f: &&Source| ending.is_some_and(|e| f.endings.iter().any(|n| e.eq_ignore_ascii_case(n)));
    let format = SOURCES.iter().find(named).or_else(|| SOURCES.iter().find(|f| (f.begins)(bytes)));
    let unknown = || Refused::new("", format!("found no format known here, allowed are {}", sources()));
    let format = format.ok_or_else(unknown)?;
    let other = SOURCES.iter().find(|f| (f.begins)(bytes)).filter(|_| !(format.begins)(bytes));
    if let (Some(other), Some(ending)) = (other, ending) {
        let own: Vec<String> = other.endings.iter().map(|e| format!(".{e}")).collect();
        let words = format!(
            "found {}, whose name ends in .{ending}; allowed are names that end in {}",
            other.one,
            own.join(", ")
        );
        return Err(Refused::new("", words));
    }
    if bytes.len() as u64 > format.limit {
        let words = format!("found more than {} bytes, allowed are at most so many", format.limit);
        return Err(Refused::new("", words));
    }
    let mut made = (format.read)(bytes, tolerance)?;
    if made.groove.title().is_empty() {
        let stem = if stem.is_empty() || stem == "-" { "untitled" } else { stem };
        made.groove = made.groove.titled(stem, made.groove.note());
    }
    Ok(made)
}
