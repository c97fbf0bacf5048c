//! The export formats, as a table for the command line and the editor.

use super::annotations::NotationOptions;
use super::engraving::notation;
use super::handout::{self, Handout};
use super::picture::{self, Picture, PictureKind, Theme};
use super::{ExportInput, midi, musicxml};
use crate::analysis;
use crate::describe::plain;
use crate::notation::FormatError;
use crate::rhythm::{Fraction, expected};

/// A format grooves can be put into.
#[derive(Debug)]
pub(crate) struct Format {
    /// Its name after `--as`.
    pub name: &'static str,
    /// The ending of its files, without a dot.
    pub ending: &'static str,
    /// What it is.
    pub words: &'static str,
    /// Whether it is a picture, of which there are several.
    pub drawn: bool,
    /// Makes a file's bytes.
    pub make: fn(&ExportInput<'_>, &FormatOptions) -> Result<Vec<u8>, FormatError>,
}

impl Format {
    /// Whether what is made is notation, given which picture would be drawn.
    pub(crate) fn is_notes(&self, picture: Option<PictureKind>) -> bool {
        matches!(self.name, "musicxml" | "mxl") || self.drawn && picture.is_none()
    }
}

/// What else a format may be asked for.
#[derive(Debug, Clone)]
pub(crate) struct FormatOptions {
    /// Which picture; `None` is notation.
    pub picture: Option<PictureKind>,
    /// Where a picture is looked at.
    pub theme: Theme,
    /// Width in CSS pixels.
    pub width: f32,
    /// Pixels of a PNG to a CSS pixel; the usual ones if `None`.
    pub scale: Option<f32>,
    /// How notation is written.
    pub writing: NotationOptions,
    /// The limits the report was made with.
    pub limits: analysis::Limits,
}

/// The pictures there are: name, what is seen, and which it is.
pub(crate) const PICTURES: &[(&str, &str, Option<PictureKind>)] = &[
    ("grid", "cells, groups, landings and pulses", Some(PictureKind::Grid)),
    ("streams", "the streams over time", Some(PictureKind::Streams)),
    ("landings", "where the attacks land", Some(PictureKind::Landings)),
    ("notation", "notation", None),
];

/// Every format.
pub(crate) const FORMATS: &[Format] = &[
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
        words: "a vector picture",
        drawn: true,
        make: |piece, wish| Ok(drawn(piece, wish)?.svg.into_bytes()),
    },
    Format {
        name: "png",
        ending: "png",
        words: "a bitmap picture",
        drawn: true,
        make: |piece, wish| {
            let picture = drawn(piece, wish)?;
            picture::png(&picture, wish.scale.unwrap_or_else(|| picture::default_scale(&picture)))
        },
    },
    Format {
        name: "html",
        ending: "html",
        words: "a handout as one page, without audio",
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
pub(crate) fn other_ending(name: &str, ending: &str) -> Option<String> {
    let found = name.rsplit_once('.')?.1.to_lowercase();
    let row = ENDINGS.iter().find(|row| row.contains(&found.as_str()))?;
    (!row.contains(&ending))
        .then(|| format!("{name}: {}", expected(format!("a file name ending in .{ending}"), format!(".{found}"))))
}

/// A picture in words: `grid`, `streams`, `landings`, `notation`.
///
/// # Errors
/// The words that are allowed.
pub(crate) fn picture_of(words: &str) -> Result<Option<PictureKind>, String> {
    let names: Vec<&str> = PICTURES.iter().map(|p| p.0).collect();
    let found = PICTURES.iter().find(|p| p.0 == words);
    found.map(|p| p.2).ok_or_else(|| expected(format!("one of: {}", names.join(", ")), format!("'{words}'")))
}

/// A theme in words: `print`, `screen`.
///
/// # Errors
/// The words that are allowed.
pub(crate) fn theme_of(words: &str) -> Result<Theme, String> {
    match words {
        "print" => Ok(Theme::Print),
        "screen" => Ok(Theme::Screen),
        _ => Err(expected("print or screen", format!("'{words}'"))),
    }
}

fn drawn(piece: &ExportInput<'_>, wish: &FormatOptions) -> Result<Picture, FormatError> {
    let ask = picture::PictureOptions { theme: wish.theme, width: wish.width, ..picture::PictureOptions::default() };
    match wish.picture {
        Some(kind) => Ok(picture::picture(piece, &picture::PictureOptions { kind, ..ask })),
        None => notation(piece, &wish.writing, &ask),
    }
}

/// A handout with the usual ladder, from half the tempo up, and no sound.
pub(crate) fn sheet(piece: ExportInput<'_>, limits: analysis::Limits, writing: NotationOptions) -> Handout<'_> {
    let step = |percent| Fraction::new(percent, 100);
    let ladder = (50..=100).step_by(10).filter_map(step).collect();
    Handout { piece, limits, ladder, writing, takes: Vec::new(), stem: "groove".into() }
}

/// The hearings that are drawn where none was asked for: the rival of the written beat, and the best besides.
pub(crate) fn default_hearings(report: &analysis::Report) -> Vec<usize> {
    let rival = report.rival();
    let other = |i: &usize| Some(*i) != rival && report.hearings[*i].kind != analysis::Kind::Written;
    rival.into_iter().chain((0..report.hearings.len()).filter(other).take(1)).collect()
}

/// The format of a name.
///
/// # Errors
/// What is wrong, and every format there is.
pub(crate) fn format(name: &str) -> Result<&'static Format, String> {
    FORMATS.iter().find(|f| f.name == name).ok_or_else(|| {
        let allowed: Vec<String> = FORMATS.iter().map(|f| format!("{} ({})", f.name, f.words)).collect();
        expected(format!("one of: {}", allowed.join(", ")), format!("'{name}'"))
    })
}
