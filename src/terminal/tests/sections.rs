//! Tests of the list of sections, and of the title.

use super::*;
use crate::terminal::overlay::Overlay;

const SIZES: [(u16, u16); 3] = [(60, 18), (80, 24), (200, 60)];

fn sections() -> State {
    let mut state = open(groove("x..x ..x. | x... ...."), PLAIN, (80, 24));
    press(
        &mut state,
        "N \"bridge 3+2+2/8\" enter T \"1/8=200\" enter S p \"3\" enter N \"C 3/4\" enter S w \"2:1\" enter",
    );
    state
}

fn row(state: &State, size: (u16, u16), y: usize) -> String {
    screen(state, size).lines().nth(y).unwrap_or_default().split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn the_list_shows_every_section_and_enter_goes_there() {
    let mut state = sections();
    press(&mut state, "home S l");
    for size in SIZES {
        assert_eq!(row(&state, size, 1), "Sections: 3");
        assert_eq!(row(&state, size, 2), "section meter tempo bars times swing");
        assert_eq!(row(&state, size, 3), "1 A 2/4 1/4 = 150 2 1 straight");
        assert_eq!(row(&state, size, 4), "2 bridge 3+2+2/8 1/8 = 200 2 3 straight");
        assert_eq!(row(&state, size, 5), ">3 C 3/4 1/8 = 200 2 1 2:1");
    }
    assert_eq!(state.overlay, Overlay::Sections(2), "the section of the cursor");
    press(&mut state, "home down enter");
    assert_eq!(state.overlay, Overlay::None);
    assert_eq!(state.session.cursor().place, crate::rhythm::Place { layer: 0, section: 1, cell: 0 });
    assert!(row(&state, (80, 24), 0).contains("section bridge (2 of 3)"), "{}", row(&state, (80, 24), 0));
    assert_eq!(state.groove().sections().len(), 3, "the groove is as it was");
    press(&mut state, "S l up r ctrl-u \"verse\" enter");
    assert_eq!(state.groove().sections()[0].name, "verse");
}

#[test]
fn the_list_follows_its_selected_line() {
    let mut state = open(groove("x... ...."), PLAIN, (60, 18));
    (0..40).for_each(|_| drop(press(&mut state, "S n enter")));
    press(&mut state, "S l home end");
    let last = screen(&state, (60, 18));
    assert!(last.contains("AO ") && last.contains("100%") && !last.contains(" 1  A "), "{last}");
    press(&mut state, "home");
    let first = screen(&state, (60, 18));
    assert!(first.contains(" 1  A ") && !first.contains("41  AO"), "{first}");
}

#[test]
fn long_names_give_way_to_the_numbers_of_the_list() {
    let mut state = sections();
    press(&mut state, "S r ctrl-u \"a name that is much longer than the window has room for it\" enter S l");
    let row = row(&state, (60, 18), 5);
    assert!(row.starts_with(">3 a name that") && row.ends_with("~ 3/4 1/8 = 200 2 1 2:1"), "{row}");
}

#[test]
fn the_number_of_a_section_is_not_taken_for_a_meter() {
    let state = sections();
    for size in SIZES {
        let title = screen(&state, size).lines().next().unwrap_or_default().to_owned();
        assert!(title.contains("(3 of 3)") && title.contains("3/4"), "{title}");
        assert_eq!(title.matches('/').count(), 2, "the meter and the note value of the beat: {title}");
    }
}
