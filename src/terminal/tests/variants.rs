//! The list of variants: opened, moved through, heard, taken, kept and left.

use super::*;
use crate::jobs::variants::{AnswerPart, ListId, VariantsAnswer, VariantsRun};
use crate::rhythm::random::grooves;
use crate::terminal::Overlay;
use proptest::prelude::*;

/// Presses keys and works on the variants as the thread of the shell would.
fn listed(state: &mut State, keys: &str) -> Vec<Effect> {
    let mut left = Vec::new();
    for key in keys.split_whitespace() {
        let effects = press(state, key);
        left.extend(work(state, effects));
    }
    left
}

/// Carries out the newest request for variants to its end; returns the other effects.
fn work(state: &mut State, effects: Vec<Effect>) -> Vec<Effect> {
    let (requests, mut left): (Vec<Effect>, Vec<Effect>) =
        effects.into_iter().partition(|effect| matches!(effect, Effect::Variants(_)));
    let Some(Effect::Variants(Some(request))) = requests.into_iter().next_back() else { return left };
    let mut run = VariantsRun::new(*request, None);
    while let Some(part) = run.step() {
        let effects = update(state, Event::Variants(part));
        let effects = answer(state, effects);
        left.extend(work(state, effects));
    }
    left
}

/// A figure of sixteen cells.
fn sixteen() -> State {
    open(groove("x--x --x- | -x-- x-x-"), PLAIN, (80, 24))
}

fn shown(state: &State) -> String {
    screen(state, (80, 24))
}

/// The groove that is asked to play last.
fn played(effects: &[Effect]) -> Option<Arc<Groove>> {
    effects.iter().rev().find_map(|effect| match effect {
        Effect::Play(request, _) | Effect::Change(request) => match &**request {
            PlayRequest::Loop(spec) => Some(spec.groove.clone()),
            _ => None,
        },
        _ => None,
    })
}

#[test]
fn a_variant_is_drawn_while_it_is_selected_and_taken_in_one_step() {
    let mut state = sixteen();
    let before = state.groove().clone();
    let row = |state: &State| shown(state).lines().find(|l| l.starts_with(">riff")).expect("the layer").to_owned();
    let written = row(&state);
    listed(&mut state, "ctrl-a ctrl-r");
    let list = shown(&state);
    assert!(list.contains("variants of cells 1 to 16 of riff, nearest first"), "{list}");
    assert!(list.contains("the original") && list.contains("written") && list.contains("heard in riff"), "{list}");
    assert_eq!(row(&state), written, "the original is selected first");
    listed(&mut state, "down");
    assert_ne!(row(&state), written);
    assert!(Arc::ptr_eq(&before, state.groove()) && !state.session.is_changed() && shown(&state).contains("(saved)"));
    let effects = listed(&mut state, "enter");
    assert!(effects.iter().any(|e| matches!(e, Effect::Journal { .. })), "{effects:?}");
    assert!(shown(&state).contains("variant taken: ") && shown(&state).contains("Ctrl-Z undoes"), "{}", shown(&state));
    assert_ne!(state.groove(), &before);
    press(&mut state, "ctrl-z");
    assert_eq!(state.groove(), &before);
}

#[test]
fn moving_while_the_loop_plays_changes_what_sounds_and_esc_gives_it_back() {
    let mut state = sixteen();
    let before = state.groove().clone();
    press(&mut state, "enter");
    assert_eq!(played(&listed(&mut state, "E v")), None, "nothing sounds differently yet");
    let effects = listed(&mut state, "down");
    // In place: the loop goes on where it is.
    assert!(!effects.iter().any(|e| matches!(e, Effect::Play(..) | Effect::Stop | Effect::Journal { .. })));
    let first = played(&effects).expect("another loop");
    assert_ne!(first, before);
    assert_ne!(played(&listed(&mut state, "down")).expect("another loop"), first);
    assert_eq!(played(&listed(&mut state, "home")).expect("the original"), before);
    listed(&mut state, "end");
    assert_eq!(played(&listed(&mut state, "esc")).expect("the original"), before);
    assert!(Arc::ptr_eq(&before, state.groove()) && state.overlay == Overlay::None);
    assert!(shown(&state).contains("the groove is unchanged"));
    press(&mut state, "ctrl-z");
    assert!(shown(&state).contains("nothing to undo"));
}

