//! The command that makes handouts: pages, their pictures, and the takes rendered for them. It must not know what a handout says.

use super::pulse::Heard;
use super::{Exit, Failure, args, export, input, output, takes};
use crate::exchange::Piece;
use crate::exchange::handout::{self, SIGN, Sound};
use crate::rhythm::{Fraction, Groove};
use crate::sound::SampleRate;
use crate::sound::take::{Sequence, Take};
use std::io::{self, Write};
use std::path::Path;

/// Makes a handout of every groove named; those that cannot be are reported, and the others still written.
pub(super) fn run(ask: &args::Sheets) -> Result<Exit, Failure> {
    let rate = output::rate(ask.rate)?;
    let named = input::named(&ask.files);
    if named.is_empty() {
        return Err(Failure::new(Exit::BadGroove, "there is no groove (no .toml file) in what was named"));
    }
    let unused = |_: &Path| ask.into.clone();
    let targets = export::targets(&named, None, Some(&ask.into), unused, &ask.format)?;
    let mut exit = Exit::Good;
    for (from, target) in named.iter().zip(&targets) {
        match one(ask, &from.path, target, rate) {
            Err(failure) => exit = export::report(&failure, exit)?,
            Ok(()) => writeln!(io::stderr().lock(), "{}: written", target.display())?,
        }
    }
    Ok(exit)
}

fn one(ask: &args::Sheets, path: &Path, target: &Path, rate: SampleRate) -> Result<(), Failure> {
    let groove = input::read(path).map_err(|words| Failure::new(Exit::BadGroove, words))?;
    let heard = Heard::new(&groove, Fraction::ONE)?;
    for number in &ask.hearing {
        heard.hearing("--hearing", *number)?;
    }
    let hearings = match &ask.hearing[..] {
        [] => export::usual(&heard.report),
        numbers => numbers.iter().map(|n| n - 1).collect(),
    };
    let piece = Piece { groove: &groove, report: &heard.report, hearings, section: None };
    let mut sheet = export::sheet(piece, heard.limits);
    sheet.stem = stem(target);
    let mut files: Vec<(String, Vec<u8>)> = Vec::new();
    if ask.sound != "none" && !heard.report.attacks.is_empty() {
        let wanted = takes::usual(&heard);
        // Where the last take is the third again, once is enough to read and listen.
        let mut seen = Vec::new();
        for take in takes::takes(&heard, &wanted, 1, true, Fraction::ONE)? {
            if seen.contains(&take.name) {
                continue;
            }
            seen.push(take.name.clone());
            let (name, bytes) = (take.name.clone(), rendered(&groove, take, rate)?);
            let sound = if ask.sound == "within" && ask.format == "html" {
                Sound::Within(bytes)
            } else {
                let file = format!("{}-{}.wav", sheet.stem, seen.len());
                files.push((file.clone(), bytes));
                Sound::Beside(file)
            };
            sheet.takes.push(handout::Take { name, sound });
        }
    }
    let text = if ask.format == "md" {
        let made = handout::markdown(&sheet);
        files.extend(made.files);
        made.text
    } else {
        handout::html(&sheet)
    };
    for (name, bytes) in &files {
        let begins: &[u8] = if Path::new(name).extension().is_some_and(|e| e == "wav") { b"RIFF" } else { b"<svg" };
        output::result(&target.with_file_name(name), bytes, begins, ask.overwrite)?;
    }
    let begins = if ask.format == "md" { SIGN.to_owned() } else { format!("<!DOCTYPE html>\n{SIGN}") };
    output::result(target, text.as_bytes(), begins.as_bytes(), ask.overwrite)
}

fn rendered(groove: &Groove, take: Take, rate: SampleRate) -> Result<Vec<u8>, Failure> {
    let takes = [take];
    let mut bytes = Vec::new();
    Sequence::new(groove, &takes, rate).write(&mut bytes)?;
    Ok(bytes)
}

/// The file's name without its ending, as a link may hold it.
fn stem(target: &Path) -> String {
    let name = target.file_stem().unwrap_or_default().to_string_lossy();
    let plain: String = name.chars().map(|c| if c.is_ascii_alphanumeric() || c == '-' { c } else { '-' }).collect();
    if plain.is_empty() { "groove".into() } else { plain }
}
