//! Groups bars into sections.

use super::mixed_number;
use crate::import::draft::{DraftBar, ImportDraft};
use crate::import::{Warnings, too_fine_error};
use crate::notation::FormatError;
use crate::rhythm::bounds::{BARS, BEATS_PER_BAR, NAME, SECTIONS};
use crate::rhythm::{Fraction, Meter, Section, Swing, Tempo, Time, expected};
use std::collections::HashSet;

#[derive(Debug, Clone)]
pub(super) struct TimelineBar {
    /// In the source.
    pub(super) start: Time,
    /// Index of its section before repeats are folded.
    pub(super) section: usize,
    /// Its start from the section's start.
    pub(super) start_in_section: Time,
    /// In the groove.
    pub(super) meter: Meter,
    /// In the source.
    pub(super) number: String,
}

/// A run of bars that becomes a section.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct BarRun {
    pub(super) meter: Meter,
    pub(super) tempo: Tempo,
    pub(super) swing: Option<Swing>,
    pub(super) bars: u16,
    /// In the source.
    pub(super) name: Option<String>,
}

#[derive(Debug)]
pub(super) struct Timeline {
    pub(super) bars: Vec<TimelineBar>,
    pub(super) runs: Vec<BarRun>,
    /// The end of the source.
    pub(super) end: Time,
}

const METER_LOWERS: [u16; 7] = [1, 2, 4, 8, 16, 32, 64];

/// The meter of a bar with another length than its meter's: the coarsest lower number, from that of its meter on, of which the
/// length is a whole number. `None` if there is none within the bounds.
fn odd_meter(meter: &Meter, length: Time) -> Option<Meter> {
    METER_LOWERS.into_iter().filter(|l| *l >= meter.lower()).find_map(|lower| {
        let upper = length.ratio_to(Time::new(1, i64::from(lower))?).filter(|u| u.denom() == 1)?;
        meter_of(upper.numer(), lower)
    })
}

/// The shortest meter that is not shorter than a length; `None` if a bar cannot be that long.
fn wider_meter(length: Time) -> Option<Meter> {
    METER_LOWERS.into_iter().rev().find_map(|lower| {
        let upper = length.ratio_to(Time::new(1, i64::from(lower))?)?;
        meter_of(upper.floor() + i64::from(upper.denom() != 1), lower)
    })
}

fn meter_of(upper: i64, lower: u16) -> Option<Meter> {
    Meter::new(vec![u16::try_from(upper).ok()?], lower).ok()
}

/// 1 or more.
fn tempo_ratio(a: Tempo, b: Tempo) -> Fraction {
    let (a, b) = (a.wholes_per_minute(), b.wholes_per_minute());
    a.max(b).over(a.min(b)).unwrap_or(Fraction::whole(i32::MAX))
}

/// A bar of the draft with its start in the source, and its meter and tempo in the groove.
struct SourceBar<'a> {
    start: Time,
    meter: Meter,
    tempo: Tempo,
    bar: &'a DraftBar,
}

/// Places the bars of a draft in sections.
///
/// # Errors
/// [`FormatError`] if there is no bar, a bar is too long, or the meter changes more often than a groove may have sections.
pub(super) fn place_bars(draft: &ImportDraft, warnings: &mut Warnings) -> Result<Timeline, FormatError> {
    let (rows, end) = source_bars(draft, warnings)?;
    if rows.is_empty() {
        return Err(FormatError::new("", expected("at least one bar", "none")));
    }
    let begins = boundaries(&rows, warnings)?;
    let (mut bars, mut runs): (Vec<TimelineBar>, Vec<BarRun>) = (Vec::with_capacity(rows.len()), Vec::new());
    for (SourceBar { start, meter, tempo, bar }, begins) in rows.into_iter().zip(begins) {
        if begins || runs.last().is_none_or(|r| i64::from(r.bars) == BARS.greatest) {
            let name = bar.section.clone().filter(|_| begins);
            runs.push(BarRun { meter: meter.clone(), tempo, swing: bar.swing, bars: 0, name });
        }
        let section = runs.len() - 1;
        let start_in_section =
            meter.bar().repeated(usize::from(runs[section].bars)).ok_or_else(|| too_fine_error(""))?;
        runs[section].bars += 1;
        bars.push(TimelineBar { start, section, start_in_section, meter, number: bar.number.clone() });
    }
    Ok(Timeline { bars, runs, end })
}

