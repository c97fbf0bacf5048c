//! How a groove is to be written in notes: the grouping of beams, and the text over and under the notes; and all of it in
//! words.

use crate::analysis::landing::Depth;
use crate::rhythm::expected;
use std::fmt;

/// How beams are grouped.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Beaming {
    /// By beat, or by the groups of the meter's terms.
    #[default]
    Meter,
    /// Every group that crosses the border of a beat (from an attack to the next, rests counted) has beams of its own across it;
    /// groups that lie within a beat are beamed as by the meter. No beam crosses a bar line.
    Groups,
    /// As by the meter, and broken before every accented attack, so that groups begun by an accent are seen.
    Accents,
}

/// What is asked of notation.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NotationOptions {
    /// How beams are grouped.
    pub beams: Beaming,
    /// What stands over the notes of the layers that the report's hearings are found for.
    pub over: Text,
    /// What stands under them.
    pub under: Text,
}

impl Default for NotationOptions {
    /// Beams by the beat, the lengths of groups over the notes.
    fn default() -> Self {
        Self {
            beams: Beaming::Meter,
            over: Text { groups: true, landings: Landings::None },
            under: Text { groups: false, landings: Landings::None },
        }
    }
}

/// Text at the notes that begin a sound.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Text {
    /// The length in cells of the group that begins.
    pub groups: bool,
    /// Where the attack lands, as players count (1 e & a).
    pub landings: Landings,
}

/// Which landings are told.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Landings {
    /// None.
    None,
    /// Those of every attack.
    All,
    /// Those of these depths.
    At(Vec<Depth>),
}

/// The depths that can be asked for, by their first word in a list of landings.
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

/// The groupings of beams, by name, and what each is.
pub(crate) const BEAMS: [(&str, Beaming); 3] =
    [("beat", Beaming::Meter), ("group", Beaming::Groups), ("accent", Beaming::Accents)];

/// Parses a grouping of beams: `beat`, `group` or `accent`.
///
/// # Errors
/// The accepted words.
pub(crate) fn parse_beaming(word: &str) -> Result<Beaming, String> {
    let found = BEAMS.iter().find(|b| b.0 == word);
    found.map(|b| b.1).ok_or_else(|| expected(BEAMS.map(|b| b.0).join(", "), format!("'{word}'")))
}

impl NotationOptions {
    /// Takes a pair of words as `beams group`, `over groups,half`, `under nothing`; `None` if they are none.
    pub fn take(&mut self, key: &str, value: &str) -> Option<()> {
        match key {
            "beams" => self.beams = parse_beaming(value).ok()?,
            "over" => self.over = Text::parse(value).ok()?,
            "under" => self.under = Text::parse(value).ok()?,
            _ => return None,
        }
        Some(())
    }
}

impl fmt::Display for NotationOptions {
    /// The words that [`NotationOptions::take`] takes.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let beams = BEAMS.iter().find(|b| b.1 == self.beams).map_or("", |b| b.0);
        write!(f, "beams {beams} over {} under {}", self.over, self.under)
    }
}

impl Text {
    /// From words joined by commas: `groups`, `landings` for all of them, or single depths (`downbeat`, `strong-beat`, `beat`, `half`,
    /// `third` to `eighth`); `nothing` alone.
    ///
    /// # Errors
    /// The words that are allowed.
    pub fn parse(words: &str) -> Result<Self, String> {
        let mut text = Self { groups: false, landings: Landings::None };
        if words == "nothing" {
            return Ok(text);
        }
        for word in words.split(',') {
            match (word, DEPTHS.iter().find(|d| d.0 == word)) {
                ("groups", _) => text.groups = true,
                ("landings", _) => text.landings = Landings::All,
                (_, Some((_, depth))) => match &mut text.landings {
                    Landings::All => {}
                    Landings::At(depths) => depths.push(*depth),
                    Landings::None => text.landings = Landings::At(vec![*depth]),
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

    /// Whether it tells any landing.
    pub fn has_landings(&self) -> bool {
        self.landings != Landings::None
    }
}

impl fmt::Display for Text {
    /// The words that [`Text::parse`] reads.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut words: Vec<&str> = Vec::new();
        words.extend(self.groups.then_some("groups"));
        match &self.landings {
            Landings::None => {}
            Landings::All => words.push("landings"),
            Landings::At(depths) => words.extend(DEPTHS.iter().filter(|d| depths.contains(&d.1)).map(|d| d.0)),
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
    }
}
