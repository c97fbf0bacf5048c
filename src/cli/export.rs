//! The command that puts grooves into other formats. It must not know what the formats are made of.

use super::explain::on_all_cores;
use super::{Exit, Failure, args, input, output};
use crate::analysis::{self, Ask};
use crate::export::formats::{self, FormatOptions};
use crate::export::picture::PictureKind;
use crate::export::{ExportInput, left_out};
use crate::store;
use std::collections::HashMap;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

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
            .map_err(|e| Failure::new(Exit::Output, format!("{}: {}", folder.display(), no_folder(folder, &e))))?;
    }
    Ok(targets)
}

/// Why a folder was not made.
fn no_folder(folder: &Path, error: &io::Error) -> String {
    if folder.is_file() {
        "found a file, allowed is a folder".into()
    } else {
        format!("cannot make the folder: {}", store::reason(error))
    }
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

/// The picture that is drawn, and its width in CSS pixels, where nothing is said of them.
const USUAL: args::Which = Some(PictureKind::Grid);
const WIDTH: f32 = 1000.0;

/// Refuses words that say nothing of what is made, and a name that ends as files of another format do.
fn fits(ask: &args::Export) -> Result<(), Failure> {
    let format = ask.format;
    let notes = format.is_notes(ask.picture.unwrap_or(USUAL));
    let of = |word: &'static str, given: bool, fits: bool, what: &'static str| (word, given && !fits, what);
    let told = [
        of("--picture", ask.picture.is_some(), format.drawn, "of svg and png"),
        of("--theme", ask.theme.is_some(), format.drawn, "of svg and png"),
        of("--width", ask.width.is_some(), format.drawn, "of svg and png"),
        of("--scale", ask.scale.is_some(), format.name == "png", "of png"),
        of("--hearing", !ask.hearing.is_empty(), format.ending != TEXT, "of every format but txt"),
    ];
    let notation = "of notation: musicxml, mxl, html, and svg and png with --picture notation";
    let notes = ask.notes.given().map(|word| of(word, true, notes || format.name == "html", notation));
    if let Some((word, _, what)) = told.into_iter().chain(notes).find(|t| t.1) {
        return Err(Failure::new(Exit::Usage, format!("{word} is {what}; --as {} has no use for it", format.name)));
    }
    match ask.output.as_deref().and_then(Path::to_str).and_then(|name| formats::other_ending(name, format.ending)) {
        Some(words) => Err(Failure::new(Exit::Usage, words)),
        None => Ok(()),
    }
}

/// Exports every groove named; those that cannot be are reported, and the others still written.
pub(super) fn run(ask: &args::Export) -> Result<Exit, Failure> {
    fits(ask)?;
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
    // Also under another name, through a link.
    let same = |(n, target): (&input::Named, &PathBuf)| {
        target.canonicalize().is_ok_and(|t| n.path.canonicalize().is_ok_and(|p| p == t))
    };
    if let Some((_, target)) = named.iter().zip(&targets).find(|pair| same(*pair)) {
        let words = format!("{}: this is the groove itself; it is not written over", target.display());
        return Err(Failure::new(Exit::Usage, words));
    }
    let limits = input::limits(None)?;
    let pairs: Vec<(&Path, &PathBuf)> = named.iter().map(|n| n.path.as_path()).zip(&targets).collect();
    let results = on_all_cores(&pairs, |(path, target)| -> Result<Option<Vec<u8>>, Failure> {
        let bytes = made(ask, path, limits)?;
        if target.as_os_str() == "-" {
            return Ok(Some(bytes));
        }
        output::result(target, &bytes, ask.overwrite).map(|()| None)
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
    let picture = ask.picture.unwrap_or(USUAL);
    let notes = ask.format.is_notes(picture);
    if hearings.is_empty() && !notes && ask.format.name != "midi" {
        hearings = formats::default_hearings(&report);
    }
    let (theme, width) = (ask.theme.unwrap_or_default(), ask.width.unwrap_or(WIDTH));
    let wish = FormatOptions { picture, theme, width, scale: ask.scale, writing: ask.notes.writing(), limits };
    let piece = ExportInput { groove: &groove, report: &report, hearings, section };
    for words in if notes { left_out(&piece) } else { Vec::new() } {
        writeln!(io::stderr().lock(), "{}: {words}", path.display())?;
    }
    (ask.format.make)(&piece, &wish).map_err(|e| Failure::new(Exit::BadGroove, format!("{}: {e}", path.display())))
}
