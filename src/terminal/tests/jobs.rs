//! Tests of exports and imports: the job that starts, progress, cancelling, and files that exist.

use super::*;
use crate::describe::notes::{Beaming, NotationOptions, Text};
use crate::jobs::{
    HandoutFormat, HearingKey, HearingSelection, ImportedGroove, Job, JobError, JobKind, JobReport, Length, Overwrite,
    PictureStyle, PictureTheme, TakeSound, Target,
};
use crate::terminal::overlay::Overlay;

fn job(effects: Vec<Effect>) -> Job {
    let mut jobs = effects.into_iter().filter_map(|e| if let Effect::RunJob(job) = e { Some(*job) } else { None });
    let job = jobs.next().expect("a job");
    assert!(jobs.next().is_none());
    job
}

fn done(state: &mut State, job: &Job) {
    let report = JobReport { files: vec!["x".into()], ..JobReport::default() };
    update(state, Event::ExportDone(Box::new(job.clone()), Ok(report)));
}

fn target(name: &str) -> Target {
    Target::File(name.into())
}

fn hearings(job: &Job) -> &[HearingKey] {
    let HearingSelection::Keys(keys) = &job.hearings else { panic!("{job:?}") };
    keys
}

fn last(state: &State) -> String {
    screen(state, (80, 24)).lines().last().unwrap_or_default().to_owned()
}

#[test]
fn a_format_is_selected_from_a_searched_list_and_goes_next_to_the_groove() {
    let mut state = ferry();
    press(&mut state, "f \"export\" enter");
    let shown = screen(&state, (80, 24));
    for words in ["Export as:", "midi", "musicxml", "mxl", "svg-streams", "png-notation", "html", "txt"] {
        assert!(shown.contains(words), "{words} in\n{shown}");
    }
    press(&mut state, "\"xml\"");
    let shown = screen(&state, (80, 24));
    assert!(shown.contains("2 found") && !shown.contains("midi"), "{shown}");
    press(&mut state, "down up enter");
    assert!(last(&state).starts_with("Export to: rope.musicxml"), "{}", last(&state));
    let strip = state.strip_hearing().map(|(_, h)| crate::jobs::HearingKey::of(h)).expect("a hearing");
    let made = job(press(&mut state, "enter"));
    assert_eq!(
        (&made.target, made.overwrite, hearings(&made)),
        (&target("rope.musicxml"), Overwrite::Never, &[strip][..])
    );
    let style = PictureStyle::default();
    assert_eq!(made.kind, JobKind::Export { format: "musicxml", picture: None, section: None, style });
    // A later edit does not change the job.
    let before = made.groove.clone();
    press(&mut state, "3");
    assert!(**state.groove() != *before && Arc::ptr_eq(&before, &made.groove));
    done(&mut state, &made);
    // Another name, a section alone, a picture for the screen.
    press(
        &mut state,
        "f \"pictures-as\" enter \"screen 800 x1.5 beams group under groups,half\" enter f \"export-section\" enter \"png notation\" enter",
    );
    assert!(last(&state).starts_with("Export to: rope-A-notation.png"), "{}", last(&state));
    let made = job(press(&mut state, "\"a b.png\" enter"));
    let under = Text::parse("groups,half").expect("a text");
    let notation = NotationOptions { spelling: Beaming::Groups.into(), under, ..NotationOptions::default() };
    let style =
        PictureStyle { theme: PictureTheme::Screen, width: 800.0, scale: Some(1.5), notation: notation.clone() };
    assert_eq!(made.kind, JobKind::Export { format: "png", picture: None, section: Some(0), style });
    assert_eq!(made.target, target("a b.png"));
    done(&mut state, &made);
    // More strips are more hearings.
    press(&mut state, "J");
    state.view.size = (200, 60);
    let made = job(press(&mut state, "f \"handout\" enter enter enter"));
    assert!(hearings(&made).len() > 1 && made.target == target("handout/rope.html"), "{made:?}");
    let (format, sound) = (HandoutFormat::Html, TakeSound::Files);
    assert_eq!(made.kind, JobKind::Handout { format, sound, notation });
    // Without a match there is nothing to select.
    done(&mut state, &made);
    assert!(press(&mut state, "f \"export\" enter \"zzz\" enter enter").is_empty());
    assert!(matches!(state.overlay, Overlay::Export { .. }));
}

