//! Draws the single lines: title at the top, transport, hints and questions at the bottom, and the prompt.

use crate::analysis::landing;
use crate::describe::ladder;
use crate::jobs::SoundSettings;
use crate::rhythm::{Accent, Attack, Cell, Voice, count, print_note_value};
use crate::terminal::files::RunningJob;
use crate::terminal::help::HelpView;
use crate::terminal::manual::ManualView;
use crate::terminal::playback::clicks;
use crate::terminal::playback::playing::{LoopMode, RemoteLink};
use crate::terminal::playback::practice::{self, RunningSequence, SequenceKind};
use crate::terminal::prompts::{preview, voices};
use crate::terminal::search::PagerInput;
use crate::terminal::transcription::{band_name, deviation_words};
use crate::terminal::variants;
use crate::terminal::view::{Layout, Pen, StyledLine, fit, wrap};
use crate::terminal::{Message, Mode, Overlay, Question, State, commands};
use ratatui::layout::Rect;
use ratatui::style::Style;
use unicode_width::UnicodeWidthStr;

/// Columns of the title that are never cut.
const MIN_TITLE_WIDTH: usize = 12;
/// Minimum columns between the cell at the cursor and the sound of its layer.
const MIN_SOUND_GAP: usize = 3;

pub(crate) fn draw_title(state: &State, pen: &mut Pen<'_>, area: Rect) {
    let theme = pen.theme;
    let groove = state.groove();
    let at = state.shown_section();
    let section = &groove.sections()[at];
    let sections = groove.sections().len();
    let number = if sections > 1 { format!(" ({} of {sections})", at + 1) } else { String::new() };
    let times = if section.times > 1 { format!(" {}{}", theme.glyphs().times, section.times) } else { String::new() };
    let bars = format!(", {}{times}", count(usize::from(section.bars), "bar"));
    let swing = section.swing.map(|s| format!("  swing {s}")).unwrap_or_default();
    let name = fit(&section.name, 10);
    let right = |name: String, swing: &str| -> StyledLine {
        vec![
            (format!("{name}  "), Style::new()),
            (section.meter.to_string(), theme.strong()),
            (format!("  {} = ", print_note_value(section.tempo.unit())), Style::new()),
            (section.tempo.bpm().to_string(), theme.strong()),
            (swing.to_owned(), Style::new()),
        ]
    };
    let (status, style) = match (state.session.is_changed(), state.is_new()) {
        (true, _) => ("not saved", theme.warning()),
        (false, true) => ("new", theme.faint()),
        (false, false) => ("saved", theme.faint()),
    };
    let width = usize::from(area.width);
    let used = |right: &StyledLine| right.iter().map(|(t, _)| t.width()).sum::<usize>();
    let room = |right: &StyledLine| width.saturating_sub(used(right) + status.len() + 5);
    // The start of the title is more important than details of the section.
    let min_title = groove.title().width().min(MIN_TITLE_WIDTH);
    let forms = [
        right(format!("section {name}{number}{bars}"), &swing),
        right(format!("{name}{number}{bars}"), &swing),
        right(format!("{name}{number}"), &swing),
        right(format!("{name}{number}"), ""),
        right(name.clone(), ""),
        right(fit(&name, 4), ""),
    ];
    let last = forms.len() - 1;
    // Without the word `section` the whole title may have room.
    let whole = forms[..2].iter().find(|f| room(f) >= groove.title().width());
    let right = whole.or(forms.iter().find(|f| room(f) >= min_title)).unwrap_or(&forms[last]);
    let x = pen.put(area, 0, 0, &fit(groove.title(), room(right).max(min_title)), theme.heading());
    // The name of the file, where there is room for all of it.
    let free = (width - used(right).min(width)).saturating_sub(x + status.len() + 5);
    let name = state.file().map(|f| f.rsplit('/').next().unwrap_or(f)).filter(|name| name.width() <= free);
    let x = name.map_or(x, |name| pen.put(area, x + 1, 0, name, Style::new()));
    let x = pen.put(area, x + 1, 0, &format!("({status})"), style);
    pen.put_line(area, width.saturating_sub(used(right)).max(x + 1), 0, right);
}

pub(crate) fn draw_bottom(state: &State, pen: &mut Pen<'_>, layout: &Layout) {
    draw_transport(state, pen, layout.transport);
    draw_hints(state, pen, layout.hints);
}

