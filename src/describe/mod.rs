//! Text about grooves and reports that the screen, the command line and the handouts share: sentences and plain-text drawings.
//! It must not know where the text is shown.

mod explain;
pub mod ladder;
mod measure;
pub mod notes;
pub mod plain;
mod reason;
mod report;
pub mod streams;
pub mod tap;

pub use explain::{explain, leaders_by_speed};
pub use measure::measure;
pub use reason::{source, threshold};
pub use report::{
    bar_count, bar_relation, hearing_landings, hearing_name, is_notable, main_streams, no_hearing_reason, place,
    score_parts, silent_pulses, stream_name, stream_pair, stretch, stretch_place, structure, subdivisions, tempos,
    trimmed, voice_summary, written_tempo,
};
