//! What can be made of a groove, and its files, all of them or none. It must not know threads or the screen.

use super::super::super::{Length, Look, Offer, Offers, Order, Ungiven, What};
use super::super::handout::{self, Sheet, Where};
use super::super::playing;
use super::super::sounds::Sounds;
use super::super::takes::{self, Heard, Wanted};
use super::super::watch::Watch;
use crate::analysis::{self, Ask, Report, Scope};
use crate::export::annotations::NotationOptions;
use crate::export::formats::{self, FormatOptions, PICTURES};
use crate::export::{ExportInput, left_out, picture};
use crate::rhythm::{Fraction, Groove};
use crate::sound::take::{self, Sequence, Take, table};
use crate::sound::{self, SampleRate, UserSamples};
use crate::store::{Making, reason};
use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// Kinds of handout: name, what it is, whether it is Markdown, where its takes sound.
const PAGES: &[(&str, &str, bool, Where)] = &[
    ("page", "one page of HTML, its takes as files beside it", false, Where::Beside),
    ("page-within", "one page of HTML that holds its takes (large)", false, Where::Within),
    ("page-silent", "one page of HTML without sound", false, Where::Nowhere),
    ("markdown", "Markdown, its pictures and takes as files beside it", true, Where::Beside),
    ("markdown-silent", "Markdown with its pictures beside it, without sound", true, Where::Nowhere),
];

/// Everything that can be made: pictures stand once for each that there is.
pub fn offers() -> Offers {
    let of_format = |f: &'static formats::Format| -> Vec<Offer> {
        let offer = |name: String, words: String| Offer { name, ending: f.ending, words };
        let plain = offer(f.name.to_owned(), f.words.to_owned());
        if !f.drawn {
            return vec![plain];
        }
        let pictures = PICTURES.iter().enumerate().map(|(k, (picture, seen, _))| {
            let name = if k == 0 { f.name.to_owned() } else { format!("{}-{picture}", f.name) };
            offer(name, format!("{} of {seen}", f.name.to_uppercase()))
        });
        pictures.collect()
    };
    let page = |p: &(&str, &str, bool, Where)| Offer {
        name: p.0.to_owned(),
        ending: if p.2 { "md" } else { "html" },
        words: p.1.to_owned(),
    };
    Offers { formats: formats::FORMATS.iter().flat_map(of_format).collect(), pages: PAGES.iter().map(page).collect() }
}

fn failed(words: impl std::fmt::Display) -> Ungiven {
    Ungiven::Failed(format!("not written, {words}"))
}

/// Makes what is ordered; gives what is to be said of it.
pub(super) fn make(order: &Order, watch: &Watch) -> Result<String, Ungiven> {
    let path = Path::new(&order.path);
    let rate = SampleRate::new(order.hertz).unwrap_or(SampleRate::STUDIO);
    match &order.what {
        What::Format { offer, section, look } => {
            let ending = formats::format(offer.split('-').next().unwrap_or(offer)).map_err(failed)?.ending;
            formats::other_ending(&order.path, ending).map_or(Ok(()), |words| Err(failed(words)))?;
            free(&[path.to_owned()], order)?;
            let (bytes, told) = formatted(order, offer, *section, look)?;
            put(vec![(path.to_owned(), bytes)], order, watch)?;
            Ok(format!("written: {}{told}", order.path))
        }
        What::Handout(offer, writing) => sheet(order, offer, writing, rate, watch),
        What::Sound(playing, length) => {
            takes::no_wav(path).map_or(Ok(()), |words| Err(failed(words)))?;
            free(&[path.to_owned()], order)?;
            let (own, told) = own(&playing.groove, order, rate);
            let alone;
            let groove = if playing.layers {
                &*playing.groove
            } else {
                alone = take::bare(&playing.groove);
                &alone
            };
            let Take { speed, range, click, lines, .. } = playing::take(playing);
            let ask = sound::ScheduleOptions { rate, speed, range, click, lines };
            let length = match length {
                Length::Times(times) => sound::Length::Loops(*times),
                Length::Seconds(seconds) => sound::Length::Seconds(*seconds),
            };
            let mut making = Making::new(path).map_err(|e| wrong(&e, path, order, watch))?;
            let done = sound::offline_with(groove, &ask, &own, length, &mut watch.sink(&mut making));
            let frames = done.map_err(|e| wrong(&e, path, order, watch))?;
            put_all(vec![(making, path.to_owned())], order, watch)?;
            Ok(format!("written: {}, {:.2} s{told}", order.path, frames.seconds(rate)))
        }
        What::Takes { times, count_in, speed } => {
            let heard = Heard::new(&order.groove, *speed, order.limits);
            let marked = order.hearings.first().and_then(|m| m.find(&heard.report.hearings)).map(|k| k + 1);
            let usual: Vec<Wanted> = takes::usual(marked.or_else(|| heard.rival()));
            let takes = takes::takes(&heard, &usual, *times, *count_in, *speed).map_err(failed)?;
            sequence(order, &order.groove, &takes, rate, watch)
        }
        What::Ladder { playing, speeds, times, silence } => {
            let heard = Heard::new(&playing.groove, Fraction::ONE, order.limits);
            let like = Take { times: *times, count_in: playing::count_in(playing), ..playing::take(playing) };
            let takes = takes::ladder(&playing.groove, &heard, speeds, *silence, &like);
            sequence(order, &playing.groove, &takes, rate, watch)
        }
    }
}

