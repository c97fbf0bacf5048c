//! Unsaved work is offered piece by piece, and each answer is an effect.

use super::*;
use crate::terminal::files::recovery::UnsavedWork;
use crate::terminal::overlay::Overlay;
use crate::terminal::state::Message;

fn work(id: usize, groove: Result<Groove, String>) -> UnsavedWork {
    let difference = (0..40).map(|n| format!("+ difference {n}")).collect();
    UnsavedWork { id, age: "3 minutes ago".into(), groove, difference, text: vec!["title = 3".into()] }
}

fn message(state: &State) -> &str {
    state.message.as_ref().map_or("", Message::text)
}

fn offer(works: Vec<UnsavedWork>) -> State {
    let mut state = open(groove("x..x ..x."), PLAIN, (80, 24));
    state.files.recovery.offers = works.into();
    update(&mut state, Event::Resize(80, 24));
    state
}

#[test]
fn recovered_work_is_an_edit_that_is_journalled_before_its_old_journal_goes() {
    let mut state = offer(vec![work(0, Ok(groove("x..x x..."))), work(1, Ok(groove("x... x...")))]);
    for size in [(60, 18), (80, 24)] {
        let shown = screen(&state, size);
        assert!(shown.contains("Unsaved changes (1 of 2), 3 minutes ago: - file, + unsaved"), "{shown}");
        assert!(shown.contains("+ difference 0") && shown.contains("D discard"), "{shown}");
    }
    press(&mut state, "page-down page-down down");
    assert!(screen(&state, (80, 24)).contains("+ difference 39"));
    let found = press(&mut state, "r");
    assert!(matches!(found[..], [Effect::Journal { .. }, Effect::AdoptUnsaved(0, DocumentId(0))]), "{found:?}");
    assert_eq!((drawn(&state, 0).as_str(), state.session.is_changed()), ("x..x x...", true));
    assert!(message(&state).contains("1 more will be offered at the next start"), "{}", message(&state));
    press(&mut state, "ctrl-z");
    assert_eq!((drawn(&state, 0).as_str(), state.session.is_changed()), ("x..x ..x.", false));
}

#[test]
fn discarded_work_goes_and_work_left_for_later_stays() {
    let mut state = offer(vec![work(0, Ok(groove("x..x x..."))), work(1, Ok(groove("x... x...")))]);
    assert_eq!(press(&mut state, "D"), [Effect::DiscardUnsaved(0)]);
    assert!(screen(&state, (80, 24)).contains("Unsaved changes, 3 minutes ago"));
    assert_eq!(press(&mut state, "esc"), [Effect::ReleaseUnsaved(1)]);
    assert_eq!(state.overlay, Overlay::None);
    assert_eq!((drawn(&state, 0).as_str(), state.session.is_changed()), ("x..x ..x.", false));
}

#[test]
fn work_that_is_no_groove_can_be_read_and_kept() {
    let mut state = offer(vec![work(0, Err("expected a title".into()))]);
    assert!(press(&mut state, "r").is_empty());
    let shown = screen(&state, (80, 24));
    assert!(shown.contains("expected a title") && shown.contains("D discard"), "a message leaves the keys: {shown}");
    press(&mut state, "v");
    assert!(screen(&state, (80, 24)).contains("title = 3"));
    assert_eq!(press(&mut state, "esc"), [Effect::ReleaseUnsaved(0)]);
}

#[test]
fn the_screen_says_that_there_is_no_journal_until_there_is_one() {
    let mut state = open(groove("x..x ..x."), PLAIN, (80, 24));
    update(&mut state, Event::Journal(Err("no space left on the device".into())));
    assert_eq!(message(&state), "autosave failed, unsaved changes are not protected: no space left on the device");
    press(&mut state, "right");
    for size in [(60, 18), (80, 24)] {
        assert!(screen(&state, size).contains("autosave off: no space"));
    }
    update(&mut state, Event::Journal(Ok(())));
    assert!(!screen(&state, (80, 24)).contains("autosave off"));
}
