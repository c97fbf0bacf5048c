//! A handout with its pictures and its takes, as files in memory. It must not know where they go.

use super::takes::{self, Heard};
use super::watch::Watch;
use crate::export::annotations::NotationOptions;
use crate::export::handout::{self, SIGN, Sound};
use crate::export::{ExportInput, formats};
use crate::rhythm::{Fraction, Groove};
use crate::sound::take::{Sequence, Take};
use crate::sound::{SampleRate, UserSamples};
use std::io;
use std::path::Path;

/// Where the takes of a handout sound.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Where {
    /// In files beside it.
    Beside,
    /// Within the page.
    Within,
    /// Nowhere.
    Nowhere,
}

/// What a handout is made as.
#[derive(Debug)]
pub struct Sheet<'a> {
    /// The hearings that are drawn, as indices into the report.
    pub hearings: Vec<usize>,
    /// How its notation is written.
    pub writing: NotationOptions,
    /// Whether it is Markdown with its pictures beside it, and not a page of HTML.
    pub markdown: bool,
    /// Where its takes sound.
    pub sound: Where,
    /// Their rate.
    pub rate: SampleRate,
    /// The user's own sounds in them.
    pub own: &'a UserSamples,
}

/// A file that is made, all of it in memory.
#[derive(Debug)]
pub struct Made {
    /// Its name, without a folder.
    pub name: String,
    /// What stands in it.
    pub bytes: Vec<u8>,
    /// How such files begin.
    pub begins: Vec<u8>,
}

/// The files of a handout whose page has this name: those beside it first, the page last.
///
/// # Errors
/// That of a sink that is called off, and a take that is longer than a WAV file can be.
pub fn files(groove: &Groove, heard: &Heard, page: &str, ask: &Sheet<'_>, watch: &Watch) -> io::Result<Vec<Made>> {
    let piece = ExportInput { groove, report: &heard.report, hearings: ask.hearings.clone(), section: None };
    let mut sheet = formats::sheet(piece, heard.limits, ask.writing.clone());
    sheet.stem = handout::stem(&Path::new(page).file_stem().unwrap_or_default().to_string_lossy());
    let mut made: Vec<Made> = Vec::new();
    let mut add = |name: String, bytes, begins: &[u8]| made.push(Made { name, bytes, begins: begins.to_vec() });
    if ask.sound != Where::Nowhere && !heard.report.attacks.is_empty() {
        let usual = takes::usual(heard.rival());
        let mut all = takes::takes(heard, &usual, 1, true, Fraction::ONE).map_err(io::Error::other)?;
        // Where the last take is the third again, once is enough to read and listen.
        let mut seen: Vec<String> = Vec::new();
        all.retain(|t| {
            !seen.contains(&t.name) && {
                seen.push(t.name.clone());
                true
            }
        });
        let count = all.len();
        for (k, take) in all.into_iter().enumerate() {
            watch.part(k, count);
            let (name, bytes) = (take.name.clone(), rendered(groove, take, ask, watch)?);
            let sound = if ask.sound == Where::Within && !ask.markdown {
                Sound::Within(bytes)
            } else {
                let file = format!("{}-{}.wav", sheet.stem, k + 1);
                add(file.clone(), bytes, b"RIFF");
                Sound::Beside(file)
            };
            sheet.takes.push(handout::Take { name, sound });
        }
    }
    if ask.markdown {
        let page_of = handout::markdown(&sheet);
        page_of.files.into_iter().for_each(|(name, bytes)| add(name, bytes, b"<svg"));
        add(page.to_owned(), page_of.text.into_bytes(), SIGN.as_bytes());
    } else {
        let begins = format!("<!DOCTYPE html>\n{SIGN}");
        add(page.to_owned(), handout::html(&sheet).into_bytes(), begins.as_bytes());
    }
    Ok(made)
}

fn rendered(groove: &Groove, take: Take, ask: &Sheet<'_>, watch: &Watch) -> io::Result<Vec<u8>> {
    let takes = [take];
    let mut bytes = Vec::new();
    Sequence::with(groove, &takes, ask.rate, ask.own.clone()).write(&mut watch.sink(&mut bytes))?;
    Ok(bytes)
}
