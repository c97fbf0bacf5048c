//! Text about grooves and reports that the screen, the command line and the handouts share: sentences and plain-text drawings.
//! It must not know where the text is shown.

mod explain;
pub(crate) mod ladder;
mod measure;
pub(crate) mod notes;
pub mod plain;
mod reason;
mod report;
pub(crate) mod streams;
pub(crate) mod tap;

pub(crate) use explain::{explain, leaders_by_speed};
pub(crate) use measure::measure;
pub(crate) use reason::{source, threshold};
pub(crate) use report::{
    bar_count, bar_relation, hearing_landings, hearing_name, is_notable, main_streams, no_hearing_reason, place,
    score_parts, silent_pulses, stream_pair, stretch, stretch_place, structure, subdivisions, tempos, trimmed,
    voice_summary, written_tempo,
};
