//! Text about grooves and reports that the screen, the command line and the handouts share: sentences and plain-text drawings.
//! It must not know where the text is shown.

mod difference;
mod explain;
pub(crate) mod ladder;
mod measure;
pub(crate) mod notes;
pub mod plain;
mod reason;
mod report;
pub(crate) mod streams;
pub(crate) mod tap;
mod visible;

pub(crate) use crate::analysis::{percent, tempo_row};
pub(crate) use difference::difference;
pub(crate) use explain::{explain, leaders_by_speed};
pub(crate) use ladder::leader_name;
pub(crate) use measure::measure;
pub(crate) use reason::threshold;
pub(crate) use report::{
    about_as_likely, accent_groups, bar_relation, hardness, hardness_by_speed, hardness_chart, hearing_landings,
    hearing_name, is_notable, layer_names, likelihood, main_streams, muted_layers, no_hearing_reason, place, rest_lead,
    section_summary, short_decimal, silent_pulses, stream_pair, stretch, stretch_place, stretch_tempo, structure,
    subdivisions, tempos, voice_summary, whose_beat, written_family, written_tempo, written_tempo_text,
};
pub(crate) use visible::{visible, visible_json, visible_lines};
