//! No row of the pane is empty while something is cut or hidden.

use super::*;
use crate::terminal::view::pane::empty_rows;

#[test]
fn no_row_is_empty_while_something_is_hidden() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/patterns");
    let (mut partial, mut whole) = (0, 0);
    for entry in std::fs::read_dir(folder).expect("patterns") {
        let groove = crate::store::load(&entry.expect("entry").path()).expect("groove").groove;
        for is_refined in [false, true] {
            let mut state = open(groove.clone(), UNICODE, (80, 24));
            if is_refined {
                refine(&mut state);
            }
            for height in [18, 20, 21, 24, 30, 40, 47, 60, 90, 150] {
                for width in [60, 75, 80, 100, 120, 160, 200, 250] {
                    let layout = state.layout_in(width, height).expect("large enough");
                    let (empty, is_partial) = empty_rows(&state, &layout);
                    let name = state.groove().title();
                    assert!(
                        empty == 0 || !is_partial,
                        "{name} {width}x{height}: {empty} empty rows\n{}",
                        screen(&state, (width, height))
                    );
                    *(if is_partial { &mut partial } else { &mut whole }) += 1;
                }
            }
        }
    }
    assert!(partial > 500 && whole > 50, "{partial} {whole}");
}
