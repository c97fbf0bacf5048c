//! Benchmarks: rendering of eight layers with and without clicks of four hearings, and building the schedule of a large groove.

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use std::hint::black_box;
use teeter::rhythm::{Fraction, Groove, Layer, Meter, Section, Tempo, Time, Voice, cell_notation};
use teeter::sound::{Click, ClickLine, Frame, Renderer, SampleRate, Schedule, ScheduleOptions};

/// `layers` layers over `bars` bars of 4/4 at 137.3 quarters a minute, patterns and voices in rotation.
fn groove(layers: usize, bars: u16, patterns: &[&str]) -> Groove {
    let meter = Meter::parse("4/4").expect("meter");
    let bpm = Fraction::parse("137.3").expect("number");
    let tempo = Tempo::new(bpm, Time::new(1, 4).expect("unit")).expect("tempo");
    let voices =
        [Voice::Kick, Voice::Snare, Voice::Hat, Voice::OpenHat, Voice::Bass, Voice::Pluck, Voice::Bell, Voice::Shaker];
    let layers = (0..layers).map(|k| {
        let cells = vec![patterns[k % patterns.len()]; usize::from(bars)].join("|");
        let part = cell_notation::parse_bars(&cells, &meter, usize::from(bars), 4).expect("cells");
        Layer::new(&format!("{k}"), voices[k % voices.len()], 4, vec![part])
    });
    let layers = layers.collect();
    let section = Section { name: "A".into(), meter, tempo, bars, times: 1, swing: None };
    Groove::new("bench", "", vec![section], layers).expect("groove")
}

fn render(c: &mut Criterion) {
    let full = ["xxxxxxxxxxxxxxxx"];
    let usual = ["x.....x.x.......", "....X.......X..o", "xoxoxoxoxoxoxoxo", "..x...x...x...x.", "x--x--x-x--x--x-"];
    let options = ScheduleOptions { click: Click::Written, ..ScheduleOptions::whole(SampleRate::STUDIO) };
    // Four pulses against each other over the loop of four bars, each divided in two.
    let length = 16.0 * 60.0 / 137.3;
    let line = |k: u8| {
        let count = 13 + 2 * usize::from(k);
        let pulses: Vec<f64> = (0..count).map(|p| p as f64 * length / count as f64).collect();
        ClickLine::of_pulse(&pulses, length, Click::Divided(2), k, 60)
    };
    let clicking = ScheduleOptions { lines: (0..4).map(line).collect(), ..options.clone() };
    let mut group = c.benchmark_group("render 10 s of 8 layers at 48 kHz");
    group.throughput(Throughput::Elements(10));
    group.sample_size(30);
    for (name, patterns, options) in [
        ("usual", &usual[..], &options),
        ("every sixteenth", &full[..], &options),
        ("usual, four hearings clicking", &usual[..], &clicking),
        ("every sixteenth, four hearings clicking", &full[..], &clicking),
    ] {
        let mut renderer = Renderer::new(options.rate);
        renderer.play(Box::new(Schedule::build(&groove(8, 4, patterns), options)), Frame(0));
        let mut out = vec![0.0_f32; 2048];
        group.bench_function(name, |b| {
            b.iter(|| {
                for _ in 0..469 {
                    renderer.render(black_box(&mut out));
                }
            });
        });
    }
    group.finish();
}

fn build(c: &mut Criterion) {
    let groove = groove(16, 64, &["xxxxxxxxxxxxxxxx"]);
    let options = ScheduleOptions { click: Click::Written, ..ScheduleOptions::whole(SampleRate::STUDIO) };
    assert_eq!(Schedule::build(&groove, &options).len(), 16 * 64 * 16 + 256);
    c.bench_function("schedule of 16 layers x 64 bars of sixteenths", |b| {
        b.iter(|| Schedule::build(black_box(&groove), &options));
    });
    c.bench_function("of that, the groove's own attacks in exact time", |b| {
        b.iter(|| (0..16).map(|layer| black_box(&groove).events(layer).len()).sum::<usize>());
    });
}

criterion_group!(benches, render, build);
criterion_main!(benches);
