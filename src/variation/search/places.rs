//! Places of a section in words: `downbeats after bar 1`, `bar 2 beat 3`, `cells 17-20`.

use crate::rhythm::{Meter, expected};

/// The expected forms, for messages.
pub(crate) const FORM: &str = "downbeats, strong beats, beats, offbeats, 'bar 2', 'beat 3', 'bar 2 beat 3', 'bar 2 beat 3 cell 2', \
'cell 17' or 'cells 17-20', perhaps with 'after bar 1', 'before bar 4' or 'in bars 2-3'";

/// The section that places are in.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Ground<'a> {
    pub(crate) meter: &'a Meter,
    /// Cells per beat.
    pub(crate) division: usize,
    /// Length in cells.
    pub(crate) cells: usize,
}

/// Which cells of a bar or of the section are meant; all numbers count from 1.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Which {
    Downbeats,
    StrongBeats,
    Beats,
    Offbeats,
    /// A beat of every bar meant, or its cell of this number.
    Beat(usize, Option<usize>),
    Cells(usize, usize),
    Everything,
}

/// Cells in some bars.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Places {
    which: Which,
    /// The first and the last bar.
    bars: (usize, usize),
}

impl Ground<'_> {
    fn bar(&self) -> usize {
        self.meter.beats() * self.division
    }
}

impl Places {
    /// Reads a list separated by commas.
    ///
    /// # Errors
    /// A message for any other text.
    pub(crate) fn parse_list(text: &str) -> Result<Vec<Self>, String> {
        text.split(',').map(Self::parse).collect()
    }

    fn parse(text: &str) -> Result<Self, String> {
        let lower = text.to_lowercase();
        let words: Vec<&str> = lower.split_whitespace().collect();
        read(&words).ok_or_else(|| expected(FORM, format!("'{}'", text.trim())))
    }

    /// Sets the cells that are meant.
    ///
    /// # Errors
    /// A message if there is no such bar, beat or cell.
    pub(crate) fn mark(&self, ground: Ground<'_>, marked: &mut [bool]) -> Result<(), String> {
        let (bar, division) = (ground.bar(), ground.division);
        let strong = ground.meter.strong_beats();
        let bars = ground.cells.div_ceil(bar);
        let (first, last) = self.bars;
        if first > bars || (last != usize::MAX && last > bars) {
            return Err(expected(
                format!("bars 1 to {bars}"),
                format!("bar {}", if first > bars { first } else { last }),
            ));
        }
        match self.which {
            Which::Cells(_, to) if to > ground.cells => {
                return Err(expected(format!("cells 1 to {}", ground.cells), format!("cell {to}")));
            }
            Which::Beat(beat, _) if beat > ground.meter.beats() => {
                return Err(expected(format!("beats 1 to {}", ground.meter.beats()), format!("beat {beat}")));
            }
            Which::Beat(_, Some(cell)) if cell > division => {
                return Err(expected(format!("cells 1 to {division} of a beat"), format!("cell {cell}")));
            }
            _ => {}
        }
        for (cell, mark) in marked.iter_mut().enumerate() {
            let (beat, within) = (cell % bar / division, cell % division);
            let in_bars = (first..=last).contains(&(cell / bar + 1));
            let is_meant = match self.which {
                Which::Downbeats => cell % bar == 0,
                Which::StrongBeats => within == 0 && (beat == 0 || strong.contains(&beat)),
                Which::Beats => within == 0,
                Which::Offbeats => within != 0,
                Which::Beat(number, of_beat) => beat + 1 == number && within + 1 == of_beat.unwrap_or(1),
                Which::Cells(from, to) => (from..=to).contains(&(cell + 1)),
                Which::Everything => true,
            };
            *mark |= in_bars && is_meant;
        }
        Ok(())
    }
}

