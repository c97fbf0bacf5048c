//! Groups bars into sections.

use crate::import::ImportWarning;
use crate::import::draft::{DraftBar, ImportDraft};
use crate::notation::FormatError;
use crate::rhythm::bounds::{BARS, BEATS_PER_BAR, DENOMINATOR, NAME, SECTIONS};
use crate::rhythm::{Fraction, Meter, Section, Swing, Tempo, Time, expected};
use std::collections::HashSet;

/// A bar with its place in the source and in the groove.
#[derive(Debug, Clone)]
pub(super) struct Bar {
    /// Its start in the source.
    pub(super) start: Time,
    /// The section it lies in, before stretches that come again are folded.
    pub(super) section: usize,
    /// Its start from the section's start.
    pub(super) within: Time,
    /// Its meter in the groove.
    pub(super) meter: Meter,
    /// Its number as the source counts it.
    pub(super) number: String,
}

/// A run of bars that becomes a section.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Run {
    pub(super) meter: Meter,
    pub(super) tempo: Tempo,
    pub(super) swing: Option<Swing>,
    pub(super) bars: u16,
    /// The name the source gives it.
    pub(super) name: Option<String>,
}

/// All bars of a draft, and the source's end.
#[derive(Debug)]
pub(super) struct Bars {
    pub(super) all: Vec<Bar>,
    pub(super) runs: Vec<Run>,
    pub(super) end: Time,
}

/// The meter of a bar of another length than its meter's: with the coarsest lower number, from its meter's own on, of which
/// the length is a whole number. `None` if there is none within the bounds.
fn odd_meter(meter: &Meter, length: Time) -> Option<Meter> {
    let mut lowers =
        (0..7).map(|k| 1_u16 << k).filter(|l| *l >= meter.lower() && i64::from(*l) <= DENOMINATOR.greatest);
    lowers.find_map(|lower| {
        let upper = length.ratio_to(Time::new(1, i64::from(lower))?)?;
        let fits = upper.denom() == 1 && (1..=BEATS_PER_BAR.greatest).contains(&upper.numer());
        if fits { Meter::new(vec![upper.numer() as u16], lower).ok() } else { None }
    })
}

/// The shortest meter that is not shorter than a length; `None` if a bar cannot be that long.
fn wider_meter(length: Time) -> Option<Meter> {
    (0..7).rev().find_map(|k| {
        let lower = 1_u16 << k;
        let upper = length.ratio_to(Time::new(1, i64::from(lower))?)?;
        let whole = upper.floor() + i64::from(upper.denom() != 1);
        let fits = (1..=BEATS_PER_BAR.greatest).contains(&whole);
        if fits { Meter::new(vec![whole as u16], lower).ok() } else { None }
    })
}

/// How much a tempo changes from one run to the next, as a part of the slower one.
fn change(a: Tempo, b: Tempo) -> Fraction {
    let (a, b) = (a.wholes_per_minute(), b.wholes_per_minute());
    a.max(b).over(a.min(b)).unwrap_or(Fraction::whole(i32::MAX))
}

fn too_fine() -> FormatError {
    FormatError::new("", "the sum of the lengths does not fit a 64-bit fraction")
}

/// A bar of the draft as a bar of the groove: its start in the source, its meter here, and what the draft says of it.
struct Row<'a> {
    start: Time,
    meter: Meter,
    bar: &'a DraftBar,
}

/// Places the bars of a draft in sections.
///
/// # Errors
/// [`FormatError`] if there is no bar, a bar is too long, or the meter changes more often than a groove may have sections.
pub(super) fn gather(draft: &ImportDraft, warnings: &mut Vec<ImportWarning>) -> Result<Bars, FormatError> {
    let (rows, end) = rows(draft, warnings)?;
    if rows.is_empty() {
        return Err(FormatError::new("", expected("at least one bar", "none")));
    }
    let begins = boundaries(&rows, warnings)?;
    let (mut bars, mut runs): (Vec<Bar>, Vec<Run>) = (Vec::with_capacity(rows.len()), Vec::new());
    for (row, begins) in rows.iter().zip(begins) {
        if begins || runs.last().is_none_or(|r| i64::from(r.bars) == BARS.greatest) {
            runs.push(Run {
                meter: row.meter.clone(),
                tempo: row.bar.tempo.rounded(),
                swing: row.bar.swing,
                bars: 0,
                name: row.bar.section.clone().filter(|_| begins),
            });
        }
        let section = runs.len() - 1;
        let within = row.meter.bar().repeated(usize::from(runs[section].bars)).ok_or_else(too_fine)?;
        runs[section].bars += 1;
        bars.push(Bar { start: row.start, section, within, meter: row.meter.clone(), number: row.bar.number.clone() });
    }
    Ok(Bars { all: bars, runs, end })
}