/// The bars of a draft that have a length, and the end of the last.
fn source_bars<'a>(draft: &'a ImportDraft, warnings: &mut Warnings) -> Result<(Vec<SourceBar<'a>>, Time), FormatError> {
    let mut rows = Vec::with_capacity(draft.bars.len());
    let mut start = Time::ZERO;
    for bar in &draft.bars {
        let place = || format!("bar {}", bar.number);
        let length = bar.length();
        if length <= Time::ZERO {
            warnings.add(place(), "skipped a bar of length 0");
            continue;
        }
        let meter = if length == bar.meter.bar() {
            bar.meter.clone()
        } else if let Some(meter) = odd_meter(&bar.meter, length) {
            meter
        } else if let Some(meter) = wider_meter(length) {
            let message =
                format!("no meter fits a bar of {length} of a whole note; imported as {meter} and padded with silence");
            warnings.add(place(), message);
            meter
        } else {
            let wanted = format!("a bar of at most {} beats", BEATS_PER_BAR.greatest);
            return Err(FormatError::new(place(), expected(wanted, format!("{length} of a whole note"))));
        };
        rows.push(SourceBar { start, meter, tempo: bar.tempo.rounded(), bar });
        start = start.plus(length).ok_or_else(|| too_fine_error(""))?;
    }
    Ok((rows, start))
}

/// Whether each bar begins a section: the meter, the swing or the tempo changes, or the source says so. If there would be more
/// sections than a groove may have, the smallest changes of tempo are ignored.
fn boundaries(rows: &[SourceBar], warnings: &mut Warnings) -> Result<Vec<bool>, FormatError> {
    let mut begins = vec![true; rows.len()];
    // Boundaries that may be ignored: whether they are named, the change of tempo, and the bar.
    let mut soft: Vec<(bool, Fraction, usize)> = Vec::new();
    for (i, pair) in rows.windows(2).enumerate() {
        let [before, row] = pair else { continue };
        let hard = (&before.meter, before.bar.swing) != (&row.meter, row.bar.swing);
        let named = row.bar.section.is_some();
        begins[i + 1] = hard || named || before.tempo != row.tempo;
        if begins[i + 1] && !hard {
            soft.push((named, tempo_ratio(before.tempo, row.tempo), i + 1));
        }
    }
    let count = begins.iter().filter(|b| **b).count();
    let most = (SECTIONS.greatest as usize).saturating_sub(rows.len() / BARS.greatest as usize);
    let Some(excess) = count.checked_sub(most).filter(|e| *e > 0) else { return Ok(begins) };
    if excess > soft.len() {
        let message = expected(SECTIONS.range(), format!("{count} changes of meter and tempo"));
        return Err(FormatError::new("", message));
    }
    soft.sort_unstable();
    let ignored = &soft[..excess];
    let largest = ignored.iter().map(|s| s.1).max().unwrap_or(Fraction::ONE);
    for (_, _, bar) in ignored {
        begins[*bar] = false;
    }
    let percent = (largest.numer() as f64 / largest.denom() as f64 - 1.0) * 100.0;
    let message = format!(
        "the file needs {count} sections, but a groove has at most {}; ignored the {excess} smallest tempo changes (up to \
         {percent:.1}%)",
        SECTIONS.greatest
    );
    warnings.add("tempo", message);
    Ok(begins)
}

fn truncate(name: &str, most: usize) -> String {
    name.trim().chars().take(most).collect::<String>().trim_end().to_owned()
}

