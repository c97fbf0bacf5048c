//! Colours and glyphs.

use ratatui::style::{Color, Modifier, Style};

/// What the terminal shows of colours.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Colours {
    /// None: only bold, underlined and reversed.
    None,
    /// The sixteen of its own palette.
    #[default]
    Sixteen,
    /// The 256 of the usual cube.
    Many,
}

/// How things look.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Theme {
    /// Colours.
    pub colours: Colours,
    /// Only characters from space to tilde.
    pub ascii: bool,
}

/// The characters the grid is drawn with.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Glyphs {
    pub ghost: char,
    pub plain: char,
    pub accent: char,
    pub hold: char,
    pub rest: char,
    pub rest_on_beat: char,
    pub bar_line: char,
    pub pulse_met: char,
    pub pulse_alone: char,
    pub playhead: char,
    pub cursor: char,
    pub here: char,
    pub between: char,
    pub full: char,
    pub half: char,
    pub playing: char,
    pub stopped: char,
    pub more: char,
    pub times: char,
    pub rule: char,
    /// From none to all.
    pub ramp: &'static [char],
}

const UNICODE: Glyphs = Glyphs {
    ghost: '○',
    plain: '●',
    accent: '▲',
    hold: '━',
    rest: '·',
    rest_on_beat: '╵',
    bar_line: '│',
    pulse_met: '┃',
    pulse_alone: '╎',
    playhead: '▼',
    cursor: '▽',
    here: '›',
    between: '─',
    full: '▆',
    half: '▂',
    playing: '▶',
    stopped: '■',
    more: '…',
    times: '×',
    rule: '─',
    ramp: &['▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'],
};

const ASCII: Glyphs = Glyphs {
    ghost: 'o',
    plain: 'x',
    accent: 'X',
    hold: '-',
    rest: '.',
    rest_on_beat: '\'',
    bar_line: '|',
    pulse_met: '#',
    pulse_alone: ':',
    playhead: 'V',
    cursor: 'v',
    here: '>',
    between: '=',
    full: '#',
    half: '-',
    playing: '>',
    stopped: '#',
    more: '~',
    times: 'x',
    rule: '-',
    ramp: &['0', '1', '2', '3', '4', '5', '6', '7', '8', '9'],
};

impl Theme {
    /// The theme of a terminal, from the environment's words: `NO_COLOR` set and not empty, `TERM`, `COLORTERM`, whether
    /// plain characters were asked for, and the locale (the first of `LC_ALL`, `LC_CTYPE`, `LANG` that is set).
    pub fn of(no_color: bool, term: &str, colorterm: &str, plain: bool, locale: &str) -> Self {
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

    fn fg(self, sixteen: Color, many: u8) -> Style {
        match self.colours {
            Colours::None => Style::new(),
            Colours::Sixteen => Style::new().fg(sixteen),
            Colours::Many => Style::new().fg(Color::Indexed(many)),
        }
    }

    /// What is there but says little: rests, bar lines, unfocused words.
    pub(crate) fn faint(self) -> Style {
        self.fg(Color::DarkGray, 243)
    }

    /// Headings.
    pub(crate) fn heading(self) -> Style {
        self.fg(Color::Cyan, 110).add_modifier(Modifier::BOLD)
    }

    /// Attacks: plain, and the sound that goes on.
    pub(crate) fn attack(self) -> Style {
        self.fg(Color::White, 223)
    }

    /// Accented attacks.
    pub(crate) fn accent(self) -> Style {
        self.fg(Color::Yellow, 215).add_modifier(Modifier::BOLD)
    }

    /// Ghost attacks.
    pub(crate) fn ghost(self) -> Style {
        self.fg(Color::Gray, 180)
    }

    /// What a muted layer holds.
    pub(crate) fn silent(self) -> Style {
        self.fg(Color::DarkGray, 240)
    }

    /// Figures worth looking at.
    pub(crate) fn figure(self) -> Style {
        self.fg(Color::Green, 150)
    }

    /// The written beat.
    pub(crate) fn written(self) -> Style {
        self.fg(Color::Blue, 75)
    }

    /// The chosen hearing.
    pub(crate) fn hearing(self) -> Style {
        self.fg(Color::Magenta, 176)
    }

    /// Warnings and refusals.
    pub(crate) fn warning(self) -> Style {
        self.fg(Color::Red, 203).add_modifier(Modifier::BOLD)
    }

    /// The cell under the cursor.
    pub(crate) fn cursor(self) -> Style {
        match self.colours {
            Colours::None | Colours::Sixteen => Style::new().add_modifier(Modifier::REVERSED),
            Colours::Many => Style::new().fg(Color::Indexed(16)).bg(Color::Indexed(252)),
        }
    }

    /// Selected cells.
    pub(crate) fn selected(self) -> Style {
        match self.colours {
            Colours::None => Style::new().add_modifier(Modifier::UNDERLINED),
            Colours::Sixteen => Style::new().bg(Color::Blue).add_modifier(Modifier::UNDERLINED),
            Colours::Many => Style::new().bg(Color::Indexed(24)).add_modifier(Modifier::UNDERLINED),
        }
    }

    /// The column that sounds.
    pub(crate) fn sounding(self) -> Style {
        match self.colours {
            Colours::None => Style::new().add_modifier(Modifier::BOLD),
            Colours::Sixteen => Style::new().bg(Color::Green),
            Colours::Many => Style::new().bg(Color::Indexed(22)),
        }
    }

    /// Every other beat, a little apart, where colours are many enough for it.
    pub(crate) fn other_beat(self) -> Style {
        match self.colours {
            Colours::Many => Style::new().bg(Color::Indexed(235)),
            _ => Style::new(),
        }
    }

    /// The top line.
    pub(crate) fn bar(self) -> Style {
        self.fg(Color::White, 255).add_modifier(Modifier::BOLD)
    }

    /// A key in hints and help.
    pub(crate) fn key(self) -> Style {
        self.fg(Color::Yellow, 215)
    }

    /// The chosen line of a list.
    pub(crate) fn chosen(self) -> Style {
        self.cursor()
    }

    /// Text as this theme can show it: only plain characters where it may show no others.
    pub(crate) fn text(self, text: &str) -> String {
        let plain = |c: char| match c {
            '·' => '.',
            '…' | '±' => '~',
            '×' => 'x',
            '→' => '>',
            ' '..='~' => c,
            _ => '?',
        };
        if self.ascii {
            text.chars().map(plain).collect()
        } else {
            text.chars().map(|c| if c.is_control() { '?' } else { c }).collect()
        }
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
            assert_eq!(Theme::of(no, term, color, plain, locale), Theme { colours, ascii }, "{term} {locale}");
        }
    }

    #[test]
    fn plain_glyphs_are_plain_and_told_apart() {
        let g = ASCII;
        let cells = [g.ghost, g.plain, g.accent, g.hold, g.rest, g.rest_on_beat, g.bar_line];
        assert!(cells.iter().all(|c| (' '..='~').contains(c)));
        for g in [ASCII, UNICODE] {
            let mut cells = vec![g.ghost, g.plain, g.accent, g.hold, g.rest, g.rest_on_beat, g.bar_line, g.pulse_alone];
            cells.sort_unstable();
            cells.dedup();
            assert_eq!(cells.len(), 8);
        }
    }
}
