//! How a groove is to be written in notes: the grouping of beams, and the text over and under the notes. It must not know how notes
//! are spelled, drawn or stored.

use super::Piece;
use super::score::{Bar, Beaming, Strike};
use crate::analysis::landing::{Depth, depth, syllable};
use crate::rhythm::Spot;
use std::fmt;

/// What is asked of notation.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Writing {
    /// How beams are grouped.
    pub beams: Beaming,
    /// What stands over the notes of the layers that the report's hearings are found for.
    pub over: Text,
    /// What stands under them.
    pub under: Text,
}

impl Default for Writing {
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
pub const BEAMS: [(&str, Beaming); 3] =
    [("beat", Beaming::Meter), ("group", Beaming::Groups), ("accent", Beaming::Accents)];

/// A grouping of beams in words: `beat`, `group`, `accent`.
///
/// # Errors
/// The words that are allowed.
pub fn beams_of(word: &str) -> Result<Beaming, String> {
    let found = BEAMS.iter().find(|b| b.0 == word);
    found.map(|b| b.1).ok_or_else(|| format!("allowed are: {}", BEAMS.map(|b| b.0).join(", ")))
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
                    return Err(format!("allowed are: nothing, or joined by commas groups, landings, {depths}"));
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

/// What can be said at the notes of one layer.
pub(super) struct Teller<'a> {
    piece: &'a Piece<'a>,
    layer: usize,
    told: bool,
    /// The spans of each section.
    spots: Vec<Vec<Spot>>,
}

impl<'a> Teller<'a> {
    /// For a layer; one that the report's hearings are not found for is told nothing of.
    pub(super) fn new(piece: &'a Piece<'a>, layer: usize) -> Self {
        let told = piece.report.focus.contains(&layer);
        let groove = piece.groove;
        let spots = |s: usize| groove.part(layer, s).spots(groove.frame(layer, s));
        let sections = if told { groove.sections().len() } else { 0 };
        Self { piece, layer, told, spots: (0..sections).map(spots).collect() }
    }

    /// How many lines a text may have here.
    pub(super) fn lines(&self, text: &Text) -> usize {
        if self.told { usize::from(text.groups) + usize::from(text.has_landings()) } else { 0 }
    }

    /// The lines of a text at a note, the highest first: the group's length, then the landing; nothing where a sound only goes on.
    pub(super) fn at(&self, text: &Text, bar: &Bar, strike: Strike) -> [Option<String>; 2] {
        if strike.tied_from || !self.told {
            return [None, None];
        }
        [self.group(text, bar, strike), self.landing(text, bar, strike)]
    }

    fn group(&self, text: &Text, bar: &Bar, strike: Strike) -> Option<String> {
        let report = self.piece.report.layers.get(self.layer).filter(|_| text.groups)?;
        let section = report.sections.get(bar.section).filter(|s| s.section == bar.section)?;
        Some(section.groups.as_ref()?.cells.get(strike.number)?.to_string())
    }

    fn landing(&self, text: &Text, bar: &Bar, strike: Strike) -> Option<String> {
        if !text.has_landings() {
            return None;
        }
        let frame = self.piece.groove.frame(self.layer, bar.section);
        let spots = self.spots.get(bar.section)?;
        let spot = *spots.get(spots.partition_point(|s| s.first <= strike.cell).checked_sub(1)?)?;
        let spot = Spot { cell: strike.cell - spot.first, ..spot };
        let told = match &text.landings {
            Landings::At(depths) => depths.contains(&depth(spot, frame)),
            _ => true,
        };
        told.then(|| syllable(spot, frame))
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
        assert_eq!(beams_of("group"), Ok(Beaming::Groups));
        assert_eq!(beams_of("groups"), Err("allowed are: beat, group, accent".into()));
        assert_eq!(Text::parse("half,landings,third"), Text::parse("landings"));
    }
}
