//! Grids for a recording: meter, tempo and bar lines from what was proposed or given, and how they are laid under a groove.

pub mod beats;
pub mod places;
pub mod transcription;

use super::fit::propose::{self, Proposal};
use crate::rhythm::bounds::{BARS, CELLS_OF_LAYER, TEMPO};
use crate::rhythm::{Anchor, Edit, EditError, Fraction, GridPlace, Groove, Meter, MeterKind, Micros, Tempo, Time};

/// A unit of an additive meter shorter than this many seconds is written as a sixteenth, a longer one as an eighth (ours, no source).
const SIXTEENTH: f64 = 0.16;
/// What sounds earlier than the first bar line by so much of a beat is in a bar of its own before it.
const UPBEAT: f64 = 0.2;
/// Cells of a simple meter in a whole note, and the most per beat.
const SIXTEENTHS: u16 = 16;
const MOST_IN_BEAT: u16 = 4;

/// A meter with its bar lines in a recording.
#[derive(Debug, Clone, PartialEq)]
pub struct Grid {
    /// The meter.
    pub meter: Meter,
    /// The tempo to write; between bar lines the recording has its own.
    pub tempo: Tempo,
    /// Bars that hold the music.
    pub bars: usize,
    /// Bars from 0, and the seconds of their bar lines, ascending.
    pub bar_lines: Vec<(usize, f64)>,
    /// Cells per beat that suit it.
    pub division: u16,
}

impl Grid {
    /// The grid of a proposal for a recording whose first onset is at `first`. `None` if a groove cannot hold it.
    pub fn of_proposal(proposal: &Proposal, first: f64) -> Option<Self> {
        let (meter, tempo) = match &proposal.meter {
            propose::Meter::Even { beats, cells: 3 } => (Meter::new(vec![3 * *beats as u16], 8).ok()?, proposal.rate),
            // 6/4 would have two beats.
            propose::Meter::Even { beats: 6, .. } => (Meter::new(vec![3, 3], 4).ok()?, proposal.rate),
            propose::Meter::Even { beats, .. } => (Meter::new(vec![*beats as u16], 4).ok()?, proposal.rate),
            propose::Meter::Additive { groups, .. } => {
                let units: u16 = groups.iter().map(|g| u16::from(*g)).sum();
                let per_minute = proposal.rate * f64::from(units) / groups.len() as f64;
                let lower = if 60.0 / per_minute < SIXTEENTH { 16 } else { 8 };
                let terms = groups.iter().map(|g| u16::from(*g)).collect();
                (Meter::new(terms, lower).ok()?, per_minute * 4.0 / f64::from(lower))
            }
            propose::Meter::Average => (Meter::new(vec![4], 4).ok()?, proposal.rate),
        };
        let unit = if proposal.meter.is_compound() { meter.beat() } else { quarter()? };
        let bar = if proposal.meter == propose::Meter::Average { meter.beats() } else { proposal.meter.bar() };
        let lines: Vec<f64> = proposal.beats.iter().copied().skip(proposal.downbeat).step_by(bar).collect();
        let upbeat = UPBEAT * 60.0 / proposal.rate;
        let before = usize::from(lines.first().is_none_or(|line| first < line - upbeat));
        let bar_lines: Vec<(usize, f64)> = lines.into_iter().enumerate().map(|(k, at)| (k + before, at)).collect();
        let bars = bar_lines.last()?.0 + 1;
        let division = match proposal.meter {
            // The beats of such a meter are its units.
            propose::Meter::Additive { cells, .. } => usual_division(&meter).max(cells as u16),
            _ => usual_division(&meter),
        };
        Some(Self { tempo: rounded_tempo(tempo, unit)?, meter, bars, bar_lines, division })
    }

    /// Bars of a meter, whose beats are at these seconds from the first bar line on.
    pub fn of_beats(meter: Meter, tempo: Tempo, beats: &[f64]) -> Self {
        let bar_lines: Vec<(usize, f64)> = beats.iter().copied().step_by(meter.beats()).enumerate().collect();
        // The last beat ends the last bar.
        let bars = beats.len().saturating_sub(1).div_ceil(meter.beats()).max(1);
        Self { division: usual_division(&meter), meter, tempo, bars, bar_lines }
    }

