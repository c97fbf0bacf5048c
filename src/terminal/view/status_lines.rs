//! The single lines: title at the top, transport and hints at the bottom, and the line of a question.

use super::pen::{Pen, Pieces, end, fit, wrap};
use crate::analysis::landing;
use crate::rhythm::{Cell, print_note_value};
use crate::terminal::commands::rows;
use crate::terminal::manual::Input;
use crate::terminal::overlay::{Overlay, PendingOverwrite};
use crate::terminal::playback::clicks;
use crate::terminal::playback::playing::{LoopMode, SoundLevels};
use crate::terminal::playback::practice::{Kind, RunningSequence};
use crate::terminal::prompts::typing::TextField;
use crate::terminal::state::{Message, State};
use ratatui::layout::Rect;
use ratatui::style::Style;
use unicode_width::UnicodeWidthStr;

/// Columns of the title that are always shown.
const MIN_TITLE_WIDTH: usize = 12;

/// Title, section, meter, tempo.
pub(crate) fn top(state: &State, pen: &mut Pen<'_>, area: Rect) {
    let theme = pen.theme;
    let groove = state.groove();
    let at = state.session.cursor().place;
    let section = &groove.sections()[at.section];
    let count = groove.sections().len();
    let number = if count > 1 { format!(" {}/{count}", at.section + 1) } else { String::new() };
    let times = if section.times > 1 { format!(" {}{}", theme.glyphs().times, section.times) } else { String::new() };
    let bars = format!(", {} bar{}{times}", section.bars, if section.bars == 1 { "" } else { "s" });
    let swing = section.swing.map(|s| format!("  swing {s}")).unwrap_or_default();
    let name = fit(&section.name, 10);
    let right = |name: String, swing: &str| -> Pieces {
        vec![
            (format!("{name}  "), Style::new()),
            (section.meter.to_string(), theme.bar()),
            (format!("  {} = ", print_note_value(section.tempo.unit())), Style::new()),
            (section.tempo.bpm().to_string(), theme.bar()),
            (swing.to_owned(), Style::new()),
        ]
    };
    let (words, style) = if state.session.is_changed() {
        ("not saved", theme.warning())
    } else if state.is_new() {
        ("new", theme.faint())
    } else {
        ("saved", theme.faint())
    };
    let width = usize::from(area.width);
    let used = |right: &Pieces| right.iter().map(|(t, _)| t.width()).sum::<usize>();
    let room = |right: &Pieces| width.saturating_sub(used(right) + words.len() + 5);
    // Enough of the title to know it by comes before what the section's words could do without.
    let least = groove.title().width().min(MIN_TITLE_WIDTH);
    let forms = [
        right(format!("section {name}{number}{bars}"), &swing),
        right(format!("{name}{number}{bars}"), &swing),
        right(format!("{name}{number}"), &swing),
        right(format!("{name}{number}"), ""),
        right(fit(&name, 4), ""),
    ];
    let last = forms.len() - 1;
    let right = forms.iter().find(|f| room(f) >= least).unwrap_or(&forms[last]);
    let x = pen.put(area, 0, 0, &fit(groove.title(), room(right).max(least)), theme.heading());
    let x = pen.put(area, x + 1, 0, &format!("({words})"), style);
    pen.pieces(area, width.saturating_sub(used(right)).max(x + 1), 0, right);
}

/// What sounds, and what stands under the cursor.
pub(crate) fn transport(state: &State, pen: &mut Pen<'_>, area: Rect) {
    let (theme, glyphs) = (pen.theme, pen.theme.glyphs());
    let play = &state.play;
    let mut pieces: Pieces = if play.on {
        let at = play.head.and_then(|h| {
            let s = state.groove().sections().get(h.section)?;
            let beat = s.meter.beat();
            let beats = (h.wholes * beat.denom() as f64 / beat.numer() as f64 + 1e-6).floor() as usize;
            Some(format!(" {} {}.{}", fit(&s.name, 6), beats / s.meter.beats() + 1, beats % s.meter.beats() + 1))
        });
        vec![(format!("{}{}", glyphs.playing, at.unwrap_or_default()), theme.figure())]
    } else if play.silent.is_some() {
        vec![(format!("{} no sound", glyphs.stopped), theme.warning())]
    } else {
        vec![(format!("{} stopped", glyphs.stopped), Style::new())]
    };
    match play.far {
        Some(far) if far.lost => pieces.push(("  remote lost".to_owned(), theme.warning())),
        Some(_) => pieces.push(("  remote".to_owned(), Style::new())),
        None => {}
    }
    if let Some(making) = &state.giving.making {
        let percent = making.percent.map(|p| format!(" {p}%")).unwrap_or_default();
        pieces.push((format!("  {}{percent}", making.doing), theme.written()));
    }
    pieces.extend(play.running.as_ref().filter(|_| play.on).map(|r| (running(r), theme.figure())));
    let round = match (play.looped, state.session.selection()) {
        (LoopMode::All, _) => "",
        (LoopMode::Selection, Some(_)) => "  loop selection",
        _ => "  loop section",
    };
    pieces.push((round.to_owned(), Style::new()));
    // The pane has the speeds of a ladder.
    let climbs = matches!(&play.running, Some(r) if matches!(r.kind, Kind::Ladder(_)));
    if play.percent != 100 && !climbs {
        pieces.push((format!("  {}%", play.percent), theme.figure()));
    }
    let SoundLevels { volume_db, click_db } = play.levels;
    if volume_db != 0.0 {
        pieces.push((format!("  vol {volume_db:+}"), Style::new()));
    }
    let clicks = play.switches.beat || play.switches.hearing;
    if click_db != 0.0 && clicks {
        pieces.push((format!("  click {click_db:+}"), Style::new()));
    }
    let name = clicks::name(state);
    if play.on || name != "groove" {
        pieces.push((format!("  {name}"), theme.written()));
    }
    // Each half keeps its columns, so that a step of the cursor rewrites only what differs.
    let width = usize::from(area.width);
    let half = if play.running.is_some() { width * 2 / 3 } else { width * 5 / 9 };
    let left = Rect::new(area.x, area.y, half as u16, 1);
    pen.pieces(left, 0, 0, &pieces);
    pen.put(area, half + 1, 0, &fit(&here(state), width - half - 1), Style::new());
}