#[test]
fn the_prompt_for_sound_takes_its_length() {
    let mut state = ferry();
    press(&mut state, "] k");
    press(&mut state, "f \"render-wav\" enter");
    assert!(last(&state).starts_with("Export WAV to: rope.wav"), "{}", last(&state));
    let made = job(press(&mut state, "\"low.wav x4 44100hz\" enter"));
    assert_eq!(made.kind, JobKind::Render(Box::new(state.loop_spec().take()), Length::Passes(4)));
    assert_eq!((&made.target, made.rate.hertz()), (&target("low.wav"), 44_100));
    done(&mut state, &made);
    let made = job(press(&mut state, "f \"render-wav\" enter \"low.wav 2.5s\" enter"));
    assert!(matches!(made.kind, JobKind::Render(_, Length::Seconds(s)) if s == 2.5));
    done(&mut state, &made);
    let made = job(press(&mut state, "f \"takes-wav\" enter enter"));
    let takes = JobKind::Takes { takes: Vec::new(), times: 2, count_in: 0, speed: state.speed(), recording: None };
    assert_eq!((&made.kind, &made.target, hearings(&made).len()), (&takes, &target("rope-takes.wav"), 1));
    done(&mut state, &made);
    let made = job(press(&mut state, "f \"ladder-wav\" enter enter"));
    assert!(
        matches!(&made.kind, JobKind::Ladder { take, speeds, .. } if take.times == 4 && speeds.len() == 6),
        "{made:?}"
    );
    done(&mut state, &made);
    for (command, text) in [
        ("render-wav", "a.wav x0"),
        ("render-wav", "a.wav x2 3s"),
        ("render-wav", "a.wav count17"),
        ("render-wav", "a.wav count 3s"),
        ("render-wav", "a.wav 5hz"),
        ("takes-wav", "a.wav 3s"),
        ("ladder-wav", "a.wav x2"),
        ("pictures-as", "print 10"),
        ("pictures-as", "poster"),
        ("pictures-as", "print beams"),
        ("pictures-as", "over words"),
        ("import", "a.mid 101ms"),
    ] {
        assert!(press(&mut state, &format!("f \"{command}\" enter \"{text}\" enter")).is_empty(), "{text}");
        let shown = screen(&state, (60, 18));
        assert!(shown.contains("expected "), "{text}: {shown}");
        press(&mut state, "esc");
    }
}

#[test]
fn the_running_job_is_shown_and_cancelled_and_there_is_one_at_a_time() {
    let mut state = ferry();
    assert!(press(&mut state, "f \"cancel\" enter").is_empty());
    let made = job(press(&mut state, "f \"render-wav\" enter enter"));
    assert_eq!(last(&state), "making rope.wav; Esc cancels");
    update(&mut state, Event::JobProgress(37));
    press(&mut state, "right");
    assert!(screen(&state, (60, 18)).contains("making 37%"));
    assert!(press(&mut state, "f \"export\" enter").is_empty());
    assert!(last(&state).starts_with("another export is running"), "{}", last(&state));
    assert!(press(&mut state, "f \"import\" enter \"a.mid\" enter").is_empty());
    // A selection goes before the work does.
    assert!(press(&mut state, "b esc").is_empty());
    assert_eq!(press(&mut state, "esc"), [Effect::CancelJob]);
    update(&mut state, Event::ExportDone(Box::new(made), Err(JobError::Cancelled)));
    assert_eq!(last(&state), "cancelled; nothing was written");
    assert!(!screen(&state, (80, 24)).contains("making"));
    assert!(press(&mut state, "esc").is_empty());
}

#[test]
fn a_file_that_exists_is_overwritten_only_after_yes() {
    let mut state = ferry();
    let made = job(press(&mut state, "f \"export\" enter enter enter"));
    let taken = Event::ExportDone(Box::new(made.clone()), Err(JobError::Exists("rope.mid".into())));
    // While something else is asked the question waits.
    press(&mut state, "T");
    update(&mut state, taken.clone());
    assert!(last(&state).starts_with("Tempo:"));
    press(&mut state, "esc");
    assert!(last(&state).starts_with("rope.mid already exists. Overwrite it? y: yes, Esc: no"), "{}", last(&state));
    assert!(press(&mut state, "n").is_empty());
    assert_eq!(last(&state), "not written; the file is unchanged");
    update(&mut state, taken);
    let again = job(press(&mut state, "y"));
    assert_eq!(again, Job { overwrite: Overwrite::Always, ..made });
    let (path, kind) = ("rope.mid".into(), std::io::ErrorKind::StorageFull);
    let full = JobError::Write { path, kind, reason: "No space left on device".into() };
    update(&mut state, Event::ExportDone(Box::new(again), Err(full)));
    assert_eq!(last(&state).trim(), "not written (No space left on device): rope.mid");
}

fn arrived(warnings: usize) -> Event {
    let warnings =
        (0..warnings).map(|k| format!("measure {k}, part 1: a note was left out {}", "and so on ".repeat(9)));
    let (groove, from) = (groove("x... x..."), "song.mid".into());
    Event::ImportDone(Ok(Box::new(ImportedGroove { groove, from, warnings: warnings.collect() })))
}

