//! A layer's cells within one section, and the exact time of each.

use super::cell::{Attack, Cell, Swing};
use super::meter::Meter;
use super::time::{Fraction, Time};

/// Whole beats divided evenly into cells: one beat at the layer's division, or a tuplet over one or more beats.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Span {
    /// Its length in beats.
    pub beats: u16,
    /// Its number of cells.
    pub cells: u16,
}

/// A layer's cells in one section.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub enum Part {
    /// Cells written out for every bar. The spans fill the section's bars exactly, and none crosses a bar line.
    Barred {
        /// The divisions of the beats, in order.
        spans: Vec<Span>,
        /// The cells of all spans, in order.
        cells: Vec<Cell>,
    },
    /// A cycle, repeated against the bars from the section's start to its end.
    Cycled {
        /// The cells of one repetition, each one beat over the layer's division long.
        cells: Vec<Cell>,
        /// Index of the cell at the section's start.
        start: u16,
    },
}

/// The properties of a section and a layer that place the cells of a part in time.
#[derive(Debug, Clone, Copy)]
pub struct PartContext<'a> {
    /// The section's meter.
    pub meter: &'a Meter,
    /// The section's number of bars.
    pub bars: usize,
    /// The layer's division in the section.
    pub division: u16,
    /// The layer's swing, or else the section's.
    pub swing: Option<Swing>,
}

impl PartContext<'_> {
    pub(crate) fn beats(&self) -> usize {
        self.bars * self.meter.beats()
    }

    /// Cells of one pass at the layer's division.
    pub(super) fn even_cells(&self) -> usize {
        self.beats() * usize::from(self.division)
    }

    pub(crate) fn length(&self) -> Time {
        self.meter.bar().repeated(self.bars).expect("bars are bounded")
    }

    /// One beat at the layer's division.
    pub(super) fn even_span(&self) -> Span {
        Span { beats: 1, cells: self.division }
    }
}

/// A cell and its span.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Spot {
    /// First beat of the span, from the section's start.
    pub(crate) beat: usize,
    pub(crate) span: Span,
    /// Index of the cell within the span.
    pub(crate) cell: usize,
    /// Index of the span's first cell within the part.
    pub(crate) first: usize,
}

/// An attack with the time it sounds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SoundedAttack {
    pub cell: usize,
    pub attack: Attack,
    /// From the section's start.
    pub start: Time,
    /// The end of its last hold.
    pub end: Time,
}

impl Part {
    pub(crate) fn rests(context: PartContext<'_>) -> Self {
        Self::Barred {
            spans: vec![context.even_span(); context.beats()],
            cells: vec![Cell::Rest; context.even_cells()],
        }
    }

    /// Number of cells in one pass; all repetitions of a cycle count, the last one cut.
    pub(crate) fn len(&self, context: PartContext<'_>) -> usize {
        match self {
            Self::Barred { cells, .. } => cells.len(),
            Self::Cycled { .. } => context.even_cells(),
        }
    }

    /// The stored cells: all of a barred part, one repetition of a cycle.
    pub fn stored(&self) -> &[Cell] {
        match self {
            Self::Barred { cells, .. } | Self::Cycled { cells, .. } => cells,
        }
    }

    pub(crate) fn stored_mut(&mut self) -> &mut Vec<Cell> {
        match self {
            Self::Barred { cells, .. } | Self::Cycled { cells, .. } => cells,
        }
    }

    /// Index into the stored cells of the `index`th cell of the section.
    pub(super) fn stored_index(&self, index: usize) -> usize {
        match self {
            Self::Barred { .. } => index,
            Self::Cycled { cells, start } => (index + usize::from(*start)) % cells.len().max(1),
        }
    }

    /// The `index`th cell of the section; a rest beyond the end.
    pub(crate) fn cell(&self, index: usize) -> Cell {
        self.stored().get(self.stored_index(index)).copied().unwrap_or_default()
    }

    /// Whether the part is a cycle.
    pub fn is_cycle(&self) -> bool {
        matches!(self, Self::Cycled { .. })
    }

    fn span_spots(&self, context: PartContext<'_>) -> impl Iterator<Item = Spot> {
        let (spans, even_beats) = match self {
            Self::Barred { spans, .. } => (&spans[..], 0),
            Self::Cycled { .. } => (&[][..], context.beats()),
        };
        let spans = spans.iter().copied().chain(std::iter::repeat_n(context.even_span(), even_beats));
        spans.scan((0, 0), |(beat, first), span| {
            let spot = Spot { beat: *beat, span, cell: 0, first: *first };
            *beat += usize::from(span.beats);
            *first += usize::from(span.cells);
            Some(spot)
        })
    }

    /// The first cell of every span, in order.
    pub(crate) fn spots(&self, context: PartContext<'_>) -> Vec<Spot> {
        self.span_spots(context).collect()
    }

    pub(super) fn span_cells(&self, spot: Spot) -> Vec<Cell> {
        (spot.first..spot.first + usize::from(spot.span.cells)).map(|i| self.cell(i)).collect()
    }

