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

/// The background of the terminal.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Background {
    /// Light text on black or another dark colour, also if the terminal does not say.
    #[default]
    Dark,
    /// Dark text on white or another light colour.
    Light,
}

impl Background {
    /// The background of a colour, each channel from 0 to 1: light if its relative luminance (ITU-R BT.709) exceeds a half.
    pub(crate) fn of_colour([red, green, blue]: [f64; 3]) -> Self {
        if 0.2126 * red + 0.7152 * green + 0.0722 * blue > 0.5 { Self::Light } else { Self::Dark }
    }

    /// The guess of some terminals, in `COLORFGBG`: the numbers of the foreground and background among 16 colours.
    pub(crate) fn from_env(colorfgbg: &str) -> Self {
        match colorfgbg.rsplit(';').next().and_then(|n| n.parse::<u8>().ok()) {
            Some(7 | 9..=15) => Self::Light,
            _ => Self::Dark,
        }
    }
}

/// Colours and characters of the screen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Theme {
    /// The colours of the terminal.
    pub colours: Colours,
    /// The background that they are for.
    pub background: Background,
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
    soft '◐' 's';
    plain '●' 'x';
    strong '◆' 'S';
    accent '▲' 'X';
    flam '/' '/';
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
    anchor '◇' '*';
    onset_low '▿' 'v';
    onset_mid '▫' '+';
    onset_high '▵' '^';
    sure_low '▾' 'v';
    sure_mid '▪' '+';
    sure_high '▴' '^';
    full '▆' '#';
    half '▂' '-';
    playing '▶' '>';
    stopped '■' '#';
    more '…' '~';
    times '×' 'x';
}

macro_rules! styles {
    ($($name:ident ($sixteen:ident $many:expr) ($light_sixteen:ident $light_many:expr) $($modifier:ident)?;)*) => {
        impl Theme {
            $(pub(crate) fn $name(self) -> Style {
                let (sixteen, many) = match self.background {
                    Background::Dark => (Color::$sixteen, $many),
                    Background::Light => (Color::$light_sixteen, $light_many),
                };
                let many = if sixteen == Color::Reset { sixteen } else { Color::Indexed(many) };
                let style = |colour| Style::new().fg(colour);
                self.by_colours(Style::new(), style(sixteen), style(many))$(.add_modifier(Modifier::$modifier))?
            })*
        }
    };
}

// Of each style the colour on a dark background and on a light one, among 16 and among 256. `Reset` is the terminal's own
// foreground.
styles! {
    strong (Reset 0) (Reset 0) BOLD;
    heading (Cyan 110) (Cyan 24) BOLD;
    warning (Red 203) (Red 160) BOLD;
    // Rests, bar lines, secondary text.
    faint (DarkGray 246) (DarkGray 241);
    // Values worth looking at.
    value (Green 150) (Green 22);
    key (Yellow 215) (Magenta 130);
    // Plain attacks and holds.
    attack (Reset 0) (Reset 0);
    accent (Yellow 215) (Red 124) BOLD;
    ghost (Gray 180) (DarkGray 58);
    // Cells of a muted layer.
    muted (DarkGray 240) (Gray 247);
    written (LightBlue 75) (Blue 26);
    hearing (Magenta 176) (Magenta 127);
}

