//! Property tests with random commands.

use super::*;
use proptest::prelude::*;

fn motion() -> impl Strategy<Value = Motion> {
    use Motion as M;
    prop_oneof![
        prop::sample::select(vec![
            M::Left,
            M::Right,
            M::Up,
            M::Down,
            M::BeatLeft,
            M::BeatRight,
            M::BarLeft,
            M::BarRight,
            M::NextAttack,
            M::PreviousAttack,
            M::SectionStart,
            M::SectionEnd,
            M::GrooveStart,
            M::GrooveEnd,
            M::NextSection,
            M::PreviousSection,
        ]),
        (0_usize..5, 0_usize..5, 0_usize..200).prop_map(|(layer, section, cell)| M::To(Place { layer, section, cell })),
    ]
}

fn command() -> impl Strategy<Value = Command> {
    use Command as C;
    let plain = prop::sample::select(vec![
        C::SelectBar,
        C::SelectSection,
        C::SelectAllLayers,
        C::Deselect,
        C::Toggle,
        C::Hold,
        C::Rest,
        C::Erase,
        C::DeletePrevious,
        C::CycleAccent,
        C::ToggleFlam,
        C::EvenBeat,
        C::Copy,
        C::Cut,
        PASTE,
        C::Paste(PasteContent::Rhythm, PasteInCycle::WriteOut),
        C::Paste(PasteContent::All, PasteInCycle::Replace),
        C::RemoveLayer,
        C::CopyLayer,
        C::Mute,
        C::Solo,
        C::CopySection,
        C::RemoveSection,
        C::AddSection(None, None),
        C::Undo,
        C::Redo,
        C::Attack(Accent::Ghost),
        C::Attack(Accent::Accent),
        C::Attack(Accent::Soft),
        C::Pitch(None),
        C::Repeat(Repeats::ToSectionEnd),
        C::InsertBar,
        C::DeleteBars,
        C::SplitSection,
        C::JoinSections,
        C::Cycle(None),
        C::LoopRegion,
        C::LoopStart,
        C::LoopEnd,
        C::AddKit,
    ]);
    let numbers = (0_usize..13, -13_i32..14).prop_flat_map(|(n, by)| {
        prop::sample::select(vec![
            C::EnterGroup(n * 3),
            C::EnterGroups(vec![n as u32, 3, 2], if by < 0 { Overflow::AddBars } else { Overflow::Cut }),
            C::SelectCells(n),
            C::ScaleLengths(if by < 0 { LengthScale::Halve } else { LengthScale::Double }),
            C::Tuplet { cells: n, beats: (by.unsigned_abs() as usize) % 4 },
            C::Repeat(Repeats::More(n)),
            C::Rotate(by),
            C::Shift(by),
            C::Transpose(by),
            C::AccentBy(by / 6),
            C::MoveLayer(by),
            C::MoveSection(by),
            C::NextVoice(by),
            C::Division(n as u16, if by < 0 { Sections::All } else { Sections::Current }, Keep::NoteValues),
            C::Division(n as u16, if by < 0 { Sections::All } else { Sections::Current }, Keep::Cells),
            C::Cycle(Some(n * 2)),
            C::GainBy(by as i8),
            C::SoundFile(Some("k.wav".repeat(n * 6))),
            C::AccentDepth(Some(n as u8 * 2)),
            C::Pan(by as i8 * 9),
            C::TempoBy(by * 20),
            C::SetAnchor(crate::rhythm::Micros(i64::from(by + 20) * 100_000)),
            C::MoveAnchor(i64::from(by) * 10_000),
            C::Bars(n as u16),
            C::BarsBy(by),
            C::Times(n as u16),
            C::Pitch(Pitch::new(n as u8 * 11)),
            C::Swing(Swing::new(n as u8, 2).ok()),
            C::LayerSwing(Swing::new(2, n as u8).ok()),
        ])
    });
    let texts = (prop::sample::select(vec!["", "low", "A", "riff", "a name"]), 0..Voice::ALL.len()).prop_flat_map(
        |(name, v)| {
            prop::sample::select(vec![
                C::AddLayer(name.into(), Voice::ALL[v]),
                C::RenameLayer(name.into()),
                C::RenameSection(name.into()),
                C::AddSection(Some(name.into()), None),
                C::AddSection(None, Meter::parse(["7/8", "3/2", "5/16", "4/4"][v % 4]).ok()),
                C::Title(name.into()),
                C::Note(name.into()),
                C::Voice(Voice::ALL[v]),
                C::Meter(Meter::parse(["4/4", "6/8", "3+2+2/8", "13/16"][v % 4]).expect("meter"), Keep::Cells),
                C::Meter(Meter::parse(["4/4", "6/8", "7/8", "13/16"][v % 4]).expect("meter"), Keep::NoteValues),
            ])
        },
    );
    prop_oneof![
        3 => plain,
        3 => numbers,
        1 => texts,
        2 => motion().prop_map(C::Move),
        2 => motion().prop_map(C::Extend),
    ]
}

