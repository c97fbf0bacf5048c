//! The questions of the prompt, with their labels and the forms of their answers.

use crate::session::Keep;

/// Each question with its label, the allowed forms of an answer, and shorter ones for an error.
macro_rules! questions {
    ($($name:ident $(($meaning:ty))? $label:literal, $forms:literal $(, $short:literal)?;)*) => {
        #[derive(Debug, Clone, Copy, PartialEq, Eq)]
        pub(crate) enum Question {
            $($name $(($meaning))?,)*
        }

        impl Question {
            pub(crate) fn label_and_forms(self) -> (&'static str, &'static str) {
                match self {
                    $(Self::$name { .. } => ($label, $forms),)*
                }
            }

            pub(crate) fn short_forms(self) -> &'static str {
                match self {
                    $(Self::$name { .. } => [$($short,)? $forms][0],)*
                }
            }
        }
    };
}

questions! {
    Groups "Groups", "cells from attack to attack: 12, 3+3+2+3 or 3(4+4+3)+5+2", "12, 3+3+2+3, 3(4+4+3)+5+2";
    Pitch "Pitch", "a note and its octave: E2, F#3, Bb1; empty: the voice's own", "E2, F#3, Bb1";
    Tuplet "Tuplet", "cells in a beat: 5; cells in beats: 7/2", "5, 7/2";
    Repeat "Repeat", "number of repeats to add; end: to the end of the section", "a whole number, end";
    Rotate "Rotate by", "cells later; negative: earlier", "a whole number";
    Shift "Shift by", "cells later; negative: earlier", "a whole number";
    SelectCells "Select", "number of cells from the cursor on", "a whole number";
    AddLayer "New layer", "a voice, or a name and a voice: kick, low kick", "a voice as the last word, like kick or low kick";
    RenameLayer "Name of the layer", "1 to 64 characters";
    Voice "Voice", "a voice, or the start of its name",
        "kick snare hat open-hat ride crash rim clap tom low-tom wood cowbell bell shaker bass pluck";
    Division(Keep) "Division", "cells per beat, 1 to 32, like 4; in all sections: 4 all", "4, 4 all (1 to 32)";
    Cycle "Cycle", "number of cells from the start of the section to repeat", "a whole number";
    LayerSwing "Swing of the layer", "long:short, like 2:1; empty: the section's",
        "long:short, both 1 to 16, like 2:1 or 3:2";
    SoundFile "Sound file", "a file next to the groove, like knock.wav; empty: the voice";
    AccentDepth "Accent depth", "0 to 18 dB; empty: the voice's own";
    Gain "Gain", "-60 to 12 dB";
    Pan "Pan", "-100 left to 100 right";
    AddSection "New section", "a name, a meter, or both: B 3+2+2/8; empty: next letter", "B, 3/4, B 3+2+2/8";
    RenameSection "Name of the section", "1 to 64 characters";
    Meter(Keep) "Meter", "4/4, 6/8, 13/16 or 3+2+2/8";
    Tempo "Tempo", "beats per minute: 150, 132.5; with the note value: 1/4.=90", "150, 132.5, 1/4.=90";
    Bars "Bars", "1 to 1024";
    Times "Times through", "1 to 64";
    Swing "Swing of the section", "long:short, like 2:1; empty: straight", "long:short, both 1 to 16, like 2:1 or 3:2";
    Speed "Speed", "20 to 200 percent of the written tempo";
    Title "Title", "any text";
    Note "Note", "any text; saved in the file";
    Bar "Bar", "a bar of this section, from 1";
    Takes "Takes", "passes of each take, 1 to 64, like 2; with a count-in: 2 count", "2, 2 count";
    Ladder "Ladder", "50-100/10 percent, x4 passes each; key: wait for a key; 1/4: mute every 4th pass",
        "50-100/10 x4, 50-100/10 x4 key 1/4 (20 to 200%)";
    Recording "Recording", "a sound file, like song.flac, from the groove's folder; empty: none";
    RecordingBand "Band", "two frequencies in Hz, like 80-400; low, mid or high; off", "80-400, low, mid, high, off";
    RecordingPitch "Transpose the recording by", "-24 to 24 semitones; -12 is an octave lower";
    RecordingLevel "Level of the recording", "-60 to 12 dB";
    Anchor "Heard at", "a time in the recording: 12.345 or 1:02.5", "12.345, 1:02.5";
    Marks "Two times", "two times in the recording and the beats between them: 1:02.5 1:10.25 16",
        "1:02.5 1:10.25 16";
    AlignGroups "Groups", "a line played over and over from the cursor on: 5+4+4", "5+4+4, 3(4+4+3)+5+2";
    Open "Open", "a groove file, like riff.toml (import: MIDI and MusicXML)";
    SaveAs "Save as", "a file name, like riff.toml; .toml is added to a name without an ending";
    ExportAs "Export to", "a file name";
    HandoutInto "Export handout to", "a folder; created if missing";
    RenderWav "Export WAV to", "a file name; x4: passes; 30s: seconds; count2: count-in of 2 bars",
        "riff.wav, riff.wav x4 count2 44100hz, riff.wav 30s";
    TakesWav "Export takes to", "a file name; x2: passes; count: with a count-in",
        "riff.wav, riff.wav x2 count 44100hz";
    LadderWav "Export ladder to", "a file name; writes the last ladder", "riff.wav, riff.wav 44100hz";
    Import "Import", "a MIDI or MusicXML file; to move onsets by up to 20 ms: riff.mid 20ms",
        "riff.mid, riff.mid 20ms (0ms to 100ms)";
    PicturesAs "Pictures", "theme, width, PNG scale, notation: screen 800 x2 beams group over groups",
        "print 1000 x2 beams beat over groups under nothing";
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
}
