//! Colours and strokes of pictures, for paper and for screens. No colour carries a meaning alone.

use std::fmt::Write;

/// Where a picture is looked at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Theme {
    /// Black and greys on white; everything can be read without colour.
    #[default]
    Print,
    /// Light on dark, in hues that are told apart without red against green (after Okabe and Ito 2008).
    Screen,
}

/// What something is drawn with, in the order of painting.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(crate) enum StyleClass {
    /// Behind every other bar or row.
    Band,
    /// Lines between cells.
    Cell,
    /// Beat lines.
    Beat,
    /// Bar lines.
    Bar,
    /// Lines of the first hearing's pulses through the rows.
    Guide,
    /// What goes on sounding.
    Hold,
    /// Brackets of groups.
    Bracket,
    /// Paper under a small number, so that no line runs through it.
    Plate,
    /// A mark of a landing, by its level.
    Landing(u8),
    /// A mark that is only an outline, with a landing's line.
    Open,
    /// A sign over a mark.
    Sign,
    /// A chart's bar in the hatching of a landing's level.
    Hatch(u8),
    /// Pulses of the written beat.
    Written,
    /// Pulses of a hearing, by its place among the chosen ones.
    Pulse(u8),
    /// Pulses of a hearing on which nothing falls.
    PulseOpen(u8),
    /// Where streams meet.
    Meet,
    /// Notation: staff lines.
    Staff,
    /// Notation: everything else.
    Note,
    /// Text.
    Text,
    /// Text that matters less.
    Faint,
}

/// How an class is put on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Style {
    pub(super) fill: Fill,
    pub(super) stroke: Option<Stroke>,
}

/// A line's colour, its width in CSS pixels, and its dashes and gaps.
pub(super) type Stroke = (&'static str, f32, Option<(f32, f32)>);

/// What is inside a shape.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Fill {
    Nothing,
    Colour(&'static str),
    /// The hatching of a landing's level.
    Hatch(u8),
}

/// Levels of landings that have a shade of their own; deeper ones share the last.
pub(crate) const LEVELS: u8 = 6;

impl Theme {
    pub(super) fn paper(self) -> &'static str {
        match self {
            Theme::Print => "#ffffff",
            Theme::Screen => "#141a22",
        }
    }

    fn class(self) -> &'static str {
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

    fn pulse(self, which: u8) -> &'static str {
        const PRINT: [&str; 4] = ["#000000", "#595959", "#000000", "#595959"];
        const SCREEN: [&str; 4] = ["#cc79a7", "#56b4e9", "#e69f00", "#f0e442"];
        let which = usize::from(which % 4);
        if self == Theme::Print { PRINT[which] } else { SCREEN[which] }
    }

    pub(super) fn text(self, class: StyleClass) -> &'static str {
        match (self, class) {
            (Theme::Print, StyleClass::Faint) => "#4d4d4d",
            (Theme::Screen, StyleClass::Faint) => "#aab6c2",
            _ => self.class(),
        }
    }

    /// How an class is put on.
    pub(super) fn style_of(self, class: StyleClass) -> Style {
        let fill = |colour| Style { fill: Fill::Colour(colour), stroke: None };
        let stroke = |colour, width| Style { fill: Fill::Nothing, stroke: Some((colour, width, None)) };
        let both = |inside, line, width| Style { fill: Fill::Colour(inside), stroke: Some((line, width, None)) };
        let (faint, middle) = match self {
            Theme::Print => ("#b0b0b0", "#707070"),
            Theme::Screen => ("#3a4654", "#66788a"),
        };
        match class {
            StyleClass::Band => fill(if self == Theme::Print { "#f3f3f3" } else { "#1b232d" }),
            StyleClass::Cell => stroke(faint, 0.5),
            StyleClass::Beat => stroke(middle, 0.7),
            StyleClass::Bar | StyleClass::Sign => stroke(self.class(), 1.3),
            StyleClass::Guide => Style { fill: Fill::Nothing, stroke: Some((self.pulse(0), 0.8, Some((2.0, 2.5)))) },
            StyleClass::Hold => fill(if self == Theme::Print { "#9a9a9a" } else { "#6d7f91" }),
            StyleClass::Bracket => stroke(middle, 0.8),
            StyleClass::Landing(level) => both(self.shade(level), self.class(), 0.8),
            StyleClass::Open => both(self.paper(), self.class(), 1.1),
            StyleClass::Plate => fill(self.paper()),
            StyleClass::Hatch(level) => {
                Style { fill: Fill::Hatch(level.min(LEVELS - 1)), stroke: Some((self.class(), 0.8, None)) }
            }
            StyleClass::Written | StyleClass::Staff | StyleClass::Note | StyleClass::Text => fill(self.class()),
            StyleClass::Pulse(n) => both(self.pulse(n), self.pulse(n), 1.0),
            StyleClass::PulseOpen(n) => both(self.paper(), self.pulse(n), 1.1),
            StyleClass::Meet => stroke(self.class(), 1.0),
            StyleClass::Faint => fill(self.text(StyleClass::Faint)),
        }
    }

    /// Presentation attributes of an class.
    pub(super) fn style(self, class: StyleClass, id: &str) -> String {
        let look = self.style_of(class);
        let mut style = match look.fill {
            Fill::Nothing => "fill=\"none\"".to_owned(),
            Fill::Colour(colour) => format!("fill=\"{colour}\""),
            Fill::Hatch(level) => format!("fill=\"url(#{id}h{level})\""),
        };
        if let Some((colour, width, dash)) = look.stroke {
            // Writing to a String cannot fail.
            let _ = write!(style, " stroke=\"{colour}\" stroke-width=\"{width}\"");
            if let Some((on, off)) = dash {
                let _ = write!(style, " stroke-dasharray=\"{on} {off}\"");
            }
        }
        style
    }

    /// The hatchings that are used, each told from the others by its lines and not by its shade.
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
