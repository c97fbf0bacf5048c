//! A groove made of a file that others wrote. It must not know threads or the screen.

use super::super::super::{Arrived, Ungiven};
use super::super::watch::Watch;
use crate::import::formats;
use crate::rhythm::Fraction;
use crate::store::{self, reason};
use std::fs::{self, File};
use std::io::Read;
use std::path::Path;

/// A groove made of a file.
pub(super) fn bring(path: &str, tolerance: Fraction, watch: &Watch) -> Result<Arrived, Ungiven> {
    let bad = |words: String| Ungiven::Failed(format!("not imported, {words}: {path}"));
    let file = Path::new(path);
    let about = fs::metadata(file).map_err(|e| bad(reason(&e)))?;
    // A pipe or a device could make the program wait for ever.
    if !about.is_file() {
        return Err(bad("this is not a plain file".into()));
    }
    let mut bytes = Vec::new();
    let read = File::open(file).and_then(|f| f.take(formats::longest() + 1).read_to_end(&mut bytes));
    read.map_err(|e| bad(reason(&e)))?;
    let ending = file.extension().and_then(|e| e.to_str());
    let stem = file.file_stem().unwrap_or_default().to_string_lossy();
    let made = formats::bring(&bytes, ending, &stem, tolerance).map_err(|e| bad(e.to_string()))?;
    let size = store::print(&made.groove).len() as u64;
    if size > store::LIMIT {
        return Err(bad(format!("its groove would have {size} bytes, allowed are at most {}", store::LIMIT)));
    }
    if watch.is_off() {
        return Err(Ungiven::Cancelled);
    }
    let remarks = made.warnings.iter().map(ToString::to_string).collect();
    Ok(Arrived { groove: made.groove, from: path.to_owned(), remarks })
}
