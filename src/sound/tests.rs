//! Grooves for the tests, and plain exact arithmetic as the reference.

mod flams;
mod placing;
mod sounding;

use super::*;
use crate::rhythm::{Fraction, Groove, Layer, Meter, Part, Section, Swing, Tempo, Time, Voice, cell_notation};
use num_rational::BigRational;
use num_traits::ToPrimitive;
use std::io;

/// Meter, tempo in quarters, number of passes, swing, cells at four per beat.
pub(super) type Row<'a> = (&'a str, &'a str, u16, Option<&'a str>, &'a str);

fn section(k: usize, row: &Row) -> Section {
    let &(meter, bpm, times, swing, drawing) = row;
    let tempo = Tempo::new(Fraction::parse(bpm).expect("tempo"), time(1, 4)).expect("tempo");
    Section {
        name: format!("S{k}"),
        meter: Meter::parse(meter).expect("meter"),
        tempo,
        bars: drawing.matches('|').count() as u16 + 1,
        times,
        swing: swing.map(|s| Swing::parse(s).expect("swing")),
    }
}

pub(super) fn groove(voices: &[Voice], rows: &[Row]) -> Groove {
    let sections: Vec<Section> = rows.iter().enumerate().map(|(k, row)| section(k, row)).collect();
    let parts = || -> Vec<Part> {
        let parts = rows.iter().zip(&sections);
        parts.map(|(r, s)| cell_notation::parse_bars(r.4, &s.meter, usize::from(s.bars), 4).expect("drawing")).collect()
    };
    let layers = voices.iter().enumerate().map(|(k, &v)| Layer::new(&format!("l{k}"), v, 4, parts())).collect();
    Groove::new("t", "", sections, layers).expect("groove")
}

pub(super) fn time(n: i64, d: i64) -> Time {
    Time::new(n, d).expect("time")
}

pub(super) fn rate(hertz: u32) -> SampleRate {
    SampleRate::new(hertz).expect("rate")
}

pub(super) fn big(n: i64, d: i64) -> BigRational {
    BigRational::new(n.into(), d.into())
}

/// Offsets of the attacks of layer 0 and the length of the loop in frames, added up plainly.
pub(super) fn reference(groove: &Groove, options: &ScheduleOptions) -> (Vec<BigRational>, BigRational) {
    let per_whole = |s: &Section| {
        let (bpm, unit) = (s.tempo.bpm(), s.tempo.unit());
        big(60 * i64::from(options.rate.hertz()), 1)
            / (big(bpm.numer(), bpm.denom())
                * big(unit.numer(), unit.denom())
                * big(options.speed.numer(), options.speed.denom()))
    };
    let events = groove.events(0);
    let (mut offsets, mut start) = (Vec::new(), big(0, 1));
    for (s, section) in groove.sections().iter().enumerate() {
        for pass in 0..usize::from(section.times) {
            for event in events.iter().filter(|e| e.section == s && e.pass == pass) {
                offsets.push(&start + per_whole(section) * big(event.offset.numer(), event.offset.denom()));
            }
            start += per_whole(section) * big(section.length().numer(), section.length().denom());
        }
    }
    (offsets, start)
}

pub(super) fn rounded(x: &BigRational) -> i64 {
    (x + big(1, 2)).floor().to_integer().to_i64().expect("small")
}

/// The grooves whose placement is checked: odd tempos, tuplets, several tempos, swing, polymeter.
pub(super) fn hard() -> Vec<Groove> {
    let cycle = {
        let row: Row = ("4/4", "137.3", 1, None, "................");
        let part = Part::Cycled { cells: cell_notation::parse_cycle("x.x..").expect("cycle"), start: 0 };
        let layer = Layer::new("l", Voice::Rim, 4, vec![part]);
        Groove::new("t", "", vec![section(0, &row)], vec![layer]).expect("groove")
    };
    let one = |row: Row| groove(&[Voice::Rim], &[row]);
    vec![
        one(("4/4", "137.3", 1, None, "x..x..x.x..x..x.")),
        one(("4/4", "400/3", 1, None, "{5: xx.xx}x..x{7/2: x.xx.xx}")),
        one(("3+2+2/8", "101.7", 2, Some("2:1"), "x.xxx.x...x.xxx.x...x.xxxxxx")),
        groove(
            &[Voice::Rim],
            &[
                ("4/4", "61.37", 3, Some("7:4"), "xx..x.xxx..xx.xx"),
                ("6/8", "97.1", 2, None, "{3/2: xxx}"),
                ("5/4", "200/7", 1, None, "xx..{11: x..x.x.x.x.}{3: xxx}xx..x..."),
            ],
        ),
        cycle,
    ]
}

/// A groove from its start through a renderer, so many frames, a block at a time.
pub(super) fn rendered(groove: &Groove, options: &ScheduleOptions, db: f32, frames: usize, block: usize) -> Vec<f32> {
    let mut renderer = Renderer::new(options.rate);
    renderer.set_gain(Gain::from_db(db));
    renderer.play(Box::new(Schedule::build(groove, options)), Frame(0));
    let mut out = vec![0.0; 2 * frames];
    for part in out.chunks_mut(2 * block) {
        renderer.render(part);
    }
    out
}

pub(super) fn wav(groove: &Groove, options: &ScheduleOptions, length: Length, sink: &mut Vec<u8>) -> io::Result<Frame> {
    render_wav(Schedule::build(groove, options), length, sink, &mut |_, _| Ok(()))
}

/// All voices at once over a bar.
pub(super) fn full() -> Groove {
    groove(Voice::ALL, &[("4/4", "137.3", 1, Some("3:2"), "x.Xx-.ox{3: xXo}xxxx")])
}

#[test]
fn why_there_is_no_sound_is_one_line() {
    let error = OutputError::new("first\nsecond");
    assert_eq!(error.to_string(), "no sound: first");
}