    pub(super) fn cell_spots(&self, context: PartContext<'_>) -> impl Iterator<Item = Spot> {
        self.span_spots(context).flat_map(|s| (0..usize::from(s.span.cells)).map(move |cell| Spot { cell, ..s }))
    }

    /// The `index`th cell; `None` beyond the end.
    pub(crate) fn spot(&self, index: usize, context: PartContext<'_>) -> Option<Spot> {
        let within = |s: &Spot| index < s.first + usize::from(s.span.cells);
        match self {
            Self::Barred { .. } => self.span_spots(context).find(within),
            Self::Cycled { .. } => {
                let beat = index / usize::from(context.division);
                let first = beat * usize::from(context.division);
                (beat < context.beats()).then(|| Spot { beat, span: context.even_span(), cell: 0, first })
            }
        }
        .map(|spot| Spot { cell: index - spot.first, ..spot })
    }

    /// Start of every cell with swing, from the section's start, followed by the section's end.
    pub(crate) fn starts(&self, context: PartContext<'_>) -> Vec<Time> {
        let mut times = Vec::with_capacity(self.len(context) + 1);
        times.extend(self.cell_spots(context).map(|spot| sounding_start(spot, context)));
        times.push(context.length());
        times
    }

    /// The attacks in order, with swing.
    pub fn attacks(&self, context: PartContext<'_>) -> Vec<SoundedAttack> {
        let mut attacks: Vec<SoundedAttack> = Vec::new();
        let mut sounding = false;
        let length = context.length();
        for spot in self.cell_spots(context) {
            let index = spot.first + spot.cell;
            let cell = self.cell(index);
            if cell == Cell::Hold || (cell == Cell::Rest && !sounding) {
                continue;
            }
            let start = sounding_start(spot, context);
            if let Some(last) = attacks.last_mut().filter(|_| sounding) {
                last.end = start;
            }
            sounding = false;
            if let Cell::Attack(attack) = cell {
                attacks.push(SoundedAttack { cell: index, attack, start, end: length });
                sounding = true;
            }
        }
        attacks
    }

    /// The last cell that begins at or before `time`, without swing; the first for a time before the section.
    pub(crate) fn cell_at(&self, time: Time, context: PartContext<'_>) -> usize {
        let last = self.len(context).saturating_sub(1);
        let Some(at) = time.ratio_to(context.meter.beat()) else {
            return last;
        };
        let Some(spot) = self.span_spots(context).take_while(|s| s.beat as i64 <= at.floor()).last() else {
            return 0;
        };
        let (beats, cells) = (i64::from(spot.span.beats), i64::from(spot.span.cells));
        // Beats into the span, times cells per beat.
        let cell = Fraction::new(spot.beat as i64, 1)
            .and_then(|first| at.minus(first)?.times(Fraction::new(cells, beats)?))
            .map_or(0, |cell| cell.floor().clamp(0, cells - 1));
        (spot.first + cell as usize).min(last)
    }

    /// Turns holds without a sound to hold into rests. The first cell may hold the sound before the section.
    pub(super) fn settle(&mut self) {
        let cyclic = self.is_cycle();
        let cells = self.stored_mut();
        let mut sounding = if cyclic {
            cells.iter().rev().find(|c| **c != Cell::Hold).is_some_and(|c| c.attack().is_some())
        } else {
            true
        };
        for cell in cells.iter_mut() {
            match cell {
                Cell::Rest => sounding = false,
                Cell::Attack(_) => sounding = true,
                Cell::Hold if !sounding => *cell = Cell::Rest,
                Cell::Hold => {}
            }
        }
    }

    /// Index of the first stored hold without a sound to hold.
    pub(super) fn stray_hold(&self) -> Option<usize> {
        let mut settled = self.clone();
        settled.settle();
        self.stored().iter().zip(settled.stored()).position(|(a, b)| a != b)
    }
}

/// Start of a cell without swing, from the section's start.
pub(crate) fn written_start(spot: Spot, context: PartContext<'_>) -> Time {
    start(spot, context, spot.cell as i64, (0, 1))
}

fn sounding_start(spot: Spot, context: PartContext<'_>) -> Time {
    match context.swing {
        Some(swing) if spot.span.cells.is_multiple_of(2) && spot.cell % 2 == 1 => {
            let share = swing.share();
            start(spot, context, spot.cell as i64 - 1, (2 * share.numer(), share.denom()))
        }
        _ => written_start(spot, context),
    }
}

/// The time of cell `cell + more.0 / more.1` of a span, as one fraction:
/// `(beat + cells into the span * beats / cells) * beat length`. All factors are bounded, so the products fit 64 bits.
fn start(spot: Spot, context: PartContext<'_>, cell: i64, more: (i64, i64)) -> Time {
    let (beats, cells) = (i64::from(spot.span.beats), i64::from(spot.span.cells.max(1)));
    let beat = context.meter.beat();
    let numer = (spot.beat as i64 * cells + cell * beats) * more.1 + beats * more.0;
    Time::new(numer * beat.numer(), cells * more.1 * beat.denom()).expect("denominators are at least 1")
}