/// Which take of a row, or step of a ladder, is heard: `  step 3/6 loop 2/4`.
fn running(running: &RunningSequence) -> String {
    let what = match running.kind {
        Kind::Takes(..) => "take",
        Kind::Ladder(_) => "step",
    };
    let loops = match (running.counting, running.times()) {
        (true, _) => " count-in".to_owned(),
        (false, Some(times)) => format!(" loop {}/{times}", running.turn + 1),
        (false, None) => format!(" loop {}", running.turn + 1),
    };
    let going = running.going.map(|g| format!(" next {what} {}", g + 1)).unwrap_or_default();
    let silent = if running.silent { " silent" } else { "" };
    format!("  {what} {}/{}{loops}{silent}{going}", running.at + 1, running.takes())
}

/// Where the cursor is: `riff 2.3 &: attack E2`.
fn here(state: &State) -> String {
    let groove = state.groove();
    let cursor = state.session.cursor();
    let place = cursor.place;
    let Some(layer) = groove.layers().get(place.layer) else { return String::new() };
    let section = &groove.sections()[place.section];
    if cursor.past_end {
        return format!("{}: end of the groove", fit(&layer.name, 12));
    }
    let context = groove.context(place.layer, place.section);
    let Some(spot) = groove.part(place.layer, place.section).spot(place.cell, context) else { return String::new() };
    let beats = section.meter.beats();
    let beat = groove.written_at(place).ratio_to(section.meter.beat()).map_or(0, |b| b.floor().max(0) as usize);
    let syllable = landing::syllable(spot, context);
    let syllable =
        if syllable.starts_with(|c: char| c.is_ascii_digit()) { String::new() } else { format!(" {syllable}") };
    let cell = match groove.cell(place) {
        Cell::Rest => "rest".to_owned(),
        Cell::Hold => "hold".to_owned(),
        Cell::Attack(a) => {
            let accent = match a.accent {
                crate::rhythm::Accent::Ghost => "ghost attack",
                crate::rhythm::Accent::Plain => "attack",
                crate::rhythm::Accent::Accent => "accented attack",
            };
            a.pitch.map_or(accent.to_owned(), |p| format!("{accent} {p}"))
        }
    };
    format!("{} {}.{}{syllable}: {cell}", fit(&layer.name, 12), beat / beats + 1, beat % beats + 1)
}

