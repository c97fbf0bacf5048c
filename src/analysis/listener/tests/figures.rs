//! Figures that people lose the beat over: averages of unequal groups, their changes, and unequal beats that are felt.

use super::*;

/// Orders of threes and fours, as many of each, without a shorter period.
const ORDERS: [[usize; 8]; 5] = [
    [3, 4, 3, 3, 4, 4, 3, 4],
    [4, 3, 3, 4, 4, 3, 4, 3],
    [3, 3, 4, 3, 4, 4, 4, 3],
    [4, 4, 3, 4, 3, 3, 3, 4],
    [3, 4, 4, 3, 4, 3, 3, 4],
];

/// Groups in sixteenths at quarter = `bpm`, as many bars of 4/4 as close with them.
fn sixteenths(bpm: f64, groups: &[usize]) -> Piece {
    let sum: usize = groups.iter().sum();
    Piece::groups(FOUR, bpm, num_integer::lcm(sum, 16) / 16, 4, groups)
}

fn first_is_average(l: &Listening, bpm: f64, within: f64) -> bool {
    let h = &l.hearings[0];
    h.kind == PulseKind::Average && (h.bpm - bpm).abs() <= within
}

#[test]
fn thirteen_cells_are_heard_as_their_average() {
    // Three attacks in 13 sixteenths of 100 ms: 3 * 60 / 1.3 = 138.5 in a minute.
    for groups in [[4, 4, 5], [4, 5, 4], [5, 4, 4]] {
        let l = sixteenths(150.0, &groups).heard();
        assert!(first_is_average(&l, 138.46, 1.0), "{groups:?} {}", line(&l));
        assert!(l.hardness() > 0.8 && l.rival().is_some(), "{}", line(&l));
        // At half speed each sixteenth is felt, and nobody averages.
        let slow = sixteenths(75.0, &groups).heard();
        assert_ne!(slow.hearings[0].kind, PulseKind::Average, "{groups:?} {}", line(&slow));
    }
}

#[test]
fn threes_and_fours_are_heard_as_their_average() {
    // As many threes as fours of 100 ms: 350 ms, 171.4 in a minute.
    let mut asked = 0;
    for order in ORDERS {
        for turn in [0, 3] {
            for double in [false, true] {
                let mut groups = order.to_vec();
                groups.rotate_left(turn);
                if double {
                    let mut back = groups.clone();
                    back.reverse();
                    groups.extend(back);
                }
                let l = sixteenths(150.0, &groups).heard();
                assert!(first_is_average(&l, 171.43, 3.0), "{groups:?} {}", line(&l));
                let slow = sixteenths(75.0, &groups).heard();
                assert_ne!(slow.hearings[0].kind, PulseKind::Average, "{groups:?} {}", line(&slow));
                asked += 1;
            }
        }
    }
    assert_eq!(asked, 20);
}

/// A figure of thirteen cells so many times, then so many shuffles of threes and fours; where they meet, in seconds.
fn seam(figures: usize, shuffles: usize) -> (Piece, f64) {
    let mut groups = [4, 4, 5].repeat(figures);
    groups.extend(ORDERS.iter().cycle().take(shuffles).flatten());
    (sixteenths(150.0, &groups), figures as f64 * 1.3)
}

#[test]
fn a_seam_is_one_hearing_of_two_stretches() {
    for (figures, shuffles) in [(8, 6), (16, 4)] {
        let (piece, seam) = seam(figures, shuffles);
        let l = piece.heard();
        let first = &l.hearings[0];
        assert_eq!((first.kind, first.stretches.len()), (PulseKind::Changing, 2), "{}", line(&l));
        assert!((first.stretches[0].bpm - 138.46).abs() < 2.0, "{}", line(&l));
        assert!((first.stretches[1].bpm - 171.43).abs() < 4.0, "{}", line(&l));
        assert!((first.stretches[1].start - seam).abs() <= 0.5, "{} {seam}", first.stretches[1].start);
        assert!(first.probability > 0.8, "{}", line(&l));
        // With quarters on a bass drum the beat can be kept by those who take in both.
        let mut both = piece.clone();
        both.layers.push((Voice::Kick, 1, "x".to_owned()));
        let with = both.heard();
        assert!(with.hearings[0].keeps_written(), "{}", line(&with));
        let difference = super::super::stream_difference(&l, &with).expect("two streams");
        assert!(difference < -0.2, "{difference}");
        let slow = Input { speed: 0.5, ..piece.input() };
        let slow = listen(&slow).expect("a pulse");
        assert_ne!(slow.hearings[0].kind, PulseKind::Average, "{}", line(&slow));
    }
}

/// A meter of unequal beats as it is written, and its beats.
pub(super) struct UnequalMeter {
    pub(super) name: &'static str,
    meter: Meter,
    cells: &'static str,
}

const fn unequal(name: &'static str, meter: Meter, cells: &'static str) -> UnequalMeter {
    UnequalMeter { name, meter, cells }
}

pub(super) const UNEQUAL: [UnequalMeter; 4] = [
    unequal("3+2+2/8", Meter { beats: 7, parts: 2, heads: &[0, 3, 5] }, "x..x.x."),
    unequal("3+2+2 written as 7/8", simple(7), "x..x.x."),
    unequal("2+2+2+3 written as 9/8", simple(9), "x.x.x.x.."),
    unequal("3+2 written as 5/8", simple(5), "x..x."),
];

impl UnequalMeter {
    /// What is heard at so many eighths in a minute, and whether its beats come first. Filled, every eighth is struck and the
    /// beats are accented.
    pub(super) fn heard(&self, eighths: f64, filled: bool) -> (Listening, bool) {
        let cells = if filled { self.cells.replace('x', "X").replace('.', "x") } else { self.cells.to_owned() };
        let l = Piece::new(self.meter, eighths, 2, &[(Voice::Pluck, 1, &cells)]).heard();
        let first = &l.hearings[0];
        let heads = first.pulses.iter().map(|p| (p * eighths / 60.0).round() as usize);
        let written: Vec<usize> = self.cells.chars().enumerate().filter(|c| c.1 == 'x').map(|c| c.0).collect();
        let is_first = first.kind == PulseKind::Unequal && heads.take(written.len()).eq(written);
        (l, is_first)
    }
}

#[test]
fn unequal_beats_are_heard_whatever_they_are_written_as() {
    for eighths in [240.0, 260.0, 280.0, 300.0, 320.0] {
        for meter in &UNEQUAL {
            let (l, is_first) = meter.heard(eighths, false);
            assert!(is_first, "{} {eighths} {}", meter.name, line(&l));
        }
    }
}