/// Bars from none to all.
const RAMP: &[char] = &['▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];
/// No digits: a row of them reads as a number.
const ASCII_RAMP: &[char] = &['_', '.', ':', '-', '=', '+', '*', '#'];

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
        Self { colours, background: Background::default(), ascii: plain || !utf8 }
    }

    pub(crate) fn glyphs(self) -> &'static Glyphs {
        if self.ascii { &ASCII } else { &UNICODE }
    }

    fn by_background<T>(self, dark: T, light: T) -> T {
        match self.background {
            Background::Dark => dark,
            Background::Light => light,
        }
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
        let (text, under) = self.by_background((16, 252), (231, 238));
        self.by_colours(reversed, reversed, Style::new().fg(Color::Indexed(text)).bg(Color::Indexed(under)))
    }

    pub(crate) fn selected(self) -> Style {
        let underlined = Style::new().underlined();
        let (sixteen, many) = self.by_background((Color::Blue, 18), (Color::Cyan, 159));
        self.by_colours(underlined, underlined.bg(sixteen), underlined.bg(Color::Indexed(many)))
    }

    pub(crate) fn playhead(self) -> Style {
        let many = self.by_background(22, 157);
        self.by_colours(Style::new().bold(), Style::new().bg(Color::Green), Style::new().bg(Color::Indexed(many)))
    }

    /// Background of every other beat, with 256 colours only.
    pub(crate) fn other_beat(self) -> Style {
        let many = self.by_background(235, 254);
        self.by_colours(Style::new(), Style::new(), Style::new().bg(Color::Indexed(many)))
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
            assert_eq!(
                Theme::from_env(no, term, color, plain, locale),
                Theme { colours, ascii, ..Theme::default() },
                "{term} {locale}"
            );
        }
    }

    #[test]
    fn the_background_is_light_or_dark() {
        for (colour, background) in [
            ([0.0; 3], Background::Dark),
            ([1.0; 3], Background::Light),
            ([0.0, 0.17, 0.21], Background::Dark),
            ([0.99, 0.96, 0.89], Background::Light),
            ([0.0, 0.0, 1.0], Background::Dark),
        ] {
            assert_eq!(Background::of_colour(colour), background, "{colour:?}");
        }
        let rows = [
            ("15;0", Background::Dark),
            ("0;15", Background::Light),
            ("0;default;7", Background::Light),
            ("", Background::Dark),
        ];
        for (text, background) in rows {
            assert_eq!(Background::from_env(text), background, "{text}");
        }
    }

    /// The relative luminance of an entry of the xterm palette from 16 on: a cube of six values per channel, then 24 greys.
    fn luminance(index: u8) -> f64 {
        let value = |step: u8| if step == 0 { 0 } else { 55 + 40 * step };
        let channels = match index.checked_sub(232) {
            Some(grey) => [8 + 10 * grey; 3],
            None => [(index - 16) / 36, (index - 16) / 6 % 6, (index - 16) % 6].map(value),
        };
        let linear = channels.map(|c| {
            let c = f64::from(c) / 255.0;
            if c <= 0.04045 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
        });
        0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
    }

    #[test]
    fn cells_can_be_read_on_shaded_beats_and_in_the_selection() {
        // WCAG 2.1, success criterion 1.4.3: 4.5 to 1 between text and background.
        for background in [Background::Dark, Background::Light] {
            let theme = Theme { colours: Colours::Many, background, ascii: false };
            let styles = [theme.faint(), theme.value(), theme.ghost(), theme.accent()];
            for under in [theme.other_beat(), theme.selected()] {
                for style in styles {
                    let (Some(Color::Indexed(text)), Some(Color::Indexed(under))) = (style.fg, under.bg) else {
                        panic!("expected indexed colours, found {style:?} on {under:?}");
                    };
                    let (a, b) = (luminance(text), luminance(under));
                    let contrast = (a.max(b) + 0.05) / (a.min(b) + 0.05);
                    assert!(contrast >= 4.5, "{background:?}: {text} on {under}: {contrast:.2}");
                }
            }
        }
    }

    #[test]
    fn plain_glyphs_are_plain_and_told_apart() {
        for (g, is_ascii) in [(ASCII, true), (UNICODE, false)] {
            let attacks = [g.ghost, g.soft, g.plain, g.strong, g.accent, g.flam];
            let others = [g.hold, g.rest, g.rest_on_beat, g.bar_line, g.onset_low, g.onset_mid, g.onset_high];
            let mut cells = [&attacks[..], &others[..]].concat();
            assert!(!is_ascii || cells.iter().all(|c| (' '..='~').contains(c)));
            cells.sort_unstable();
            cells.dedup();
            assert_eq!(cells.len(), 13);
        }
    }
}
