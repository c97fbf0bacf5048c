//! The bounds of every number in a groove.

use super::text::expected;

/// The bounds of one quantity.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Bound {
    /// Name of the quantity in messages.
    pub what: &'static str,
    /// Least value.
    pub least: i64,
    /// Greatest value.
    pub greatest: i64,
    /// Unit, in the plural.
    pub unit: &'static str,
}

impl Bound {
    /// The value, if it is within the bounds.
    pub(crate) fn check(&'static self, value: i64) -> Result<i64, OutOfBound> {
        if (self.least..=self.greatest).contains(&value) { Ok(value) } else { Err(OutOfBound { bound: self, value }) }
    }

    /// The range as text: `1 to 64 cells`.
    pub fn range(&self) -> String {
        format!("{} to {} {}", self.least, self.greatest, self.unit)
    }
}

/// A number outside its bounds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OutOfBound {
    pub(crate) bound: &'static Bound,
    pub(crate) value: i64,
}

impl std::fmt::Display for OutOfBound {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}: {}", self.bound.what, expected(self.bound.range(), self.value))
    }
}

macro_rules! bounds {
    ($($name:ident: $what:literal, $least:literal, $greatest:literal, $unit:literal;)*) => {
        $(#[doc = concat!("Bounds of ", $what, ": ", $least, " to ", $greatest, " ", $unit, ".")]
        pub(crate) static $name: Bound = Bound { what: $what, least: $least, greatest: $greatest, unit: $unit };)*
        /// All bounds.
        pub static ALL: &[&Bound] = &[$(&$name),*];
    };
}

bounds! {
    LAYERS: "the number of layers", 0, 64, "layers";
    SECTIONS: "the number of sections", 1, 128, "sections";
    BARS: "the number of bars in a section", 1, 1024, "bars";
    TIMES: "the number of times a section is played", 1, 64, "times";
    BEATS_PER_BAR: "the number of beats in a bar", 1, 128, "beats";
    DENOMINATOR: "the lower number of a meter", 1, 64, "(a power of two)";
    DIVISION: "the division", 1, 32, "cells per beat";
    TUPLET_CELLS: "the number of cells in a tuplet", 1, 64, "cells";
    TUPLET_BEATS: "the number of beats in a tuplet", 1, 16, "beats";
    CYCLE: "the length of a cycle", 1, 4096, "cells";
    CELLS_OF_LAYER: "the number of cells in a layer, repeats included", 0, 65_536, "cells";
    TEMPO: "the tempo", 5, 1000, "beats per minute";
    SWING_TERM: "each term of a swing ratio", 1, 16, "parts";
    GAIN: "the gain", -60, 12, "dB";
    PAN: "the pan", -100, 100, "(left to right)";
    ACCENT_DEPTH: "the accent depth", 0, 18, "dB";
    NAME: "the length of a name", 1, 64, "characters";
    FILE_NAME: "the length of the name of a recording", 1, 1024, "characters";
    ANCHORS: "the number of anchors", 0, 8192, "anchors";
    ANCHOR_PASS: "the pass of an anchor", 1, 8192, "(passes count from 1)";
    ANCHOR_BAR: "the bar of an anchor", 1, 65_536, "(bars count from 1)";
    ANCHOR_BEAT: "the beat of an anchor", 1, 128, "(beats count from 1)";
    RECORDING_TIME: "the time of an anchor", 0, 10_800, "seconds";
    SOUND_NAME: "the length of the name of a sound", 1, 255, "characters";
}
