//! Tests of what travels.

use super::*;
use crate::rhythm::Fraction;
use crate::sound::tests::{groove, hard};
use crate::sound::{Click, ClickLine, Moment, Range, ScheduleOptions};
use proptest::prelude::*;

fn same(a: &Schedule, b: &Schedule) {
    assert_eq!(a.map, b.map);
    assert_eq!(a.sources, b.sources);
    assert_eq!(a.rate, b.rate);
    assert_eq!(a.notes.len(), b.notes.len());
    for (x, y) in a.notes.iter().zip(&b.notes) {
        assert_eq!((x.at, x.sound, x.hold), (y.at, y.sound, y.hold));
        assert_eq!((x.left.to_bits(), x.right.to_bits()), (y.left.to_bits(), y.right.to_bits()));
    }
    assert!(a.sounds.iter().zip(&b.sounds).all(|(x, y)| x == y));
}

fn asks() -> Vec<ScheduleOptions> {
    let plain = ScheduleOptions::whole(SampleRate::STUDIO);
    let line = ClickLine { moments: vec![Moment::Seconds(0.1), Moment::Between(0.337)], tone: 2, side: -40 };
    vec![
        ScheduleOptions { speed: Fraction::new(97, 100).expect("speed"), ..plain.clone() },
        ScheduleOptions { click: Click::Divided(3), lines: vec![line], ..plain.clone() },
        ScheduleOptions { range: Range::Section(7), ..plain },
    ]
}

fn some() -> (Schedule, Packed) {
    let groove = groove(&[Voice::Rim, Voice::Pluck], &[("4/4", "137.3", 2, None, "X..x{5: xoxxx}x..x..x.")]);
    let schedule = Schedule::build(&groove, &asks()[0]);
    let packed = pack(&schedule).expect("small");
    (schedule, packed)
}

#[test]
fn what_arrives_is_what_was_built() {
    for groove in hard() {
        for ask in asks() {
            let sides = [-100, -37, 0, 100].iter().enumerate();
            let lines = sides.map(|(k, &side)| ClickLine { moments: vec![Moment::Seconds(0.2)], tone: k as u8, side });
            let ask = ScheduleOptions { lines: ask.lines.iter().cloned().chain(lines).collect(), ..ask };
            let schedule = Schedule::build(&groove, &ask);
            let bytes = postcard::to_allocvec(&pack(&schedule).expect("small")).expect("packed");
            let packed: Packed = postcard::from_bytes(&bytes).expect("packed");
            same(&schedule, &packed.unpack(ask.rate, &|_| None).expect("valid"));
        }
    }
}

#[test]
fn it_is_compact() {
    let voices = [Voice::Kick, Voice::Snare, Voice::Hat, Voice::Wood, Voice::Rim, Voice::Tom, Voice::Bass, Voice::Bell];
    let bar = ["xxxxxxxxxxxxxxxx"; 64].join("|");
    let groove = groove(&voices, &[("4/4", "137.3", 1, None, &bar)]);
    let schedule = Schedule::build(&groove, &ScheduleOptions::whole(SampleRate::STUDIO));
    let bytes = postcard::to_allocvec(&pack(&schedule).expect("small")).expect("packed");
    assert_eq!(schedule.len(), 8 * 64 * 16);
    assert!(bytes.len() < 5 * schedule.len(), "{} bytes for {} sounds", bytes.len(), schedule.len());
}

