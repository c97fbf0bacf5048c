//! Colours and glyphs.

use crate::describe::visible;
use ratatui::style::{Color, Modifier, Style};

/// Colours of the terminal.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Colours {
    /// No colours, only bold, underlined and reversed.
    None,
    /// The terminal's own palette of 16.
    #[default]
    Sixteen,
    /// The 256 of the xterm palette.
    Many,
}

/// Colours and characters of the screen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Theme {
    /// The colours of the terminal.
    pub colours: Colours,
    /// Only printable ASCII characters.
    pub ascii: bool,
}

macro_rules! glyphs {
    ($($name:ident $unicode:literal $ascii:literal;)*) => {
        #[derive(Debug, Clone, Copy)]
        pub(crate) struct Glyphs {
            $(pub $name: char,)*
        }

        const UNICODE: Glyphs = Glyphs { $($name: $unicode,)* };
        const ASCII: Glyphs = Glyphs { $($name: $ascii,)* };
    };
}

glyphs! {
    ghost '○' 'o';
    plain '●' 'x';
    accent '▲' 'X';
    hold '━' '-';
    rest '·' '.';
    rest_on_beat '╵' '\'';
    bar_line '│' '|';
    pulse_with_attack '┃' '#';
    pulse_without_attack '╎' ':';
    playhead '▼' 'V';
    cursor '▽' 'v';
    here '›' '>';
    between '─' '=';
    loop_start '╟' '{';
    loop_end '╢' '}';
    full '▆' '#';
    half '▂' '-';
    playing '▶' '>';
    stopped '■' '#';
    more '…' '~';
    times '×' 'x';
}

macro_rules! styles {
    ($($name:ident $sixteen:ident $many:literal $($modifier:ident)?;)*) => {
        impl Theme {
            $(pub(crate) fn $name(self) -> Style {
                let (sixteen, many) = (Style::new().fg(Color::$sixteen), Style::new().fg(Color::Indexed($many)));
                self.by_colours(Style::new(), sixteen, many)$(.add_modifier(Modifier::$modifier))?
            })*
        }
    };
}

styles! {
    strong White 255 BOLD;
    heading Cyan 110 BOLD;
    warning Red 203 BOLD;
    // Rests, bar lines, secondary text.
    faint DarkGray 243;
    // Values worth looking at.
    value Green 150;
    key Yellow 215;
    // Plain attacks and holds.
    attack White 223;
    accent Yellow 215 BOLD;
    ghost Gray 180;
    // Cells of a muted layer.
    muted DarkGray 240;
    written Blue 75;
    hearing Magenta 176;
}

/// Bars from none to all.
const RAMP: &[char] = &['▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];
const ASCII_RAMP: &[char] = &['0', '1', '2', '3', '4', '5', '6', '7', '8', '9'];

impl Theme {
    pub(crate) fn ramp(self) -> &'static [char] {
        if self.ascii { ASCII_RAMP } else { RAMP }
    }

    /// The theme of a terminal, from the environment: whether `NO_COLOR` is set and not empty, `TERM`, `COLORTERM`, whether
    /// ASCII is requested, and the locale (the first of `LC_ALL`, `LC_CTYPE`, `LANG` that is set).
    pub(crate) fn from_env(no_color: bool, term: &str, colorterm: &str, plain: bool, locale: &str) -> Self {
        let lower = locale.to_ascii_lowercase();
        let utf8 = lower.contains("utf-8") || lower.contains("utf8");
        let colours = if no_color || term == "dumb" {
            Colours::None
        } else if term.contains("256") || !colorterm.is_empty() {
            Colours::Many
        } else {
            Colours::Sixteen
        };
        Self { colours, ascii: plain || !utf8 }
    }

    pub(crate) fn glyphs(self) -> &'static Glyphs {
        if self.ascii { &ASCII } else { &UNICODE }
    }

    fn by_colours(self, none: Style, sixteen: Style, many: Style) -> Style {
        match self.colours {
            Colours::None => none,
            Colours::Sixteen => sixteen,
            Colours::Many => many,
        }
    }

    /// Of the cursor, and of the selected line of a list.
    pub(crate) fn cursor(self) -> Style {
        let reversed = Style::new().reversed();
        self.by_colours(reversed, reversed, Style::new().fg(Color::Indexed(16)).bg(Color::Indexed(252)))
    }

    pub(crate) fn selected(self) -> Style {
        let underlined = Style::new().underlined();
        self.by_colours(underlined, underlined.bg(Color::Blue), underlined.bg(Color::Indexed(24)))
    }

    pub(crate) fn playhead(self) -> Style {
        self.by_colours(Style::new().bold(), Style::new().bg(Color::Green), Style::new().bg(Color::Indexed(22)))
    }

    /// Background of every other beat, with 256 colours only.
    pub(crate) fn other_beat(self) -> Style {
        self.by_colours(Style::new(), Style::new(), Style::new().bg(Color::Indexed(235)))
    }

    /// Text in which hidden characters are escaped, in ASCII if the theme demands it.
    pub(crate) fn text(self, text: &str) -> String {
        let plain = |c: char| match c {
            '·' => '.',
            '…' | '±' => '~',
            '×' => 'x',
            '→' => '>',
            ' '..='~' => c,
            _ => '?',
        };
        let text = visible(text);
        if self.ascii { text.chars().map(plain).collect() } else { text.into_owned() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_environment_decides() {
        let rows = [
            ((false, "xterm-256color", "", false, "en_GB.UTF-8"), (Colours::Many, false)),
            ((false, "linux", "", false, "C.utf8"), (Colours::Sixteen, false)),
            ((true, "xterm-256color", "truecolor", false, "C.UTF-8"), (Colours::None, false)),
            ((false, "screen", "", false, "C"), (Colours::Sixteen, true)),
            ((false, "dumb", "", true, "de_DE.UTF-8"), (Colours::None, true)),
        ];
        for ((no, term, color, plain, locale), (colours, ascii)) in rows {
            assert_eq!(Theme::from_env(no, term, color, plain, locale), Theme { colours, ascii }, "{term} {locale}");
        }
    }

    #[test]
    fn plain_glyphs_are_plain_and_told_apart() {
        let g = ASCII;
        let cells = [g.ghost, g.plain, g.accent, g.hold, g.rest, g.rest_on_beat, g.bar_line];
        assert!(cells.iter().all(|c| (' '..='~').contains(c)));
        for g in [ASCII, UNICODE] {
            let mut cells =
                vec![g.ghost, g.plain, g.accent, g.hold, g.rest, g.rest_on_beat, g.bar_line, g.pulse_without_attack];
            cells.sort_unstable();
            cells.dedup();
            assert_eq!(cells.len(), 8);
        }
    }
}