#[test]
fn every_row_says_what_changes_and_the_orders_sort_by_it() {
    let mut state = ferry();
    state.view.theme = PLAIN;
    press(&mut state, "esc b");
    listed(&mut state, "ctrl-r");
    assert!(shown(&state).contains("cells 1 to 16 of"), "{}", shown(&state));
    let figures = |state: &State, row: usize| {
        let list = state.overlay.variants().expect("the list");
        let entry = list.entry(row).expect("an entry");
        list.effect(entry).expect("its effect").clone()
    };
    let mut written = Vec::new();
    for order in ["nearest first", "hardest first", "easiest first", "likeliest first", "most on", "most off"] {
        assert!(shown(&state).contains(order), "{order}: {}", shown(&state));
        let row = state.overlay.variants().map_or(0, |list| list.selected);
        written.push((figures(&state, row.max(1)).written, figures(&state, row.max(1)).on_beat));
        listed(&mut state, "tab");
    }
    assert!(shown(&state).contains("nearest first"));
    assert!(written[1].0 <= written[2].0 && written[5].1 <= written[4].1, "{written:?}");
    listed(&mut state, "back-tab");
    assert!(shown(&state).contains("most off"), "{}", shown(&state));
}

#[test]
fn a_variant_is_kept_as_the_next_section_and_the_list_stays() {
    let mut state = sixteen();
    let before = state.groove().clone();
    listed(&mut state, "ctrl-r down down");
    let variant = state.previewed().clone();
    listed(&mut state, "n");
    assert_eq!(state.groove().sections().len(), 2);
    assert!(shown(&state).contains("kept as section B"), "{}", shown(&state));
    assert_eq!((state.groove().part(0, 0), state.groove().part(0, 1)), (before.part(0, 0), variant.part(0, 0)));
    // The next one goes from the same row on.
    assert_eq!(state.overlay.variants().map(|list| list.selected), Some(2));
    assert_eq!(state.previewed().part(0, 0), variant.part(0, 0));
    // What is heard and compared is the original, not the groove with the sections that were kept.
    let list = state.overlay.variants().expect("the list");
    assert!(Arc::ptr_eq(&list.groove, &before) && state.previewed().sections().len() == 1);
    let next = listed(&mut state, "down n");
    assert_eq!(played(&next), None, "nothing else sounds while it is stopped");
    let second = state.previewed().clone();
    listed(&mut state, "w esc");
    assert!(shown(&state).contains("2 variants kept as sections"), "{}", shown(&state));
    let parts: Vec<_> = (0..3).map(|section| state.groove().part(0, section)).collect();
    assert_eq!(parts, [before.part(0, 0), variant.part(0, 0), second.part(0, 0)], "in the order of keeping");
    press(&mut state, "ctrl-z ctrl-z");
    assert_eq!(state.groove(), &before);
    listed(&mut state, "ctrl-r down n down enter");
    let taken = state.groove();
    assert_eq!((taken.sections().len(), taken.part(0, 1)), (2, variant_of(&before, 1).part(0, 0)));
    assert_eq!(taken.part(0, 0), variant_of(&before, 2).part(0, 0));
}

/// The variant in a row of the list for the first layer.
fn variant_of(groove: &Arc<Groove>, row: usize) -> Arc<Groove> {
    let mut state = open((**groove).clone(), PLAIN, (80, 24));
    listed(&mut state, "ctrl-r");
    listed(&mut state, &"down ".repeat(row));
    state.previewed().clone()
}

#[test]
fn scope_and_order_are_those_of_the_list_before() {
    let mut state = open(groove(&format!("x..x ..x.{}", " | x..x ..x.".repeat(8))), PLAIN, (80, 24));
    listed(&mut state, "ctrl-r w tab");
    assert!(shown(&state).contains("of riff in section A, hardest first"), "{}", shown(&state));
    assert_eq!(state.overlay.variants().map(|list| list.selected), Some(0), "the original stays selected");
    listed(&mut state, "down down tab");
    assert_eq!(state.overlay.variants().map(|list| list.selected), Some(1), "the first in the new order");
    listed(&mut state, "esc ctrl-r");
    assert!(shown(&state).contains("of riff in section A, easiest first"), "{}", shown(&state));
    listed(&mut state, "esc s right right ctrl-r");
    assert!(shown(&state).contains("of cells 1 to 3 of riff"), "{}", shown(&state));
}