fn draw_transport(state: &State, pen: &mut Pen<'_>, area: Rect) {
    let (theme, glyphs) = (pen.theme, pen.theme.glyphs());
    let playback = &state.playback;
    let mut pieces: StyledLine = if playback.remote == Some(RemoteLink::Lost) {
        vec![(format!("{} remote speaker: connection lost", glyphs.stopped), theme.warning())]
    } else if playback.is_playing {
        let counted = playback.count_in_beat.map(|beat| format!(" count-in {beat}"));
        let at = playback.position.and_then(|h| {
            let s = state.groove().sections().get(h.section)?;
            let beats = (state.beats(h)? + 1e-6).floor() as usize;
            Some(format!(" {} {}.{}", fit(&s.name, 6), beats / s.meter.beats() + 1, beats % s.meter.beats() + 1))
        });
        vec![(format!("{}{}", glyphs.playing, counted.or(at).unwrap_or_default()), theme.value())]
    } else if playback.no_sound_reason.is_some() {
        vec![(format!("{} no sound", glyphs.stopped), theme.warning())]
    } else {
        vec![(format!("{} stopped", glyphs.stopped), Style::new())]
    };
    let plain = Style::new();
    let mut add = |text: String, style| pieces.push((format!("  {text}"), style));
    if let Some(reason) = &state.files.journal_error {
        add(format!("autosave off: {reason}"), theme.warning());
    }
    if playback.remote == Some(RemoteLink::Connected) {
        add("remote".to_owned(), plain);
    }
    if playback.gaps > 0 {
        add(count(playback.gaps as usize, "gap"), theme.warning());
    }
    if let Some(RunningJob { verb, percent }) = &state.files.job {
        add(percent.map_or_else(|| (*verb).to_owned(), |p| format!("{verb} {p}%")), theme.written());
    }
    if let Some(percent) = state.recording.progress {
        add(format!("recording {percent}%"), theme.written());
    }
    if let Some(running) = playback.sequence.as_ref().filter(|_| playback.is_playing) {
        add(sequence_progress(running), theme.value());
    }
    match playback.loop_mode {
        LoopMode::All => {}
        LoopMode::Section => add("loop section".to_owned(), plain),
        LoopMode::Region => add("loop region".to_owned(), plain),
    }
    // The step of a ladder says its speed.
    if playback.speed_percent != 100 && !practice::is_ladder(state) {
        add(format!("{}%", playback.speed_percent), theme.value());
    }
    let SoundSettings { volume_db, click_db, count_in, .. } = playback.sound;
    if count_in && !playback.is_playing {
        add("count-in on".to_owned(), plain);
    }
    if volume_db != 0.0 {
        add(format!("vol {volume_db:+}"), plain);
    }
    if click_db != 0.0 && (playback.mix.beat || playback.mix.hearing) {
        add(format!("click {click_db:+}"), plain);
    }
    let name = clicks::mix_name(state);
    if playback.is_playing || name != "groove" {
        add(name, theme.written());
    }
    // Both halves have fixed columns, so that moving the cursor sends only what changes.
    let width = usize::from(area.width);
    let half = if playback.sequence.is_some() { width * 2 / 3 } else { width * 5 / 9 };
    let left = Rect::new(area.x, area.y, half as u16, 1);
    let used: usize = pieces.iter().map(|(text, _)| text.width()).sum();
    let cell = cursor_cell(state);
    // A long one takes what the left half leaves.
    let x = (half + 1).min(width.saturating_sub(cell.width()).max(used.min(half - 2) + 3));
    pen.put_line(Rect { width: (x - 1).min(half) as u16, ..left }, 0, 0, &pieces);
    let x = pen.put(area, x, 0, &fit(&cell, width - x), Style::new());
    // At the right edge, where only a move to another layer changes it.
    let sound = layer_sound(state);
    let at = width.checked_sub(sound.width()).filter(|at| *at >= x + MIN_SOUND_GAP);
    if let Some(at) = at {
        pen.put(area, at, 0, &sound, theme.faint());
    }
    // The onset takes what is left.
    let left = at.map_or(width, |at| at - 1).saturating_sub(x + 2);
    if let Some(text) = cursor_onset(state).into_iter().flatten().find(|text| text.width() <= left) {
        pen.put(area, x + 2, 0, &text, theme.value());
    }
}

/// The onset in the cursor's cell, in long and in short: `onset 12 ms late (mid, -8 dB, 93%)`.
fn cursor_onset(state: &State) -> Option<[String; 4]> {
    let (onset, ms) = state.onset_at_cursor()?;
    let off = deviation_words(ms);
    let band = band_name(onset.band());
    let long = format!("onset {off} ({band}, {:+.0} dB, {:.0}%)", onset.strength_db, 100.0 * onset.confidence);
    let short = format!("onset {off} {:+.0} dB", onset.strength_db);
    Some([long, short, format!("onset {off}"), off])
}

