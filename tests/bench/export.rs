//! Time of pictures, notation and pages of a groove of 64 bars and 16 layers of sixteenths. It must not assert any time.

use criterion::{Criterion, criterion_group, criterion_main};
use std::hint::black_box;
use teeter::analysis::{self, Limits};
use teeter::describe::plain;
use teeter::export::annotations::NotationOptions;
use teeter::export::engraving::notation;
use teeter::export::handout::{Handout, Reader, html, markdown};
use teeter::export::musicxml;
use teeter::export::picture::{PictureKind, PictureOptions, Theme, picture, png};
use teeter::export::{ExportInput, midi};
use teeter::rhythm::{Cell, Fraction, Groove, Layer, Meter, Part, Section, Span, Tempo, Time, Voice};

fn groove() -> Groove {
    let meter = Meter::parse("4/4").expect("4/4");
    let tempo = Tempo::new(Fraction::whole(132), Time::new(1, 4).expect("a quarter")).expect("within bounds");
    let section = Section { name: "A".into(), meter, tempo, bars: 64, times: 1, swing: None };
    let layer = |l: usize| {
        // Threes against the bar, each layer moved by one cell, with a gap that keeps figures from fitting.
        let cell =
            |i: usize| if (i + l).is_multiple_of(3) && !(i + l).is_multiple_of(13) { Cell::ATTACK } else { Cell::Rest };
        let part = Part::Barred { spans: vec![Span { beats: 1, cells: 4 }; 256], cells: (0..1024).map(cell).collect() };
        Layer::new(&format!("layer {l}"), Voice::Pluck, 4, vec![part])
    };
    Groove::new("Long", "", vec![section], (0..16).map(layer).collect()).expect("valid")
}

fn export(c: &mut Criterion) {
    let groove = groove();
    let report = analysis::report(&groove, &analysis::AnalysisOptions::default());
    let piece = ExportInput { groove: &groove, report: &report, hearings: vec![0, 1], section: None };
    for (name, kind) in
        [("grid", PictureKind::Grid), ("streams", PictureKind::Streams), ("landings", PictureKind::Landings)]
    {
        let ask = PictureOptions { kind, ..PictureOptions::default() };
        c.bench_function(&format!("{name} svg"), |b| b.iter(|| picture(black_box(&piece), &ask)));
    }
    for (name, theme) in [("print", Theme::Print), ("screen", Theme::Screen)] {
        let ask = PictureOptions { theme, ..PictureOptions::default() };
        c.bench_function(&format!("grid png {name}"), |b| b.iter(|| png(&picture(black_box(&piece), &ask), 1.0)));
    }
    let score = NotationOptions::default();
    let mut document = Vec::new();
    musicxml::write(&piece, &score, &mut document).expect("a score");
    c.bench_function("musicxml", |b| b.iter(|| musicxml::write(black_box(&piece), &score, &mut Vec::new())));
    c.bench_function("mxl", |b| b.iter(|| musicxml::write_mxl(black_box(&piece), &score, &mut Vec::new())));
    c.bench_function("musicxml in", |b| b.iter(|| teeter::import::musicxml::read(black_box(&document))));
    c.bench_function("midi", |b| b.iter(|| midi::export(black_box(&piece), midi::Tracks::Layers)));
    c.bench_function("notation svg", |b| b.iter(|| notation(black_box(&piece), &score, &PictureOptions::default())));
    c.bench_function("text", |b| b.iter(|| plain::all(black_box(&groove), None)));
    let ladder = (5..=10).filter_map(|n| Fraction::new(n, 10)).collect();
    let handout =
        Handout { piece, limits: Limits::default(), ladder, takes: Vec::new(), stem: "long".into(), notation: score };
    c.bench_function("page html", |b| b.iter(|| html(black_box(&handout), Reader::Student)));
    c.bench_function("page markdown", |b| b.iter(|| markdown(black_box(&handout), Reader::Teacher)));
}

criterion_group!(benches, export);
criterion_main!(benches);