#[test]
fn a_cycle_is_varied_as_a_whole_and_the_list_says_so() {
    let mut state = sixteen();
    press(&mut state, "L c 5 enter");
    listed(&mut state, "ctrl-a ctrl-r");
    assert!(shown(&state).contains("variants of the cycle of riff"), "{}", shown(&state));
    listed(&mut state, "w");
    assert!(shown(&state).contains("the cycle is varied as a whole; L o writes it out"), "{}", shown(&state));
}

#[test]
fn original_and_variant_are_takes_back_to_back() {
    let mut state = sixteen();
    let before = state.groove().clone();
    listed(&mut state, "ctrl-r b");
    assert!(shown(&state).contains("this is the original; move down"), "{}", shown(&state));
    let effects = listed(&mut state, "down b");
    let variant = state.previewed().clone();
    let Some(Effect::Play(request, None)) = effects.last() else { panic!("{effects:?}") };
    let PlayRequest::Sequence(sequence) = &**request else { panic!("{request:?}") };
    let grooves: Vec<_> = sequence.takes.iter().map(|take| take.spec.groove.clone()).collect();
    assert_eq!(grooves, [before.clone(), variant.clone()]);
    assert_eq!(sequence.takes.iter().map(|take| take.times).collect::<Vec<_>>(), [Some(2), Some(2)]);
    // The grid follows what is heard.
    let heard = |state: &mut State, take| {
        let position = crate::jobs::play_request::SequencePosition {
            sequence: sequence.number,
            take,
            is_count_in: false,
            pass: 0,
            silent: false,
        };
        update(state, Event::Playback(PlaybackEvent::Take(position)));
        state.shown_groove().clone()
    };
    assert_eq!((heard(&mut state, 0), heard(&mut state, 1)), (before, variant));
    assert!(shown(&state).contains("take 2/2 variant pass 1/2"), "{}", shown(&state));
    let next = played(&listed(&mut state, "down")).expect("a loop again");
    assert_eq!(&next, state.previewed());
}

#[test]
fn what_cannot_be_varied_is_said_with_what_to_change() {
    let rows = [
        ("x... .... | .... ....", "s right right ctrl-r", "variants of cells 1 to 3"),
        ("x... .... | .... ....", "right s right ctrl-r", "no attacks to vary in cells 2 to 3 of riff; select more"),
        (
            "{5: x-x..} x..x",
            "right right right right right s right right right ctrl-r",
            "variants of cells 6 to 9 of riff",
        ),
        ("{5: x-x..} ....", "ctrl-r", "a tuplet is in riff in section A"),
        (".... ....", "ctrl-r", "no attacks to vary in riff in section A; enter some first"),
        ("x... ....", "s ctrl-r", "no variants of cell 1 of riff; select more cells"),
    ];
    for (drawing, keys, text) in rows {
        let mut state = open(groove(drawing), PLAIN, (80, 24));
        listed(&mut state, keys);
        assert!(shown(&state).contains(text), "{text}: {}", shown(&state));
    }
    let mut state = State::new(Groove::in_four(120, 2), None, Keymap::default(), PLAIN, (80, 24));
    press(&mut state, "ctrl-d ctrl-r");
    assert!(shown(&state).contains("no layer yet") || shown(&state).contains("no attacks"), "{}", shown(&state));
}

#[test]
fn the_bar_the_section_and_the_figure_are_varied_in_turn() {
    let mut state = open(groove(&format!("x..x ..x.{}", " | x..x ..x.".repeat(8))), PLAIN, (80, 24));
    listed(&mut state, "ctrl-r");
    assert!(shown(&state).contains("variants of bar 1 of riff"), "{}", shown(&state));
    listed(&mut state, "w");
    assert!(shown(&state).contains("variants of riff in section A"), "{}", shown(&state));
    listed(&mut state, "w");
    assert!(shown(&state).contains("variants of the figure of riff"), "{}", shown(&state));
    listed(&mut state, "down");
    let list = state.overlay.variants().expect("the list");
    assert!(list.subject.starts.len() > 1);
    listed(&mut state, "w");
    assert!(shown(&state).contains("variants of bar 1 of riff"), "{}", shown(&state));
}