/// How the cursor's layer sounds: `low tom -3 dB`, or the name of its sound file.
fn layer_sound(state: &State) -> String {
    let Some(layer) = state.groove().layers().get(state.session.cursor().place.layer) else { return String::new() };
    let file = layer.sound.as_deref().map(|file| file.rsplit('/').next().unwrap_or(file).to_owned());
    let gain = if layer.gain == 0 { String::new() } else { format!(" {:+} dB", layer.gain) };
    format!("{}{gain}", file.unwrap_or_else(|| layer.voice.to_string()))
}

/// Progress of a sequence: `step 3/6 80% pass 2/4`.
fn sequence_progress(running: &RunningSequence) -> String {
    let what = match running.kind {
        SequenceKind::Takes { .. } | SequenceKind::Pair { .. } => "take",
        SequenceKind::Ladder(_) => "step",
    };
    let pass = match (running.is_count_in, running.times()) {
        (true, _) => " count-in".to_owned(),
        (false, Some(times)) => format!(" pass {}/{times}", running.pass + 1),
        (false, None) => format!(" pass {}", running.pass + 1),
    };
    let next = running.next_take.map(|g| format!(" next {what} {}", g + 1)).unwrap_or_default();
    let silent = if running.is_silent { " silent" } else { "" };
    let speed = match &running.kind {
        SequenceKind::Ladder(ladder) => ladder.speeds.get(running.at).map(|s| format!(" {}", ladder::percent(*s))),
        SequenceKind::Takes { .. } => None,
        SequenceKind::Pair { .. } => Some(if running.at == 0 { " original" } else { " variant" }.to_owned()),
    };
    format!("{what} {}/{}{}{pass}{silent}{next}", running.at + 1, running.takes(), speed.unwrap_or_default())
}

/// The cell at the cursor: `riff 2.3 &: attack E2`.
fn cursor_cell(state: &State) -> String {
    let groove = state.shown_groove();
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
        Cell::Attack(attack) => attack_words(attack),
    };
    format!("{} {}.{}{syllable}: {cell}", fit(&layer.name, 12), beat / beats + 1, beat % beats + 1)
}

fn attack_words(attack: Attack) -> String {
    let level = match attack.accent {
        Accent::Ghost => "ghost ",
        Accent::Soft => "soft ",
        Accent::Plain => "",
        Accent::Strong => "strong ",
        Accent::Accent => "accented ",
    };
    let stroke = if attack.flam { "flam" } else { "attack" };
    let pitch = attack.pitch.map(|p| format!(" {p}")).unwrap_or_default();
    format!("{level}{stroke}{pitch}")
}

/// Commands hinted at on the grid, most important first.
const GRID_HINTS: &str = "help find play enter-group layer-menu toggle delete-previous undo add-layer hearings save quit enter-groups select \
    tuplet pitch tempo meter division add-bar strips tap";

