//! The commands on a groove, as values.

use super::loop_region::Mark;
use crate::rhythm::{Accent, GridPlace, LengthScale, Meter, Micros, Pitch, Place, Swing, Tempo, Voice};

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Motion {
    /// One cell earlier, also into the section before.
    Left,
    /// One cell later, also into the next section.
    Right,
    /// The layer above, at the same time.
    Up,
    /// The layer below, at the same time.
    Down,
    /// The start of the beat, or of the one before.
    BeatLeft,
    BeatRight,
    /// The start of the bar, or of the one before.
    BarLeft,
    BarRight,
    NextAttack,
    PreviousAttack,
    SectionStart,
    SectionEnd,
    GrooveStart,
    GrooveEnd,
    NextSection,
    PreviousSection,
    /// A place, or the nearest that exists.
    To(Place),
}

/// Where the division changes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Sections {
    /// In the cursor's section.
    Current,
    All,
}

/// What stays when the meter or the division changes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Keep {
    /// Attacks keep their times.
    NoteValues,
    /// Cells keep their order, and get another length.
    Cells,
}

/// How often a selection is repeated.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Repeats {
    More(usize),
    ToSectionEnd,
}

/// What happens to groups behind the end of the groove.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Overflow {
    Ask,
    AddBars,
    Cut,
}

/// What a paste takes from the clipboard.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum PasteContent {
    All,
    /// Attacks and lengths, without accents and pitches.
    Rhythm,
}

/// What a paste does to a cycle.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum PasteInCycle {
    Ask,
    /// Writes the cycle out first.
    WriteOut,
    /// Makes the pasted cells the cycle.
    Replace,
}

/// A command on the groove. With a selection, commands on cells work on all of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Command {
    /// Moves the cursor and clears the selection.
    Move(Motion),
    /// Moves the cursor and extends the selection.
    Extend(Motion),
    /// Selects the cursor's bar; widens a selection to whole bars, or adds the next bar to one of whole bars.
    SelectBar,
    /// Selects the layer's section.
    SelectSection,
    /// Selects the section in all layers.
    SelectAllLayers,
    /// Selects this many cells of the layer from the cursor on.
    SelectCells(usize),
    Deselect,
    /// Makes the selection, or the cursor's bar, the loop region.
    LoopRegion,
    /// Sets the loop start at the selection or cell; without an end behind it, the section's end becomes the loop end.
    LoopStart,
    /// Sets the loop end after the selection or cell; without a start before it, the section's start becomes the loop start.
    LoopEnd,
    /// Extends the loop region over the selection or the cursor's bar; without a region these become it.
    ExtendLoopRegion,
    /// Makes the time between two marks the loop region.
    LoopBetween(Mark, Mark),
    ClearLoopRegion,
    /// Enters an attack of this many cells and moves on to its end.
    EnterGroup(usize),
    EnterGroups(Vec<u32>, Overflow),
    /// Enters attacks at places that have none; the cursor stays.
    AcceptOnsets(Vec<Place>),
    /// Enters an attack in the cell and moves on.
    Attack(Accent),
    /// Switches between attack and rest; the cursor stays.
    Toggle,
    /// Enters a hold and moves on.
    Hold,
    /// Enters a rest and moves on.
    Rest,
    /// Replaces the selection or the cell with rests; the cursor stays.
    Erase,
    /// Moves back to the previous attack and removes it with its holds.
    DeletePrevious,
    /// The next accent: plain, accent, ghost, plain.
    CycleAccent,
    /// Makes attacks louder by a number of levels, softer if negative.
    AccentBy(i32),
    /// Makes attacks flams, or plain strokes if the first one is a flam.
    ToggleFlam,
    /// Sets the pitch of attacks; `None` sounds the default of the voice.
    Pitch(Option<Pitch>),
    /// Moves pitches by semitones.
    Transpose(i32),
    /// Divides beats from the cursor's on into a number of cells.
    Tuplet {
        cells: usize,
        beats: usize,
    },
    /// Divides the cursor's beat by the layer's division again.
    EvenBeat,
    /// Copies the selection or the bar.
    Copy,
    /// Copies the selection or the bar and leaves rests.
    Cut,
    /// Pastes the copied cells and moves to their end.
    Paste(PasteContent, PasteInCycle),
    /// Repeats the selection or the bar after it.
    Repeat(Repeats),
    /// Rotates the selection or the layer's section by a number of cells, later if positive.
    Rotate(i32),
    /// Shifts the selection or the layer's section by a number of cells, later if positive.
    Shift(i32),
    /// Adds a layer below the cursor's.
    AddLayer(String, Voice),
    /// Adds a layer for each voice of a drum kit below the cursor's.
    AddKit,
    RemoveLayer,
    CopyLayer,
    /// Moves the layer by a number of rows, down if positive.
    MoveLayer(i32),
    RenameLayer(String),
    Voice(Voice),
    /// Moves by a number of voices in the list of voices.
    NextVoice(i32),
    /// Makes the selection twice or half as long.
    ScaleLengths(LengthScale),
    /// Sets the layer's cells per beat.
    Division(u16, Sections, Keep),
    /// Makes the first cells of the layer's section a cycle; `None` writes it out.
    Cycle(Option<usize>),
    /// Sets the layer's swing; `None` takes the section's.
    LayerSwing(Option<Swing>),
    /// Sets the layer's sound file; `None` plays the voice.
    SoundFile(Option<String>),
    /// Sets the layer's accent depth in dB; `None` leaves it to the voice.
    AccentDepth(Option<u8>),
    /// Sets the layer's gain in dB.
    Gain(i8),
    /// Changes the layer's gain by a number of dB.
    GainBy(i8),
    /// Sets the layer's pan, -100 left to 100 right.
    Pan(i8),
    Mute,
    Solo,
    /// Adds a section like the cursor's after it, with the given or the next free name and perhaps another meter.
    AddSection(Option<String>, Option<Meter>),
    CopySection,
    RemoveSection,
    /// Moves the section by a number of places, later if positive.
    MoveSection(i32),
    RenameSection(String),
    Meter(Meter, Keep),
    Tempo(Tempo),
    /// Changes the section's tempo by a number of beats per minute.
    TempoBy(i32),
    Bars(u16),
    /// Adds bars at the section's end, or removes them.
    BarsBy(i32),
    /// Inserts a bar before the cursor's.
    InsertBar,
    /// Deletes the bars of the selection, or the cursor's, in all layers.
    DeleteBars,
    /// Makes the bars from the cursor's on a section of their own.
    SplitSection,
    JoinSections,
    /// Sets how many times the section is played.
    Times(u16),
    Swing(Option<Swing>),
    Title(String),
    Note(String),
    /// Sets the file of the recording, and keeps its anchors; `None` removes the recording.
    Recording(Option<String>),
    /// Says when the cursor's cell is heard in the recording.
    SetAnchor(Micros),
    /// Moves the anchor at the cursor, or the last one before it, by microseconds.
    MoveAnchor(i64),
    /// Removes the anchor at a place; by default that at the cursor, or the last one before it.
    RemoveAnchor(Option<GridPlace>),
    /// Removes all anchors.
    RemoveAnchors,
    Undo,
    Redo,
}