/// A message, a question, or hints.
pub(crate) fn hints(state: &State, pen: &mut Pen<'_>, area: Rect) {
    let theme = pen.theme;
    let width = usize::from(area.width);
    match &state.overlay {
        Overlay::Prompt { question, text, kept, error } => {
            return prompt(pen, area, question.words(), (text, *kept), error.as_deref());
        }
        Overlay::Leaving => {
            let keys = |name: &str| state.keymap.first(name);
            let words = format!(
                "Not saved. {}: save and quit, {}: quit unsaved, {}: cancel",
                keys("leave-save"),
                keys("leave-lose"),
                keys("leave-stay")
            );
            pen.put(area, 0, 0, &fit(&words, width), theme.warning());
            return;
        }
        Overlay::Replacing(_) => {
            let keys = |name: &str| state.keymap.first(name);
            let words = format!(
                "Not saved. {}: save, then import, {}: import, {}: cancel",
                keys("replace-save"),
                keys("replace-lose"),
                keys("replace-stay")
            );
            pen.put(area, 0, 0, &fit(&words, width), theme.warning());
            return;
        }
        Overlay::Overwrite(refused) => {
            let keys = |name: &str| state.keymap.first(name);
            let keys = format!(" {}: yes, {}: no", keys("overwrite-yes"), keys("overwrite-no"));
            let (file, words) = match refused {
                PendingOverwrite::Changed => (
                    state.file().unwrap_or_default(),
                    if width < 76 { "was changed." } else { "was changed by another program." },
                ),
                PendingOverwrite::Taken(name) | PendingOverwrite::Job(_, name) => (name.as_str(), "already exists."),
            };
            let words = format!(" {words} Overwrite it?{keys}");
            // The end of a path says most of it.
            let name = end(file, width.saturating_sub(words.width()));
            pen.put(area, 0, 0, &format!("{name}{words}"), theme.warning());
            return;
        }
        _ => {}
    }
    if let Some(message) = &state.message {
        let style = match message {
            Message::Info(_) => theme.figure(),
            Message::Warning(_) => theme.warning(),
        };
        let mut lines = cut(message.text(), width);
        let last = lines.pop().unwrap_or_default();
        above(pen, area, &lines, style);
        pen.put(area, 0, 0, &last, style);
        return;
    }
    let mode = state.mode();
    let wanted: Vec<&str> = match state.overlay {
        Overlay::None if state.session.selection().is_some() => {
            vec!["copy", "repeat", "erase", "accent", "rotate-later", "shift-later", "close", "help"]
        }
        Overlay::None => vec![
            "help",
            "find",
            "play",
            "lay",
            "toggle",
            "take-back",
            "undo",
            "add-layer",
            "hearings",
            "save",
            "quit",
            "lay-groups",
            "select",
            "tuplet",
            "pitch",
            "tempo",
            "meter",
            "division",
            "add-bar",
            "strips",
            "tap",
        ],
        Overlay::Manual(ref view) if view.input == Input::Searching => vec!["typing-accept", "typing-close"],
        Overlay::Manual(_) => {
            vec![
                "list-search",
                "list-match-next",
                "list-part",
                "list-take",
                "list-down",
                "list-page-down",
                "list-close",
            ]
        }
        Overlay::Full { .. } => vec!["list-take", "list-part", "list-click", "list-down", "list-close"],
        Overlay::Tap => vec!["tap-key", "tap-again", "tap-end"],
        Overlay::TapReport(_) => vec!["list-take", "list-down", "list-page-down", "list-close"],
        Overlay::Help(_) => vec!["list-manual", "list-search", "list-down", "list-page-down", "list-close"],
        Overlay::Outputs(..) | Overlay::ConfigFile(_) | Overlay::Remarks(_) => {
            vec!["list-down", "list-page-down", "list-close"]
        }
        _ => vec!["typing-accept", "typing-down", "typing-close"],
    };
    let mut x = 0;
    for name in wanted {
        let Some(row) = rows().find(|r| r.name == name) else { continue };
        debug_assert!(row.mode == mode || mode == crate::terminal::commands::Mode::Leaving);
        let keys = if name == "lay" { "1-9".to_owned() } else { state.keymap.first(name) };
        if keys.is_empty() {
            continue;
        }
        let words = if row.hint.is_empty() { row.description } else { row.hint };
        if x + keys.width() + words.width() + 3 > width {
            continue;
        }
        x = pen.put(area, x, 0, &keys, theme.key());
        x = pen.put(area, x + 1, 0, words, Style::new()) + 2;
    }
}

/// Most lines that a message, a refusal or what may be answered takes.
const MAX_LINES: usize = 3;

/// Words in as many lines as they need, the last one cut where that is more than [`MAX_LINES`].
fn cut(words: &str, width: usize) -> Vec<String> {
    let mut lines = wrap(words, width);
    if lines.len() > MAX_LINES {
        let rest = lines.split_off(MAX_LINES - 1).join(" ");
        lines.push(fit(&rest, width));
    }
    lines
}

/// Writes lines over what stands above the last line of the screen.
fn above(pen: &mut Pen<'_>, area: Rect, lines: &[String], style: Style) {
    for (i, line) in lines.iter().rev().enumerate() {
        let Some(y) = area.y.checked_sub(i as u16 + 1) else { return };
        let row = Rect { y, ..area };
        pen.clear(row);
        pen.put(row, 0, 0, line, style);
    }
}

/// What is asked and what is typed; what may be answered beside it, or above it where there it would be cut, as is why an answer was
/// refused.
fn prompt(pen: &mut Pen<'_>, area: Rect, words: (&str, &str), (text, kept): (&TextField, bool), error: Option<&str>) {
    let theme = pen.theme;
    let width = usize::from(area.width);
    let x = pen.put(area, 0, 0, words.0, theme.heading());
    let x = pen.put(area, x, 0, ": ", theme.heading());
    // What the first key would replace is drawn as if it were selected.
    let x = pen.text_field(area, x, text, if kept { theme.selected() } else { Style::new() });
    if let Some(error) = error {
        return above(pen, area, &cut(error, width), theme.warning());
    }
    if x + 3 + words.1.width() <= width {
        pen.put(area, x + 3, 0, words.1, theme.faint());
    } else {
        above(pen, area, &cut(words.1, width), theme.faint());
    }
}
