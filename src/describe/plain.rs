//! A region of a groove as plain text: groups, boxes, and counting syllables.

use super::visible;
use crate::analysis::landing;
use crate::rhythm::{Groove, Region, Spot, Time, cell_notation, count, group_line};
use std::borrow::Cow;
use std::fmt::Write;
use unicode_width::UnicodeWidthStr;

/// The region of a whole section.
///
/// # Panics
/// If there is no such section.
pub(crate) fn whole_section(groove: &Groove, section: usize) -> Region {
    Region { layers: 0..groove.layers().len(), section, from: Time::ZERO, to: groove.sections()[section].length() }
}

/// The groups of each layer in a region in cells, in their shortest form with repeats, one line per layer. The last group extends to
/// the region's end.
pub(crate) fn groups(groove: &Groove, region: &Region) -> String {
    lines(groove, region, |layer| {
        let cells = groove.cells_in(layer, region);
        let part = groove.part(layer, region.section);
        let attacks: Vec<usize> = cells.clone().filter(|c| part.cell(*c).attack().is_some()).collect();
        let Some(first) = attacks.first() else { return "no attacks".into() };
        let ends = attacks.iter().skip(1).chain([&cells.end]);
        let line: Vec<u32> = attacks.iter().zip(ends).map(|(a, b)| (b - a) as u32).collect();
        let lead = super::rest_lead(first - cells.start);
        format!("{lead}{}", group_line::print(&group_line::compress(&line)))
    })
}

/// The cells of each layer in a region as boxes, one line per layer, as `cells` of a file: `o s x S X` attacks from
/// ghost to accent, `/` before a flam, `-` hold, `.` rest, a space between beats, `|` between bars, `{5: ...}` around a tuplet.
pub(crate) fn boxes(groove: &Groove, region: &Region) -> String {
    lines(groove, region, |layer| {
        let part = groove.part(layer, region.section);
        join_cells(groove, region, layer, "", |spot| cell_notation::print_cell(part.cell(spot.first + spot.cell)))
    })
}

/// Stands for an attack without a syllable.
const NO_SYLLABLE: &str = "*";
/// Explains [`NO_SYLLABLE`].
pub(crate) const LEGEND: &str = "* an attack without a syllable";

/// The syllables players count on the attacks of each layer in a region, one line per layer: `1`, `e`, `&`, `a`, `trip`, `let`, `*` for an attack
/// without a syllable (see [`LEGEND`]), `.` elsewhere.
pub(crate) fn syllables(groove: &Groove, region: &Region) -> String {
    lines(groove, region, |layer| {
        let (part, context) = (groove.part(layer, region.section), groove.context(layer, region.section));
        join_cells(groove, region, layer, " ", |spot| {
            if part.cell(spot.first + spot.cell).attack().is_none() {
                return ".".into();
            }
            let syllable = landing::syllable(spot, context);
            if syllable == "·" { NO_SYLLABLE.into() } else { syllable }
        })
    })
}

/// Groups, boxes and syllables of the whole groove, or of one section.
pub fn all(groove: &Groove, section: Option<usize>) -> String {
    let mut text = format!("{}\n", visible(groove.title()));
    for (i, s) in groove.sections().iter().enumerate().filter(|(i, _)| section.is_none_or(|wanted| wanted == *i)) {
        let region = whole_section(groove, i);
        let bars = count(usize::from(s.bars), "bar");
        // Writing to a String cannot fail.
        let _ = write!(text, "\nsection {}: {}, {bars}\n", visible(&s.name), s.meter);
        if region.layers.is_empty() {
            text.push_str("no layers\n");
            continue;
        }
        let blocks = [
            ("groups", groups(groove, &region)),
            ("boxes", boxes(groove, &region)),
            ("syllables", syllables(groove, &region)),
        ];
        for (name, lines) in blocks {
            let legend =
                if name == "syllables" && lines.contains(NO_SYLLABLE) { format!(" ({LEGEND})") } else { String::new() };
            let _ = write!(text, "\n{name}{legend}\n{lines}\n");
        }
    }
    text
}

/// One line per layer, after its name if there are several.
fn lines(groove: &Groove, region: &Region, line: impl Fn(usize) -> String) -> String {
    let layers: Vec<usize> = region.layers.clone().filter(|l| *l < groove.layers().len()).collect();
    let names: Vec<Cow<'_, str>> = layers.iter().map(|l| visible(&groove.layers()[*l].name)).collect();
    let width = names.iter().map(|n| n.width()).max().unwrap_or(0);
    let of = |(name, layer): (&Cow<'_, str>, &usize)| {
        let text = line(*layer);
        if layers.len() < 2 { text } else { format!("{name}{}  {text}", " ".repeat(width - name.width())) }
    };
    names.iter().zip(&layers).map(of).collect::<Vec<_>>().join("\n")
}

