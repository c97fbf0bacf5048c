//! Finds grids.

use super::alignment::{self, FoundGroove};
use super::{GridChoice, GridChoices, GridJob, GridRequest, words};
use crate::analysis::Clock;
use crate::recording::fit::Onset;
use crate::recording::fit::align::{Alignment, ScoreAttack, ScoreLayer, ScoreLoop, adopt, align};
use crate::recording::fit::marks::{MarkedBeats, fit_marks};
use crate::recording::fit::propose::{Excerpt, propose};
use crate::recording::fit::taps::{MIN_TAPS, fit_taps};
use crate::recording::grid::Grid;
use crate::recording::grid::places::{lay_beats, repeated};
use crate::recording::grid::transcription::{Accents, Reading, Target};
use crate::recording::score::{anchors, linear_onsets, score_loop};
use crate::rhythm::{Edit, GridPlace, Groove, Time, count, expected};
use std::sync::Arc;

/// Readings of an alignment that are offered besides the best.
const MAX_READINGS: usize = 8;

/// Finds what a job asks for.
///
/// # Errors
/// Why there is nothing to choose from, in one sentence.
pub(crate) fn find(job: &GridJob) -> Result<GridChoices, String> {
    let onsets = linear_onsets(&job.onsets);
    match &job.request {
        GridRequest::Proposals => proposals(job, &onsets),
        GridRequest::Marks { place, marks, beats } => marked(job, &onsets, *place, *marks, *beats),
        GridRequest::Taps { place, taps } => tapped(job, &onsets, *place, taps),
        GridRequest::Groove { layers } => {
            let score = score_loop(&job.groove, layers);
            let lay = |a: &Alignment| job.groove.edited(&Edit::Anchors(anchors(a))).map_err(|e| e.to_string());
            aligned(job, &onsets, &score, &lay)
        }
        GridRequest::Groups { place, groups, cell } => grouped(job, &onsets, *place, groups, *cell),
        GridRequest::Attacks { layer } => transcribed(job, &onsets, *layer),
    }
}

fn choice(text: String, groove: Groove, message: String) -> GridChoice {
    GridChoice { text, groove: Arc::new(groove), message }
}

fn proposals(job: &GridJob, onsets: &[Onset]) -> Result<GridChoices, String> {
    let found = propose(onsets, Excerpt::Beginning);
    let first = onsets.first().map_or(0.0, |o| o.seconds);
    let mut list = Vec::new();
    for proposal in &found.list {
        let Some(grid) = Grid::of_proposal(proposal, first) else { continue };
        let groove = grid.laid(&job.groove).map_err(|e| e.to_string())?;
        let message = format!("{} at {}, {}", grid.meter, grid.tempo.bpm(), count(grid.bar_lines.len(), "anchor"));
        list.push(choice(words::proposal(proposal, &grid), groove, message));
    }
    let remarks = words::proposal_remarks(&found);
    if list.is_empty() {
        return Err(remarks.into_iter().next().unwrap_or_else(|| "no pulse was found in the onsets".to_owned()));
    }
    Ok(GridChoices {
        title: "Tempos and meters".to_owned(),
        columns: words::PROPOSAL_HEADINGS,
        list,
        remarks,
        label: "grid of a proposal",
        is_settled: false,
    })
}

