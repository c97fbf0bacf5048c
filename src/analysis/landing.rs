//! Where attacks land: the metrical depth of a position under the written meter.

use crate::rhythm::{Groove, MeterKind, PartContext, Spot};
use num_integer::Integer;
use std::fmt;

/// The metrical depth of a position, from the downbeat down.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(crate) enum Depth {
    /// The first beat of a bar.
    Downbeat,
    /// Another strong beat: the head of a term of an additive meter, the middle of a bar of four beats.
    Strong,
    /// Any other beat.
    Beat,
    /// A position within the beat that needs the beat cut into so many parts: 2 the half, 4 the quarters, 3 the thirds.
    Part(u16),
}

impl Depth {
    /// The depth as a number: 0 the downbeat, 1 strong beats, 2 beats, then one more for each cut of the beat (into halves, or
    /// thirds in a compound meter, then halves again; a tuplet counts as one cut).
    pub(crate) fn level(self) -> u32 {
        match self {
            Depth::Downbeat => 0,
            Depth::Strong => 1,
            Depth::Beat => 2,
            Depth::Part(n) => 2 + cuts(n),
        }
    }

    /// Whether the position lies on a beat.
    pub(crate) fn on_beat(self) -> bool {
        !matches!(self, Depth::Part(_))
    }
}

/// How many cuts by two, three or a larger prime make so many parts.
fn cuts(n: u16) -> u32 {
    let (mut rest, mut count, mut by) = (n.max(1), 0, 2);
    while rest > 1 {
        if rest.is_multiple_of(by) {
            rest /= by;
            count += 1;
        } else {
            by += 1;
        }
    }
    count
}

impl fmt::Display for Depth {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Depth::Downbeat => f.write_str("downbeat"),
            Depth::Strong => f.write_str("strong beat"),
            Depth::Beat => f.write_str("beat"),
            Depth::Part(n) => match part_name(*n) {
                Some(name) => write!(f, "{name} of the beat"),
                None => write!(f, "1/{n} of the beat"),
            },
        }
    }
}

impl Depth {
    /// The depth in few letters, as "1/2 beat".
    pub(crate) fn short(self) -> String {
        match self {
            Self::Part(n) => format!("1/{n} beat"),
            other => other.to_string(),
        }
    }
}

/// The name of one of some equal parts, from the half to the eighth.
pub(crate) fn part_name(parts: u16) -> Option<&'static str> {
    const NAMES: [&str; 7] = ["half", "third", "quarter", "fifth", "sixth", "seventh", "eighth"];
    NAMES.get(usize::from(parts).checked_sub(2)?).copied()
}

/// Depth of a cell as written: its beat within the bar and its place within the beat.
pub(crate) fn depth(spot: Spot, context: PartContext<'_>) -> Depth {
    let BeatPosition { beat, numer, denom } = BeatPosition::new(spot);
    if numer == 0 {
        let in_bar = beat % context.meter.beats();
        return if in_bar == 0 {
            Depth::Downbeat
        } else if context.meter.strong_beats().contains(&in_bar) {
            Depth::Strong
        } else {
            Depth::Beat
        };
    }
    // A compound beat is cut into thirds before halves, so its middle lies on sixths, but for duplets.
    let has_thirds = spot.span.cells.is_multiple_of(3);
    if context.meter.kind() == MeterKind::Compound && has_thirds && denom.is_power_of_two() {
        return Depth::Part((3 * denom) as u16);
    }
    Depth::Part(denom as u16)
}

/// A beat from the section's start, and a place within it as a fraction of the beat, in lowest terms.
struct BeatPosition {
    beat: usize,
    numer: usize,
    denom: usize,
}

impl BeatPosition {
    fn new(spot: Spot) -> Self {
        let (into, cells) = (spot.cell * usize::from(spot.span.beats), usize::from(spot.span.cells.max(1)));
        let common = (into % cells).gcd(&cells);
        Self { beat: spot.beat + into / cells, numer: into % cells / common, denom: cells / common }
    }
}

/// What a player says on a position when counting aloud: `1`, `e`, `&`, `a`, `trip`, `let`; a dot where the trade has no
/// syllable of its own (common practice, no source).
pub(crate) fn syllable(spot: Spot, context: PartContext<'_>) -> String {
    let BeatPosition { beat, numer, denom } = BeatPosition::new(spot);
    match (numer, denom) {
        (0, _) => (beat % context.meter.beats() + 1).to_string(),
        (1, 2) if context.meter.kind() != MeterKind::Compound => "&".into(),
        // Without the half between them nobody says these.
        (1, 4) if context.meter.kind() != MeterKind::Compound => "e".into(),
        (3, 4) if context.meter.kind() != MeterKind::Compound => "a".into(),
        (1, 3) => "trip".into(),
        (2, 3) => "let".into(),
        _ => "·".into(),
    }
}

/// How many attacks land at one depth.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Landing {
    pub(crate) depth: Depth,
    /// Attacks that land there, every time through counted.
    pub(crate) count: usize,
}

/// The landings of some attacks, strongest depth first.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct Landings {
    /// One row per depth that occurs.
    pub(crate) rows: Vec<Landing>,
    pub(crate) total: usize,
}

