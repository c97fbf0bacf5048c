//! Colours and strokes of pictures, for print and for screens. No meaning depends on colour alone.

use std::fmt::Write;

/// Where a picture is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Theme {
    /// Black and greys on white.
    #[default]
    Print,
    /// Light on dark, in hues that remain distinct in colour-blind vision (after Okabe and Ito 2008).
    Screen,
}

/// Styles, in the order of painting.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(crate) enum StyleClass {
    /// Background of every other row.
    Band,
    /// Lines between cells.
    Cell,
    Beat,
    Bar,
    /// Pulses of the first hearing, through the rows.
    Guide,
    Hold,
    /// Brackets of groups and tuplets.
    Bracket,
    /// Background of a number on a bracket.
    Plate,
    /// Mark of an attack, by the level of its landing.
    Landing(u8),
    /// Mark that is only an outline.
    Open,
    /// Sign at a mark.
    Sign,
    /// Bar of a chart, in the hatching of a landing's level.
    Hatch(u8),
    /// Pulses of the written beat.
    Written,
    /// Pulses of a hearing, by its index among the chosen ones.
    Pulse(u8),
    /// The same without an attack.
    PulseOpen(u8),
    /// Lines where streams meet.
    Meet,
    /// Staff lines and bar lines of notation.
    Staff,
    /// Heads, stems, beams and rests of notation.
    Note,
    Text,
    /// Secondary text.
    Faint,
}

/// Number of landing levels with a shade of their own; deeper ones share the last.
pub(crate) const LEVELS: u8 = 6;

impl Theme {
    pub(super) fn paper(self) -> &'static str {
        match self {
            Theme::Print => "#ffffff",
            Theme::Screen => "#141a22",
        }
    }

    fn ink(self) -> &'static str {
        match self {
            Theme::Print => "#000000",
            Theme::Screen => "#eef2f5",
        }
    }

    fn shade(self, level: u8) -> &'static str {
        const PRINT: [&str; LEVELS as usize] = ["#000000", "#000000", "#4d4d4d", "#808080", "#b8b8b8", "#e4e4e4"];
        const SCREEN: [&str; LEVELS as usize] = ["#ffffff", "#f0e442", "#e69f00", "#56b4e9", "#3a86c0", "#5c6b7a"];
        let level = usize::from(level.min(LEVELS - 1));
        if self == Theme::Print { PRINT[level] } else { SCREEN[level] }
    }

    fn pulse(self, index: u8) -> &'static str {
        const PRINT: [&str; 4] = ["#000000", "#595959", "#000000", "#595959"];
        const SCREEN: [&str; 4] = ["#cc79a7", "#56b4e9", "#e69f00", "#f0e442"];
        let index = usize::from(index % 4);
        if self == Theme::Print { PRINT[index] } else { SCREEN[index] }
    }

    pub(super) fn text(self, class: StyleClass) -> &'static str {
        match (self, class) {
            (Theme::Print, StyleClass::Faint) => "#4d4d4d",
            (Theme::Screen, StyleClass::Faint) => "#aab6c2",
            _ => self.ink(),
        }
    }

    /// The presentation attributes of a class; `id` is the prefix of the hatchings.
    pub(super) fn style(self, class: StyleClass, id: &str) -> String {
        let fill = |colour: &str| format!("fill=\"{colour}\"");
        let both = |fill: &str, line, width: f32| format!("fill=\"{fill}\" stroke=\"{line}\" stroke-width=\"{width}\"");
        let stroke = |colour, width| both("none", colour, width);
        let (faint, middle, band, hold) = match self {
            Theme::Print => ("#b0b0b0", "#707070", "#f3f3f3", "#9a9a9a"),
            Theme::Screen => ("#3a4654", "#66788a", "#1b232d", "#6d7f91"),
        };
        match class {
            StyleClass::Band => fill(band),
            StyleClass::Cell => stroke(faint, 0.5),
            StyleClass::Beat => stroke(middle, 0.7),
            StyleClass::Bar | StyleClass::Sign => stroke(self.ink(), 1.3),
            StyleClass::Guide => format!("{} stroke-dasharray=\"2 2.5\"", stroke(self.pulse(0), 0.8)),
            StyleClass::Hold => fill(hold),
            StyleClass::Bracket => stroke(middle, 0.8),
            StyleClass::Plate => fill(self.paper()),
            StyleClass::Landing(level) => both(self.shade(level), self.ink(), 0.8),
            StyleClass::Open => both(self.paper(), self.ink(), 1.1),
            StyleClass::Hatch(level) => both(&format!("url(#{id}h{})", level.min(LEVELS - 1)), self.ink(), 0.8),
            StyleClass::Pulse(n) => both(self.pulse(n), self.pulse(n), 1.0),
            StyleClass::PulseOpen(n) => both(self.paper(), self.pulse(n), 1.1),
            StyleClass::Meet => stroke(self.ink(), 1.0),
            StyleClass::Written | StyleClass::Staff | StyleClass::Note | StyleClass::Text | StyleClass::Faint => {
                fill(self.text(class))
            }
        }
    }

    /// The hatchings that are used, distinct by their lines and not only by shade.
    pub(super) fn patterns(self, id: &str, used: impl Fn(&StyleClass) -> bool) -> String {
        const LINES: [&str; LEVELS as usize] = [
            "M0 0h6v6h-6z",
            "M-1 1l2-2M0 6l6-6M5 7l2-2",
            "M-1 1l2-2M0 6l6-6M5 7l2-2M-1 5l2 2M0 0l6 6M5-1l2 2",
            "M0 1.5h6M0 4.5h6",
            "M1.5 1.5h.1M4.5 4.5h.1",
            "",
        ];
        let mut defs = String::new();
        for level in (0..LEVELS).filter(|l| used(&StyleClass::Hatch(*l))) {
            let (line, paper) = (LINES[usize::from(level)], self.paper());
            let colour = if self == Theme::Print { "#000000" } else { self.shade(level) };
            let drawn = if level == 0 {
                format!("fill=\"{colour}\"")
            } else {
                format!("fill=\"none\" stroke=\"{colour}\" stroke-width=\"1.2\" stroke-linecap=\"round\"")
            };
            // Writing to a String cannot fail.
            let _ = write!(
                defs,
                "<pattern id=\"{id}h{level}\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\"><path fill=\"{paper}\" \
                 d=\"M0 0h6v6h-6z\"/><path {drawn} d=\"{line}\"/></pattern>"
            );
        }
        defs
    }
}
