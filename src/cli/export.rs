//! The command that puts grooves into other formats. It must not know what the formats are made of.

use super::explain::on_all_cores;
use super::{Exit, Failure, args, input, output};
use crate::analysis::{self, Ask};
use crate::exchange::handout::{self, Handout};
use crate::exchange::notation::notation;
use crate::exchange::picture::{self, Kind, Picture, Theme};
use crate::exchange::{Piece, Refused, midi, musicxml};
use crate::rhythm::Fraction;
use crate::words::plain;
use std::collections::HashMap;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// A format grooves can be put into.
#[derive(Debug)]
pub(super) struct Format {
    /// Its name after `--as`.
    pub(super) name: &'static str,
    /// The ending of its files, without a dot.
    pub(super) ending: &'static str,
    /// What it is.
    pub(super) words: &'static str,
    /// How each of its files begins, which tells that one may be written over; empty if they have no beginning of their own.
    pub(super) begins: &'static [u8],
    /// Makes a file's bytes.
    pub(super) make: fn(&Piece<'_>, &Wish) -> Result<Vec<u8>, Refused>,
}

/// What else a format may be asked for.
#[derive(Debug, Clone)]
pub(super) struct Wish {
    /// Which picture; `None` is notation.
    pub(super) picture: Option<Kind>,
    pub(super) theme: Theme,
    /// Width in CSS pixels.
    pub(super) width: f32,
    /// Pixels of a PNG to a CSS pixel; the usual ones if `None`.
    pub(super) scale: Option<f32>,
    pub(super) limits: analysis::Limits,
}

/// Every format.
pub(super) const FORMATS: &[Format] = &[
    Format {
        name: "midi",
        ending: "mid",
        words: "a Standard MIDI File, format 1",
        begins: b"MThd",
        make: |piece, _| midi::export(piece),
    },
    Format {
        name: "musicxml",
        ending: "musicxml",
        words: "notation as MusicXML 4.0",
        begins: musicxml::BEGINS,
        make: |piece, _| musicxml::write(piece, &musicxml::Notation::of(piece)),
    },
    Format {
        name: "mxl",
        ending: "mxl",
        words: "the same, compressed",
        begins: musicxml::BEGINS_PACKED,
        make: |piece, _| musicxml::write_mxl(piece, &musicxml::Notation::of(piece)),
    },
    Format {
        name: "svg",
        ending: "svg",
        words: "a picture that is sharp at every size",
        begins: b"<svg",
        make: |piece, wish| Ok(drawn(piece, wish)?.svg.into_bytes()),
    },
    Format {
        name: "png",
        ending: "png",
        words: "a picture of pixels",
        begins: b"\x89PNG",
        make: |piece, wish| {
            let picture = drawn(piece, wish)?;
            picture::png(&picture, wish.scale.unwrap_or_else(|| picture::usual_scale(&picture)))
        },
    },
    Format {
        name: "html",
        ending: "html",
        words: "a handout as one page, without sound",
        begins: b"<!DOCTYPE html>\n<!-- a handout made by teeter -->",
        make: |piece, wish| Ok(handout::html(&sheet(piece.clone(), wish.limits)).into_bytes()),
    },
    Format {
        name: "txt",
        ending: "txt",
        words: "groups, boxes and counting syllables as plain text",
        begins: b"",
        make: |piece, _| Ok(plain::all(piece.groove, piece.section).into_bytes()),
    },
];

/// A picture in words: `grid`, `streams`, `landings`, `notation`.
pub(super) fn picture(words: &str) -> Result<Option<Kind>, String> {
    match words {
        "grid" => Ok(Some(Kind::Grid)),
        "streams" => Ok(Some(Kind::Streams)),
        "landings" => Ok(Some(Kind::Landings)),
        "notation" => Ok(None),
        _ => Err("allowed are: grid, streams, landings, notation".into()),
    }
}

/// A theme in words.
pub(super) fn theme(words: &str) -> Result<Theme, String> {
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
        None => notation(piece, &ask),
    }
}

/// A handout with the usual ladder, from half the tempo up, and no sound.
pub(super) fn sheet(piece: Piece<'_>, limits: analysis::Limits) -> Handout<'_> {
    let step = |percent| Fraction::new(percent, 100);
    let ladder = (50..=100).step_by(10).filter_map(step).collect();
    Handout { piece, limits, ladder, takes: Vec::new(), stem: "groove".into() }
}

/// The hearings that are drawn where none was asked for: the best two that are not the written beat.
pub(super) fn usual(report: &analysis::Report) -> Vec<usize> {
    let rival = |h: &(usize, &analysis::Hearing)| h.1.kind != analysis::Kind::Written;
    report.hearings.iter().enumerate().filter(rival).take(2).map(|h| h.0).collect()
}

/// The format of a name.
pub(super) fn format(name: &str) -> Result<&'static Format, String> {
    FORMATS.iter().find(|f| f.name == name).ok_or_else(|| {
        let allowed: Vec<String> = FORMATS.iter().map(|f| format!("{} ({})", f.name, f.words)).collect();
        format!("there is no format '{name}', allowed are: {}", allowed.join(", "))
    })
}

/// The ending of the format that is read where it is printed: it goes to standard output unless a file is named.
const TEXT: &str = "txt";