fn marked(
    job: &GridJob,
    onsets: &[Onset],
    place: GridPlace,
    marks: [f64; 2],
    beats: usize,
) -> Result<GridChoices, String> {
    let wrong = || expected("two times, the second one later, and a number of beats", "another order");
    let fit = fit_marks(onsets, marks, beats).ok_or_else(wrong)?;
    let lay = |beats: &[f64]| lay_beats(&job.groove, place, beats).map_err(|e| e.to_string());
    let bpm = |beats: &[f64]| 60.0 * (beats.len() - 1) as f64 / (beats[beats.len() - 1] - beats[0]);
    let moved = |m: &MarkedBeats| {
        let [first, last] = m.moved.map(|m| format!("{:+.0} ms", 1000.0 * m));
        let sigma = m.sigma.map_or(String::new(), |s| format!(", attacks {:.0} ms from the cells", 1000.0 * s));
        format!("{:.1} BPM, the marks moved by {first} and {last}{sigma}", bpm(&m.beats))
    };
    let kept = format!("{:.1} BPM, even beats between the marks as they are", bpm(&fit.unmoved));
    let mut list = vec![choice(kept.clone(), lay(&fit.unmoved)?, kept)];
    if fit.best.sigma.is_some() {
        let words = moved(&fit.best);
        list.push(choice(words.clone(), lay(&fit.best.beats)?, words));
    }
    let is_ambiguous = fit.is_ambiguous();
    if let Some((second, gap)) = fit.second.as_ref().filter(|_| is_ambiguous) {
        let words = format!("{}; fits worse by {gap:.1}", moved(second));
        list.push(choice(words, lay(&second.beats)?, moved(second)));
    }
    // Where the attacks say nothing or two things, the marks stay until somebody chooses.
    if !is_ambiguous && list.len() > 1 {
        list.swap(0, 1);
    }
    let mut remarks = Vec::new();
    if fit.is_uneven {
        remarks.push("the tempo changes too much between the marks to move them; mark fewer beats".to_owned());
    } else if fit.best.sigma.is_none() {
        remarks.push("too few attacks between the marks to move them".to_owned());
    } else if is_ambiguous {
        remarks.push("two places of the marks fit about equally well".to_owned());
    }
    if let Some((other, gain)) = fit.other_count {
        remarks.push(format!("{} fit better than {beats}, by {gain:.0}", count(other, "beat")));
    }
    let is_settled = fit.best.sigma.is_none() || !is_ambiguous;
    let title = format!("{} between two marks", count(beats, "beat"));
    Ok(GridChoices { title, columns: "", list, remarks, label: "beats between two marks", is_settled })
}

fn tapped(job: &GridJob, onsets: &[Onset], place: GridPlace, taps: &[f64]) -> Result<GridChoices, String> {
    let too_few = || expected(format_args!("at least {MIN_TAPS} taps in order"), taps.len());
    let fit = fit_taps(onsets, taps).ok_or_else(too_few)?;
    let groove = lay_beats(&job.groove, place, &fit.beats).map_err(|e| e.to_string())?;
    let beats = fit.beats.len();
    let bpm = 60.0 * (beats - 1) as f64 / (fit.beats[beats - 1] - fit.beats[0]);
    let missed = if fit.missed > 0 { format!(", {} without a tap", fit.missed) } else { String::new() };
    let message = match fit.sigma {
        Some(sigma) => format!(
            "{beats} beats{missed}, {bpm:.1} BPM: taps moved by {:+.0} ms to the attacks, which are {:.0} ms from the cells",
            1000.0 * fit.offset,
            1000.0 * sigma
        ),
        None => format!("{beats} beats{missed}, {bpm:.1} BPM: as tapped, there are too few attacks on them"),
    };
    let list = vec![choice(message.clone(), groove, message)];
    let title = "Beats as tapped".to_owned();
    Ok(GridChoices { title, columns: "", list, remarks: Vec::new(), label: "tapped beats", is_settled: true })
}

/// An alignment and its other readings; `lay` makes the groove of each.
fn aligned(
    job: &GridJob,
    onsets: &[Onset],
    score: &ScoreLoop,
    lay: &dyn Fn(&Alignment) -> Result<Groove, String>,
) -> Result<GridChoices, String> {
    let best = align(score, onsets, 1.0).map_err(|e| e.to_string())?;
    let found = FoundGroove { groove: &job.groove, score, alignment: &best, onsets: &job.onsets };
    let place = best.hits.first().map_or(String::new(), |hit| {
        format!("first stroke {:.3} s, {}; ", job.onsets[hit.onset].seconds, alignment::place(&found, hit.score))
    });
    let strokes = format!("{} found, {} missing, {} extra", best.hits.len(), best.missing.len(), best.extra.len());
    let message = format!("{place}{strokes}; deviation {:.0} ms", 1000.0 * best.sigma);
    let mut list = vec![choice(format!("the best reading: {place}{strokes}"), lay(&best)?, message)];
    for (number, other) in best.alternatives.iter().enumerate().take(MAX_READINGS) {
        // A reading that cannot be laid is none.
        let groove = adopt(score, onsets, &best, number).ok().and_then(|other| lay(&other).ok());
        let words = alignment::reading(&found, other);
        list.extend(groove.map(|groove| choice(words.clone(), groove, words)));
    }
    Ok(GridChoices {
        title: "The groove in the recording".to_owned(),
        columns: "",
        list,
        remarks: alignment::remarks(&found),
        label: "alignment",
        is_settled: !best.is_ambiguous(),
    })
}

