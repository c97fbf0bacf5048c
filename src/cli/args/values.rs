//! Parses the values of options. clap shows the value found.

use crate::analysis::Limits;
use crate::jobs::{RecordingMix, parse_band};
use crate::rhythm::{Fraction, Meter, Tempo, group_line, parse_note_value};
use crate::sound::SampleRate;
use crate::sound::take::MAX_COUNT_IN_BARS;
use crate::variation::{Aim, FAMILIES, PERMUTE};
use std::ops::{Range, RangeInclusive};
use std::str::FromStr;

/// The speeds of a ladder, as one value.
#[derive(Debug, Clone)]
pub(crate) struct Speeds(pub(crate) Vec<Fraction>);

/// Sizes of groups in cells, ascending.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct GroupSizes(pub(crate) Vec<usize>);

/// Greatest group in cells.
const MAX_GROUP: usize = 256;

/// `3,4`, `2-7`, or both.
pub(super) fn group_sizes(words: &str) -> Result<GroupSizes, String> {
    let range = |word: &str| {
        let (from, to) = word.trim().split_once('-').unwrap_or((word.trim(), word.trim()));
        let (from, to): (usize, usize) = (from.trim().parse().ok()?, to.trim().parse().ok()?);
        (1 <= from && from <= to && to <= MAX_GROUP).then_some(from..=to)
    };
    let ranges: Option<Vec<_>> = words.split(',').map(range).collect();
    let mut sizes: Vec<usize> = ranges
        .ok_or_else(|| format!("expected sizes from 1 to {MAX_GROUP} cells, like 3,4 or 2-7"))?
        .into_iter()
        .flatten()
        .collect();
    sizes.sort_unstable();
    sizes.dedup();
    Ok(GroupSizes(sizes))
}

/// Cells of a section, from 0.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct CellRange(pub(crate) Range<usize>);

/// `17-32` or `5`, counted from 1.
pub(super) fn cell_range(words: &str) -> Result<CellRange, String> {
    let (from, to) = words.split_once('-').unwrap_or((words, words));
    let range = from
        .trim()
        .parse::<usize>()
        .ok()
        .zip(to.trim().parse::<usize>().ok())
        .filter(|(from, to)| 0 < *from && from <= to);
    range.map(|(from, to)| CellRange(from - 1..to)).ok_or_else(|| "expected cells counted from 1, like 17-32".into())
}

/// The name of an operation on groups.
pub(super) fn operation(word: &str) -> Result<&'static str, String> {
    let all = || FAMILIES.into_iter().chain([PERMUTE]);
    all().find(|name| *name == word).ok_or_else(|| format!("expected one of: {}", all().collect::<Vec<_>>().join(", ")))
}

/// By what variants are sorted.
pub(super) fn aim(word: &str) -> Result<Aim, String> {
    Ok(match word {
        "near" => Aim::Near,
        "harder" => Aim::Harder,
        "easier" => Aim::Easier,
        "on-beat" => Aim::OnBeat,
        "off-beat" => Aim::OffBeat,
        bpm => Aim::Hearing(parse_in_range(
            bpm,
            20.0..=400.0,
            "near, harder, easier, on-beat, off-beat, or a tempo from 20 to 400 BPM",
        )?),
    })
}

pub(super) fn list_length(word: &str) -> Result<usize, String> {
    parse_in_range(word, 1..=10_000, "a whole number from 1 to 10000")
}

fn parse_in_range<T: FromStr + PartialOrd>(word: &str, range: RangeInclusive<T>, wanted: &str) -> Result<T, String> {
    word.parse().ok().filter(|n| range.contains(n)).ok_or_else(|| format!("expected {wanted}"))
}

/// An exact number in a range.
fn parse_fraction(word: &str, range: RangeInclusive<i32>, wanted: &str) -> Result<Fraction, String> {
    let (least, most) = (Fraction::whole(*range.start()), Fraction::whole(*range.end()));
    Fraction::parse(word).filter(|f| (least..=most).contains(f)).ok_or_else(|| format!("expected {wanted}"))
}

pub(super) fn passes(word: &str) -> Result<u32, String> {
    parse_in_range(word, 1..=10_000, "a whole number from 1 to 10000")
}

pub(super) fn count_in_bars(word: &str) -> Result<u32, String> {
    parse_in_range(word, 1..=MAX_COUNT_IN_BARS, "a whole number from 1 to 16")
}