fn read(words: &[&str]) -> Option<Places> {
    let every = (1, usize::MAX);
    let at = |which, bars| Some(Places { which, bars });
    match words {
        ["bar", bar] => at(Which::Everything, (number(bar)?, number(bar)?)),
        ["bars", bars] => at(Which::Everything, range(bars)?),
        ["bar", bar, rest @ ..] => at(named(rest)?, (number(bar)?, number(bar)?)),
        [head @ .., "after", "bar", bar] => at(named(head)?, (number(bar)? + 1, usize::MAX)),
        [head @ .., "before", "bar", bar] => at(named(head)?, (1, number(bar)?.checked_sub(1).filter(|b| *b > 0)?)),
        [head @ .., "from", "bar", bar] => at(named(head)?, (number(bar)?, usize::MAX)),
        [head @ .., "in", "bar", bar] => at(named(head)?, (number(bar)?, number(bar)?)),
        [head @ .., "in", "bars", bars] => at(named(head)?, range(bars)?),
        _ => at(named(words)?, every),
    }
}

fn named(words: &[&str]) -> Option<Which> {
    Some(match words {
        ["downbeat" | "downbeats"] => Which::Downbeats,
        ["strong", "beat" | "beats"] => Which::StrongBeats,
        ["beats"] => Which::Beats,
        ["offbeat" | "offbeats"] => Which::Offbeats,
        ["beat", beat] => Which::Beat(number(beat)?, None),
        ["beat", beat, "cell", cell] => Which::Beat(number(beat)?, Some(number(cell)?)),
        ["cell" | "cells", cells] => {
            let (from, to) = range(cells)?;
            Which::Cells(from, to)
        }
        _ => return None,
    })
}

fn number(word: &str) -> Option<usize> {
    word.parse().ok().filter(|n| (1..=65_536).contains(n))
}

/// `3` or `3-5`.
fn range(word: &str) -> Option<(usize, usize)> {
    let (from, to) = word.split_once('-').unwrap_or((word, word));
    let (from, to) = (number(from)?, number(to)?);
    (from <= to).then_some((from, to))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cells(text: &str) -> Result<Vec<usize>, String> {
        let meter = Meter::parse("4/4").expect("a meter");
        let ground = Ground { meter: &meter, division: 4, cells: 48 };
        let mut marked = vec![false; 48];
        for places in Places::parse_list(text)? {
            places.mark(ground, &mut marked)?;
        }
        Ok((0..48).filter(|c| marked[*c]).collect())
    }

    #[test]
    fn places_are_the_cells_that_their_words_name() {
        let rows: [(&str, &[usize]); 10] = [
            ("downbeats", &[0, 16, 32]),
            ("downbeats after bar 1", &[16, 32]),
            ("Strong beats in bar 2", &[16, 24]),
            ("bar 2 beat 3", &[24]),
            ("bar 2 beat 3 cell 2, cell 1", &[0, 25]),
            ("beat 4 before bar 3", &[12, 28]),
            ("cells 3-5", &[2, 3, 4]),
            ("beats in bars 3-3", &[32, 36, 40, 44]),
            ("beat 1 cell 4 from bar 3", &[35]),
            ("cells 1-4 in bar 1", &[0, 1, 2, 3]),
        ];
        for (text, expected) in rows {
            assert_eq!(cells(text).as_deref(), Ok(expected), "{text}");
        }
        assert_eq!(cells("bar 2").map(|c| c.len()), Ok(16));
        assert_eq!(cells("offbeats").map(|c| c.len()), Ok(36));
    }

    #[test]
    fn other_words_and_places_that_are_not_there_are_errors() {
        for bad in [
            "",
            "bar",
            "bar 0",
            "bar 9",
            "beat 5",
            "cell 49",
            "beat 1 cell 5",
            "cells 5-3",
            "somewhere",
            "downbeats after bar 3",
        ] {
            assert!(cells(bad).is_err(), "{bad}");
        }
        assert_eq!(cells("bar 9"), Err("expected bars 1 to 3, found bar 9".to_owned()));
    }
}
