//! A layer's cells within one section, and the exact time of each.

use super::cell::{Attack, Cell, Swing};
use super::meter::Meter;
use super::time::Time;

/// Some whole beats divided evenly into cells: one beat at the layer's division, or a tuplet over one or more beats.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Span {
    /// Beats it lasts.
    pub beats: u16,
    /// Cells in it.
    pub cells: u16,
}

/// A layer's cells in one section.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub enum Part {
    /// Cells written out for every bar. The spans fill the section's bars exactly and none crosses a bar line.
    Barred {
        /// How the beats are divided, from the first beat on.
        spans: Vec<Span>,
        /// The cells of all spans, one after the other.
        cells: Vec<Cell>,
    },
    /// A cycle: its own length of cells, repeated against the bars from the section's start to its end.
    Cycled {
        /// The cells of one time round, each one beat over the layer's division long.
        cells: Vec<Cell>,
        /// The cell of the cycle that stands at the section's start.
        start: u16,
    },
}

/// What a part needs to know of its section and its layer to place its cells in time.
#[derive(Debug, Clone, Copy)]
pub struct PartContext<'a> {
    /// The section's meter.
    pub meter: &'a Meter,
    /// The section's number of bars.
    pub bars: usize,
    /// The layer's division.
    pub division: u16,
    /// The swing in force, the layer's own before the section's.
    pub swing: Option<Swing>,
}

impl PartContext<'_> {
    /// Beats in the section, one time through.
    pub fn beats(&self) -> usize {
        self.bars * self.meter.beats()
    }

    /// Length of the section, one time through.
    pub fn length(&self) -> Time {
        self.meter.bar().repeated(self.bars).expect("bars are bounded")
    }
}

/// The span a cell lies in and where in it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Spot {
    /// First beat of the span, counted from the section's start.
    pub beat: usize,
    /// The span.
    pub span: Span,
    /// Which cell of the span.
    pub cell: usize,
    /// Index of the span's first cell within the part.
    pub first: usize,
}

/// An attack with the time it sounds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SoundedAttack {
    /// Its cell.
    pub cell: usize,
    /// Its accent and pitch.
    pub attack: Attack,
    /// Its start from the section's start.
    pub start: Time,
    /// The end of its last hold.
    pub end: Time,
}

impl Part {
    /// A part of rests.
    pub fn rests(context: PartContext<'_>) -> Self {
        let beats = context.beats();
        Self::Barred {
            spans: vec![Span { beats: 1, cells: context.division }; beats],
            cells: vec![Cell::Rest; beats * usize::from(context.division)],
        }
    }

    /// Number of cells in the section, one time through; a cycle counts each time round, the last one cut.
    pub fn len(&self, context: PartContext<'_>) -> usize {
        match self {
            Self::Barred { cells, .. } => cells.len(),
            Self::Cycled { .. } => context.beats() * usize::from(context.division),
        }
    }

    /// The stored cells: all of a barred part, one time round of a cycle.
    pub fn stored(&self) -> &[Cell] {
        match self {
            Self::Barred { cells, .. } | Self::Cycled { cells, .. } => cells,
        }
    }

    pub(super) fn stored_mut(&mut self) -> &mut Vec<Cell> {
        match self {
            Self::Barred { cells, .. } | Self::Cycled { cells, .. } => cells,
        }
    }

    /// Where the `index`th cell of the section is stored.
    pub fn stored_index(&self, index: usize) -> usize {
        match self {
            Self::Barred { .. } => index,
            Self::Cycled { cells, start } => (index + usize::from(*start)) % cells.len().max(1),
        }
    }

    /// The `index`th cell of the section; a rest beyond the end.
    pub fn cell(&self, index: usize) -> Cell {
        self.stored().get(self.stored_index(index)).copied().unwrap_or_default()
    }

    /// Whether the part is a cycle.
    pub fn is_cycle(&self) -> bool {
        matches!(self, Self::Cycled { .. })
    }

    /// All spans with their first beat and first cell, in order.
    pub fn spots(&self, context: PartContext<'_>) -> Vec<Spot> {
        let even = Span { beats: 1, cells: context.division };
        let mut spots = Vec::with_capacity(context.beats());
        let (mut beat, mut first) = (0, 0);
        let mut push = |span: Span| {
            spots.push(Spot { beat, span, cell: 0, first });
            beat += usize::from(span.beats);
            first += usize::from(span.cells);
        };
        match self {
            Self::Barred { spans, .. } => spans.iter().copied().for_each(&mut push),
            Self::Cycled { .. } => (0..context.beats()).for_each(|_| push(even)),
        }
        spots
    }