pub(super) fn mix(word: &str) -> Result<RecordingMix, String> {
    match word {
        "with" => Ok(RecordingMix::Both),
        "split" => Ok(RecordingMix::Split),
        "alone" => Ok(RecordingMix::Recording),
        _ => Err("expected with, split or alone".into()),
    }
}

pub(super) fn band(word: &str) -> Result<(u32, u32), String> {
    let band = parse_band(word)?;
    band.ok_or_else(|| "expected a band like 80-400, or low, mid or high".into())
}

pub(super) fn seconds(word: &str) -> Result<f64, String> {
    parse_in_range(word, 0.01..=36_000.0, "a number from 0.01 to 36000 (seconds)")
}

pub(super) fn tap_offset(word: &str) -> Result<f64, String> {
    parse_in_range(word, -1000.0..=1000.0, "a number from -1000 to 1000 (ms)")
}

pub(super) fn width(word: &str) -> Result<f32, String> {
    parse_in_range(word, 480.0..=4000.0, "a number from 480 to 4000 (CSS pixels)")
}

pub(super) fn scale(word: &str) -> Result<f32, String> {
    parse_in_range(word, 0.1..=8.0, "a number from 0.1 to 8")
}

pub(super) fn hearing_number(word: &str) -> Result<usize, String> {
    parse_in_range(word, 1..=usize::MAX, "the number of a hearing, from 1")
}

pub(super) fn sample_rate(word: &str) -> Result<SampleRate, String> {
    let rate = word.parse().ok().and_then(SampleRate::new);
    rate.ok_or_else(|| "expected a whole number from 8000 to 384000 (Hz)".into())
}

pub(super) fn cell_limit(word: &str) -> Result<Limits, String> {
    let limits = word.parse().ok().and_then(Limits::with_cell);
    limits.ok_or_else(|| "expected a number from 20 to 1000 (ms)".into())
}

/// A speed in percent as a part of the written tempo.
pub(super) fn speed(word: &str) -> Result<Fraction, String> {
    let wanted = "a number from 20 to 200 (percent)";
    let percent = parse_fraction(word.trim_end_matches('%'), 20..=200, wanted)?;
    percent.over(Fraction::whole(100)).ok_or_else(|| format!("expected {wanted}"))
}

pub(super) fn reading_number(word: &str) -> Result<usize, String> {
    parse_in_range(word, 1..=usize::MAX, "the number of a reading, from 1")
}

pub(super) fn proposal_number(word: &str) -> Result<usize, String> {
    parse_in_range(word, 1..=usize::MAX, "the number of a proposal, from 1")
}

/// A tempo in quarter notes, or in the note value that is given.
pub(super) fn tempo(word: &str) -> Result<Tempo, String> {
    let wanted = || "expected beats per minute from 5 to 1000, like 132.5, or with the note value 1/4.=90".to_owned();
    let (unit, bpm) = word.split_once('=').unwrap_or(("1/4", word));
    let (unit, bpm) =
        (parse_note_value(unit.trim()).ok_or_else(wanted)?, Fraction::parse(bpm.trim()).ok_or_else(wanted)?);
    Tempo::new(bpm, unit).map_err(|_| wanted())
}

pub(super) fn meter(word: &str) -> Result<Meter, String> {
    Meter::parse(word).map_err(|e| e.to_string())
}

/// The groups of a line, repeats written out.
#[derive(Debug, Clone)]
pub(crate) struct GroupLine(pub(crate) Vec<u32>);

pub(super) fn groups(word: &str) -> Result<GroupLine, String> {
    group_line::parse(word).map(|terms| GroupLine(group_line::expand(&terms))).map_err(|e| e.to_string())
}

pub(super) fn division(word: &str) -> Result<u16, String> {
    parse_in_range(word, 1..=32, "a whole number from 1 to 32 (cells per beat)")
}

/// A time in a recording, in seconds.
pub(super) fn instant(word: &str) -> Result<f64, String> {
    parse_in_range(word, 0.0..=10_800.0, "a time in the recording from 0 to 10800 (seconds)")
}

pub(super) fn threshold(word: &str) -> Result<f32, String> {
    parse_in_range(word, 0.05..=0.95, "a number from 0.05 to 0.95")
}

pub(super) fn tolerance(word: &str) -> Result<Fraction, String> {
    parse_fraction(word, 0..=100, "a number from 0 to 100 (ms)")
}