fn draw_hints(state: &State, pen: &mut Pen<'_>, area: Rect) {
    let theme = pen.theme;
    let width = usize::from(area.width);
    match &state.overlay {
        Overlay::Prompt { question, text, unedited, moved_to, error } => {
            let (label, forms) = question.label_and_forms();
            let x = pen.put(area, 0, 0, &format!("{label}: "), theme.heading());
            // The first character typed replaces an unedited text, as it would a selection.
            let x = pen.text_field(area, x, text, if *unedited { theme.selected() } else { Style::new() });
            if let Some(error) = error {
                return put_lines(pen, above(area), &wrap_and_cut(error, width), theme.warning());
            }
            if let Some(offered) = voices::offered(*question, text.value()).filter(|offered| !offered.is_empty()) {
                let selected = voices::selected(*question, text.value(), *moved_to);
                if x + 3 + forms.width() <= width {
                    pen.put(area, x + 3, 0, forms, theme.faint());
                    return draw_voices(pen, above(area), &offered, selected);
                }
                let lines = wrap_and_cut(forms, width);
                put_lines(pen, above(area), &lines, theme.faint());
                return draw_voices(pen, Rect { y: area.y - 1 - lines.len() as u16, ..area }, &offered, selected);
            }
            // The results of the answer; under them the allowed forms, unless these fit after the text.
            // A ladder starts from here, also an unchanged one.
            let is_quiet = *unedited && *question != Question::Ladder;
            let results = if is_quiet { Vec::new() } else { preview::lines(*question, text.value(), &state.session) };
            let mut lines: Vec<String> = results.iter().map(|line| fit(line, width)).collect();
            if x + 3 + forms.width() <= width {
                pen.put(area, x + 3, 0, forms, theme.faint());
            } else {
                lines.extend(wrap_and_cut(forms, width));
            }
            return put_lines(pen, above(area), &lines, theme.faint());
        }
        Overlay::Confirm(confirmation) => {
            let lines = wrap_and_cut(&confirmation.text(state, width), width);
            return put_lines(pen, area, &lines, theme.warning());
        }
        _ => {}
    }
    if let Some(message) = &state.message {
        let style = match message {
            Message::Info(_) => theme.value(),
            Message::Warning(_) => theme.warning(),
        };
        let lines = wrap_and_cut(message.text(), width);
        // The keys that answer the offer are not on the screen otherwise.
        if matches!(state.overlay, Overlay::Recovery(_)) {
            put_lines(pen, above(area), &lines, style);
        } else {
            return put_lines(pen, area, &lines, style);
        }
    }
    let mode = state.mode();
    let hints = match state.overlay {
        Overlay::None if state.session.selection().is_some() => {
            "copy repeat loop-region erase accent rotate-later shift-later close help"
        }
        Overlay::None => GRID_HINTS,
        Overlay::Menu(_) => "menu-close",
        Overlay::Manual(ManualView { input: PagerInput::Search, .. })
        | Overlay::Help(HelpView { input: PagerInput::Search, .. }) => "typing-accept typing-close",
        Overlay::Manual(_) => {
            "list-search list-match-next list-part list-accept list-close list-help list-down list-page-down"
        }
        Overlay::Full { .. } => "list-accept list-part list-click list-close list-help list-down",
        Overlay::Tap => "tap-key tap-restart tap-end",
        Overlay::TapTempo(_) => "tempo-tap tempo-set tempo-cancel",
        Overlay::TapReport(_) | Overlay::Differences(_) => "list-accept list-close list-help list-down list-page-down",
        Overlay::GridChoices(_) => "list-accept list-hear list-close list-help list-down",
        Overlay::Variants(_) => variants::HINTS,
        Overlay::Anchors(_) => "list-accept list-delete list-close list-help list-down",
        Overlay::Sections(_) => "list-accept list-rename list-close list-help list-down",
        Overlay::Help(_) => "list-search list-match-next list-manual list-close list-down list-page-down",
        Overlay::Recovery(_) => "recover-accept recover-view recover-discard recover-later recover-down",
        Overlay::Outputs(..) | Overlay::ConfigFile(_) | Overlay::ImportWarnings(_) => {
            "list-close list-help list-down list-page-down"
        }
        _ => "typing-accept typing-down typing-close",
    };
    let mut x = 0;
    for name in hints.split_whitespace() {
        let Some(command) = commands::find(name) else { continue };
        debug_assert!(command.mode == mode || matches!(mode, Mode::ConfirmQuit | Mode::Menu(_)));
        let keys = match name {
            "enter-group" => "1-9".to_owned(),
            "layer-menu" => state.input.keymap.menu_keys(),
            _ => state.key(name),
        };
        let text = if command.hint.is_empty() { command.description } else { command.hint };
        if !keys.is_empty() && x + keys.width() + text.width() + 3 <= width {
            x = pen.put(area, x, 0, &keys, theme.key());
            x = pen.put(area, x + 1, 0, text, Style::new()) + 2;
        }
    }
}

/// Maximum lines of a message, an error or the forms of an answer.
const MAX_LINES: usize = 3;

/// Wraps text, and cuts what does not fit into [`MAX_LINES`] lines.
fn wrap_and_cut(text: &str, width: usize) -> Vec<String> {
    let mut lines = wrap(text, width);
    if lines.len() > MAX_LINES {
        let rest = lines.split_off(MAX_LINES - 1).join(" ");
        lines.push(fit(&rest, width));
    }
    lines
}

fn above(row: Rect) -> Rect {
    Rect { y: row.y - 1, ..row }
}

/// Draws a list of voices above a prompt, around the selected one, on at most two thirds of the screen.
fn draw_voices(pen: &mut Pen<'_>, last: Rect, voices: &[Voice], selected: Option<usize>) {
    let rows = (usize::from(last.y) * 2 / 3).clamp(1, voices.len());
    let first = selected.map_or(0, |at| (at + 1).saturating_sub(rows));
    let names = voices.iter().map(|voice| voice.name().width()).max().unwrap_or(0);
    for (y, (k, voice)) in voices.iter().enumerate().skip(first).take(rows).enumerate() {
        let row = Rect { y: last.y + 1 - (rows - y) as u16, ..last };
        pen.clear(row);
        let x = pen.put(row, 1, 0, &format!("{:<names$}  ", voice.name()), pen.theme.key());
        let description = fit(voice.description(), usize::from(row.width).saturating_sub(x));
        pen.put(row, x, 0, &description, Style::new());
        if selected == Some(k) {
            pen.row_style(row, 0, pen.theme.cursor());
        }
    }
}

/// Draws lines of which the last is in this row.
fn put_lines(pen: &mut Pen<'_>, last: Rect, lines: &[String], style: Style) {
    for (i, line) in lines.iter().rev().enumerate() {
        let row = Rect { y: last.y - i as u16, ..last };
        pen.clear(row);
        pen.put(row, 0, 0, line, style);
    }
}
