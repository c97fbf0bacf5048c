//! What is to be heard, and where it is heard, as values. It must not know what makes it sound, nor the state.

use crate::rhythm::{Fraction, Groove, Time};
use std::sync::Arc;

/// What is to be heard: a loop, or takes that follow each other.
#[derive(Debug, Clone, PartialEq)]
pub enum Sounding {
    /// Round and round.
    Loop(Playing),
    /// One take after the other.
    Sequence(Sequence),
}

/// A loop.
#[derive(Debug, Clone, PartialEq)]
pub struct Playing {
    /// The groove.
    pub groove: Arc<Groove>,
    /// Playing speed; 1 is as written.
    pub speed: Fraction,
    /// What is played round.
    pub over: Over,
    /// Whether the layers sound; otherwise the clicks are alone.
    pub layers: bool,
    /// How the written beat is clicked.
    pub beat: Clicks,
    /// The hearings that are clicked.
    pub lines: Vec<Pulses>,
}

/// What sounds in a take.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Switches {
    /// The layers.
    pub layers: bool,
    /// The click of the written beat.
    pub beat: bool,
    /// The click of the hearing in the strip.
    pub hearing: bool,
}

/// What is played round.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Over {
    /// The whole groove.
    All,
    /// One section.
    Section(usize),
    /// A part of a section.
    Part {
        /// The section.
        section: usize,
        /// Its start.
        from: Time,
        /// Its end.
        to: Time,
    },
}

/// How a pulse is clicked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Clicks {
    /// Not at all.
    Off,
    /// Once each.
    #[default]
    Plain,
    /// Its halves only.
    OffBeat,
    /// So many times each, 2 to 4.
    Cut(u8),
}

impl Clicks {
    /// The next of the ways that are heard, round and round.
    pub(crate) fn next(self) -> Self {
        match self {
            Clicks::Off | Clicks::Cut(4..) => Clicks::Plain,
            Clicks::Plain => Clicks::OffBeat,
            Clicks::OffBeat => Clicks::Cut(2),
            Clicks::Cut(n) => Clicks::Cut(n + 1),
        }
    }

    /// A few characters behind the name of the pulse; none for plain clicks.
    pub(crate) fn words(self) -> String {
        match self {
            Clicks::Off | Clicks::Plain => String::new(),
            Clicks::OffBeat => "/off".into(),
            Clicks::Cut(n) => format!("/{n}"),
        }
    }
}

/// Sides of the hearings' clicks, by their index: the written beat clicks in the middle.
pub const SIDES: [i8; 4] = [60, -60, 90, -90];

/// The pulses of a hearing that is clicked.
#[derive(Debug, Clone, PartialEq)]
pub struct Pulses {
    /// In seconds at full speed from the groove's start, every time through counted, in rising order.
    pub pulses: Arc<Vec<f64>>,
    /// Length of the whole groove in seconds at full speed.
    pub length: f64,
    /// How they are clicked.
    pub clicks: Clicks,
    /// What tells it from others: its pitch and its side.
    pub index: u8,
    /// Where in the groove that which is played round begins, in seconds at full speed.
    pub lead: f64,
}

/// Takes that follow each other.
#[derive(Debug, Clone, PartialEq)]
pub struct Sequence {
    /// What tells it from one that was played before.
    pub number: u32,
    /// All of them, in order.
    pub takes: Vec<Take>,
    /// The one to begin with.
    pub at: usize,
    /// Which time through falls silent after its opening, at first: every so manyth; `None` for none.
    pub silence: Option<u32>,
}

/// One take of a sequence.
#[derive(Debug, Clone, PartialEq)]
pub struct Take {
    /// What is heard.
    pub playing: Playing,
    /// How many times through; `None` until the user goes on.
    pub times: Option<u32>,
    /// Whether it is counted in.
    pub count_in: bool,
}

/// Where the groove is heard.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Head {
    /// Section, from 0.
    pub section: usize,
    /// Time through, from 0.
    pub pass: usize,
    /// Whole notes from the section's start.
    pub wholes: f64,
}

/// What was heard at a certain instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Heard {
    /// Section, from 0.
    pub section: usize,
    /// Time through, from 0.
    pub pass: usize,
    /// Whole notes from the section's start.
    pub wholes: f64,
    /// Turns of the loop completed since it was started.
    pub turns: u64,
    /// Length of a buffer of the sound device in ms: no instant is known better than to a part of it.
    pub grain_ms: f64,
}
