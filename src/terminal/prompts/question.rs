//! The questions of the prompt, with their labels and the forms of their answers.

use crate::session::Keep;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Question {
    Groups,
    Pitch,
    Tuplet,
    Repeat,
    Rotate,
    Shift,
    SelectCells,
    AddLayer,
    RenameLayer,
    Voice,
    Division(Keep),
    Cycle,
    LayerSwing,
    SoundFile,
    AccentDepth,
    Gain,
    Pan,
    AddSection,
    RenameSection,
    Meter(Keep),
    Tempo,
    Bars,
    Times,
    Swing,
    Speed,
    Title,
    Note,
    Bar,
    Takes,
    Ladder,
    SaveAs,
    ExportAs,
    HandoutInto,
    RenderWav,
    TakesWav,
    LadderWav,
    Import,
    PicturesAs,
}

impl Question {
    /// The question with the other of its two meanings; others stay the same.
    pub(crate) fn other_meaning(self) -> Self {
        let other = |keep| if keep == Keep::Cells { Keep::NoteValues } else { Keep::Cells };
        match self {
            Question::Meter(keep) => Question::Meter(other(keep)),
            Question::Division(keep) => Question::Division(other(keep)),
            question => question,
        }
    }

    /// The label, and the allowed forms of an answer.
    pub(crate) fn label_and_forms(self) -> (&'static str, &'static str) {
        match self {
            Question::Groups => ("Groups", "cells from attack to attack: 12, 3+3+2+3 or 3(4+4+3)+5+2"),
            Question::Pitch => ("Pitch", "a note and its octave: E2, F#3, Bb1; empty: the voice's own"),
            Question::Tuplet => ("Tuplet", "cells in a beat: 5; cells in beats: 7/2"),
            Question::Repeat => ("Repeat", "number of times after it; end: to the end of the section"),
            Question::Rotate => ("Rotate by", "cells later; negative: earlier"),
            Question::Shift => ("Shift by", "cells later; negative: earlier"),
            Question::SelectCells => ("Select", "number of cells from the cursor on"),
            Question::AddLayer => ("New layer", "a voice, or a name and a voice: kick, low kick"),
            Question::RenameLayer => ("Name of the layer", "1 to 64 characters"),
            Question::Voice => ("Voice", "kick snare hat open-hat rim clap tom wood bell shaker bass pluck"),
            Question::Division(_) => ("Division", "cells per beat: 1 to 32"),
            Question::Cycle => ("Cycle", "number of cells from the start of the section to repeat"),
            Question::LayerSwing => ("Swing of the layer", "long:short, as 2:1; empty: the section's"),
            Question::SoundFile => ("Sound file", "a file next to the groove, as knock.wav; empty: the voice"),
            Question::AccentDepth => ("Accent depth", "0 to 18 dB; empty: the voice's own"),
            Question::Gain => ("Gain", "-60 to 12 dB"),
            Question::Pan => ("Pan", "-100 left to 100 right"),
            Question::AddSection => ("New section", "a name, a meter, or both: B 3+2+2/8; empty: next letter"),
            Question::RenameSection => ("Name of the section", "1 to 64 characters"),
            Question::Meter(_) => ("Meter", "4/4, 6/8, 13/16 or 3+2+2/8"),
            Question::Tempo => ("Tempo", "beats per minute: 150, 132.5; with the note value: 1/4.=90"),
            Question::Bars => ("Bars", "1 to 1024"),
            Question::Times => ("Times through", "1 to 64"),
            Question::Swing => ("Swing of the section", "long:short, as 2:1; empty: straight"),
            Question::Speed => ("Speed", "20 to 200 percent of the written tempo"),
            Question::Title => ("Title", "any text"),
            Question::Note => ("Note", "any text; saved in the file"),
            Question::Bar => ("Bar", "a bar of this section, from 1"),
            Question::Takes => ("Takes", "passes of each, 1 to 64: 2; with a count-in: 2 count"),
            Question::Ladder => {
                ("Ladder", "50-100/10 percent, x4 passes each; key: wait for a key; 1/4: mute every 4th pass")
            }
            Question::SaveAs => ("Save as", "a file name, as riff.toml"),
            Question::ExportAs => ("Export to", "a file name"),
            Question::HandoutInto => ("Export handout to", "a folder; created if missing"),
            Question::RenderWav => ("Export WAV to", "a file name; x4: passes; 30s: seconds"),
            Question::TakesWav => ("Export takes to", "a file name; x2: passes; count: with a count-in"),
            Question::LadderWav => ("Export ladder to", "a file name; writes the last ladder"),
            Question::Import => ("Import", "a MIDI or MusicXML file; with the largest move of an onset: riff.mid 20ms"),
            Question::PicturesAs => {
                ("Pictures", "theme, width, PNG scale, notation: screen 800 x2 beams group over groups")
            }
        }
    }

    /// The allowed forms, shorter, for an error.
    pub(crate) fn short_forms(self) -> &'static str {
        match self {
            Question::Groups => "12, 3+3+2+3, 3(4+4+3)+5+2",
            Question::Pitch => "E2, F#3, Bb1",
            Question::Tuplet => "5, 7/2",
            Question::Repeat => "a whole number, end",
            Question::Rotate | Question::Shift | Question::Cycle | Question::SelectCells => "a whole number",
            Question::AddLayer => "kick, low kick (the voice comes last)",
            Question::AddSection => "B, 3/4, B 3+2+2/8",
            Question::LayerSwing | Question::Swing => "long:short, both 1 to 16, as 2:1 or 3:2",
            Question::Tempo => "150, 132.5, 1/4.=90",
            Question::Takes => "2, 2 count",
            Question::RenderWav => "riff.wav, riff.wav x4 44100hz, riff.wav 30s",
            Question::TakesWav => "riff.wav, riff.wav x2 count 44100hz",
            Question::LadderWav => "riff.wav, riff.wav 44100hz",
            Question::Import => "riff.mid, riff.mid 20ms (0ms to 100ms)",
            Question::PicturesAs => "print 1000 x2 beams beat over groups under nothing",
            Question::Ladder => "50-100/10 x4, 50-100/10 x4 key 1/4 (20 to 200%)",
            other => other.label_and_forms().1,
        }
    }
}
