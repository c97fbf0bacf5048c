//! Tests of documents and their saved state.

use super::*;

#[test]
fn the_saved_state_is_compared_by_content() {
    let mut session = Session::new(groove(BLANK));
    assert!(!session.is_changed());
    session.apply(Toggle);
    assert!(session.is_changed());
    session.apply(Toggle);
    assert!(!session.is_changed());
    session.apply(Toggle);
    session.set_saved(DocumentId(0), session.groove().clone());
    assert!(!session.is_changed());
    session.apply(Command::Undo);
    assert!(session.is_changed());
}

#[test]
fn a_replacing_groove_is_another_document() {
    let mut session = Session::new(groove(BLANK));
    session.apply(Toggle);
    session.replace(groove("x... x..."), "import".into());
    assert_eq!((session.document().0, session.is_changed()), (1, true));
    session.set_saved(DocumentId(1), session.groove().clone());
    assert!(!session.is_changed());
    // Each document is compared with its own saved groove.
    session.apply(Command::Undo);
    assert_eq!((session.document().0, session.is_changed()), (0, true));
    session.apply(Command::Undo);
    assert_eq!((session.document().0, session.is_changed()), (0, false));
    session.apply(Command::Redo);
    session.apply(Command::Redo);
    assert_eq!((session.document().0, session.is_changed()), (1, false));
    // The number of a discarded document is not reused, and an equal groove is a new document too.
    session.apply(Command::Undo);
    session.apply(Command::EnterGroup(2));
    session.replace(groove("x... x..."), "import".into());
    assert_eq!((session.document().0, session.is_changed()), (2, true));
    session.replace(groove("x... x..."), "opening".into());
    assert_eq!(session.document().0, 3);
    session.apply(Command::Undo);
    assert_eq!(session.document().0, 2);
}