/// The report an export is made with: at full speed, of the layers that the editor hears.
fn report(order: &Order) -> Report {
    let scope = Scope { layers: order.layers.clone(), region: None };
    analysis::report(&order.groove, &Ask { scope, limits: order.limits, ..Ask::default() })
}

/// The hearings wanted, as indices into a report.
fn hearings(order: &Order, report: &Report) -> Vec<usize> {
    let mut found = Vec::new();
    for index in order.hearings.iter().filter_map(|m| m.find(&report.hearings)) {
        if !found.contains(&index) {
            found.push(index);
        }
    }
    found
}

/// The bytes of a format, and what is to be said of them.
fn formatted(order: &Order, offer: &str, section: Option<usize>, look: &Look) -> Result<(Vec<u8>, String), Ungiven> {
    let (name, seen) = offer.split_once('-').unwrap_or((offer, PICTURES[0].0));
    let format = formats::format(name).map_err(failed)?;
    let report = report(order);
    let piece = ExportInput { groove: &order.groove, report: &report, hearings: hearings(order, &report), section };
    let theme = if look.screen { picture::Theme::Screen } else { picture::Theme::Print };
    let picture = formats::picture_of(seen).map_err(failed)?;
    let wish = FormatOptions {
        picture,
        theme,
        width: look.width,
        scale: look.scale,
        writing: look.writing.clone(),
        limits: order.limits,
    };
    let bytes = (format.make)(&piece, &wish).map_err(|e| failed(format!("{e}")))?;
    let told = match if format.is_notes(picture) { left_out(&piece).len() } else { 0 } {
        0 => String::new(),
        1 => "; a hearing cannot be written in notes and is left out".to_owned(),
        n => format!("; {n} hearings cannot be written in notes and are left out"),
    };
    Ok((bytes, told))
}

/// A handout into its folder, which is made if it is not there.
fn sheet(
    order: &Order,
    offer: &str,
    writing: &NotationOptions,
    rate: SampleRate,
    watch: &Watch,
) -> Result<String, Ungiven> {
    let unknown = || failed(format!("there is no handout '{offer}'"));
    let &(_, _, markdown, at) = PAGES.iter().find(|p| p.0 == offer).ok_or_else(unknown)?;
    let folder = Path::new(&order.path);
    let stem = order.file.as_deref().map(Path::new).and_then(Path::file_stem).unwrap_or("groove".as_ref());
    let page = format!("{}.{}", stem.to_string_lossy(), if markdown { "md" } else { "html" });
    if folder.exists() && !folder.is_dir() {
        return Err(failed(format!("found a file, allowed is a folder: {}", order.path)));
    }
    free(&[folder.join(&page)], order)?;
    let mut heard = Heard::new(&order.groove, Fraction::ONE, order.limits);
    if !order.layers.is_empty() {
        heard.report = report(order);
    }
    let (own, told) = if at == Where::Nowhere { Default::default() } else { own(&order.groove, order, rate) };
    let ask = Sheet {
        hearings: hearings(order, &heard.report),
        writing: writing.clone(),
        markdown,
        sound: at,
        rate,
        own: &own,
    };
    let made = handout::files(&order.groove, &heard, &page, &ask, watch);
    let made = made.map_err(|e| wrong(&e, &folder.join(&page), order, watch))?;
    let files: Vec<(PathBuf, Vec<u8>)> = made.into_iter().map(|f| (folder.join(f.name), f.bytes)).collect();
    free(&files.iter().map(|f| f.0.clone()).collect::<Vec<_>>(), order)?;
    let new = !folder.exists();
    if new {
        fs::create_dir_all(folder).map_err(|e| failed(format!("{}: {}", reason(&e), order.path)))?;
    }
    put(files, order, watch).inspect_err(|_| {
        // Only an empty folder goes.
        if new {
            drop(fs::remove_dir(folder));
        }
    })?;
    Ok(format!("written: {}{told}", folder.join(page).display()))
}

