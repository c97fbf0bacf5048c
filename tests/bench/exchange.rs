//! How fast sixteen layers of 64 bars become notation and MIDI, and notation becomes a groove again.

use criterion::{Criterion, criterion_group, criterion_main};
use std::hint::black_box;
use teeter::analysis::{Ask, report};
use teeter::exchange::musicxml::{self, Notation};
use teeter::exchange::score::{Beaming, Score};
use teeter::exchange::{Piece, midi};
use teeter::rhythm::{Fraction, Groove, Layer, Meter, Section, Tempo, Time, Voice, picture};

fn groove() -> Groove {
    let meter = Meter::parse("4/4").expect("meter");
    let tempo = Tempo::new(Fraction::whole(137), Time::new(1, 4).expect("unit")).expect("tempo");
    let drawings =
        ["x.....x.x.......", "....X.......X..o", "xoxoxoxoxoxoxoxo", "{3: xxx}{5: xx-x.}x--x--x-", "x--x--x-x--x--x-"];
    let layers = (0..16).map(|k: usize| {
        let drawing = vec![drawings[k % drawings.len()]; 64].join("|");
        let part = picture::parse_bars(&drawing, &meter, 64, 4).expect("drawing");
        Layer::new(&format!("{k}"), Voice::ALL[k % Voice::ALL.len()], 4, vec![part])
    });
    let layers = layers.collect();
    let section = Section { name: "A".into(), meter, tempo, bars: 64, times: 1, swing: None };
    Groove::new("bench", "", vec![section], layers).expect("groove")
}

fn exchange(c: &mut Criterion) {
    let groove = groove();
    let report = report(&groove, &Ask::default());
    let piece = Piece { groove: &groove, report: &report, hearings: Vec::new(), section: None };
    let notation = Notation::of(&piece);
    let document = musicxml::write(&piece, &notation).expect("a score");
    let mut group = c.benchmark_group("16 layers x 64 bars");
    group.sample_size(20);
    group.bench_function("spelled", |b| b.iter(|| black_box(Score::of(&groove, None, Beaming::Meter))));
    group.bench_function("to MusicXML", |b| b.iter(|| black_box(musicxml::write(&piece, &notation))));
    group.bench_function("to packed MusicXML", |b| b.iter(|| black_box(musicxml::write_mxl(&piece, &notation))));
    group.bench_function("to MIDI", |b| b.iter(|| black_box(midi::export(&piece))));
    group.bench_function("from MusicXML", |b| b.iter(|| black_box(musicxml::read(&document))));
    group.finish();
}

criterion_group!(benches, exchange);
criterion_main!(benches);