/// Makes names unique and short enough. `numbered` splits the nth use of a name into what may be shortened and what may not.
fn unique_names(wanted: &[String], numbered: impl Fn(&str, usize) -> (String, String)) -> Vec<String> {
    let most = NAME.greatest as usize;
    let wanted: Vec<String> = wanted.iter().map(|name| truncate(name, most)).collect();
    let reserved: HashSet<&String> = wanted.iter().collect();
    let mut taken = HashSet::new();
    let name = |name: &String| {
        let mut numbers = (2..).map(|n| {
            let (head, tail) = numbered(name, n);
            truncate(&head, most - tail.chars().count()) + &tail
        });
        let is_free = |name: &String| !reserved.contains(name) && !taken.contains(name);
        let name = if taken.contains(name) { numbers.find(is_free).unwrap_or_default() } else { name.clone() };
        taken.insert(name.clone());
        name
    };
    wanted.iter().map(name).collect()
}

/// Names of layers: `piano`, `piano 2`, and after `hand 2` comes `hand 3`.
pub(super) fn layer_names(wanted: impl Iterator<Item = String>) -> Vec<String> {
    unique_names(&wanted.collect::<Vec<_>>(), |name, n| match name.rsplit_once(' ') {
        Some((head, number)) if number.parse::<u16>().is_ok_and(|k| k > 0) => {
            (head.to_owned(), format!(" {}", number.parse::<usize>().unwrap_or(1) + n - 1))
        }
        _ => (name.to_owned(), format!(" {n}")),
    })
}

/// Names of sections: `verse`, `verse 2`; a trailing number stays, as in `from measure 5, time 2`.
fn section_names(wanted: &[String]) -> Vec<String> {
    unique_names(wanted, |name, n| {
        let has_number = name.ends_with(|c: char| c.is_ascii_digit());
        (name.to_owned(), if has_number { format!(", time {n}") } else { format!(" {n}") })
    })
}

/// The name of the nth section without one: A to Z, then AA and on.
fn letter_name(n: usize) -> String {
    let letter = char::from(b'A' + (n % 26) as u8).to_string();
    if n < 26 { letter } else { letter_name(n / 26 - 1) + &letter }
}

pub(super) fn sections(runs: &[BarRun]) -> Vec<Section> {
    let given: HashSet<&str> = runs.iter().filter_map(|r| r.name.as_deref()).collect();
    let mut free = (0..).map(letter_name).filter(|name| !given.contains(name.as_str()));
    let name = |run: &BarRun| {
        let name = run.name.clone().filter(|name| !name.trim().is_empty());
        name.or_else(|| free.next()).unwrap_or_default()
    };
    let wanted: Vec<String> = runs.iter().map(name).collect();
    let section = |(run, name): (&BarRun, String)| Section {
        name,
        meter: run.meter.clone(),
        tempo: run.tempo,
        bars: run.bars,
        times: 1,
        swing: run.swing,
    };
    runs.iter().zip(section_names(&wanted)).map(section).collect()
}

impl Timeline {
    /// The bar at a time of the source: the last one after the end, `None` before the start.
    pub(super) fn bar_at(&self, at: Time) -> Option<&TimelineBar> {
        self.bars[..self.bars.partition_point(|b| b.start <= at)].last()
    }

    /// The bar in which a sound that ends at a time of the source still sounds.
    pub(super) fn bar_before(&self, end: Time) -> &TimelineBar {
        &self.bars[self.bars.partition_point(|b| b.start < end).saturating_sub(1)]
    }

    pub(super) fn length(&self, section: usize) -> Time {
        let run = &self.runs[section];
        run.meter.bar().repeated(usize::from(run.bars)).expect("bars are bounded")
    }

    /// Describes the place of a time within a section: track, bar and beat.
    pub(super) fn describe(&self, track: &str, section: usize, at: Time) -> String {
        let next = self.bars.partition_point(|b| (b.section, b.start_in_section) <= (section, at));
        let bar = &self.bars[next.saturating_sub(1)];
        let beat = at.minus(bar.start_in_section).and_then(|t| t.ratio_to(bar.meter.beat())?.plus(Fraction::ONE));
        let beat = beat.map_or(String::new(), |b| format!(", beat {}", mixed_number(b)));
        format!("track '{track}', bar {}{beat}", bar.number)
    }
}
