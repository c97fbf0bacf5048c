//! The shapes of landings, and the legend of a grid.

use super::PageLayout;
use super::canvas::{Anchor, Canvas, Shape};
use super::font;
use super::grid::pin;
use super::theme::{LEVELS, StyleClass};
use crate::analysis::limits;
use std::collections::BTreeSet;

/// The mark of a landing, by its level.
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

/// The level of a landing's [`StyleClass`].
pub(super) fn level(level: u32) -> u8 {
    level.min(u32::from(LEVELS) - 1) as u8
}

const LEVEL_NAMES: [&str; LEVELS as usize] =
    ["downbeat", "strong beat", "beat", "half, third or fifth of the beat", "quarter or sixth", "finer subdivision"];

/// A mark that the legend explains, in the legend's order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum LegendMark {
    Level(u8),
    Ghost,
    Soft,
    Strong,
    Accent,
    Flam,
    Hold,
    PulseWithAttack,
    PulseWithout,
    Guide,
    Meeting,
}

/// The explanations of the marks that were drawn.
fn legend(drawn: &BTreeSet<LegendMark>) -> Vec<(LegendMark, String)> {
    let attack = format!("an attack within {}% of its period", limits::PULSE_TOLERANCE.value);
    let text = |mark: LegendMark| match mark {
        LegendMark::Level(n) => LEVEL_NAMES[usize::from(n)].to_owned(),
        LegendMark::Ghost => "ghost: outline only".to_owned(),
        LegendMark::Soft => "soft: small".to_owned(),
        LegendMark::Strong => "strong: a line below".to_owned(),
        LegendMark::Accent => "accent".to_owned(),
        LegendMark::Flam => "flam: a grace stroke before".to_owned(),
        LegendMark::Hold => "hold".to_owned(),
        LegendMark::PulseWithAttack => format!("pulse with {attack}"),
        LegendMark::PulseWithout if drawn.contains(&LegendMark::PulseWithAttack) => {
            "pulse without an attack".to_owned()
        }
        LegendMark::PulseWithout => format!("pulse without {attack}"),
        LegendMark::Guide => "pulses of the first hearing shown".to_owned(),
        LegendMark::Meeting => format!("coincides with the beat: within {} ms", limits::COINCIDENCE.value),
    };
    drawn.iter().map(|mark| (*mark, text(*mark))).collect()
}

/// The sign of a strong attack: a short line.
pub(super) fn strong_sign(canvas: &mut Canvas, x: f32, y: f32) {
    canvas.line(StyleClass::Sign, x - 3.2, y, x + 3.2, y);
}

/// The sign of a flam: the slash of a grace note.
pub(super) fn flam_sign(canvas: &mut Canvas, x: f32, y: f32) {
    canvas.line(StyleClass::Sign, x - 1.4, y + 3.0, x + 1.4, y - 3.0);
}

/// Returns the lower edge of the legend.
pub(super) fn draw(canvas: &mut Canvas, page: PageLayout, top: f32, drawn: &BTreeSet<LegendMark>) -> f32 {
    let (mut x, mut y) = (page.left + 6.0, top + 8.0);
    for (mark, text) in legend(drawn) {
        let wide = 16.0 + font::width(&text, 9.0) + 16.0;
        if x + wide > page.right && x > page.left + 6.0 {
            x = page.left + 6.0;
            y += 17.0;
        }
        match mark {
            LegendMark::Level(n) => canvas.mark(StyleClass::Landing(n), shape(u32::from(n)), x, y, 4.2),
            LegendMark::Ghost => canvas.mark(StyleClass::Open, Shape::Disc, x, y, 3.6),
            LegendMark::Soft => canvas.mark(StyleClass::Text, Shape::Disc, x, y, 2.6),
            LegendMark::Strong => strong_sign(canvas, x, y),
            LegendMark::Accent => canvas.wedge(StyleClass::Sign, x, y, (3.2, 2.0)),
            LegendMark::Flam => flam_sign(canvas, x, y),
            LegendMark::Hold => canvas.rect(StyleClass::Hold, x - 6.0, y - 1.6, 12.0, 3.2),
            LegendMark::PulseWithAttack => pin(canvas, 0, true, x, y),
            LegendMark::PulseWithout => pin(canvas, 0, false, x, y),
            LegendMark::Guide => canvas.line(StyleClass::Guide, x, y - 7.0, x, y + 7.0),
            LegendMark::Meeting => canvas.line(StyleClass::Meet, x, y - 6.0, x, y + 6.0),
        }
        canvas.text(StyleClass::Text, Anchor::Start, x + 11.0, y + 3.2, 9.0, &text);
        x += wide;
    }
    y + 18.0
}

#[cfg(test)]
mod tests {
    use super::super::PictureOptions;
    use super::super::grid::body;
    use super::super::tests::piece;
    use super::super::theme::Theme;
    use super::*;
    use crate::analysis::{AnalysisOptions, report};
    use crate::rhythm::{Fraction, Groove, Layer, Meter, Section, Tempo, Time, Voice, cell_notation};

    /// The legend of one layer over a bar of 4/4.
    fn texts(cells: &str, hearings: bool) -> Vec<String> {
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
        let (_, _, drawn) = body(&piece, &mut Canvas::new(Theme::Print, 690.0, "t"), page, &PictureOptions::default());
        legend(&drawn).into_iter().map(|(_, text)| text).collect()
    }

    #[test]
    fn the_legend_has_the_marks_that_are_in_the_picture_and_no_others() {
        assert_eq!(texts("................", false), [""; 0]);
        assert_eq!(texts("x...............", false), ["downbeat"]);
        assert_eq!(
            texts("X...o...x-......", false),
            ["downbeat", "strong beat", "beat", "ghost: outline only", "accent", "hold"]
        );
        let pulses = texts("x..x..x...x.x...", true);
        for words in [
            "pulse with an attack within 17.5% of its period",
            "pulse without an attack",
            "pulses of the first hearing shown",
            "coincides with the beat: within 20 ms",
        ] {
            assert!(pulses.iter().any(|p| p == words), "{words} is missing in {pulses:?}");
        }
        assert!(!pulses.iter().any(|p| p == "accent" || p.starts_with("ghost") || p.starts_with("hold")), "{pulses:?}");
    }
}
