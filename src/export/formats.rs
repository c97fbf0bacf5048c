//! The table of export formats, for the command line and the editor.

use super::engraving::notation;
use super::handout::{self, Handout};
use super::picture::{self, Picture, PictureKind, PictureOptions, Theme};
use super::{ExportError, ExportInput, data, midi, musicxml};
use crate::analysis::{HearingKind, Limits, Report};
use crate::describe::notes::NotationOptions;
use crate::describe::plain;
use crate::notation::FormatError;
use crate::rhythm::expected;
use std::io::Write;

#[derive(Debug)]
pub(crate) struct Format {
    /// Name after `--as`.
    pub(crate) name: &'static str,
    /// Extension of its files, without a dot.
    pub(crate) extension: &'static str,
    pub(crate) description: &'static str,
    /// Whether it draws one of [`PICTURES`].
    pub(crate) is_picture: bool,
    /// Writes the file and returns a sentence for everything that it does not state as the groove plays it.
    pub(crate) write: Writer,
}

type Writer = fn(&ExportInput<'_>, &FormatOptions<'_>, &mut dyn Write) -> Result<Vec<String>, ExportError>;

impl Format {
    pub(crate) fn is_notation(&self, picture: Option<PictureKind>) -> bool {
        matches!(self.name, "musicxml" | "mxl") || self.is_picture && picture.is_none()
    }
}

pub(crate) struct FormatOptions<'a> {
    /// `None` is notation.
    pub(crate) picture: Option<PictureKind>,
    pub(crate) style: &'a PictureStyle,
    pub(crate) limits: Limits,
}

/// How pictures and notation look.
#[derive(Debug, Clone, PartialEq)]
pub struct PictureStyle {
    pub(crate) theme: Theme,
    /// Width in CSS pixels, 480 to 4000.
    pub(crate) width: f32,
    /// Pixels of a PNG per CSS pixel, 0.1 to 8; `None` for the default.
    pub(crate) scale: Option<f32>,
    pub(crate) notation: NotationOptions,
}

impl Default for PictureStyle {
    fn default() -> Self {
        Self { theme: Theme::Print, width: 1000.0, scale: None, notation: NotationOptions::default() }
    }
}

/// The pictures: name, content, and kind, `None` for notation.
pub(crate) const PICTURES: &[(&str, &str, Option<PictureKind>)] = &[
    ("grid", "cells, groups, landings and pulses", Some(PictureKind::Grid)),
    ("streams", "the streams over time", Some(PictureKind::Streams)),
    ("landings", "where the attacks land", Some(PictureKind::Landings)),
    ("notation", "notation", None),
];

macro_rules! formats {
    ($($name:literal $extension:literal, picture: $is_picture:literal, $description:literal, $write:expr;)*) => {
        &[$(Format {
            name: $name, extension: $extension, is_picture: $is_picture, description: $description, write: $write,
        }),*]
    };
}

pub(crate) const FORMATS: &[Format] = formats! {
    "midi" "mid", picture: false, "a Standard MIDI File, format 1",
        |piece, _, out| write_whole(out, &midi::export(piece, midi::Tracks::Layers)?);
    "click-midi" "mid", picture: false, "the tempo map with clicks of beat and hearings, as MIDI",
        |piece, _, out| write_whole(out, &midi::export(piece, midi::Tracks::WrittenBeat)?);
    "musicxml" "musicxml", picture: false, "notation as MusicXML 4.0",
        |piece, options, out| musicxml::write(piece, &options.style.notation, out);
    "mxl" "mxl", picture: false, "MusicXML 4.0, compressed",
        |piece, options, out| musicxml::write_mxl(piece, &options.style.notation, out);
    "svg" "svg", picture: true, "a vector picture",
        |piece, options, out| write_whole(out, draw(piece, options)?.svg().as_bytes());
    "png" "png", picture: true, "a bitmap picture", |piece, options, out| {
        let picture = draw(piece, options)?;
        let scale = options.style.scale.unwrap_or_else(|| picture::default_scale(&picture));
        write_whole(out, &picture::png(&picture, scale)?)
    };
    "pdf" "pdf", picture: true, "a picture on pages of A4",
        |piece, options, out| write_whole(out, &picture::pdf(&draw(piece, options)?)?);
    "html" "html", picture: false, "a student's page with a player", |piece, options, out| {
        let handout = Handout::without_takes(piece.clone(), options.limits, options.style.notation.clone());
        write_whole(out, handout::html(&handout, handout::Reader::Student).as_bytes())
    };
    "txt" "txt", picture: false, "groups, box notation and counting syllables as text",
        |piece, _, out| write_whole(out, plain::all(piece.groove, piece.section).as_bytes());
    "csv" "csv", picture: false, "a table of attacks: times, landings, pulse distances",
        |piece, _, out| write_whole(out, data::csv(piece)?.as_bytes());
    "json" "json", picture: false, "the attacks, the beats and the pulses of hearings",
        |piece, _, out| write_whole(out, data::json(piece)?.as_bytes());
};