#[test]
fn answers_about_another_list_are_dropped() {
    let mut state = sixteen();
    let effects = press(&mut state, "ctrl-r");
    let request = effects.into_iter().find_map(|e| if let Effect::Variants(request) = e { request } else { None });
    let request = *request.expect("a request");
    let old = request.list;
    let made = VariantsRun::new(request, None).step().expect("variants");
    assert!(matches!(made.part, AnswerPart::Made(_)));
    assert!(press(&mut state, "esc").contains(&Effect::Variants(None)));
    press(&mut state, "ctrl-r");
    let of = |list: ListId| Event::Variants(VariantsAnswer { list, ..made.clone() });
    update(&mut state, of(old));
    assert!(state.overlay.variants().is_some_and(|list| list.variants.is_none()), "it is another list");
    update(&mut state, of(ListId(old.0 + 1)));
    assert!(state.overlay.variants().is_some_and(|list| list.variants.is_some()));
    // The help goes back to the list, and what is selected is still drawn under it.
    press(&mut state, "down ?");
    assert!(shown(&state).contains("The list of variants") && state.previewed() != state.groove());
    press(&mut state, "esc");
    assert!(matches!(state.overlay, Overlay::Variants(_)));
    // Nothing of it is saved by a program that ends.
    assert_eq!(update(&mut state, Event::Signal), [Effect::Quit { keep_journal: true }]);
}

#[test]
fn the_list_on_several_screens() {
    let mut state = ferry();
    press(&mut state, "esc b");
    listed(&mut state, "ctrl-r down down");
    insta::assert_snapshot!("variants_80x24", screen(&state, (80, 24)));
    insta::assert_snapshot!("variants_60x18", screen(&state, (60, 18)));
    update(&mut state, Event::Resize(200, 60));
    listed(&mut state, "tab");
    insta::assert_snapshot!("variants_200x60", screen(&state, (200, 60)));
    state.view.theme = PLAIN;
    for size in [(60, 18), (80, 24), (120, 30), (200, 60)] {
        let shown = screen(&state, size);
        assert!(shown.chars().all(|c| c == '\n' || (' '..='~').contains(&c)), "{shown}");
    }
}

proptest! {
    #![proptest_config(crate::rhythm::random::config(24))]

    #[test]
    fn variants_taken_and_undone_or_left_are_the_original(g in grooves(), layer in 0_usize..4, cells in 2_usize..20, moves in 1_usize..30) {
        prop_assume!(!g.layers().is_empty());
        let mut state = State::new(g.clone(), None, Keymap::default(), PLAIN, (80, 24));
        press(&mut state, &"down ".repeat(layer % g.layers().len()));
        press(&mut state, "s");
        press(&mut state, &"right ".repeat(cells));
        let make = |state: &mut State| {
            let effects = press(state, "ctrl-r");
            for effect in effects {
                if let Effect::Variants(Some(request)) = effect {
                    let mut run = VariantsRun::new(*request, None);
                    let made = run.step().expect("variants");
                    update(state, Event::Variants(made));
                }
            }
            press(state, &"down ".repeat(moves));
        };
        make(&mut state);
        prop_assert_eq!(&**state.groove(), &g);
        let variant = state.previewed().clone();
        if state.overlay.variants().is_some() {
            press(&mut state, "esc");
            prop_assert_eq!(&**state.groove(), &g);
            make(&mut state);
            press(&mut state, "enter");
            prop_assert_eq!(state.groove(), &variant);
            press(&mut state, "ctrl-z");
            prop_assert_eq!(&**state.groove(), &g);
            make(&mut state);
            press(&mut state, "n esc");
            prop_assert!(state.groove().sections().len() >= g.sections().len());
            if state.groove().sections().len() > g.sections().len() {
                press(&mut state, "ctrl-z");
            }
            prop_assert_eq!(&**state.groove(), &g);
        }
    }
}
