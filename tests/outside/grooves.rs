//! Random grooves, the same ones every time, and the shipped ones. They must not know formats.

use crate::support::{name, toml_files};
use teeter::rhythm::{
    Accent, Attack, Cell, Fraction, Groove, Layer, Meter, Part, Pitch, Section, Span, Swing, Tempo, Time, Voice,
};

/// Numbers that look random (xorshift64*, Vigna 2016).
struct Dice(u64);

impl Dice {
    fn throw(&mut self, sides: usize) -> usize {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 33) as usize % sides
    }

    fn one_of<T: Copy>(&mut self, of: &[T]) -> T {
        of[self.throw(of.len())]
    }

    fn meter(&mut self) -> Meter {
        let lower = self.one_of(&[2, 4, 4, 8, 8, 16]);
        let terms = match self.throw(3) {
            0 => vec![self.one_of(&[2, 3, 4, 5, 7, 13])],
            1 => vec![self.one_of(&[4, 6, 9, 12])],
            _ => (0..2 + self.throw(3)).map(|_| self.one_of(&[2, 2, 3, 3, 4, 5])).collect(),
        };
        Meter::new(terms, lower).expect("a meter")
    }

    fn section(&mut self, number: usize) -> Section {
        let meter = self.meter();
        let bpm = self.one_of(&[(60, 1), (132, 1), (265, 2), (400, 3), (97, 1)]);
        let bpm = Fraction::new(bpm.0, bpm.1).expect("a tempo");
        let unit = if self.throw(2) == 0 { meter.beat() } else { Time::new(1, 4).expect("a quarter") };
        let swing = (self.throw(4) == 0).then(|| Swing::parse("2:1").expect("a swing"));
        Section {
            name: format!("part {number}"),
            meter,
            tempo: Tempo::new(bpm, unit).expect("a tempo"),
            bars: 1 + self.throw(2) as u16,
            times: self.one_of(&[1, 1, 2, 4]),
            swing,
        }
    }

    fn cells(&mut self, count: usize, pitched: bool) -> Vec<Cell> {
        let mut sounding = false;
        (0..count)
            .map(|_| match self.throw(8) {
                0..=2 => {
                    sounding = true;
                    let accent = self.one_of(&[
                        Accent::Plain,
                        Accent::Plain,
                        Accent::Ghost,
                        Accent::Soft,
                        Accent::Strong,
                        Accent::Accent,
                    ]);
                    let pitch = pitched.then(|| Pitch::new(40 + self.throw(30) as u8)).flatten();
                    Cell::Attack(Attack { accent, pitch, ..Attack::default() })
                }
                3..=5 if sounding => Cell::Hold,
                _ => {
                    sounding = false;
                    Cell::Rest
                }
            })
            .collect()
    }

    fn part(&mut self, section: &Section, division: u16, pitched: bool) -> Part {
        let beats = section.beats();
        if self.throw(5) == 0 {
            let most = beats * usize::from(division);
            let count = (1 + self.throw(11)).min(most);
            return Part::Cycled { cells: self.cells(count, pitched), start: 0 };
        }
        let (mut spans, mut beat) = (Vec::new(), 0);
        while beat < beats {
            let left = section.meter.beats() - beat % section.meter.beats();
            let span = if self.throw(4) == 0 {
                Span { beats: (1 + self.throw(3)).min(left) as u16, cells: 1 + self.throw(13) as u16 }
            } else {
                Span { beats: 1, cells: division }
            };
            beat += usize::from(span.beats);
            spans.push(span);
        }
        let count = spans.iter().map(|s| usize::from(s.cells)).sum();
        Part::Barred { spans, cells: self.cells(count, pitched) }
    }
}

/// So many random grooves, with names.
pub(super) fn random(count: usize) -> Vec<(String, Groove)> {
    let mut dice = Dice(0x7EE7_E201);
    let mut grooves = Vec::new();
    for number in 0..count {
        let sections: Vec<Section> = (0..=dice.throw(2)).map(|n| dice.section(n)).collect();
        let layers = (0..=dice.throw(2)).map(|l| {
            let voice = dice.one_of(Voice::ALL);
            let division = dice.one_of(&[1, 2, 3, 4, 4, 5, 6, 7, 8]);
            let pitched = matches!(voice, Voice::Bass | Voice::Pluck);
            let parts = sections.iter().map(|s| dice.part(s, division, pitched)).collect();
            Layer::new(&format!("layer {l} & <{voice}>"), voice, division, parts)
        });
        let layers: Vec<Layer> = layers.collect();
        let groove = Groove::new(&format!("random {number}"), "a note & more", sections, layers).expect("a groove");
        grooves.push((format!("random-{number:03}"), groove));
    }
    grooves
}

/// The shipped grooves, with names.
pub(super) fn shipped() -> Vec<(String, Groove)> {
    let load = |path: &PathBuf| (name(path), teeter::store::load(path).unwrap_or_else(|e| panic!("{e}")).groove);
    toml_files("patterns").iter().map(load).collect()
}

use std::path::PathBuf;
