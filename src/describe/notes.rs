//! The options of notation (beams, lengths, staves, the text above and below the notes), and their form in words.

use crate::analysis::landing::Depth;
use crate::rhythm::expected;
use std::fmt;

/// How beams are grouped.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Beaming {
    /// By beat, or by the groups of the meter's terms.
    #[default]
    Meter,
    /// A group (from one attack to the next, rests included) that crosses a beat has its own beam; groups within a beat are beamed
    /// by the meter. No beam crosses a bar line.
    Groups,
    /// By the meter, and broken before every accented attack, so that the groups an accent starts are visible.
    Accents,
}

/// How long a note is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum NoteLengths {
    /// As long as its cells sound; rests follow.
    #[default]
    Cells,
    /// To the next attack or the end of the section, so that each group is one long note, tied where needed.
    Groups,
}

/// The staves of layers whose voices are drums.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum KitStaves {
    /// One staff of five lines for all that can share it.
    #[default]
    Shared,
    /// A line for each layer.
    Separate,
}

/// How cells become notes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Spelling {
    /// How beams are grouped.
    pub beams: Beaming,
    /// How long a note is written.
    pub lengths: NoteLengths,
}

impl From<Beaming> for Spelling {
    fn from(beams: Beaming) -> Self {
        Self { beams, ..Self::default() }
    }
}

/// The options of notation.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NotationOptions {
    /// How cells become notes.
    pub spelling: Spelling,
    /// The staves of drums.
    pub kit: KitStaves,
    /// The text above the notes of the analysed layers.
    pub over: Text,
    /// The text below them.
    pub under: Text,
}

impl Default for NotationOptions {
    /// Beams by the meter, and the lengths of groups above the notes.
    fn default() -> Self {
        Self {
            spelling: Spelling::default(),
            kit: KitStaves::default(),
            over: Text { groups: true, landings: LandingFilter::None },
            under: Text { groups: false, landings: LandingFilter::None },
        }
    }
}

/// Text at the notes that start a sound.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Text {
    /// The length in cells of the group that starts here.
    pub(crate) groups: bool,
    /// Where the attack lands, as players count it (1 e & a).
    pub(crate) landings: LandingFilter,
}

/// The landings that are printed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum LandingFilter {
    None,
    /// The landing of every attack.
    All,
    /// Only landings of these depths.
    At(Vec<Depth>),
}

/// The depths by name.
const DEPTHS: [(&str, Depth); 10] = [
    ("downbeat", Depth::Downbeat),
    ("strong-beat", Depth::Strong),
    ("beat", Depth::Beat),
    ("half", Depth::Part(2)),
    ("third", Depth::Part(3)),
    ("quarter", Depth::Part(4)),
    ("fifth", Depth::Part(5)),
    ("sixth", Depth::Part(6)),
    ("seventh", Depth::Part(7)),
    ("eighth", Depth::Part(8)),
];

/// The groupings of beams by name.
pub(crate) const BEAMS: [(&str, Beaming); 3] =
    [("beat", Beaming::Meter), ("group", Beaming::Groups), ("accent", Beaming::Accents)];

/// The lengths of notes by name.
pub(crate) const LENGTHS: [(&str, NoteLengths); 2] = [("cells", NoteLengths::Cells), ("groups", NoteLengths::Groups)];

/// The staves of drums by name.
pub(crate) const KITS: [(&str, KitStaves); 2] = [("shared", KitStaves::Shared), ("separate", KitStaves::Separate)];

/// Finds a value by its name in a table.
fn parse_word<T: Copy>(table: &[(&str, T)], word: &str) -> Result<T, String> {
    let names = || table.iter().map(|row| row.0).collect::<Vec<_>>().join(", ");
    table.iter().find(|row| row.0 == word).map(|row| row.1).ok_or_else(|| expected(names(), format!("'{word}'")))
}