proptest! {
    #![proptest_config(crate::rhythm::random::config(256))]

    #[test]
    fn undo_and_redo_are_exact(commands in prop::collection::vec(command(), 1..60)) {
        let first = groove("x..x ..x. / X-.. o...");
        let mut session = Session::new(first.clone());
        let mut revision = session.revision();
        for command in commands {
            let before = session.groove().clone();
            let outcome = session.apply(command.clone());
            // The cursor is on an existing cell.
            let (g, at) = (session.groove(), session.cursor().place);
            prop_assert!(at.section < g.sections().len());
            if !g.layers().is_empty() {
                prop_assert!(at.layer < g.layers().len());
                prop_assert!(at.cell < g.cells(at.layer, at.section));
            }
            // So is the loop region.
            if let Some(region) = session.loop_region() {
                prop_assert!(region.start < region.end);
                prop_assert!(region.start.at < g.sections()[region.start.section].length());
                prop_assert!(region.end.at > Time::ZERO && region.end.at <= g.sections()[region.end.section].length());
            }
            // A new groove has a new revision, and a failed command changes nothing.
            prop_assert_eq!(session.revision() > revision, !std::sync::Arc::ptr_eq(&before, g), "{:?}", &command);
            if matches!(outcome, Outcome::Error(_)) {
                prop_assert_eq!(&before, g);
            }
            revision = session.revision();
        }
        // Undo everything, then redo and undo it again.
        while !session.history().is_empty() {
            session.apply(Command::Undo);
        }
        prop_assert_eq!(&**session.groove(), &first);
        let mut seen = vec![session.groove().clone()];
        while session.history().redo_label().is_some() {
            session.apply(Command::Redo);
            seen.push(session.groove().clone());
        }
        for groove in seen.iter().rev() {
            prop_assert_eq!(session.groove(), groove);
            session.apply(Command::Undo);
        }
    }

    #[test]
    fn entered_groups_are_attacks_with_holds(groups in prop::collection::vec(1_u32..9, 1..12)) {
        let sum: u32 = groups.iter().sum();
        let meter = Meter::parse("4/4").expect("meter");
        let tempo = section("A", "4/4", 1).tempo;
        let mut session = Session::new(Groove::blank(meter, tempo, (sum / 16 + 1) as u16).expect("groove"));
        for n in &groups {
            session.apply(Command::EnterGroup(*n as usize));
        }
        // By definition, each attack is at the end of the previous group, with holds after it.
        let want: String = groups.iter().flat_map(|n| std::iter::once('x').chain((1..*n).map(|_| '-'))).collect();
        let g = session.groove();
        let context: PartContext<'_> = g.context(0, 0);
        let cells: String = (0..g.part(0, 0).len(context)).map(|c| cell_notation::print_cell(g.part(0, 0).cell(c))).collect();
        prop_assert_eq!(cells.trim_end_matches('.'), want);
        prop_assert_eq!(session.cursor().place.cell, sum as usize);
    }
}
