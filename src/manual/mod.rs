//! The user's manual: its chapters, embedded as Markdown, and their layout as plain text.

mod layout;

pub(crate) use layout::{Line, LineKind, lay_out};

/// A chapter.
#[derive(Debug)]
pub struct Chapter {
    /// Its name on the command line.
    pub name: &'static str,
    /// Its Markdown; the first line is the heading.
    pub text: &'static str,
}

macro_rules! chapters {
    ($($name:literal)*) => { &[$(Chapter { name: $name, text: include_str!(concat!($name, ".md")) }),*] };
}

/// All chapters, in reading order.
pub const CHAPTERS: &[Chapter] = chapters! {
    "words" "screen" "editing" "hearings" "takes" "tap" "recordings" "variants" "file" "voices" "limits" "commands" "json" "midi"
    "musicxml" "pictures" "handouts" "exports" "remote" "config" "keys" "troubleshooting"
};

impl Chapter {
    /// The heading.
    pub fn title(&self) -> &'static str {
        self.text.lines().next().unwrap_or_default().trim_start_matches("# ")
    }
}

/// The chapter with this name.
pub fn chapter(name: &str) -> Option<&'static Chapter> {
    CHAPTERS.iter().find(|c| c.name == name)
}

/// The names of all chapters, separated by commas.
pub(crate) fn names() -> String {
    CHAPTERS.iter().map(|c| c.name).collect::<Vec<_>>().join(", ")
}