/// Where the results of several files go.
pub(super) fn targets(
    named: &[input::Named],
    output: Option<&PathBuf>,
    into: Option<&PathBuf>,
    otherwise: impl Fn(&Path) -> PathBuf,
    ending: &str,
) -> Result<Vec<PathBuf>, Failure> {
    if let Some(output) = output {
        if named.len() > 1 {
            let words = format!("-o names one file, found {} to read; allowed is --into FOLDER", named.len());
            return Err(Failure::new(Exit::Usage, words));
        }
        return Ok(vec![output.clone(); named.len()]);
    }
    let place = |path: &Path| match into {
        Some(folder) if path.as_os_str() == "-" => folder.join("groove").with_extension(ending),
        Some(folder) => folder.join(path.file_name().unwrap_or_default()).with_extension(ending),
        None => otherwise(path),
    };
    let targets: Vec<PathBuf> = named.iter().map(|n| place(&n.path)).collect();
    let mut taken: HashMap<&Path, &Path> = HashMap::new();
    for (target, from) in targets.iter().zip(named).filter(|t| t.0.as_os_str() != "-") {
        if let Some(before) = taken.insert(target, &from.path) {
            let words = format!(
                "{} and {} would both be written to {}; allowed are files of different names",
                before.display(),
                from.path.display(),
                target.display()
            );
            return Err(Failure::new(Exit::Usage, words));
        }
    }
    if let Some(folder) = into {
        std::fs::create_dir_all(folder)
            .map_err(|e| Failure::new(Exit::Output, format!("{}: cannot make the folder: {e}", folder.display())))?;
    }
    Ok(targets)
}

/// Says what failed, and gives the graver of two exit codes.
pub(super) fn report(failure: &Failure, so_far: Exit) -> io::Result<Exit> {
    if let Some(error) = &failure.error {
        writeln!(io::stderr().lock(), "{error:#}")?;
    }
    let rank = |e: Exit| match e {
        Exit::Good => 0,
        Exit::BadGroove => 1,
        Exit::Usage => 2,
        Exit::Output => 3,
    };
    Ok(if rank(failure.exit) > rank(so_far) { failure.exit } else { so_far })
}

/// Exports every groove named; those that cannot be are reported, and the others still written.
pub(super) fn run(ask: &args::Export) -> Result<Exit, Failure> {
    let named = input::named(&ask.files);
    if named.is_empty() {
        return Err(Failure::new(Exit::BadGroove, "there is no groove (no .toml file) in what was named"));
    }
    let beside = |path: &Path| {
        if path.as_os_str() == "-" || ask.format.ending == TEXT {
            PathBuf::from("-")
        } else {
            path.with_extension(ask.format.ending)
        }
    };
    let targets = targets(&named, ask.output.as_ref(), ask.into.as_ref(), beside, ask.format.ending)?;
    if ask.format.ending != TEXT && targets.iter().any(|t| t.as_os_str() == "-") {
        output::not_a_terminal(Path::new("-"))?;
    }
    let limits = input::limits(None)?;
    let pairs: Vec<(&Path, &PathBuf)> = named.iter().map(|n| n.path.as_path()).zip(&targets).collect();
    let results = on_all_cores(&pairs, |(path, target)| -> Result<Option<Vec<u8>>, Failure> {
        let bytes = made(ask, path, limits)?;
        if target.as_os_str() == "-" {
            return Ok(Some(bytes));
        }
        output::result(target, &bytes, ask.format.begins, ask.overwrite).map(|()| None)
    });
    let mut exit = Exit::Good;
    for (result, (_, target)) in results.iter().zip(&pairs) {
        match result {
            Err(failure) => exit = report(failure, exit)?,
            // In the order of the files.
            Ok(Some(bytes)) => io::stdout().lock().write_all(bytes)?,
            Ok(None) => writeln!(io::stderr().lock(), "{}: written", target.display())?,
        }
    }
    Ok(exit)
}

/// The bytes of one groove.
fn made(ask: &args::Export, path: &Path, limits: analysis::Limits) -> Result<Vec<u8>, Failure> {
    let groove = input::read(path).map_err(|words| Failure::new(Exit::BadGroove, words))?;
    let usage = |words: String| Failure::new(Exit::Usage, format!("{}: {words}", path.display()));
    let section = match &ask.section {
        None => None,
        Some(name) => Some(groove.sections().iter().position(|s| s.name == *name).ok_or_else(|| {
            let allowed: Vec<&str> = groove.sections().iter().map(|s| s.name.as_str()).collect();
            usage(format!("there is no section '{name}', allowed are: {}", allowed.join(", ")))
        })?),
    };
    let report = analysis::report(&groove, &Ask { limits, ..Ask::default() });
    let found = report.hearings.len();
    let hearing = |n: &usize| {
        let index = n.checked_sub(1).filter(|i| *i < found);
        index.ok_or_else(|| usage(format!("--hearing is {n}, allowed are the numbers from 1 to {found}")))
    };
    let mut hearings = ask.hearing.iter().map(hearing).collect::<Result<Vec<usize>, Failure>>()?;
    if hearings.is_empty() && ask.format.name != "midi" {
        hearings = usual(&report);
    }
    let wish = Wish { picture: ask.picture, theme: ask.theme, width: ask.width, scale: ask.scale, limits };
    let piece = Piece { groove: &groove, report: &report, hearings, section };
    (ask.format.make)(&piece, &wish).map_err(|e| Failure::new(Exit::BadGroove, format!("{}: {e}", path.display())))
}
