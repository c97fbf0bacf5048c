//! What is asked to be made or brought in, and what becomes of it, as values. It must not know formats, files or how anything is
//! made.

use super::playback::request::Playing;
use crate::analysis::{Hearing, Kind, Limits};
use crate::describe::notes::NotationOptions;
use crate::rhythm::{Fraction, Groove};
use std::sync::Arc;

/// Something that can be made of a groove, as the searched list shows it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Offer {
    /// Its name.
    pub name: String,
    /// The ending of its file, without a dot.
    pub ending: &'static str,
    /// What it is.
    pub words: String,
}

/// Everything that can be made.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Offers {
    /// Formats of the groove.
    pub formats: Vec<Offer>,
    /// Kinds of handout.
    pub pages: Vec<Offer>,
}

/// What is chosen from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Choice {
    /// A format for the whole groove.
    Groove,
    /// A format for the section of the cursor.
    Section,
    /// A handout.
    Handout,
}

/// Something to be made, of the groove as it was when it was asked for.
#[derive(Debug, Clone, PartialEq)]
pub struct Order {
    /// The groove.
    pub groove: Arc<Groove>,
    /// Its file, whose folder has its own sounds.
    pub file: Option<String>,
    /// Where it goes: a file, or of a handout the folder.
    pub path: String,
    /// Whether what stands there is written over.
    pub over: bool,
    /// The limits of the user's ear.
    pub limits: Limits,
    /// The layers whose hearings are meant; none for the first with attacks.
    pub layers: Vec<usize>,
    /// The hearings that are wanted too.
    pub hearings: Vec<Mark>,
    /// Frames per second of sound.
    pub hertz: u32,
    /// What is made.
    pub what: What,
}

/// What is made.
#[derive(Debug, Clone, PartialEq)]
pub enum What {
    /// A format of this name.
    Format {
        /// Its name among the offers.
        offer: String,
        /// Only this section.
        section: Option<usize>,
        /// How pictures look.
        look: Look,
    },
    /// A handout of this name, its notation written so.
    Handout(String, NotationOptions),
    /// What is heard, once.
    Sound(Box<Playing>, Length),
    /// Takes back to back.
    Takes {
        /// Times through each.
        times: u32,
        /// Whether each is counted in.
        count_in: bool,
        /// Playing speed.
        speed: Fraction,
    },
    /// The steps of a ladder.
    Ladder {
        /// What is heard in each of them.
        playing: Box<Playing>,
        /// Their speeds, rising.
        speeds: Vec<Fraction>,
        /// Times through each.
        times: u32,
        /// Every how manyth time through falls silent at first.
        silence: Option<u32>,
    },
}

/// How much sound is made.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Length {
    /// So many times through, and what then rings on.
    Times(u32),
    /// So many seconds.
    Seconds(f64),
}

/// How pictures look, and notation.
#[derive(Debug, Clone, PartialEq)]
pub struct Look {
    /// For a screen, and not for print.
    pub screen: bool,
    /// Width in CSS pixels, 480 to 4000.
    pub width: f32,
    /// Pixels of a PNG to one of those, 0.1 to 8; the usual ones if `None`.
    pub scale: Option<f32>,
    /// How notation is written, also in scores and handouts.
    pub writing: NotationOptions,
}

impl Default for Look {
    fn default() -> Self {
        Self { screen: false, width: 1000.0, scale: None, writing: NotationOptions::default() }
    }
}

/// A hearing by what tells it from others, so that it is found again in another report.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Mark {
    /// What it is.
    pub kind: Kind,
    /// Its period in seconds at full speed.
    pub period: f64,
    /// Its first pulse, likewise.
    pub first: f64,
}

impl Mark {
    /// The mark of a hearing.
    pub fn of(hearing: &Hearing) -> Self {
        Self { kind: hearing.kind, period: hearing.period(), first: hearing.pulses.first().copied().unwrap_or(0.0) }
    }

    /// The hearing that is most like it, as an index; `None` if there is none of its kind.
    pub fn find(&self, hearings: &[Hearing]) -> Option<usize> {
        let off = |h: &Hearing| {
            let other = Mark::of(h);
            ((other.period / self.period).ln().abs(), (other.first - self.first).abs())
        };
        let same = hearings.iter().enumerate().filter(|(_, h)| h.kind == self.kind);
        let best = same.min_by(|a, b| {
            let (a, b) = (off(a.1), off(b.1));
            a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1))
        });
        best.map(|(index, _)| index)
    }
}

/// A groove that came in.
#[derive(Debug, Clone, PartialEq)]
pub struct Arrived {
    /// The groove.
    pub groove: Groove,
    /// The file it came from.
    pub from: String,
    /// What was changed or left out, one sentence each.
    pub remarks: Vec<String>,
}

/// Why something was not made or brought in. Nothing stands then under the name that was asked for but what stood there before.
#[derive(Debug, Clone, PartialEq)]
pub enum Ungiven {
    /// The user cancelled it.
    Cancelled,
    /// A file is there already: the order, and the file.
    Taken(Box<Order>, String),
    /// It cannot be; the words say why.
    Failed(String),
}
