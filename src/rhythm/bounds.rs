//! The least and greatest of every number a groove may hold. It must not know where the numbers come from.

/// One bounded quantity: its words for messages, its least and greatest value, and its unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Bound {
    /// What the number is, as a message says it.
    pub what: &'static str,
    /// Least value allowed, inclusive.
    pub least: i64,
    /// Greatest value allowed, inclusive.
    pub greatest: i64,
    /// Unit, in the plural.
    pub unit: &'static str,
}

impl Bound {
    /// Gives the value back if it lies within the bound.
    ///
    /// # Errors
    /// [`OutOfBound`] with the value and the bound.
    pub fn check(&'static self, value: i64) -> Result<i64, OutOfBound> {
        if (self.least..=self.greatest).contains(&value) { Ok(value) } else { Err(OutOfBound { bound: self, value }) }
    }

    /// The bound as a message says it: `1 to 64 cells`.
    pub fn allowed(&self) -> String {
        format!("{} to {} {}", self.least, self.greatest, self.unit)
    }
}

/// A number outside its bound.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OutOfBound {
    /// The bound that was broken.
    pub bound: &'static Bound,
    /// The value found.
    pub value: i64,
}

impl std::fmt::Display for OutOfBound {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} is {}, allowed is {}", self.bound.what, self.value, self.bound.allowed())
    }
}

macro_rules! bounds {
    ($($name:ident: $what:literal, $least:literal, $greatest:literal, $unit:literal;)*) => {
        $(#[doc = concat!("Bound of ", $what, ": ", $least, " to ", $greatest, " ", $unit, ".")]
        pub static $name: Bound = Bound { what: $what, least: $least, greatest: $greatest, unit: $unit };)*
        /// Every bound, for the README's table.
        pub static ALL: &[&Bound] = &[$(&$name),*];
    };
}

bounds! {
    LAYERS: "the number of layers", 0, 64, "layers";
    SECTIONS: "the number of sections", 1, 128, "sections";
    BARS: "the number of bars of a section", 1, 1024, "bars";
    TIMES: "the times through of a section", 1, 64, "times";
    BEATS_PER_BAR: "the number of beats in a bar", 1, 64, "beats";
    DENOMINATOR: "the lower number of a meter", 1, 64, "(a power of two)";
    DIVISION: "the division", 1, 32, "cells per beat";
    TUPLET_CELLS: "the number of cells of a tuplet", 1, 64, "cells";
    TUPLET_BEATS: "the number of beats of a tuplet", 1, 16, "beats";
    CYCLE: "the cycle", 1, 4096, "cells";
    CELLS_OF_LAYER: "the number of cells of a layer, all times through counted", 0, 65_536, "cells";
    TEMPO: "the tempo", 5, 1000, "beats per minute";
    SWING_TERM: "a number of a swing ratio", 1, 16, "parts";
    GAIN: "the gain", -60, 12, "dB";
    PAN: "the pan", -100, 100, "(left to right)";
    ACCENT_DEPTH: "the accent depth", 0, 18, "dB";
    NAME: "the length of a name", 1, 64, "characters";
    SOUND_NAME: "the length of the name of a sound", 1, 255, "characters";
}
