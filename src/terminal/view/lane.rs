//! Draws the recording over the grid, its level and its onsets: in the same columns as the cells, before there is an anchor against
//! seconds.

use crate::jobs::{LoadedRecording, Onset};
use crate::rhythm::{AnchorMap, Groove, Micros, Time};
use crate::session::recording::print_instant;
use crate::terminal::State;
use crate::terminal::view::grid::playhead;
use crate::terminal::view::onsets::lane_mark;
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
const NANOS: i64 = 1_000_000_000;
/// Seconds from one line of the lane to the next before there is an anchor, and the columns that their distance needs.
const LINES: [i64; 9] = [1, 2, 5, 10, 30, 60, 120, 300, 600];
const LINE_COLUMNS: i64 = 10;

/// The recording in the columns of a system.
struct Lane {
    /// The instants at which the visible columns begin, and the end of the last one, in nanoseconds.
    edges: Vec<i64>,
    /// The visible columns that are a bar line, or in which a second begins that has a line.
    lines: Vec<(usize, Option<String>)>,
    playhead: Option<usize>,
    /// The column of the mark.
    mark: Option<usize>,
}

pub(crate) fn draw(state: &State, pen: &mut Pen<'_>, layout: &Layout, scale: Scale) {
    let (area, theme) = (layout.lane, pen.theme);
    let Some(recording) = state.loaded_recording().filter(|_| area.height > 0) else { return };
    let Some(lane) = Lane::in_seconds(state, layout).or_else(|| Lane::in_grid(state, layout, scale)) else { return };
    let rows = usize::from(area.height);
    let names = Rect::new(0, area.y, layout.names.width, area.height);
    let room = usize::from(names.width) - 1;
    if rows > 1 {
        pen.put(names, 0, 0, &fit("recording", room), theme.heading());
    }
    let start = lane.edges[0];
    // Milliseconds are enough to place an anchor.
    let shown = if start < 0 { "before it".to_owned() } else { print_instant(Micros(start / 1_000_000 * 1000)) };
    pen.put(names, 0, rows - 1, &fit(&shown, room), theme.faint());
    let onsets = state.onsets().filter(|_| !state.transcription.is_hidden);
    // The onsets have a row of their own where there is room.
    let top = usize::from(onsets.is_some() && rows > 1);
    let marks = lane.onsets(onsets.map_or(&[], |onsets| onsets));
    for (x, text) in &lane.lines {
        for row in 0..rows {
            pen.put_char(area, *x, row, theme.glyphs().bar_line, theme.faint());
        }
        // A mark within the time would be taken for a part of it.
        let is_free = |text: &&String| !marks.iter().any(|(at, _)| (x + 1..=x + text.len()).contains(at));
        if let Some(text) = text.as_ref().filter(is_free) {
            pen.put(area, x + 1, 0, text, theme.faint());
        }
    }
    let height = ((rows - top) * EIGHTHS) as f32;
    let blocks = if theme.ascii { ASCII } else { UNICODE };
    let levels = Levels::of(recording);
    for (x, edges) in lane.edges.windows(2).enumerate() {
        let Some(level) = levels.between(edges[0]..edges[1]) else { continue };
        let eighths = (level * height).round().clamp(1.0, height) as usize;
        for row in top..rows {
            match blocks[eighths.saturating_sub((rows - 1 - row) * EIGHTHS).min(EIGHTHS)] {
                ' ' => {}
                block => pen.put_char(area, x, row, block, theme.ghost()),
            }
        }
    }
    for (x, onset) in marks {
        let (mark, style) = lane_mark(theme, onset);
        pen.put_char(area, x, 0, mark, style);
    }
    if let Some(x) = lane.playhead {
        pen.column_style(area, x, theme.playhead());
    }
    if let Some(x) = lane.mark {
        pen.column_style(area, x, theme.cursor());
    }
}

impl Lane {
    /// The lane over the grid; without an anchor the recording begins with the groove.
    fn in_grid(state: &State, layout: &Layout, scale: Scale) -> Option<Self> {
        let times = section_times(state.groove(), state.shown_section(), shown_pass(state))?;
        let last = layout.first_column + usize::from(layout.lane.width);
        let columns = (layout.first_column..last.min(scale.width() + 1)).take_while(|c| layout.x(*c).is_some());
        let count = columns.count();
        let edge = |x: usize| nanos_at(layout.first_column + x, scale, &times, state.anchor_map());
        let is_line = |x: &usize| (layout.first_column + x).is_multiple_of(scale.bar_width());
        Some(Self {
            edges: (0..=count).map(edge).collect(),
            lines: (0..count).filter(is_line).map(|x| (x, None)).collect(),
            playhead: playhead(state, layout, scale),
            mark: None,
        })
    }