fn word_of<T: PartialEq>(table: &[(&'static str, T)], value: &T) -> &'static str {
    table.iter().find(|row| row.1 == *value).map_or("", |row| row.0)
}

/// Parses a grouping of beams: `beat`, `group` or `accent`.
///
/// # Errors
/// The accepted words.
pub(crate) fn parse_beaming(word: &str) -> Result<Beaming, String> {
    parse_word(&BEAMS, word)
}

/// Parses the lengths of notes: `cells` or `groups`.
///
/// # Errors
/// The accepted words.
pub(crate) fn parse_lengths(word: &str) -> Result<NoteLengths, String> {
    parse_word(&LENGTHS, word)
}

/// Parses the staves of drums: `shared` or `separate`.
///
/// # Errors
/// The accepted words.
pub(crate) fn parse_kit(word: &str) -> Result<KitStaves, String> {
    parse_word(&KITS, word)
}

impl NotationOptions {
    /// Sets one option from its words: `beams group`, `over groups,half`, `under nothing`. `None` for any other words.
    pub(crate) fn set(&mut self, key: &str, value: &str) -> Option<()> {
        match key {
            "beams" => self.spelling.beams = parse_beaming(value).ok()?,
            "lengths" => self.spelling.lengths = parse_lengths(value).ok()?,
            "kit" => self.kit = parse_kit(value).ok()?,
            "over" => self.over = Text::parse(value).ok()?,
            "under" => self.under = Text::parse(value).ok()?,
            _ => return None,
        }
        Some(())
    }
}

impl fmt::Display for NotationOptions {
    /// The words that [`NotationOptions::set`] reads.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Spelling { beams, lengths } = self.spelling;
        write!(f, "beams {} ", word_of(&BEAMS, &beams))?;
        // The two options that few need are named only if they differ from the default.
        if lengths != NoteLengths::default() {
            write!(f, "lengths {} ", word_of(&LENGTHS, &lengths))?;
        }
        if self.kit != KitStaves::default() {
            write!(f, "kit {} ", word_of(&KITS, &self.kit))?;
        }
        write!(f, "over {} under {}", self.over, self.under)
    }
}

impl Text {
    /// Parses a comma-separated list of `groups`, `landings` (all of them) and single depths (`downbeat`, `strong-beat`, `beat`,
    /// `half`, `third` to `eighth`), or `nothing`.
    ///
    /// # Errors
    /// The words that are allowed.
    pub fn parse(words: &str) -> Result<Self, String> {
        let mut text = Self { groups: false, landings: LandingFilter::None };
        if words == "nothing" {
            return Ok(text);
        }
        for word in words.split(',') {
            match (word, DEPTHS.iter().find(|d| d.0 == word)) {
                ("groups", _) => text.groups = true,
                ("landings", _) => text.landings = LandingFilter::All,
                (_, Some((_, depth))) => match &mut text.landings {
                    LandingFilter::All => {}
                    LandingFilter::At(depths) => depths.push(*depth),
                    LandingFilter::None => text.landings = LandingFilter::At(vec![*depth]),
                },
                _ => {
                    let depths = DEPTHS.map(|d| d.0).join(", ");
                    let wanted = format!("'nothing', or a comma-separated list of groups, landings, {depths}");
                    return Err(expected(wanted, format!("'{word}'")));
                }
            }
        }
        Ok(text)
    }

    pub(crate) fn has_landings(&self) -> bool {
        self.landings != LandingFilter::None
    }
}

impl fmt::Display for Text {
    /// The words that [`Text::parse`] reads.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut words: Vec<&str> = Vec::new();
        words.extend(self.groups.then_some("groups"));
        match &self.landings {
            LandingFilter::None => {}
            LandingFilter::All => words.push("landings"),
            LandingFilter::At(depths) => words.extend(DEPTHS.iter().filter(|d| depths.contains(&d.1)).map(|d| d.0)),
        }
        f.write_str(if words.is_empty() { "nothing".to_owned() } else { words.join(",") }.as_str())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_read_and_printed() {
        for words in ["nothing", "groups", "landings", "groups,landings", "groups,downbeat,half", "strong-beat,eighth"]
        {
            assert_eq!(Text::parse(words).map(|t| t.to_string()).as_deref(), Ok(words));
        }
        for bad in ["", "group", "groups, landings", "nothing,groups", "ninth"] {
            assert!(Text::parse(bad).is_err_and(|e| e.contains("groups, landings, downbeat")), "{bad}");
        }
        assert_eq!(parse_beaming("group"), Ok(Beaming::Groups));
        assert_eq!(parse_beaming("groups"), Err("expected beat, group, accent, found 'groups'".into()));
        assert_eq!(Text::parse("half,landings,third"), Text::parse("landings"));
        assert_eq!(parse_kit("one"), Err("expected shared, separate, found 'one'".into()));
    }

    #[test]
    fn options_are_printed_as_they_are_read() {
        for words in [
            "beams beat over groups under nothing",
            "beams group lengths groups kit separate over nothing under landings",
        ] {
            let mut options = NotationOptions::default();
            let pairs: Vec<&str> = words.split(' ').collect();
            pairs.chunks(2).for_each(|pair| options.set(pair[0], pair[1]).expect("an option"));
            assert_eq!(options.to_string(), words);
        }
        assert_eq!(NotationOptions::default().set("lengths", "long"), None);
    }
}
