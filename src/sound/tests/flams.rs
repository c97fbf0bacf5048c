//! Tests that the grace stroke of a flam sounds on its frame and at its level, also over the seam of the loop.

use super::*;

/// 30 ms at 48 kHz.
const LEAD: i64 = 1440;

/// A bar of 96000 frames with flams on cells 0 and 6, at frames 0 and 36000.
fn flams() -> Groove {
    groove(&[Voice::Rim], &[("4/4", "120", 1, None, "/x...../X.........")])
}

fn options(speed: (i64, i64)) -> ScheduleOptions {
    let speed = Fraction::new(speed.0, speed.1).expect("speed");
    ScheduleOptions { speed, ..ScheduleOptions::whole(SampleRate::STUDIO) }
}

#[test]
fn a_grace_stroke_is_30_ms_before_its_attack_and_8_db_softer_at_every_speed() {
    for (speed, factor) in [((1, 1), 1), ((1, 2), 2)] {
        let schedule = Schedule::build(&flams(), &options(speed));
        let at: Vec<i64> = schedule.notes.iter().map(|n| n.at.frame).collect();
        assert_eq!(at, [0, 36_000 * factor - LEAD, 36_000 * factor, 96_000 * factor - LEAD], "{speed:?}");
        let seam: Vec<bool> = schedule.notes.iter().map(|n| n.is_for_next_pass).collect();
        assert_eq!(seam, [false, false, false, true]);
        for (grace, attack) in [(1, 2), (3, 0)] {
            let [grace, attack] = [grace, attack].map(|k| schedule.notes[k]);
            let db = 20.0 * (grace.left / attack.left).log10();
            assert!((db + 8.0).abs() < 1e-3 && grace.sound == attack.sound, "{db} dB");
        }
    }
}

#[test]
fn the_grace_stroke_of_a_held_voice_ends_at_its_attack() {
    let bass = groove(&[Voice::Bass], &[("4/4", "120", 1, None, "....../x---......")]);
    let schedule = Schedule::build(&bass, &options((1, 1)));
    assert_eq!(schedule.notes.iter().map(|n| i64::from(n.hold)).collect::<Vec<_>>(), [LEAD, 24_000]);
}

#[test]
fn a_loop_shorter_than_the_lead_has_no_grace_stroke_at_its_start() {
    // A 1/64 at 999 quarters a minute lasts 3.75 ms.
    let short = groove(&[Voice::Rim], &[("1/64", "999", 1, None, "/x...")]);
    assert_eq!(Schedule::build(&short, &options((1, 1))).len(), 1);
}

#[test]
fn the_seam_has_a_grace_stroke_between_passes_and_none_before_the_first_or_after_the_last() {
    let mut bytes = Vec::new();
    wav(&flams(), &options((1, 1)), Length::Passes(2), &mut bytes).expect("written");
    let samples: Vec<i32> = bytes[44..].chunks_exact(6).map(|f| i32::from_le_bytes([0, f[0], f[1], f[2]])).collect();
    let is_loud = |from: usize| samples.iter().skip(from).take(LEAD as usize).any(|s| *s != 0);
    assert!(
        is_loud(0) && is_loud(96_000 - LEAD as usize),
        "the first attack, and the grace stroke before the second pass"
    );
    assert!(samples[94_000..96_000 - LEAD as usize].iter().all(|s| *s == 0), "silence before it");
    assert!(!is_loud(192_000 - LEAD as usize), "no grace stroke for a pass that does not come");
}
