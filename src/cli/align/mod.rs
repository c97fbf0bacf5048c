//! `teeter align`: finds where and at what tempo a groove is played in a recording.

mod json;

use super::args::AlignArgs;
use super::{CliError, Exit, input, output, recordings};
use crate::describe::visible_lines;
use crate::jobs::file_fingerprint;
use crate::jobs::grid::alignment::{self, FoundGroove};
use crate::recording::fit::align::{AlignError, Alignment, adopt, align};
use crate::recording::grid::usual_division;
use crate::recording::score::{anchors, linear_onsets, score_loop};
use crate::rhythm::{Cell, Edit, Groove, Layer, Meter, Part, Recording, Section, Voice, count, expected};
use crate::store::{self, LoadedGroove};
use std::fs;
use std::io::{self, Write};
use std::path::Path;

pub(super) fn run(args: &AlignArgs) -> Result<Exit, CliError> {
    let (file, recording, loaded) = match (&args.files[..], &args.groups) {
        ([recording], Some(_)) => (None, recording, groups_groove(args)?),
        ([file, recording], None) => (Some(file), recording, load(file, args.write)?),
        (_, Some(_)) => return Err(CliError::usage(expected("only a recording with --groups", "another file"))),
        (_, None) => return Err(CliError::usage(expected("a groove and a recording", "one file"))),
    };
    let groove = &loaded.groove;
    if let Some((old, file)) = groove.recording().zip(file).filter(|_| args.write && !args.overwrite) {
        let message = format!("the groove has the recording {}; use --overwrite to replace it", old.file);
        return Err(CliError::new(Exit::Output, message).in_file(file));
    }
    let layers = match args.layer.as_slice() {
        [] => (0..groove.layers().len()).filter(|l| groove.is_audible(*l)).collect(),
        names => input::layer_indices(groove, names)?,
    };
    let score = score_loop(groove, &layers);
    let detected = recordings::detect_onsets(recording, args.threshold.value, false)?;
    let onsets = linear_onsets(&detected.onsets);
    let hint = args.speed.value.denom() as f64 / args.speed.value.numer() as f64;
    let not_found = |e: AlignError| CliError::new(Exit::BadGroove, e).in_file(recording);
    let mut aligned = align(&score, &onsets, hint).map_err(not_found)?;
    if let Some(number) = args.take {
        let count = aligned.alternatives.len();
        if number > count {
            let wanted = if count == 0 { "no --take".to_owned() } else { format!("a reading from 1 to {count}") };
            return Err(CliError::usage(expected(wanted, number)));
        }
        aligned = adopt(&score, &onsets, &aligned, number - 1).map_err(not_found)?;
    }
    let found = FoundGroove { groove, score: &score, alignment: &aligned, onsets: &detected.onsets };
    let text = if args.json {
        json::alignment(file.map(|f| f.to_string_lossy()).as_deref(), &recording.to_string_lossy(), &found)
    } else {
        alignment::text(&found)
    };
    io::stdout().lock().write_all(visible_lines(&text).as_bytes())?;
    if let Some(file) = file.filter(|_| args.write) {
        let written = write((file, recording), &loaded, &aligned)?;
        output::print_to_stderr(format_args!("{}: {} written", file.display(), count(written, "anchor")))?;
    }
    Ok(Exit::Success)
}

/// Most bars of a line of groups.
const MAX_BARS: usize = 64;

/// A groove that consists of a line of groups: as many bars as it takes to end on a bar line, as far as there may be so many.
fn groups_groove(args: &AlignArgs) -> Result<LoadedGroove, CliError> {
    let groups = args.groups.as_ref().map_or(&[][..], |line| &line.0);
    let four = Meter::parse("4/4").map_err(CliError::usage)?;
    let (meter, tempo) = (args.meter.clone().unwrap_or(four), args.tempo);
    let tempo = tempo.ok_or_else(|| CliError::usage("expected --tempo with --groups"))?;
    let division = args.division.unwrap_or_else(|| usual_division(&meter));
    let per_bar = meter.beats() * usize::from(division);
    let cells: Vec<Cell> = groups
        .iter()
        .flat_map(|n| std::iter::once(Cell::ATTACK).chain(std::iter::repeat_n(Cell::Hold, *n as usize - 1)))
        .collect();
    let bars = (1..=MAX_BARS).find(|bars| (bars * per_bar).is_multiple_of(cells.len()));
    let bars = bars.unwrap_or_else(|| cells.len().div_ceil(per_bar));
    let section = Section { name: "A".into(), meter, tempo, bars: bars as u16, times: 1, swing: None };
    let layer = Layer::new("groups", Voice::Pluck, division, vec![Part::Cycled { cells, start: 0 }]);
    let groove = Groove::new("the line of groups", "", vec![section], vec![layer]).map_err(CliError::usage)?;
    let text = store::print(&groove);
    store::parse_bytes(text.into_bytes(), "groups").map_err(|e| CliError::new(Exit::Usage, e))
}

fn load(path: &Path, is_written: bool) -> Result<LoadedGroove, CliError> {
    if !input::is_stdin(path) {
        return store::load(path).map_err(|e| CliError::new(Exit::BadGroove, e));
    }
    if is_written {
        return Err(CliError::usage(expected("the name of a groove's file with --write", "standard input")));
    }
    store::parse_bytes(input::read_bytes(path)?, &input::name(path)).map_err(|e| CliError::new(Exit::BadGroove, e))
}

/// Writes the recording and its anchors into the groove's file, and returns the number of anchors.
fn write(
    (groove_file, recording): (&Path, &Path),
    loaded: &LoadedGroove,
    alignment: &Alignment,
) -> Result<usize, CliError> {
    let anchors = anchors(alignment);
    let count = anchors.len();
    let file = path_from(groove_file, recording);
    let edit = Edit::Recording(Some(Recording::new(&file, file_fingerprint(recording)).with_anchors(anchors)));
    let failed = |e: &dyn std::fmt::Display| CliError::new(Exit::Output, e).in_file(groove_file);
    let groove = loaded.groove.edited(&edit).map_err(|e| failed(&e))?;
    let text = store::update(&loaded.text, &groove);
    store::save(groove_file, &text, Some(loaded.stamp)).map_err(|e| CliError::new(Exit::Output, e))?;
    Ok(count)
}

/// The path of a recording as a groove's file names it: from the groove's folder if it is in it, otherwise absolute.
pub(super) fn path_from(groove: &Path, recording: &Path) -> String {
    let absolute = |path: &Path| fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
    let recording = absolute(recording);
    // A groove that does not exist yet has a folder all the same.
    let folder = fs::canonicalize(groove).ok().and_then(|file| file.parent().map(Path::to_owned));
    let named = groove.parent().filter(|folder| !folder.as_os_str().is_empty());
    let folder = folder.unwrap_or_else(|| absolute(named.unwrap_or(Path::new("."))));
    let inside = recording.strip_prefix(&folder).ok();
    inside.unwrap_or(&recording).to_string_lossy().into_owned()
}
