//! Where rendered sound and its list of cues go. It must not know what is rendered.

use super::{Exit, Failure};
use crate::rhythm::Groove;
use crate::sound::take::{Sequence, Take, table};
use crate::sound::{SampleRate, UserSamples};
use crate::store;
use crate::terminal::run::takes::no_wav;
use std::io::{self, BufWriter, IsTerminal, Read, Write};
use std::path::Path;

/// A sample rate as typed.
pub(super) fn rate(hertz: u32) -> Result<SampleRate, Failure> {
    SampleRate::new(hertz).ok_or_else(|| {
        let words = format!("--rate is {hertz}, allowed is a number from 8000 to 384000 (frames per second)");
        Failure::new(Exit::Usage, words)
    })
}

/// Refuses a name for sound that says it is something else. A device or a pipe has the name it has.
pub(super) fn sound_to(path: &Path) -> Result<(), Failure> {
    let other = path.exists() && !path.is_file() && !path.is_dir();
    match no_wav(path).filter(|_| path.as_os_str() != "-" && !other) {
        Some(words) => Err(Failure::new(Exit::Usage, format!("{words}, or - for standard output"))),
        None => not_a_terminal(path),
    }
}

/// Refuses to write to a terminal what is not text.
pub(super) fn not_a_terminal(path: &Path) -> Result<(), Failure> {
    if path.as_os_str() == "-" && io::stdout().is_terminal() {
        let words = "standard output is a terminal; send it to a file or a program, or name a file with -o";
        return Err(Failure::new(Exit::Usage, words));
    }
    Ok(())
}

/// Renders takes, and lists their cues in the same name with `.tsv`, or on standard error if the sound goes to standard
/// output, a device or a pipe.
pub(super) fn sequence(
    path: &Path,
    groove: &Groove,
    takes: &[Take],
    rate: SampleRate,
    own: UserSamples,
) -> Result<(), Failure> {
    let sequence = Sequence::with(groove, takes, rate, own);
    let beside = path.with_extension("tsv");
    let plain = path.as_os_str() != "-" && (path.is_file() || !path.exists());
    if plain {
        keep(&beside, table(&[], rate).as_bytes())?;
    }
    let frames = write(path, |sink| sequence.write(sink))?;
    let list = table(sequence.cues(), rate);
    if !plain {
        io::stderr().lock().write_all(list.as_bytes())?;
        return Ok(());
    }
    whole(&beside, |sink| sink.write_all(list.as_bytes()))?;
    let (seconds, hertz) = (frames.seconds(rate), rate.hertz());
    let names =
        format!("{}: {seconds:.2} s at {hertz} frames per second, cues in {}", path.display(), beside.display());
    writeln!(io::stderr().lock(), "{names}")?;
    Ok(())
}

/// Refuses to write over a file that does not begin as ours do: most likely it is the groove itself, or other work.
fn keep(path: &Path, ours: &[u8]) -> Result<(), Failure> {
    let mut start = Vec::new();
    let read = std::fs::File::open(path).and_then(|f| f.take(ours.len() as u64).read_to_end(&mut start));
    if read.is_ok() && !start.is_empty() && start != ours {
        let words =
            format!("{}: found a file that was not made by this command; it is not written over", path.display());
        return Err(Failure::new(Exit::Output, words));
    }
    Ok(())
}

/// Writes a WAV file, or to standard output. A file that is there and is no WAV file is not written over.
pub(super) fn write<T>(path: &Path, work: impl FnOnce(&mut dyn Write) -> io::Result<T>) -> Result<T, Failure> {
    if path.as_os_str() != "-" && path.is_file() {
        keep(path, b"RIFF")?;
    }
    whole(path, work)
}

/// Writes a result, or to standard output. A file that is there is written over only if that was asked for, or if it is empty.
pub(super) fn result(path: &Path, bytes: &[u8], overwrite: bool) -> Result<(), Failure> {
    let holds = || path.is_file() && std::fs::metadata(path).map_or(true, |about| about.len() > 0);
    if !overwrite && path.as_os_str() != "-" && holds() {
        let words = format!("{}: found a file; it is written over only with --overwrite", path.display());
        return Err(Failure::new(Exit::Output, words));
    }
    whole(path, |sink| sink.write_all(bytes))
}

/// Writes to standard output, or to a file that appears under its name only when it is whole.
fn whole<T>(path: &Path, work: impl FnOnce(&mut dyn Write) -> io::Result<T>) -> Result<T, Failure> {
    if path.as_os_str() == "-" {
        let mut out = BufWriter::new(io::stdout().lock());
        let done = work(&mut out)?;
        out.flush()?;
        return Ok(done);
    }
    let wrong =
        |e: io::Error| Failure::new(Exit::Output, format!("{}: cannot write: {}", path.display(), store::reason(&e)));
    if path.is_dir() {
        return Err(Failure::new(Exit::Output, format!("{}: found a folder, allowed is a file", path.display())));
    }
    // A device or pipe is written to as it is; there is nothing to rename over.
    if path.exists() && !path.is_file() {
        let mut out = BufWriter::new(std::fs::OpenOptions::new().write(true).open(path).map_err(wrong)?);
        let done = work(&mut out).map_err(wrong)?;
        out.flush().map_err(wrong)?;
        return Ok(done);
    }
    let mut making = store::Making::new(path).map_err(wrong)?;
    let done = work(&mut making).map_err(wrong)?;
    making.put(true).map_err(wrong)?;
    Ok(done)
}