#[test]
#[allow(clippy::type_complexity, reason = "a table of changes")]
fn what_breaks_a_rule_is_refused_by_its_name() {
    let refused = |change: &dyn Fn(&mut Packed)| {
        let (_, mut packed) = some();
        change(&mut packed);
        packed.unpack(SampleRate::STUDIO, &|_| None).expect_err("broken").to_string()
    };
    let rows: [(&str, &dyn Fn(&mut Packed)); 21] = [
        ("44100 Hz", &|p| p.rate = 44_100),
        ("denominator", &|p| p.denom = 0),
        ("denominator", &|p| p.denom = u128::MAX),
        ("out of range", &|p| p.length.0 = u64::MAX),
        ("out of range", &|p| p.length.1 = p.denom),
        ("out of range", &|p| p.notes.0[3].1 = u128::MAX),
        ("shorter than a frame", &|p| (p.length, p.pieces, p.notes) = (At(0, 1), Few(vec![]), Few(vec![]))),
        ("sections", &|p| p.length = At(0, 0)),
        ("beyond the end", &|p| p.notes.0[3].0 = 1 << 40),
        ("out of range", &|p| p.notes.0[3].0 = u64::MAX),
        ("not in order", &|p| (p.notes.0[3].0, p.notes.0[2].1, p.notes.0[3].1) = (0, 1, 0)),
        ("kind of note 4000000000 of", &|p| p.notes.0[3].2 = 4_000_000_000),
        ("sound 99 of", &|p| p.kinds.0[1].0 = 99),
        ("gain", &|p| p.kinds.0[1].2 = f32::NAN),
        ("gain", &|p| p.kinds.0[1].3 = f32::INFINITY),
        ("gain", &|p| p.kinds.0[1].3 = -33.0),
        ("sections", &|p| p.pieces.0[0].5 = f64::NAN),
        ("sections", &|p| p.pieces.0[1].2 = 0),
        ("voice", &|p| p.sounds.0[0] = Made::Voice("no such".into(), None, 1)),
        ("pitch 200", &|p| p.sounds.0[0] = Made::Voice("pluck".into(), Some(200), 1)),
        ("accent 7", &|p| p.sounds.0[0] = Made::Beat(7)),
    ];
    for (expected, change) in rows {
        let words = refused(change);
        assert!(words.contains(expected), "'{words}' for '{expected}'");
    }
    assert!(refused(&|p| p.sounds.0[0] = Made::Line(CLICK_TONES, 1)).contains("tone"));
    let crowd = |p: &mut Packed| p.notes.0 = vec![Knock(0, 0, 0); AT_ONCE + 1];
    assert!(refused(&crowd).contains("one frame"));
}

#[test]
fn a_loop_that_is_too_large_is_refused_before_it_travels() {
    let (mut schedule, _) = some();
    let note = schedule.notes[0];
    schedule.notes = vec![note; NOTES + 1];
    assert!(pack(&schedule).expect_err("too large").to_string().contains("for the remote speaker"));
}

proptest! {
    #![proptest_config(crate::rhythm::random::config(256))]

    #[test]
    fn any_bytes_give_a_valid_schedule_or_none(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        if let Ok(packed) = postcard::from_bytes::<Packed>(&bytes) {
            let _ = packed.unpack(SampleRate::STUDIO, &|_| None);
        }
    }

    #[test]
    fn a_changed_byte_gives_a_valid_schedule_or_none(at: prop::sample::Index, byte: u8) {
        let (_, packed) = some();
        let mut bytes = postcard::to_allocvec(&packed).expect("packed");
        let at = at.index(bytes.len());
        bytes[at] = byte;
        let Ok(packed) = postcard::from_bytes::<Packed>(&bytes) else { return Ok(()) };
        let Ok(schedule) = packed.unpack(SampleRate::STUDIO, &|_| None) else { return Ok(()) };
        prop_assert!(schedule.notes.is_sorted_by_key(|n| n.at));
        prop_assert!(schedule.notes.iter().all(|n| (n.sound as usize) < schedule.sounds.len()));
        let mut renderer = crate::sound::Renderer::new(SampleRate::STUDIO);
        renderer.play(Box::new(schedule), crate::sound::Frame(0));
        let mut out = vec![0.0; 9_000];
        renderer.render(&mut out);
        prop_assert!(out.iter().all(|x| x.is_finite()));
    }
}