    /// The span and place of the `index`th cell; `None` beyond the end.
    pub fn spot(&self, index: usize, context: PartContext<'_>) -> Option<Spot> {
        if index >= self.len(context) {
            return None;
        }
        match self {
            Self::Cycled { .. } => {
                let n = usize::from(context.division);
                let (beat, cell) = (index / n, index % n);
                Some(Spot { beat, span: Span { beats: 1, cells: context.division }, cell, first: beat * n })
            }
            Self::Barred { spans, .. } => {
                let (mut beat, mut first) = (0, 0);
                for &span in spans {
                    if index < first + usize::from(span.cells) {
                        return Some(Spot { beat, span, cell: index - first, first });
                    }
                    beat += usize::from(span.beats);
                    first += usize::from(span.cells);
                }
                None
            }
        }
    }

    /// Start of the `index`th cell from the section's start, with swing; `None` beyond the end.
    pub fn start_of(&self, index: usize, context: PartContext<'_>) -> Option<Time> {
        self.spot(index, context).map(|spot| sounding_start(spot, context))
    }

    /// Start of every cell from the section's start, with swing, and last the end of the section.
    pub fn starts(&self, context: PartContext<'_>) -> Vec<Time> {
        let mut times = Vec::with_capacity(self.len(context) + 1);
        for spot in self.spots(context) {
            times.extend((0..usize::from(spot.span.cells)).map(|cell| sounding_start(Spot { cell, ..spot }, context)));
        }
        times.push(context.length());
        times
    }

    /// The attacks in order, each with its cell, its start and the end of its sound (the first cell that is no hold), with swing.
    pub fn attacks(&self, context: PartContext<'_>) -> Vec<SoundedAttack> {
        let mut attacks: Vec<SoundedAttack> = Vec::new();
        let mut open = false;
        let close = |attacks: &mut Vec<SoundedAttack>, open: &mut bool, end: Time| {
            if let (true, Some(last)) = (*open, attacks.last_mut()) {
                last.end = end;
            }
            *open = false;
        };
        for spot in self.spots(context) {
            for cell in 0..usize::from(spot.span.cells) {
                let what = self.cell(spot.first + cell);
                if what == Cell::Hold || (what == Cell::Rest && !open) {
                    continue;
                }
                let start = sounding_start(Spot { cell, ..spot }, context);
                close(&mut attacks, &mut open, start);
                if let Cell::Attack(attack) = what {
                    attacks.push(SoundedAttack { cell: spot.first + cell, attack, start, end: start });
                    open = true;
                }
            }
        }
        close(&mut attacks, &mut open, context.length());
        attacks
    }

    /// The last cell that begins at or before `time` as written, without swing; the first for a time before the section.
    pub fn cell_at(&self, time: Time, context: PartContext<'_>) -> usize {
        let last = self.len(context).saturating_sub(1);
        let beat = context.meter.beat();
        let Some(at) = time.ratio_to(beat) else {
            return last;
        };
        let mut found = 0;
        for spot in self.spots(context) {
            if spot.beat as i64 > at.floor() {
                break;
            }
            let into = time.minus(beat.repeated(spot.beat).expect("beats are bounded"));
            let length =
                beat.repeated(usize::from(spot.span.beats)).and_then(|l| l.divided(usize::from(spot.span.cells)));
            let cell = into.and_then(|i| i.ratio_to(length?)).map_or(0, |r| r.floor().max(0) as usize);
            found = spot.first + cell.min(usize::from(spot.span.cells) - 1);
        }
        found.min(last)
    }

    /// Turns every hold that follows a rest into a rest. The first cell may hold what sounded before the section.
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

    /// Index of the first stored hold that has nothing to hold, if there is one.
    pub fn stray_hold(&self) -> Option<usize> {
        let mut settled = self.clone();
        settled.settle();
        self.stored().iter().zip(settled.stored()).position(|(a, b)| a != b)
    }
}

/// Start of a cell as written, from the section's start, without swing.
pub(crate) fn written_start(spot: Spot, context: PartContext<'_>) -> Time {
    place(spot, context, spot.cell as i64, (0, 1))
}

fn sounding_start(spot: Spot, context: PartContext<'_>) -> Time {
    match context.swing {
        Some(swing) if spot.span.cells.is_multiple_of(2) && spot.cell % 2 == 1 => {
            let share = swing.share();
            place(spot, context, spot.cell as i64 - 1, (2 * share.numer(), share.denom()))
        }
        _ => written_start(spot, context),
    }
}

/// The time of cell `cell + more.0 / more.1` of a span, in one fraction: `(beat + cells into the span * beats / cells) * beat length`.
/// Every factor is bounded, so the products stay far below 64 bits.
fn place(spot: Spot, context: PartContext<'_>, cell: i64, more: (i64, i64)) -> Time {
    let (beats, cells) = (i64::from(spot.span.beats), i64::from(spot.span.cells.max(1)));
    let beat = context.meter.beat();
    let numer = (spot.beat as i64 * cells + cell * beats) * more.1 + beats * more.0;
    Time::new(numer * beat.numer(), cells * more.1 * beat.denom()).expect("denominators are at least 1")
}
