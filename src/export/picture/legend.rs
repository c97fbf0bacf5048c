//! The shapes of landings, and the legend of the marks that occur in a grid.

use super::PageLayout;
use super::canvas::{Anchor, Canvas, Shape};
use super::font;
use super::grid::pin;
use super::theme::{LEVELS, StyleClass};
use crate::analysis::limits;

/// The form of a landing's mark, by its level.
pub(super) fn shape(level: u32) -> Shape {
    match level {
        0 => Shape::Square,
        1 => Shape::Diamond,
        2 => Shape::Disc,
        3 => Shape::Up,
        4 => Shape::Down,
        _ => Shape::Cross,
    }
}

/// A landing's level as classes count it.
pub(super) fn level(level: u32) -> u8 {
    level.min(u32::from(LEVELS) - 1) as u8
}

/// What a level is called in the key.
const LEVEL_WORDS: [&str; LEVELS as usize] =
    ["downbeat", "strong beat", "beat", "half, third or fifth of the beat", "quarter or sixth", "deeper"];

/// Which marks were drawn, so that the key explains those and no others.
#[derive(Default)]
#[allow(clippy::struct_excessive_bools, reason = "each is a mark that is there or not")]
pub(super) struct LegendUse {
    pub(super) levels: [bool; LEVELS as usize],
    pub(super) ghosts: bool,
    pub(super) accents: bool,
    pub(super) holds: bool,
    /// Pulses without and with an attack.
    pub(super) pulses: [bool; 2],
    pub(super) meets: bool,
}

/// A mark of the key.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Sign {
    Level(u8),
    Ghost,
    Accent,
    Hold,
    Pulse(bool),
    Guide,
    Meet,
}

/// What the marks mean that are in the picture.
fn legend(seen: &LegendUse) -> Vec<(Sign, String)> {
    let (within, together) = (limits::AGREES.value, limits::TOGETHER.value);
    let attack = format!("an attack within {within}% of its period");
    let without = if seen.pulses[1] { "pulse without".to_owned() } else { format!("pulse without {attack}") };
    let levels =
        (0..LEVELS).map(|n| (seen.levels[usize::from(n)], Sign::Level(n), LEVEL_WORDS[usize::from(n)].to_owned()));
    let others = [
        (seen.ghosts, Sign::Ghost, "ghost: outline only".to_owned()),
        (seen.accents, Sign::Accent, "accent".to_owned()),
        (seen.holds, Sign::Hold, "hold".to_owned()),
        (seen.pulses[1], Sign::Pulse(true), format!("pulse with {attack}")),
        (seen.pulses[0], Sign::Pulse(false), without),
        (seen.pulses != [false; 2], Sign::Guide, "pulses of the first strip".to_owned()),
        (seen.meets, Sign::Meet, format!("coincides with the beat: within {together} ms")),
    ];
    levels.chain(others).filter(|e| e.0).map(|(_, sign, words)| (sign, words)).collect()
}

/// Draws the key; gives the end of the picture.
pub(super) fn draw(canvas: &mut Canvas, page: PageLayout, top: f32, seen: &LegendUse) -> f32 {
    let (mut x, mut y) = (page.left + 6.0, top + 8.0);
    for (sign, words) in legend(seen) {
        let wide = 16.0 + font::width(&words, 9.0) + 16.0;
        if x + wide > page.right && x > page.left + 6.0 {
            x = page.left + 6.0;
            y += 17.0;
        }
        match sign {
            Sign::Level(n) => canvas.mark(StyleClass::Landing(n), shape(u32::from(n)), x, y, 4.2),
            Sign::Ghost => canvas.mark(StyleClass::Open, Shape::Disc, x, y, 3.6),
            Sign::Accent => canvas.wedge(StyleClass::Sign, x, y, (3.2, 2.0)),
            Sign::Hold => canvas.rect(StyleClass::Hold, x - 6.0, y - 1.6, 12.0, 3.2),
            Sign::Pulse(filled) => pin(canvas, 0, filled, x, y),
            Sign::Guide => canvas.line(StyleClass::Guide, x, y - 7.0, x, y + 7.0),
            Sign::Meet => canvas.line(StyleClass::Meet, x, y - 6.0, x, y + 6.0),
        }
        canvas.text(StyleClass::Text, Anchor::Start, x + 11.0, y + 3.2, 9.0, &words);
        x += wide;
    }
    y + 18.0
}

#[cfg(test)]
mod tests {
    use super::super::grid::body;
    use super::super::tests::piece;
    use super::super::theme::Theme;
    use super::*;
    use crate::analysis::{AnalysisOptions, report};
    use crate::rhythm::{Fraction, Groove, Layer, Meter, Section, Tempo, Time, Voice, cell_notation};

    /// The key of one layer over a bar of 4/4.
    fn key(cells: &str, hearings: bool) -> Vec<String> {
        let meter = Meter::parse("4/4").expect("meter");
        let tempo = Tempo::new(Fraction::whole(120), Time::new(1, 4).expect("quarter")).expect("tempo");
        let part = cell_notation::parse_bars(cells, &meter, 1, 4).expect("cells");
        let section = Section { name: "A".into(), meter, tempo, bars: 1, times: 1, swing: None };
        let layers = vec![Layer::new("rope", Voice::Pluck, 4, vec![part])];
        let groove = Groove::new("t", "", vec![section], layers).expect("groove");
        let report = report(&groove, &AnalysisOptions::default());
        let mut piece = piece(&groove, &report);
        if !hearings {
            piece.hearings.clear();
        }
        let page = PageLayout { left: 14.0, right: 676.0, top: 34.0 };
        let (_, _, seen) = body(&piece, &mut Canvas::new(Theme::Print, 690.0, "t"), page);
        legend(&seen).into_iter().map(|(_, words)| words).collect()
    }

    #[test]
    fn the_key_has_the_marks_that_are_in_the_picture_and_no_others() {
        assert_eq!(key("................", false), [""; 0]);
        assert_eq!(key("x...............", false), ["downbeat"]);
        assert_eq!(
            key("X...o...x-......", false),
            ["downbeat", "strong beat", "beat", "ghost: outline only", "accent", "hold"]
        );
        let pulses = key("x..x..x...x.x...", true);
        for words in [
            "pulse with an attack within 17.5% of its period",
            "pulse without",
            "pulses of the first strip",
            "coincides with the beat: within 20 ms",
        ] {
            assert!(pulses.iter().any(|p| p == words), "{words} is missing in {pulses:?}");
        }
        assert!(!pulses.iter().any(|p| p == "accent" || p.starts_with("ghost") || p.starts_with("hold")), "{pulses:?}");
    }
}