    /// Lays the grid under a groove with a recording. One without attacks becomes a single section as long as the music. In a groove of one
    /// section attacks keep their times, and the bars repeat as often as the music needs them.
    ///
    /// # Errors
    /// The groove has attacks in several sections, it has no recording, or its bounds are exceeded.
    pub fn laid(&self, groove: &Groove) -> Result<Groove, EditError> {
        let is_empty = (0..groove.layers().len()).all(|layer| groove.events(layer).is_empty());
        if !is_empty && groove.sections().len() > 1 {
            return Err(EditError::Impossible("a groove of several sections takes no other meter; align it instead"));
        }
        let mut laid = groove.edited(&Edit::Anchors(Vec::new()))?;
        for section in (1..laid.sections().len()).rev() {
            laid = laid.edited(&Edit::RemoveSection(section))?;
        }
        if laid.sections()[0].meter != self.meter {
            laid = laid.edited(&Edit::MeterKeepingTimes(0, self.meter.clone()))?;
        }
        laid = laid.edited(&Edit::Tempo(0, self.tempo))?;
        if is_empty {
            let division = self.division;
            for layer in 0..laid.layers().len() {
                laid = laid.edited(&Edit::Division(layer, None, division))?;
            }
            let cells = self.meter.beats() * usize::from(division);
            let most = (BARS.greatest as usize).min(CELLS_OF_LAYER.greatest as usize / cells);
            laid = laid.edited(&Edit::Times(0, 1))?.edited(&Edit::Bars(0, self.bars.clamp(1, most) as u16))?;
        }
        laid.edited(&Edit::Anchors(anchors(&self.bar_lines, laid.bars_in_pass())))
    }
}

impl propose::Meter {
    fn is_compound(&self) -> bool {
        matches!(self, Self::Even { cells: 3, .. })
    }
}

/// Cells per beat that a layer in a meter has if nothing speaks for others.
pub fn usual_division(meter: &Meter) -> u16 {
    match meter.kind() {
        MeterKind::Compound => 3,
        // The beats of such a meter are its units.
        MeterKind::Additive if meter.lower() > 4 => 1,
        MeterKind::Simple | MeterKind::Additive => (SIXTEENTHS / meter.lower()).clamp(1, MOST_IN_BEAT),
    }
}

fn quarter() -> Option<Time> {
    Time::new(1, 4)
}

/// A tempo to a tenth of a beat per minute, within what can be written: a recording's own tempo is no rounder.
pub fn rounded_tempo(bpm: f64, unit: Time) -> Option<Tempo> {
    let bpm = bpm.clamp(TEMPO.least as f64, TEMPO.greatest as f64);
    Tempo::new(Fraction::new((10.0 * bpm).round() as i64, 10)?, unit).ok()
}

/// The anchors of bar lines, in a groove with so many bars.
fn anchors(bar_lines: &[(usize, f64)], bars: usize) -> Vec<Anchor> {
    let bars = bars.max(1);
    let mut anchors: Vec<Anchor> = Vec::with_capacity(bar_lines.len());
    for &(bar, seconds) in bar_lines {
        let place = GridPlace { pass: (bar / bars) as u32, bar: (bar % bars) as u32, beat: Fraction::ZERO };
        let at = micros(seconds);
        if at >= Micros(0) && anchors.last().is_none_or(|last| last.at < at) {
            anchors.push(Anchor { place, at });
        }
    }
    anchors
}

/// An instant to the microsecond.
pub(super) fn micros(seconds: f64) -> Micros {
    Micros((1e6 * seconds).round() as i64)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_grid_has_the_cells_of_its_proposal() {
        for (cells, division) in [(1, 1), (2, 2), (3, 3)] {
            let meter = propose::Meter::Additive { groups: vec![3, 2], cells };
            let beats = vec![0.0, 0.6, 1.0, 1.6, 2.0];
            let proposal = Proposal { meter, rate: 120.0, share: 0.5, beats, downbeat: 0 };
            let grid = Grid::of_proposal(&proposal, 0.0).expect("a grid");
            assert_eq!((grid.meter.to_string().as_str(), grid.division), ("3+2/8", division));
            let groove =
                Groove::in_four(120, 4).with_recording(Some(crate::rhythm::Recording::new("winch.flac", None)));
            let laid = grid.laid(&groove.expect("a recording")).expect("laid");
            assert_eq!(laid.cells(0, 0), laid.sections()[0].beats() * usize::from(division));
        }
    }

    #[test]
    fn cells_are_sixteenths_where_the_beat_has_no_parts_of_its_own() {
        let meters =
            [("4/4", 4), ("3/2", 4), ("7/8", 2), ("5/16", 1), ("6/8", 3), ("2+2+3/8", 1), ("3+3/4", 4), ("1/32", 1)];
        for (meter, cells) in meters {
            assert_eq!(usual_division(&Meter::parse(meter).expect("a meter")), cells, "{meter}");
        }
    }
}