/// Known file extensions; those of one row mean the same kind of file.
const EXTENSIONS: &[&[&str]] = &[
    &["toml"],
    &["mid", "midi", "smf", "kar"],
    &["musicxml", "xml"],
    &["mxl"],
    &["svg"],
    &["png"],
    &["html", "htm"],
    &["md"],
    &["txt"],
    &["csv"],
    &["json"],
    &["pdf"],
    &["wav"],
    &["tsv"],
];

/// Rejects a file name whose extension is known and means another kind of file than `extension` does.
pub(crate) fn check_extension(name: &str, extension: &str) -> Result<(), String> {
    let found = name.rsplit_once('.').map(|n| n.1.to_lowercase()).unwrap_or_default();
    match EXTENSIONS.iter().find(|row| row.contains(&found.as_str())) {
        Some(row) if !row.contains(&extension) => {
            Err(format!("{name}: {}", expected(format!("a file name ending in .{extension}"), format!(".{found}"))))
        }
        _ => Ok(()),
    }
}

/// Parses the name of a picture; `notation` is `None`.
pub(crate) fn parse_picture(word: &str) -> Result<Option<PictureKind>, String> {
    let names: Vec<&str> = PICTURES.iter().map(|p| p.0).collect();
    let found = PICTURES.iter().find(|p| p.0 == word);
    found.map(|p| p.2).ok_or_else(|| expected(format!("one of: {}", names.join(", ")), format!("'{word}'")))
}

pub(crate) fn parse_theme(word: &str) -> Result<Theme, String> {
    match word {
        "print" => Ok(Theme::Print),
        "screen" => Ok(Theme::Screen),
        _ => Err(expected("print or screen", format!("'{word}'"))),
    }
}

/// Writes a file that states everything as the groove plays it, as far as the format can.
fn write_whole(out: &mut dyn Write, bytes: &[u8]) -> Result<Vec<String>, ExportError> {
    out.write_all(bytes)?;
    Ok(Vec::new())
}

fn draw(piece: &ExportInput<'_>, options: &FormatOptions<'_>) -> Result<Picture, FormatError> {
    let FormatOptions { picture, style, .. } = options;
    let canvas = PictureOptions { theme: style.theme, width: style.width, ..PictureOptions::default() };
    match *picture {
        Some(kind) => Ok(picture::picture(piece, &PictureOptions { kind, ..canvas })),
        None => notation(piece, &style.notation, &canvas),
    }
}

/// Indices of the hearings that are drawn by default: the rival of the written beat, and the best of the others.
pub(crate) fn default_hearings(report: &Report) -> Vec<usize> {
    let rival = report.rival();
    let other = |i: &usize| Some(*i) != rival && report.hearings[*i].kind != HearingKind::Written;
    rival.into_iter().chain((0..report.hearings.len()).find(other)).collect()
}

pub(crate) fn parse_format(name: &str) -> Result<&'static Format, String> {
    FORMATS.iter().find(|f| f.name == name).ok_or_else(|| {
        let allowed: Vec<String> = FORMATS.iter().map(|f| format!("{} ({})", f.name, f.description)).collect();
        expected(format!("one of: {}", allowed.join(", ")), format!("'{name}'"))
    })
}
