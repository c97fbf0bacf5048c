//! The options of notation (the grouping of beams, the text above and below the notes), and their form in words.

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

/// The options of notation.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NotationOptions {
    /// How beams are grouped.
    pub beams: Beaming,
    /// The text above the notes of the analysed layers.
    pub over: Text,
    /// The text below them.
    pub under: Text,
}

impl Default for NotationOptions {
    /// Beams by the meter, and the lengths of groups above the notes.
    fn default() -> Self {
        Self {
            beams: Beaming::Meter,
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

/// Parses a grouping of beams: `beat`, `group` or `accent`.
///
/// # Errors
/// The accepted words.
pub(crate) fn parse_beaming(word: &str) -> Result<Beaming, String> {
    let found = BEAMS.iter().find(|b| b.0 == word);
    found.map(|b| b.1).ok_or_else(|| expected(BEAMS.map(|b| b.0).join(", "), format!("'{word}'")))
}

impl NotationOptions {
    /// Sets one option from its words: `beams group`, `over groups,half`, `under nothing`. `None` for any other words.
    pub(crate) fn set(&mut self, key: &str, value: &str) -> Option<()> {
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
    /// The words that [`NotationOptions::set`] reads.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let beams = BEAMS.iter().find(|b| b.1 == self.beams).map_or("", |b| b.0);
        write!(f, "beams {beams} over {} under {}", self.over, self.under)
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
    }
}
