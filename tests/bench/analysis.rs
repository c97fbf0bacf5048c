//! Reports, and what follows them, by number of attacks: strings of groups in no order, the hardest to cut. Nothing is asserted here.
#![allow(missing_docs)]

use criterion::{BenchmarkId, Criterion, criterion_group, criterion_main};
use teeter::analysis::{AnalysisOptions, report};
use teeter::rhythm::{Cell, Fraction, Groove, Layer, Meter, Part, Section, Span, Tempo, Voice};

/// One layer of sixteenths at 150 with so many attacks: `figure` repeated, or 3s and 4s from a fixed random walk.
fn groove(attacks: usize, figure: Option<&[u32]>) -> Groove {
    let mut seed = 12_345_u32;
    let groups: Vec<u32> = (0..attacks)
        .map(|i| {
            figure.map_or_else(
                || {
                    seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                    3 + (seed >> 16) % 3
                },
                |f| f[i % f.len()],
            )
        })
        .collect();
    let cells: u32 = groups.iter().sum();
    let bars_in_all = cells.div_ceil(16);
    let meter = Meter::parse("4/4").expect("meter");
    let tempo = Tempo::new(Fraction::whole(150), meter.beat()).expect("tempo");
    let mut drawn = vec![Cell::Rest; bars_in_all as usize * 16];
    let mut at = 0;
    for g in groups {
        drawn[at as usize] = Cell::ATTACK;
        at += g;
    }
    // A section has at most 1024 bars.
    let (mut sections, mut parts) = (Vec::new(), Vec::new());
    for (i, chunk) in drawn.chunks(1024 * 16).enumerate() {
        let bars = chunk.len() / 16;
        sections.push(Section {
            name: format!("s{i}"),
            meter: meter.clone(),
            tempo,
            bars: bars as u16,
            times: 1,
            swing: None,
        });
        parts.push(Part::Barred { spans: vec![Span { beats: 1, cells: 4 }; bars * 4], cells: chunk.to_vec() });
    }
    Groove::new("bench", "", sections, vec![Layer::new("rope", Voice::Wood, 4, parts)]).expect("groove")
}

fn reports(c: &mut Criterion) {
    let mut group = c.benchmark_group("report");
    group.sample_size(20);
    for attacks in [100, 1000, 10_000] {
        let disorder = groove(attacks, None);
        group.bench_with_input(BenchmarkId::new("no order", attacks), &disorder, |b, g| {
            b.iter(|| report(g, &AnalysisOptions::default()));
        });
        let figure = groove(attacks, Some(&[4, 4, 5]));
        group.bench_with_input(BenchmarkId::new("one figure", attacks), &figure, |b, g| {
            b.iter(|| report(g, &AnalysisOptions::default()));
        });
    }
    group.finish();
}

/// The chart over the playing speeds and the gains that order the reasons.
fn refinements(c: &mut Criterion) {
    let mut group = c.benchmark_group("chart and gains");
    group.sample_size(10);
    for attacks in [100, 1000] {
        for (name, figure) in [("no order", None), ("one figure", Some(&[4, 4, 5][..]))] {
            let groove = groove(attacks, figure);
            let first = report(&groove, &AnalysisOptions::default());
            group.bench_with_input(BenchmarkId::new(name, attacks), &groove, |b, g| {
                b.iter(|| {
                    let mut report = first.clone();
                    report.refine(g, &AnalysisOptions::default());
                    report
                });
            });
        }
    }
    group.finish();
}

criterion_group!(benches, reports, refinements);
criterion_main!(benches);