/// The alignment of a line of groups, with anchors wherever it begins again.
fn grouped(
    job: &GridJob,
    onsets: &[Onset],
    place: GridPlace,
    groups: &[u32],
    cell: Time,
) -> Result<GridChoices, String> {
    let outside = || "the line is longer than what can be played".to_owned();
    let (section, ..) = job.groove.grid_time(place).ok_or("there is no such cell")?;
    let clock = Clock::new(&job.groove);
    let per_whole = clock.seconds_per_whole(section).ok_or_else(outside)?;
    let seconds = |time: Time| time.numer() as f64 / time.denom() as f64 * per_whole;
    let cells: usize = groups.iter().map(|g| *g as usize).sum();
    let length = cell.repeated(cells).ok_or_else(outside)?;
    let starts = groups.iter().scan(0, |at, group| {
        let start = *at;
        *at += *group as usize;
        Some(start)
    });
    let attacks = starts.map(|at| ScoreAttack { seconds: at as f64 * seconds(cell), weight: 0.6 }).collect();
    let beat = seconds(job.groove.sections()[section].meter.beat());
    let beats = (0..cells).map(|k| k as f64 * beat).take_while(|s| *s < seconds(length) - 1e-9).collect();
    let layer = ScoreLayer { attacks, bands: None };
    let score = ScoreLoop { layers: vec![layer], length: seconds(length), bars: vec![0.0], beats };
    let lay = |a: &Alignment| {
        let first = a.anchors.iter().map(|anchor| anchor.pass).min().unwrap_or(0);
        let last = a.anchors.iter().map(|anchor| anchor.pass).max().unwrap_or(0);
        let times: Vec<f64> = (first..=last).map(|pass| a.clock.seconds(pass as f64 * score.length)).collect();
        let anchors = repeated(&job.groove, place, length, &times).ok_or_else(outside)?;
        let anchors = anchors.into_iter().filter(|a| a.at.0 >= 0).collect();
        job.groove.edited(&Edit::Anchors(anchors)).map_err(|e| e.to_string())
    };
    aligned(job, onsets, &score, &lay)
}

fn transcribed(job: &GridJob, onsets: &[Onset], layer: usize) -> Result<GridChoices, String> {
    let mut list = Vec::new();
    let mut remarks = Vec::new();
    for target in [Target::NewLayers, Target::Layer(layer)] {
        if target == Target::Layer(layer) && layer >= job.groove.layers().len() {
            continue;
        }
        let reading = Reading::new(&job.groove, onsets, target).ok_or("the groove has no anchors yet")?;
        for accents in [Accents::Plain, Accents::Suggested] {
            let written = reading.written(&job.groove, target, accents).map_err(|e| e.to_string())?;
            let layers: Vec<String> =
                written.layers.iter().map(|l| format!("{} {}", l.name, l.attacks.len())).collect();
            let to = match target {
                Target::NewLayers => count(layers.len(), "new layer"),
                Target::Layer(_) => "into this layer".to_owned(),
            };
            let suggested = written.accents();
            if accents == Accents::Suggested && suggested == 0 {
                continue;
            }
            let with = match accents {
                Accents::Plain => String::new(),
                Accents::Suggested => format!("; {suggested} as accents or ghosts, as suggested"),
            };
            let text = format!("{to}: {}{with}", layers.join(", "));
            if list.is_empty() {
                remarks = words::transcription(&written);
            }
            list.push(choice(text.clone(), written.groove, text));
        }
    }
    let title = "Attacks as layers".to_owned();
    Ok(GridChoices { title, columns: "", list, remarks, label: "transcription", is_settled: false })
}
