//! Every command that works on a groove, as values.

use crate::rhythm::{Accent, Meter, Pitch, Place, Swing, Tempo, Voice};

/// Where the cursor goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Motion {
    /// One cell earlier; from the first cell into the section before.
    Left,
    /// One cell later; from the last cell into the next section.
    Right,
    /// The layer above, at the same time.
    Up,
    /// The layer below, at the same time.
    Down,
    /// The start of the beat, or of the one before.
    BeatLeft,
    /// The start of the next beat.
    BeatRight,
    /// The start of the bar, or of the one before.
    BarLeft,
    /// The start of the next bar.
    BarRight,
    /// The next attack of the layer.
    NextAttack,
    /// The attack of the layer before.
    PreviousAttack,
    /// The first cell of the section.
    SectionStart,
    /// The last cell of the section.
    SectionEnd,
    /// The first cell of the groove.
    GrooveStart,
    /// The last cell of the groove.
    GrooveEnd,
    /// The next section, at its first cell.
    NextSection,
    /// The section before, at its first cell.
    PreviousSection,
    /// A place; the nearest one there is.
    To(Place),
}

/// One command of the user. Where there is a selection, commands on cells work on all of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Command {
    /// Moves the cursor and drops the selection.
    Move(Motion),
    /// Moves the cursor and selects what lies between.
    Extend(Motion),
    /// Selects the bar of the layer.
    SelectBar,
    /// Selects the layer's whole section.
    SelectSection,
    /// Selects the section in all layers.
    SelectAllLayers,
    /// Drops the selection.
    Deselect,
    /// Lays an attack that lasts so many cells and moves on by as many.
    Lay(usize),
    /// Lays a line of groups, one after the other.
    LayLine(Vec<u32>),
    /// An attack of this accent in the cell, and one cell on.
    Attack(Accent),
    /// An attack where there is none, a rest where there is one; the cursor stays.
    Toggle,
    /// Goes on sounding through the cell, and one cell on.
    Hold,
    /// A rest in the cell, and one cell on.
    Rest,
    /// Rests in the selection or the cell; the cursor stays.
    Erase,
    /// Goes back to the attack before and takes it away with its holds.
    TakeBack,
    /// The next accent: plain, accent, ghost, plain.
    CycleAccent,
    /// Pitch of the attacks; `None` sounds the voice's own.
    Pitch(Option<Pitch>),
    /// Moves pitches by semitones.
    Transpose(i32),
    /// So many cells in the time of so many beats, from the beat of the cursor on.
    Tuplet {
        /// Cells.
        cells: usize,
        /// Beats.
        beats: usize,
    },
    /// The beat of the cursor at the layer's own division again.
    EvenBeat,
    /// Copies the selection or the bar.
    Copy,
    /// Copies the selection or the bar and leaves rests.
    Cut,
    /// Puts down what was copied, and moves to its end.
    Paste,
    /// Puts the selection or the bar down again after itself, so many times.
    Repeat(usize),
    /// Turns the selection or the layer's section round by so many cells, later if positive.
    Rotate(i32),
    /// Moves the selection or the layer's section by so many cells, later if positive; rests come in.
    Shift(i32),
    /// A new layer below the cursor's: name and voice.
    AddLayer(String, Voice),
    /// Takes the layer away.
    RemoveLayer,
    /// A copy of the layer below it.
    CopyLayer,
    /// Moves the layer by so many rows, down if positive.
    MoveLayer(i32),
    /// Renames the layer.
    RenameLayer(String),
    /// Voice of the layer.
    Voice(Voice),
    /// The voice so many further in the list of voices.
    NextVoice(i32),
    /// Cells per beat of the layer.
    Division(u16),
    /// Makes the first so many cells of the layer's section a cycle; `None` writes it out.
    Cycle(Option<usize>),
    /// Swing of the layer; `None` takes the section's.
    LayerSwing(Option<Swing>),
    /// The user's own sound for the layer, by its name; `None` takes the voice.
    SoundFile(Option<String>),
    /// How much an accent stands above a plain attack and a ghost below it, in dB; `None` leaves it to the voice.
    AccentDepth(Option<u8>),
    /// Gain of the layer in dB.
    Gain(i8),
    /// Changes the gain by so many dB.
    GainBy(i8),
    /// Place of the layer, -100 left to 100 right.
    Pan(i8),
    /// Silences the layer, or lets it sound again.
    Mute,
    /// Hears the layer alone with other soloed ones, or no longer.
    Solo,
    /// A new section after the cursor's, with its meter, tempo and bars: its name, or else the next free letter, and another meter
    /// if it has one.
    AddSection(Option<String>, Option<Meter>),
    /// A copy of the section after it.
    CopySection,
    /// Takes the section away.
    RemoveSection,
    /// Moves the section by so many places, later if positive.
    MoveSection(i32),
    /// Renames the section.
    RenameSection(String),
    /// Meter of the section.
    Meter(Meter),
    /// Tempo of the section.
    Tempo(Tempo),
    /// Tempo of the section changed by so many beats per minute.
    TempoBy(i32),
    /// Bars of the section.
    Bars(u16),
    /// Adds bars at the section's end, or takes them away.
    BarsBy(i32),
    /// Times through of the section.
    Times(u16),
    /// Swing of the section.
    Swing(Option<Swing>),
    /// Title of the groove.
    Title(String),
    /// The free text that stands with the groove.
    Note(String),
    /// Back one step.
    Undo,
    /// Forth one step.
    Redo,
}
