//! Converts musical time to columns of the grid and back: one scale for all layers of a section, and a column for each bar line.

use crate::rhythm::{Fraction, Groove, Part, Span, Time};
use num_integer::Integer;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Scale {
    pub per_beat: usize,
    pub beats: usize,
    pub bars: usize,
    beat: Time,
}

/// Maximum columns per beat at which every cell has its exact place; more are rounded.
const MAX_EXACT_COLUMNS: usize = 12;

impl Scale {
    /// The scale of a section: at least two columns for its finest cells, times 2 to the power of `zoom`.
    pub(crate) fn new(groove: &Groove, section: usize, zoom: i32) -> Self {
        let s = &groove.sections()[section];
        // Columns per beat at which every cell begins a column of its own, and the most cells in a beat.
        let (mut fine, mut finest) = (1_usize, 1_usize);
        let mut include = |span: Span| {
            let (cells, beats) = (usize::from(span.cells).max(1), usize::from(span.beats).max(1));
            fine = if fine > 10_000 { fine } else { fine.lcm(&(cells / cells.gcd(&beats))) };
            finest = finest.max(cells.div_ceil(beats));
        };
        for layer in groove.layers() {
            match layer.parts.get(section).map(std::convert::AsRef::as_ref) {
                Some(Part::Barred { spans, .. }) => {
                    let mut last = None;
                    for span in spans.iter().filter(|s| last.replace(**s) != Some(**s)) {
                        include(*span);
                    }
                }
                _ => include(Span { beats: 1, cells: layer.divisions[section] }),
            }
        }
        let base =
            if fine <= MAX_EXACT_COLUMNS.max(2 * finest) { fine * (2 * finest).div_ceil(fine) } else { 2 * finest };
        let per_beat = if zoom >= 0 { base << zoom.min(3) } else { (base >> (-zoom).min(5)).max(1) };
        Self { per_beat, beats: s.meter.beats(), bars: usize::from(s.bars), beat: s.meter.beat() }
    }

    /// Columns of a bar, including its bar line.
    pub(crate) fn bar_width(self) -> usize {
        self.per_beat * self.beats + 1
    }

    /// Columns of the section without its closing bar line.
    pub(crate) fn width(self) -> usize {
        self.bar_width() * self.bars
    }

    /// First column of a cell, counted from the start of its span at `beat`.
    pub(crate) fn cell_column(self, beat: usize, span: Span, cell: usize) -> usize {
        let cells = usize::from(span.cells).max(1);
        let within = (beat % self.beats) * cells + cell * usize::from(span.beats);
        beat / self.beats * self.bar_width() + 1 + within * self.per_beat / cells
    }

    /// The column nearest to a number of beats from the section's start.
    pub(crate) fn nearest_column(self, beats: f64) -> usize {
        let beats = beats.max(0.0);
        let bar = (beats / self.beats as f64 + 1e-9).floor();
        let within = (beats - bar * self.beats as f64).max(0.0);
        let column = (within * self.per_beat as f64).round() as usize;
        bar as usize * self.bar_width() + 1 + column.min(self.per_beat * self.beats)
    }

    pub(crate) fn time_column(self, time: Time) -> usize {
        let Some(beats) = time.ratio_to(self.beat) else { return 0 };
        let bar = (beats.floor().max(0) as usize) / self.beats;
        let within = beats.minus(Fraction::whole((bar * self.beats) as i32));
        let column = within.and_then(|w| w.times(Fraction::whole(self.per_beat as i32))).map_or(0, Fraction::floor);
        bar * self.bar_width() + 1 + column.max(0) as usize
    }

    /// The time at the start of a column; a bar line belongs to the bar it opens.
    pub(crate) fn time_at(self, column: usize) -> Time {
        let bar = (column / self.bar_width()).min(self.bars - 1);
        let within = (column - bar * self.bar_width()).saturating_sub(1).min(self.per_beat * self.beats - 1);
        let beats = Fraction::new((bar * self.beats * self.per_beat + within) as i64, self.per_beat as i64);
        beats.and_then(|b| self.beat.scaled(b)).unwrap_or(Time::ZERO)
    }

    /// The bar of a column, from 0.
    pub(crate) fn bar_of(self, column: usize) -> usize {
        (column / self.bar_width()).min(self.bars - 1)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rhythm::{Edit, Meter, Place, Tempo, Voice};
    use proptest::prelude::*;

    fn groove(meter: &str, divisions: &[u16]) -> Groove {
        let tempo = Tempo::new(Fraction::whole(120), Time::new(1, 4).expect("quarter")).expect("tempo");
        let mut g = Groove::blank(Meter::parse(meter).expect("meter"), tempo, 3).expect("groove");
        g = g.edited(&Edit::Division(0, None, divisions[0])).expect("division");
        for (i, d) in divisions.iter().enumerate().skip(1) {
            g = g.edited(&Edit::AddLayer(i, format!("l{i}"), Voice::Kick, *d)).expect("layer");
        }
        g
    }

    #[test]
    fn columns_per_beat() {
        let rows: [(&[u16], i32, usize); 8] = [
            (&[4], 0, 8),
            (&[4], -1, 4),
            (&[4], 1, 16),
            (&[4, 3], 0, 12),
            (&[4, 2, 1], 0, 8),
            (&[4, 5], 0, 10),
            (&[3], 0, 6),
            (&[4], -9, 1),
        ];
        for (divisions, zoom, want) in rows {
            assert_eq!(Scale::new(&groove("4/4", divisions), 0, zoom).per_beat, want, "{divisions:?} {zoom}");
        }
    }

    #[test]
    fn every_bar_has_a_line_of_its_own() {
        let scale = Scale::new(&groove("3/4", &[4]), 0, 0);
        assert_eq!((scale.bar_width(), scale.width()), (25, 75));
        assert_eq!(scale.time_column(Time::new(3, 4).expect("bar")), 26);
        assert_eq!(scale.time_column(Time::new(3, 16).expect("dotted eighth")), 7);
        assert_eq!(scale.nearest_column(3.0), 26);
        assert_eq!(scale.nearest_column(0.75), 7);
    }

    proptest! {
        #![proptest_config(crate::rhythm::random::config(256))]

        #[test]
        fn cells_keep_their_order_and_are_found_again(a in 1_u16..9, b in 1_u16..9, zoom in -1_i32..3, tuplet in 1_usize..10) {
            let g = groove("7/8", &[a, b]);
            let at = Place { layer: 0, section: 0, cell: 0 };
            let g = g.edited(&Edit::Tuplet { at, beats: 2, cells: tuplet }).expect("tuplet");
            let scale = Scale::new(&g, 0, zoom);
            for layer in 0..2 {
                let (part, context) = (g.part(layer, 0), g.context(layer, 0));
                let mut last = 0;
                for spot in part.spots(context) {
                    for cell in 0..usize::from(spot.span.cells) {
                        let column = scale.cell_column(spot.beat, spot.span, cell);
                        // The exact time gives the same column by the other way.
                        let time = g.written_at(Place { layer, section: 0, cell: spot.first + cell });
                        prop_assert_eq!(column, scale.time_column(time));
                        prop_assert!(column > last || zoom < 0 && column == last);
                        if zoom >= 0 {
                            let next = part.cell_at(scale.time_at(column + 1), context);
                            prop_assert!(next == spot.first + cell || next == spot.first + cell + 1);
                        }
                        last = column;
                    }
                }
                prop_assert!(last < scale.width());
            }
        }
    }
}
