//! Draws the level of the recording over the grid, in the same columns as the cells.

use crate::jobs::LoadedRecording;
use crate::rhythm::{AnchorMap, Micros, Time};
use crate::session::recording::print_instant;
use crate::terminal::State;
use crate::terminal::view::grid::playhead;
use crate::terminal::view::strips::shown_pass;
use crate::terminal::view::{Layout, Pen, Scale, fit};
use ratatui::layout::Rect;
use std::ops::Range;

/// Levels this far below the peak are drawn as silence.
const RANGE_DB: f32 = 40.0;
/// Heights of a row, in eighths.
const UNICODE: [char; 9] = [' ', '▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];
const ASCII: [char; 9] = [' ', '.', '.', '.', ':', ':', ':', '#', '#'];
const EIGHTHS: usize = 8;

/// The recording in the columns of a section.
struct Lane<'a> {
    recording: &'a LoadedRecording,
    map: Option<AnchorMap>,
    scale: Scale,
    /// Score time of the section's pass, in nanoseconds.
    section: Range<i64>,
    peak: f32,
}

pub(crate) fn draw(state: &State, pen: &mut Pen<'_>, layout: &Layout, scale: Scale) {
    let (area, theme) = (layout.lane, pen.theme);
    let Some(lane) = Lane::of(state, scale).filter(|_| area.height > 0) else { return };
    let rows = usize::from(area.height);
    let names = Rect::new(0, area.y, layout.names.width, area.height);
    let room = usize::from(names.width) - 1;
    if rows > 1 {
        pen.put(names, 0, 0, &fit("recording", room), theme.heading());
    }
    let start = lane.nanos(layout.first_column);
    // Milliseconds are enough to place an anchor.
    let shown = if start < 0 { "before it".to_owned() } else { print_instant(Micros(start / 1_000_000 * 1000)) };
    pen.put(names, 0, rows - 1, &fit(&shown, room), theme.faint());
    let blocks = if theme.ascii { ASCII } else { UNICODE };
    for x in 0..usize::from(area.width) {
        let column = layout.first_column + x;
        if layout.x(column).is_none() || column > scale.width() {
            break;
        }
        let is_bar_line = column.is_multiple_of(scale.bar_width());
        let eighths = if is_bar_line { None } else { lane.level(column) }.map(|level| {
            let highest = (rows * EIGHTHS) as f32;
            (level * highest).round().clamp(1.0, highest) as usize
        });
        for row in 0..rows {
            let filled = eighths.unwrap_or(0).saturating_sub((rows - 1 - row) * EIGHTHS).min(EIGHTHS);
            let (mark, style) = match blocks[filled] {
                ' ' if is_bar_line => (theme.glyphs().bar_line, theme.faint()),
                ' ' => continue,
                mark => (mark, theme.ghost()),
            };
            pen.put_char(area, x, row, mark, style);
        }
    }
    if let Some(x) = playhead(state, layout, scale) {
        pen.column_style(area, x, theme.playhead());
    }
}

impl<'a> Lane<'a> {
    fn of(state: &'a State, scale: Scale) -> Option<Self> {
        let (recording, groove) = (state.loaded_recording()?, state.groove());
        let (section, pass) = (state.shown_section(), shown_pass(state));
        let (start, length) = (Time::ZERO, groove.sections().get(section)?.length());
        let times = groove.score_time(section, pass, start)?..groove.score_time(section, pass, length)?;
        let whole = recording.envelope.level(0..recording.frames);
        let peak = whole.max.max(-whole.min);
        Some(Self { recording, map: AnchorMap::of(groove), scale, section: times, peak })
    }

    /// The instant of the recording at the start of a column. Before there is an anchor, the recording begins with the groove.
    fn nanos(&self, column: usize) -> i64 {
        let Scale { per_beat, beats, bars, .. } = self.scale;
        let bar = (column / self.scale.bar_width()).min(bars);
        let within = (column - bar * self.scale.bar_width()).saturating_sub(1);
        let (done, all) = ((bar * beats * per_beat + within) as i128, (bars * beats * per_beat) as i128);
        let length = i128::from(self.section.end - self.section.start);
        let score = self.section.start + (length * done / all.max(1)) as i64;
        self.map.as_ref().map_or(score, |map| map.recording_time(score))
    }

    /// The level in a column, from 0 to 1; `None` outside the recording.
    fn level(&self, column: usize) -> Option<f32> {
        let frame = |nanos: i64| (i128::from(nanos) * i128::from(self.recording.rate)).div_euclid(1_000_000_000);
        let (from, to) = (frame(self.nanos(column)), frame(self.nanos(column + 1)));
        if to <= 0 || from >= i128::from(self.recording.frames) {
            return None;
        }
        let from = from.max(0) as u64;
        let level = self.recording.envelope.level(from..(to as u64).max(from + 1));
        let db = 20.0 * (level.max.max(-level.min) / self.peak.max(f32::MIN_POSITIVE)).log10();
        Some((1.0 + db / RANGE_DB).clamp(0.0, 1.0))
    }
}