/// Joins the marks of a layer's cells in a region: spaces between beats, `|` between bars.
fn join_cells(groove: &Groove, region: &Region, layer: usize, between: &str, mark: impl Fn(Spot) -> String) -> String {
    let (part, context) = (groove.part(layer, region.section), groove.context(layer, region.section));
    let wanted = groove.cells_in(layer, region);
    let mut bars: Vec<String> = Vec::new();
    let mut last = None;
    for spot in part.spots(context) {
        let cells: Vec<String> = (0..usize::from(spot.span.cells))
            .filter(|c| wanted.contains(&(spot.first + c)))
            .map(|cell| mark(Spot { cell, ..spot }))
            .collect();
        if cells.is_empty() {
            continue;
        }
        let text = cells.join(between);
        let tuplet = spot.span.beats != 1 || spot.span.cells != context.division;
        let text = match (tuplet, spot.span.beats) {
            (false, _) => text,
            (true, 1) => format!("{{{}: {text}}}", spot.span.cells),
            (true, beats) => format!("{{{}/{beats}: {text}}}", spot.span.cells),
        };
        let bar = spot.beat / context.meter.beats();
        match bars.last_mut().filter(|_| last == Some(bar)) {
            Some(open) => {
                open.push(' ');
                open.push_str(&text);
            }
            None => bars.push(text),
        }
        last = Some(bar);
    }
    bars.join(" | ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rhythm::{Fraction, Layer, Meter, Section, Tempo, Voice, tests::grooves};
    use proptest::prelude::*;

    fn groove_of(meter: &str, cells: &str, division: u16) -> Groove {
        let meter = Meter::parse(meter).expect(meter);
        let tempo = Tempo::new(Fraction::whole(120), Time::new(1, 4).expect("a quarter")).expect("within bounds");
        let bars = cells.matches('|').count() as u16 + 1;
        let part = cell_notation::parse_bars(cells, &meter, usize::from(bars), division).expect(cells);
        let section = Section { name: "A".into(), meter, tempo, bars, times: 1, swing: None };
        Groove::new("t", "", vec![section], vec![Layer::new("riff", Voice::Pluck, division, vec![part])])
            .expect("valid")
    }

    fn check(cells: &str, division: u16, expected: [&str; 3]) {
        let g = groove_of("4/4", cells, division);
        let region = whole_section(&g, 0);
        assert_eq!([groups(&g, &region), boxes(&g, &region), syllables(&g, &region)], expected);
    }

    #[test]
    fn groups_boxes_and_syllables_of_a_bar() {
        check("X..x ..o. x--- .x.x", 4, ["3+3+2+5+2+1", "X..x ..o. x--- .x.x", "1 . . a . . & . 3 . . . . e . a"]);
        check(
            "x.x x.. ..x {5: x.x.x}",
            3,
            ["2+1+5+1+2+2+1", "x.x x.. ..x {5: x.x.x}", "1 . let 2 . . . . let {5: 4 . * . *}"],
        );
        check(".... .... .... ....", 4, ["no attacks", ".... .... .... ....", ". . . . . . . . . . . . . . . ."]);
    }

    proptest! {
        #![proptest_config(crate::rhythm::random::config(256))]

        /// The file's reader reads the boxes of a whole part, and every layer has its line.
        #[test]
        fn boxes_are_read_back(groove in grooves()) {
            for section in 0..groove.sections().len() {
                let region = whole_section(&groove, section);
                for layer in region.layers.clone() {
                    let one = Region { layers: layer..layer + 1, ..region.clone() };
                    let (context, text) = (groove.context(layer, section), boxes(&groove, &one));
                    let read = cell_notation::parse_bars(&text, context.meter, context.bars, context.division).map_err(|e| TestCaseError::fail(format!("{text}: {e}")))?;
                    // A cycle is drawn round by round, so it comes back written out; the last hold may be cut off from its attack.
                    prop_assert_eq!(read.attacks(context).len(), groove.part(layer, section).attacks(context).len(), "{}", text);
                }
                prop_assert_eq!(groups(&groove, &region).lines().count(), region.layers.len());
                prop_assert_eq!(syllables(&groove, &region).lines().count(), region.layers.len());
            }
        }
    }
}
