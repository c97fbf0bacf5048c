//! What can be asked for on one line, and the words it is asked in.

/// What is asked for on one line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Question {
    /// Port and token of a far speaker.
    Speaker,
    /// A number of cells, or a line of groups.
    Groups,
    /// A pitch.
    Pitch,
    /// A tuplet.
    Tuplet,
    /// Times to repeat.
    Repeat,
    /// Cells to rotate by.
    Rotate,
    /// Cells to shift by.
    Shift,
    /// Name and voice of a new layer.
    AddLayer,
    /// Name of the layer.
    RenameLayer,
    /// Voice of the layer.
    Voice,
    /// Division of the layer.
    Division,
    /// Cells of the cycle.
    Cycle,
    /// Swing of the layer.
    LayerSwing,
    /// The file of the layer's own sound.
    SoundFile,
    /// Accent depth of the layer.
    AccentDepth,
    /// Gain of the layer.
    Gain,
    /// Pan of the layer.
    Pan,
    /// Name and meter of a new section.
    AddSection,
    /// Name of the section.
    RenameSection,
    /// Meter of the section.
    Meter,
    /// Tempo of the section.
    Tempo,
    /// Bars of the section.
    Bars,
    /// Times through of the section.
    Times,
    /// Swing of the section.
    Swing,
    /// Playing speed in percent.
    Speed,
    /// Title of the groove.
    Title,
    /// The text that stands with the groove.
    Note,
    /// A bar to go to.
    Bar,
    /// Times through each take of all in a row.
    Takes,
    /// The ladder.
    Ladder,
    /// File name to save under.
    SaveAs,
    /// The file an export goes to.
    ExportAs,
    /// The folder a handout goes to.
    HandoutInto,
    /// The file of what is heard.
    RenderWav,
    /// The file of takes.
    TakesWav,
    /// The file of a ladder.
    LadderWav,
    /// The file to import.
    Import,
    /// How pictures look.
    PicturesAs,
}

impl Question {
    /// What is asked for, and the forms allowed.
    pub(crate) fn words(self) -> (&'static str, &'static str) {
        match self {
            Question::Groups => ("Groups", "cells from attack to attack: 12, 3+3+2+3 or 3(4+4+3)+5+2"),
            Question::Pitch => ("Pitch", "a note and its octave: E2, F#3, Bb1; empty: the voice's own"),
            Question::Tuplet => ("Tuplet", "cells in a beat: 5; cells in beats: 7/2"),
            Question::Repeat => ("Repeat", "number of times"),
            Question::Rotate => ("Rotate by", "cells later; negative: earlier"),
            Question::Shift => ("Shift by", "cells later; negative: earlier"),
            Question::AddLayer => ("New layer", "a voice, or a name and a voice: kick, low kick"),
            Question::RenameLayer => ("Name of the layer", "1 to 64 characters"),
            Question::Voice => ("Voice", "kick snare hat open-hat rim clap tom wood bell shaker bass pluck"),
            Question::Division => ("Division", "cells per beat: 1 to 32"),
            Question::Cycle => ("Cycle", "cells from the section's start that repeat against the bars"),
            Question::LayerSwing => ("Swing of the layer", "long:short, as 2:1; empty: the section's"),
            Question::SoundFile => ("Sound file", "a file next to the groove, as knock.wav; empty: the voice"),
            Question::AccentDepth => ("Accent depth", "0 to 18 dB; empty: the voice's own"),
            Question::Gain => ("Gain", "-60 to 12 dB"),
            Question::Pan => ("Pan", "-100 left to 100 right"),
            Question::AddSection => ("New section", "a name, a meter, or both: B 3+2+2/8; empty: next letter"),
            Question::RenameSection => ("Name of the section", "1 to 64 characters"),
            Question::Meter => ("Meter", "4/4, 6/8, 13/16 or 3+2+2/8"),
            Question::Tempo => ("Tempo", "beats per minute: 150, 132.5; with the note value: 1/4.=90"),
            Question::Bars => ("Bars", "1 to 1024"),
            Question::Times => ("Times through", "1 to 64"),
            Question::Swing => ("Swing of the section", "long:short, as 2:1; empty: straight"),
            Question::Speed => ("Speed", "20 to 200 percent of the written tempo"),
            Question::Title => ("Title", "any text"),
            Question::Note => ("Note", "any text; saved in the file"),
            Question::Bar => ("Bar", "a bar of this section, from 1"),
            Question::Takes => ("Takes", "passes of each, 1 to 64: 2; with a count-in: 2 count"),
            Question::Ladder => ("Ladder", "from-to/step in %, loops; key: wait for a key; 1/4: silent loops"),
            Question::SaveAs => ("Save as", "a file name, as riff.toml"),
            Question::Speaker => {
                ("Remote speaker", "port and token, as the speaker shows them: 7450 k7mp-2xqd-9fht-w3bn")
            }
            Question::ExportAs => ("Export to", "a file name"),
            Question::HandoutInto => ("Export handout to", "a folder; created if missing"),
            Question::RenderWav => ("Export WAV to", "a file name; x4: passes; 30s: seconds"),
            Question::TakesWav => ("Export takes to", "a file name; x2: passes; count: with a count-in"),
            Question::LadderWav => ("Export ladder to", "a file name; writes the last ladder"),
            Question::Import => ("Import", "a MIDI or MusicXML file; 20ms: how far onsets may move"),
            Question::PicturesAs => ("Pictures", "print or screen, width, scale of a PNG, notation"),
        }
    }

    /// The forms allowed, shorter, for a refusal.
    pub(crate) fn allowed(self) -> &'static str {
        match self {
            Question::Groups => "12, 3+3+2+3, 3(4+4+3)+5+2",
            Question::Pitch => "E2, F#3, Bb1",
            Question::Tuplet => "5, 7/2",
            Question::Repeat | Question::Rotate | Question::Shift | Question::Cycle => "a whole number",
            Question::AddLayer => "kick, low kick (the voice comes last)",
            Question::AddSection => "B, 3/4, B 3+2+2/8",
            Question::LayerSwing | Question::Swing => "long:short, both 1 to 16, as 2:1 or 3:2",
            Question::Tempo => "150, 132.5, 1/4.=90",
            Question::Speaker => "7450 k7mp-2xqd-9fht-w3bn",
            Question::Takes => "2, 2 count",
            Question::RenderWav => "riff.wav, riff.wav x4 44100hz, riff.wav 30s",
            Question::TakesWav => "riff.wav, riff.wav x2 count 44100hz",
            Question::LadderWav => "riff.wav, riff.wav 44100hz",
            Question::Import => "a file, or one and 0ms to 100ms",
            Question::PicturesAs => "print 1000 x2 beams beat over groups under nothing",
            Question::Ladder => "50-100/10 x4, 50-100/10 x4 key 1/4 (20 to 200%)",
            other => other.words().1,
        }
    }
}