/// Takes back to back, with the list of their cues beside.
fn sequence(
    order: &Order,
    groove: &Groove,
    takes: &[Take],
    rate: SampleRate,
    watch: &Watch,
) -> Result<String, Ungiven> {
    let path = Path::new(&order.path);
    takes::no_wav(path).map_or(Ok(()), |words| Err(failed(words)))?;
    let beside = path.with_extension("tsv");
    free(&[path.to_owned(), beside.clone()], order)?;
    let (own, told) = own(groove, order, rate);
    let sequence = Sequence::with(groove, takes, rate, own);
    let error = |e: io::Error| wrong(&e, path, order, watch);
    let mut making = Making::new(path).map_err(error)?;
    let frames = sequence.write(&mut watch.sink(&mut making)).map_err(error)?;
    let mut cues = Making::new(&beside).map_err(error)?;
    cues.write_all(table(sequence.cues(), rate).as_bytes()).map_err(error)?;
    put_all(vec![(making, path.to_owned()), (cues, beside)], order, watch)?;
    Ok(format!("written: {}, {:.2} s, cues beside it{told}", order.path, frames.seconds(rate)))
}

/// The groove's own sounds, and what is to be said of them.
fn own(groove: &Groove, order: &Order, rate: SampleRate) -> (UserSamples, String) {
    let (own, words) = Sounds::default().of(groove, order.file.as_deref().map(Path::new), rate);
    let told = if words.is_empty() { String::new() } else { format!("; {}", words.join("; ")) };
    (own, told)
}

/// Whether files may be written: nothing is there, or a plain file that may be written over.
fn free(paths: &[PathBuf], order: &Order) -> Result<(), Ungiven> {
    for path in paths {
        let shown = path.display();
        match fs::metadata(path) {
            Ok(about) if about.is_dir() => return Err(failed(format!("found a folder, allowed is a file: {shown}"))),
            Ok(about) if !about.is_file() => return Err(failed(format!("this is not a plain file: {shown}"))),
            Ok(_) if !order.over => return Err(taken(path, order)),
            Ok(_) => {}
            Err(_) => {
                let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
                // A handout makes its own.
                if !matches!(order.what, What::Handout(..)) && !folder.is_dir() {
                    return Err(failed(format!("there is no folder {}", folder.display())));
                }
            }
        }
    }
    Ok(())
}

fn taken(path: &Path, order: &Order) -> Ungiven {
    Ungiven::Taken(Box::new(order.clone()), path.display().to_string())
}

/// What an error on the way to a file comes to.
pub(super) fn wrong(error: &io::Error, path: &Path, order: &Order, watch: &Watch) -> Ungiven {
    if watch.is_off() {
        return Ungiven::Cancelled;
    }
    match error.kind() {
        io::ErrorKind::AlreadyExists => taken(path, order),
        // The line of messages is short, and the reason matters most.
        _ => failed(format!("{}: {}", reason(error), path.display())),
    }
}

/// Writes files, all of them or none.
fn put(files: Vec<(PathBuf, Vec<u8>)>, order: &Order, watch: &Watch) -> Result<(), Ungiven> {
    let mut made = Vec::with_capacity(files.len());
    for (path, bytes) in files {
        let mut making = Making::new(&path).map_err(|e| wrong(&e, &path, order, watch))?;
        making.write_all(&bytes).map_err(|e| wrong(&e, &path, order, watch))?;
        made.push((making, path));
    }
    put_all(made, order, watch)
}

/// Gives files their names once all of them are whole.
fn put_all(mut made: Vec<(Making, PathBuf)>, order: &Order, watch: &Watch) -> Result<(), Ungiven> {
    for (making, path) in &mut made {
        making.settle().map_err(|e| wrong(&e, path, order, watch))?;
    }
    if watch.is_off() {
        return Err(Ungiven::Cancelled);
    }
    for (making, path) in made {
        // From here on it is too late to cancel.
        making.put(order.over).map_err(|e| wrong(&e, &path, order, &Watch::none()))?;
    }
    Ok(())
}