fn rows<'a>(draft: &'a ImportDraft, warnings: &mut Vec<ImportWarning>) -> Result<(Vec<Row<'a>>, Time), FormatError> {
    let mut rows = Vec::with_capacity(draft.bars.len());
    let mut start = Time::ZERO;
    for bar in &draft.bars {
        let place = || format!("bar {}", bar.number);
        let length = bar.length.unwrap_or_else(|| bar.meter.bar());
        let meter = if length == bar.meter.bar() {
            bar.meter.clone()
        } else if length <= Time::ZERO {
            warnings.push(ImportWarning { place: place(), message: "skipped a bar of length 0".into() });
            continue;
        } else if let Some(meter) = odd_meter(&bar.meter, length) {
            meter
        } else if let Some(meter) = wider_meter(length) {
            let message = format!(
                "no meter has a bar of {length} of a whole note; it became a bar of {meter}, padded with silence"
            );
            warnings.push(ImportWarning { place: place(), message });
            meter
        } else {
            let message = expected(
                format!("a bar of at most {} beats", BEATS_PER_BAR.greatest),
                format!("{length} of a whole note"),
            );
            return Err(FormatError::new(place(), message));
        };
        rows.push(Row { start, meter, bar });
        start = start.plus(length).ok_or_else(too_fine)?;
    }
    Ok((rows, start))
}

/// Which bars begin a section: where the meter, the swing or the tempo changes, or the source says so. If there would be more than
/// a groove may have, the smallest changes of tempo are given up.
fn boundaries(rows: &[Row], warnings: &mut Vec<ImportWarning>) -> Result<Vec<bool>, FormatError> {
    let mut begins = vec![false; rows.len()];
    let mut soft: Vec<(bool, Fraction, usize)> = Vec::new();
    for (i, row) in rows.iter().enumerate() {
        let Some(before) = i.checked_sub(1).map(|b| &rows[b]) else {
            begins[i] = true;
            continue;
        };
        let hard = (&before.meter, before.bar.swing) != (&row.meter, row.bar.swing);
        let named = row.bar.section.is_some();
        begins[i] = hard || named || before.bar.tempo.rounded() != row.bar.tempo.rounded();
        if begins[i] && !hard {
            soft.push((named, change(before.bar.tempo.rounded(), row.bar.tempo.rounded()), i));
        }
    }
    let count = begins.iter().filter(|b| **b).count();
    let most = (SECTIONS.greatest as usize).saturating_sub(rows.len() / BARS.greatest as usize);
    let Some(over) = count.checked_sub(most).filter(|o| *o > 0) else { return Ok(begins) };
    if over > soft.len() {
        let message = expected(SECTIONS.range(), format!("{count} changes of meter and tempo"));
        return Err(FormatError::new("", message));
    }
    soft.sort_unstable();
    let largest = soft[..over].iter().map(|s| s.1).max().unwrap_or(Fraction::ONE);
    soft[..over].iter().for_each(|s| begins[s.2] = false);
    let percent = (largest.numer() as f64 / largest.denom() as f64 - 1.0) * 100.0;
    warnings.push(ImportWarning {
        place: "tempo".into(),
        message: format!(
            "found {count} stretches of one meter and tempo, a groove has at most {}; {over} changes, the largest of \
             {percent:.1}% of the tempo, were left out",
            SECTIONS.greatest
        ),
    });
    Ok(begins)
}