    /// The lane before there is an anchor.
    fn in_seconds(state: &State, layout: &Layout) -> Option<Self> {
        let lane = state.seconds_lane()?;
        let (step, width) = (lane.step(), usize::from(layout.lane.width));
        let count = if layout.systems > 1 { layout.system_columns.min(width) } else { width };
        let start = lane.start + (layout.first_column - state.view.scroll) as i64 * step;
        let end = start + step * count as i64;
        let column = |at: i64| (start..end).contains(&at).then_some(((at - start) / step) as usize);
        let every =
            LINES.iter().find(|s| **s * NANOS >= LINE_COLUMNS * step).unwrap_or(&LINES[LINES.len() - 1]) * NANOS;
        let first = (start + every - 1).div_euclid(every);
        let line = |k: i64| column(k * every).map(|x| (x, Some(minutes(k * every / NANOS))));
        let position = state.playback.position;
        Some(Self {
            edges: (0..=count as i64).map(|k| start + k * step).collect(),
            lines: (first..).map_while(line).collect(),
            playhead: position.and_then(|p| state.instant_without_anchor(p)).and_then(column),
            mark: lane.mark.and_then(column),
        })
    }

    /// The visible onsets with their columns, of several in one column the most certain.
    fn onsets<'a>(&self, onsets: &'a [Onset]) -> Vec<(usize, &'a Onset)> {
        let seconds = |nanos: i64| nanos as f64 / NANOS as f64;
        let (start, end) = (seconds(self.edges[0]), seconds(self.edges[self.edges.len() - 1]));
        let from = onsets.partition_point(|onset| onset.seconds < start);
        let mut marks: Vec<(usize, &Onset)> = Vec::new();
        for onset in onsets[from..].iter().take_while(|onset| onset.seconds < end) {
            let column = self.edges.partition_point(|edge| seconds(*edge) <= onset.seconds).saturating_sub(1);
            match marks.last_mut() {
                Some((x, other)) if *x == column => {
                    if onset.confidence > other.confidence {
                        *other = onset;
                    }
                }
                _ => marks.push((column, onset)),
            }
        }
        marks
    }
}

/// `1:05` of 65 seconds.
fn minutes(seconds: i64) -> String {
    format!("{}:{:02}", seconds / 60, seconds % 60)
}

/// Score time of a pass of a section, in nanoseconds.
fn section_times(groove: &Groove, section: usize, pass: usize) -> Option<Range<i64>> {
    let length = groove.sections().get(section)?.length();
    Some(groove.score_time(section, pass, Time::ZERO)?..groove.score_time(section, pass, length)?)
}

/// The instant of the recording at the start of a column.
fn nanos_at(column: usize, scale: Scale, section: &Range<i64>, map: Option<&AnchorMap>) -> i64 {
    let Scale { per_beat, beats, bars, .. } = scale;
    let bar = (column / scale.bar_width()).min(bars);
    let within = (column - bar * scale.bar_width()).saturating_sub(1);
    let (done, all) = ((bar * beats * per_beat + within) as i128, (bars * beats * per_beat) as i128);
    let length = i128::from(section.end - section.start);
    let score = section.start + (length * done / all.max(1)) as i64;
    map.map_or(score, |map| map.recording_time(score))
}

/// The level of a recording, and the peak of all of it.
struct Levels<'a> {
    recording: &'a LoadedRecording,
    peak: f32,
}

impl<'a> Levels<'a> {
    fn of(recording: &'a LoadedRecording) -> Self {
        let whole = recording.envelope.level(0..recording.frames);
        Self { recording, peak: whole.max.max(-whole.min) }
    }

    /// The level between two instants, from 0 to 1; `None` outside the recording.
    fn between(&self, nanos: Range<i64>) -> Option<f32> {
        let frame = |at: i64| (at as f64 * f64::from(self.recording.rate) / NANOS as f64).floor() as i64;
        let (from, to) = (frame(nanos.start), frame(nanos.end));
        if to <= 0 || from >= self.recording.frames as i64 || nanos.is_empty() {
            return None;
        }
        let from = from.max(0) as u64;
        let level = self.recording.envelope.level(from..(to as u64).max(from + 1));
        let db = 20.0 * (level.max.max(-level.min) / self.peak.max(f32::MIN_POSITIVE)).log10();
        Some((1.0 + db / RANGE_DB).clamp(0.0, 1.0))
    }
}