#[test]
fn an_import_replaces_the_groove_unsaved_and_can_be_undone() {
    let mut state = open(groove("x..x ..x."), PLAIN, (80, 24));
    let asked = press(&mut state, "f \"import\" enter \"song.mid 20ms\" enter");
    assert_eq!(asked, [Effect::Import { path: "song.mid".into(), tolerance: Fraction::whole(20) }]);
    assert_eq!(last(&state), "reading song.mid; Esc cancels");
    let found = update(&mut state, arrived(0));
    assert!(
        matches!(found[..], [Effect::SwitchDocument(DocumentId(1)), Effect::Journal { .. }, Effect::Analyse { .. }]),
        "{found:?}"
    );
    assert_eq!((drawn(&state, 0).as_str(), state.file(), state.session.is_changed()), ("x... x...", None, true));
    assert!(screen(&state, (80, 24)).contains("(not saved)"));
    // It has no name: saving asks for one.
    assert!(press(&mut state, "ctrl-s").is_empty());
    assert!(last(&state).starts_with("Save as:"));
    // Undo brings back the other one with its file.
    let found = press(&mut state, "esc ctrl-z");
    assert!(matches!(found[..], [Effect::SwitchDocument(DocumentId(0)), Effect::Journal { .. }]), "{found:?}");
    assert_eq!(
        (drawn(&state, 0).as_str(), state.file(), state.session.is_changed()),
        ("x..x ..x.", Some("rope.toml"), false)
    );
    assert!(screen(&state, (80, 24)).contains("(saved)"));
    press(&mut state, "ctrl-y");
    assert_eq!((drawn(&state, 0).as_str(), state.file(), state.session.is_changed()), ("x... x...", None, true));
    // Each has a file of its own, also where the save ends after undo.
    let found = press(&mut state, "ctrl-s \"song.toml\" enter ctrl-z");
    let Some(Effect::Save { groove, .. }) = found.first() else { panic!("{found:?}") };
    update(
        &mut state,
        Event::Saved { document: DocumentId(1), groove: groove.clone(), result: Ok("song.toml".into()) },
    );
    assert_eq!((state.file(), state.session.is_changed()), (Some("rope.toml"), false));
    press(&mut state, "ctrl-y");
    assert_eq!((state.file(), state.session.is_changed()), (Some("song.toml"), false));
    let found = press(&mut state, "ctrl-z 3 ctrl-s");
    assert!(matches!(
        found[..],
        [
            Effect::SwitchDocument(DocumentId(0)),
            Effect::Journal { .. },
            Effect::Journal { .. },
            Effect::Save { name: None, .. }
        ]
    ));
    // Remarks stay until they are closed, and come back.
    press(&mut state, "ctrl-z");
    update(&mut state, arrived(40));
    let shown = screen(&state, (80, 24));
    assert!(
        shown.contains("Import warnings: 40") && shown.contains("measure 0,") && !shown.contains("measure 39,"),
        "{shown}"
    );
    press(&mut state, "down end");
    assert!(screen(&state, (60, 18)).contains("measure 39,"));
    press(&mut state, "esc f \"import-warnings\" enter");
    assert!(screen(&state, (60, 18)).contains("measure 0,"));
}

#[test]
fn an_import_replaces_unsaved_changes_only_after_a_question() {
    let mut state = open(groove("x..x ..x."), PLAIN, (80, 24));
    press(&mut state, "2");
    let before = drawn(&state, 0);
    update(&mut state, arrived(0));
    assert!(last(&state).starts_with("Not saved. s: save and import, y: only import, Esc: cancel"), "{}", last(&state));
    press(&mut state, "esc");
    assert_eq!((drawn(&state, 0), state.file()), (before.clone(), Some("rope.toml")));
    // Saved first.
    update(&mut state, arrived(0));
    let saves = press(&mut state, "s");
    assert!(matches!(saves[..], [Effect::Save { .. }]), "{saves:?}");
    assert_eq!(drawn(&state, 0), before);
    let saved = state.groove().clone();
    update(&mut state, Event::Saved { document: DocumentId(0), groove: saved, result: Ok("rope.toml".into()) });
    assert_eq!((drawn(&state, 0).as_str(), state.file()), ("x... x...", None));
    // A save that fails keeps the work.
    press(&mut state, "2 2");
    let before = drawn(&state, 0);
    update(&mut state, arrived(0));
    press(&mut state, "s \"a.toml\" enter");
    let failed = Err(crate::terminal::event::SaveFailed::Failed("full".into()));
    let unsaved = state.groove().clone();
    update(&mut state, Event::Saved { document: DocumentId(1), groove: unsaved, result: failed });
    assert_eq!(drawn(&state, 0), before);
    // Yes: undo still has it.
    update(&mut state, arrived(0));
    press(&mut state, "y");
    assert_eq!(drawn(&state, 0), "x... x...");
    press(&mut state, "ctrl-z");
    assert_eq!(drawn(&state, 0), before);
    // While something is typed the import waits.
    press(&mut state, "T");
    update(&mut state, arrived(0));
    assert!(last(&state).starts_with("Tempo:"));
    press(&mut state, "esc");
    assert!(last(&state).starts_with("Not saved."));
}