/// A name of at most so many characters.
fn short(name: &str, room: usize) -> String {
    name.trim().chars().take(room).collect::<String>().trim_end().to_owned()
}

/// Names for sections or layers: those given, cut to what a name may have; where one stands already, what `again` makes of it for
/// the 2nd, 3rd and so on, which no other has been given: what to keep of it, and what comes after that.
fn unique(wanted: &[String], again: impl Fn(&str, usize) -> (String, String)) -> Vec<String> {
    let most = NAME.greatest as usize;
    let given: HashSet<String> = wanted.iter().map(|name| short(name, most)).collect();
    let mut taken = HashSet::new();
    let one = |name: &String| {
        let own = short(name, most);
        let more = (2..).map(|n| {
            let (head, tail) = again(&own, n);
            short(&head, most - tail.chars().count()) + &tail
        });
        let free = |name: &String| !given.contains(name) && !taken.contains(name);
        let found = if taken.contains(&own) { more.into_iter().find(free).unwrap_or_default() } else { own.clone() };
        taken.insert(found.clone());
        found
    };
    wanted.iter().map(one).collect()
}

/// Names of layers: `piano`, `piano 2`, and after `hand 2` comes `hand 3`.
pub(super) fn layer_names(wanted: impl Iterator<Item = String>) -> Vec<String> {
    unique(&wanted.collect::<Vec<_>>(), |name, n| match name.rsplit_once(' ') {
        Some((head, number)) if number.parse::<u16>().is_ok_and(|k| k > 0) => {
            (head.to_owned(), format!(" {}", number.parse::<usize>().unwrap_or(1) + n - 1))
        }
        _ => (name.to_owned(), format!(" {n}")),
    })
}

/// Names of sections: `verse`, `verse 2`; a number of its own stays as it is, as in `from measure 5, time 2`.
fn section_names(wanted: &[String]) -> Vec<String> {
    unique(wanted, |name, n| {
        let counted = name.ends_with(|c: char| c.is_ascii_digit());
        (name.to_owned(), if counted { format!(", time {n}") } else { format!(" {n}") })
    })
}

/// The name of the nth section without one: A to Z, then AA and on.
pub(super) fn letters(n: usize) -> String {
    let letter = char::from(b'A' + (n % 26) as u8).to_string();
    if n < 26 { letter } else { letters(n / 26 - 1) + &letter }
}

/// Sections of runs, each played once.
pub(super) fn sections(runs: &[Run]) -> Vec<Section> {
    let mut letter = 0;
    let given: HashSet<&str> = runs.iter().filter_map(|r| r.name.as_deref()).collect();
    let wanted: Vec<String> = runs
        .iter()
        .map(|r| match &r.name {
            Some(name) if !name.trim().is_empty() => name.clone(),
            _ => loop {
                let name = letters(letter);
                letter += 1;
                if !given.contains(name.as_str()) {
                    break name;
                }
            },
        })
        .collect();
    let make = |(run, name): (&Run, String)| Section {
        name,
        meter: run.meter.clone(),
        tempo: run.tempo,
        bars: run.bars,
        times: 1,
        swing: run.swing,
    };
    runs.iter().zip(section_names(&wanted)).map(make).collect()
}

impl Bars {
    /// The bar in which a time of the source lies; the last for one after the end, `None` for one before the start.
    pub(super) fn bar_at(&self, at: Time) -> Option<usize> {
        self.all.partition_point(|b| b.start <= at).checked_sub(1)
    }

    /// The bar in which something that ends at a time of the source still sounds.
    pub(super) fn bar_before(&self, end: Time) -> usize {
        self.all.partition_point(|b| b.start < end).saturating_sub(1)
    }

    /// The bar of a section at a time from the section's start.
    pub(super) fn bar_within(&self, section: usize, at: Time) -> &Bar {
        let next = self.all.partition_point(|b| (b.section, b.within) <= (section, at));
        &self.all[next.saturating_sub(1)]
    }

    /// Length of a section.
    pub(super) fn length(&self, section: usize) -> Time {
        let run = &self.runs[section];
        run.meter.bar().repeated(usize::from(run.bars)).expect("bars are bounded")
    }
}