impl Landings {
    /// Counts `times` attacks at a depth.
    pub(crate) fn add(&mut self, depth: Depth, times: usize) {
        self.total += times;
        match self.rows.binary_search_by(|r| r.depth.cmp(&depth)) {
            Ok(i) => self.rows[i].count += times,
            Err(i) => self.rows.insert(i, Landing { depth, count: times }),
        }
    }

    pub(crate) fn merge(&mut self, other: &Landings) {
        other.rows.iter().for_each(|r| self.add(r.depth, r.count));
    }
}

/// The landings of a layer in one section, every time through counted.
pub(crate) fn landings(groove: &Groove, layer: usize, section: usize) -> Landings {
    let (part, context) = (groove.part(layer, section), groove.context(layer, section));
    let times = usize::from(groove.sections()[section].times);
    let mut landings = Landings::default();
    for spot in part.spots(context) {
        for cell in 0..usize::from(spot.span.cells) {
            if part.cell(spot.first + cell).attack().is_some() {
                landings.add(depth(Spot { cell, ..spot }, context), times);
            }
        }
    }
    landings
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::measure::table::{numbers, table};
    use crate::rhythm::{Meter, Part, Span, Time, written_start};
    use proptest::prelude::*;

    fn depths(meter: &Meter, division: u16) -> Vec<Depth> {
        let context = PartContext { meter, bars: 1, division, swing: None };
        let part = Part::rests(context);
        (0..part.len(context)).map(|cell| depth(part.spot(cell, context).expect("a cell"), context)).collect()
    }

    #[test]
    fn depths_are_the_weights_of_longuet_higgins_and_lee() {
        let mut checked = 0;
        for row in table(include_str!("../../tests/tables/metrical_weights.csv")) {
            if row["model"] != "longuet_higgins_lee_1984" {
                continue;
            }
            let meter = Meter::parse(&row["meter"]).expect("a meter");
            let grid = Time::new(1, row["grid"].trim_end_matches("th").parse().expect("a number")).expect("a time");
            let division = meter.beat().ratio_to(grid).expect("a ratio").numer() as u16;
            let levels: Vec<u32> = depths(&meter, division).into_iter().map(Depth::level).collect();
            // The tree has no level that the meter does not use: 3/4 has no strong beat, so its beats come right after the bar.
            let mut used = levels.clone();
            used.sort_unstable();
            used.dedup();
            let ranks: Vec<i64> = levels.iter().map(|l| -(used.binary_search(l).expect("used") as i64)).collect();
            assert_eq!(ranks, numbers::<i64>(&row["weights"]), "{} {}; {}", row["meter"], row["grid"], row["source"]);
            checked += 1;
        }
        assert_eq!(checked, 8);
    }

    proptest! {
        #![proptest_config(crate::rhythm::random::config(256))]

        #[test]
        fn the_place_within_the_beat_is_that_of_exact_time(beat in 0_usize..200, beats in 1_u16..5, cells in 1_u16..97, cell in 0_usize..97) {
            let meter = Meter::parse("12/8").expect("a meter");
            let spot = Spot { beat, span: Span { beats, cells }, cell: cell % usize::from(cells), first: 0 };
            let exact = written_start(spot, PartContext { meter: &meter, bars: 1, division: 1, swing: None }).ratio_to(meter.beat()).expect("small");
            let BeatPosition { beat: whole, numer, denom } = BeatPosition::new(spot);
            prop_assert_eq!((whole as i64, numer as i64, denom as i64), (exact.floor(), exact.numer() - exact.floor() * exact.denom(), exact.denom()));
        }
    }

    #[test]
    fn tuplets_and_additive_meters_land_by_their_own_division() {
        let aksak = Meter::parse("3+2+2/8").expect("a meter");
        let names: Vec<String> = depths(&aksak, 1).iter().map(Depth::to_string).collect();
        assert_eq!(names, ["downbeat", "beat", "beat", "strong beat", "beat", "strong beat", "beat"]);
        let four = Meter::parse("4/4").expect("a meter");
        assert_eq!(depths(&four, 5)[1], Depth::Part(5));
        assert_eq!((depths(&four, 6)[3], depths(&four, 6)[2]), (Depth::Part(2), Depth::Part(3)));
    }

    #[test]
    fn syllables_are_those_players_count_with() {
        // Common practice, no source: 1 e & a, 1 trip let.
        let four = Meter::parse("4/4").expect("a meter");
        let said = |division: u16| {
            let context = PartContext { meter: &four, bars: 1, division, swing: None };
            let part = Part::rests(context);
            let words =
                (0..usize::from(division) * 2).map(|c| syllable(part.spot(c, context).expect("a cell"), context));
            words.collect::<Vec<_>>().join(" ")
        };
        assert_eq!(said(4), "1 e & a 2 e & a");
        assert_eq!(said(3), "1 trip let 2 trip let");
        assert_eq!(said(2), "1 & 2 &");
        let six = Meter::parse("6/8").expect("a meter");
        let said = |division: u16| {
            let context = PartContext { meter: &six, bars: 1, division, swing: None };
            let part = Part::rests(context);
            let words = (0..usize::from(division)).map(|c| syllable(part.spot(c, context).expect("a cell"), context));
            words.collect::<Vec<_>>().join(" ")
        };
        assert_eq!((said(3), said(6), said(4)), ("1 trip let".into(), "1 · trip · let ·".into(), "1 · · ·".into()));
    }
}
