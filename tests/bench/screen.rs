//! Time from an edit to its frame, and bytes of the frame, for 16 layers of 64 bars of sixteenths in a window of 120 x 40; the same
//! over a recording of ten minutes with 3000 strokes. From a key to the list of variants, to the figures of its rows, and to another
//! order.
#![allow(clippy::print_stdout, missing_docs)]

use criterion::{Criterion, criterion_group, criterion_main};
use ratatui::crossterm::event::{KeyCode, KeyEvent, KeyModifiers};
use std::hint::black_box;
use std::io::{self, Write};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};
use teeter::analysis;
use teeter::rhythm::{
    Anchor, Attack, Edit, Fraction, GridPlace, Groove, Meter, Micros, Place, Recording, Tempo, Time, Voice,
};
use teeter::terminal::shell::{Screen, make_variants, read_recording};
use teeter::terminal::{Colours, Effect, Event, Keymap, State, Theme, start, update};

const WIDTH: u16 = 120;
const HEIGHT: u16 = 40;

/// 16 layers of 64 bars of sixteenths, each with other groups.
fn groove() -> Groove {
    let tempo = Tempo::new(Fraction::whole(150), Time::new(1, 4).expect("quarter")).expect("tempo");
    let mut groove = Groove::blank(Meter::parse("4/4").expect("meter"), tempo, 64).expect("groove");
    for layer in 1..16 {
        let add = Edit::AddLayer(layer, format!("rope {layer}"), Voice::ALL[layer % 12], 4);
        groove = groove.edited(&add).expect("layer");
    }
    for layer in 0..16 {
        let (mut cell, mut i) = (0, 0);
        while cell < 64 * 16 {
            let cells = [3, 3, 4, 3, 2, 5, 3][(i + layer) % 7];
            let at = Place { layer, section: 0, cell };
            groove = groove.edited(&Edit::Enter { at, cells, attack: Attack::default() }).expect("room");
            cell += cells;
            i += 1;
        }
    }
    groove
}

/// Ten minutes in one channel at 22,050 Hz with a stroke every 0.2 s, as 16 bits.
fn strokes() -> Vec<u8> {
    const RATE: u32 = 22_050;
    let sample = |k: u32| {
        let after = f64::from(k % (RATE / 5)) / f64::from(RATE);
        let noise = f64::from(k.wrapping_mul(2_654_435_761) >> 16) / 32_768.0 - 1.0;
        (20_000.0 * (-40.0 * after).exp() * noise) as i16
    };
    let data: Vec<u8> = (0..600 * RATE).flat_map(|k| sample(k).to_le_bytes()).collect();
    let size = data.len() as u32;
    let mut wav = b"RIFF".to_vec();
    wav.extend((36 + size).to_le_bytes());
    wav.extend(b"WAVEfmt \x10\0\0\0\x01\0\x01\0");
    wav.extend([RATE.to_le_bytes(), (2 * RATE).to_le_bytes()].concat());
    wav.extend(b"\x02\0\x10\0data");
    wav.extend(size.to_le_bytes());
    wav.extend(data);
    wav
}

/// The groove with an anchor for each bar, 0.02 s late at every other one.
fn over(groove: &Groove, file: &str) -> Groove {
    let anchor = |bar: u32| {
        let at = Micros(i64::from(bar) * 1_600_000 + i64::from(bar % 2) * 20_000);
        Anchor { place: GridPlace { bar, ..GridPlace::default() }, at }
    };
    let recording = Recording::new(file, None).with_anchors((0..64).map(anchor).collect());
    groove.edited(&Edit::Recording(Some(recording))).expect("anchors in order")
}

/// Counts the bytes written through it.
struct Counter<W> {
    inner: W,
    count: Arc<AtomicU64>,
}

impl<W> Counter<W> {
    /// A counter in front of a writer, and its count.
    fn new(inner: W) -> (Self, Arc<AtomicU64>) {
        let count = Arc::new(AtomicU64::new(0));
        (Self { inner, count: count.clone() }, count)
    }
}

impl<W: Write> Write for Counter<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let written = self.inner.write(bytes)?;
        self.count.fetch_add(written as u64, Ordering::Relaxed);
        Ok(written)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.inner.flush()
    }
}

struct Bench {
    state: State,
    screen: Screen<Counter<Vec<u8>>>,
    count: Arc<AtomicU64>,
}

impl Bench {
    fn new(groove: Groove) -> Self {
        let theme = Theme { colours: Colours::Many, ascii: false, ..Theme::default() };
        let state = State::new(groove, Some("bench.toml".into()), Keymap::default(), theme, (WIDTH, HEIGHT));
        let (counter, count) = Counter::new(Vec::new());
        let mut bench = Self { state, screen: Screen::new(counter), count };
        let effects = start(&bench.state);
        bench.analyse(effects);
        bench.frame();
        bench
    }

    /// The same over a recording.
    fn with_recording(groove: &Groove) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        std::fs::write(folder.path().join("strokes.wav"), strokes()).expect("written");
        let groove = over(groove, "strokes.wav");
        let events = read_recording(&groove, &folder.path().join(Path::new("bench.toml")));
        let mut bench = Self::new(groove);
        for event in events {
            update(&mut bench.state, event);
        }
        bench.frame();
        bench
    }

    fn frame(&mut self) -> u64 {
        let before = self.count.load(Ordering::Relaxed);
        self.screen.show(&self.state).expect("writes to memory do not fail");
        self.count.load(Ordering::Relaxed) - before
    }

    fn key(&mut self, code: KeyCode) -> Vec<Effect> {
        update(&mut self.state, Event::Key(KeyEvent::new(code, KeyModifiers::NONE), None))
    }

    /// Analyses as the worker thread would.
    fn analyse(&mut self, effects: Vec<Effect>) {
        for effect in effects {
            if let Effect::Analyse { revision, groove, options } = effect {
                let report = Arc::new(analysis::report(&groove, &options));
                update(&mut self.state, Event::Analysed { revision, options, report });
            }
        }
    }
}

fn median(mut values: Vec<u64>) -> u64 {
    values.sort_unstable();
    values[values.len() / 2]
}

fn bytes() {
    for (what, groove) in [("16 layers x 64 bars", groove()), ("one layer x 12 bars", small())] {
        let mut bench = Bench::new(groove);
        let moves: Vec<u64> = (0..200)
            .map(|_| {
                bench.key(KeyCode::Right);
                bench.frame()
            })
            .collect();
        bench.key(KeyCode::Home);
        bench.frame();
        let lays: Vec<u64> = (0..60)
            .map(|i| {
                let effects = bench.key(KeyCode::Char(['3', '2', '4'][i % 3]));
                // Two frames, as in the editor: the edit, then the analysis.
                let edit = bench.frame();
                bench.analyse(effects);
                edit + bench.frame()
            })
            .collect();
        println!(
            "bytes, {what}: cursor move median {} max {}",
            median(moves.clone()),
            moves.iter().max().expect("some")
        );
        println!(
            "bytes, {what}: lay an attack median {} max {}",
            median(lays.clone()),
            lays.iter().max().expect("some")
        );
    }
}

fn small() -> Groove {
    let tempo = Tempo::new(Fraction::whole(150), Time::new(1, 4).expect("quarter")).expect("tempo");
    Groove::blank(Meter::parse("4/4").expect("meter"), tempo, 12).expect("groove")
}

fn times(c: &mut Criterion) {
    bytes();
    for (over, mut bench) in [("", Bench::new(groove())), (" over a recording", Bench::with_recording(&groove()))] {
        edits(c, over, &mut bench);
    }
}

fn edits(c: &mut Criterion, over: &str, bench: &mut Bench) {
    let mut even = false;
    c.bench_function(&format!("an edit to its frame, UI thread{over}"), |b| {
        b.iter(|| {
            even = !even;
            let code = if even { KeyCode::Char(' ') } else { KeyCode::Right };
            black_box(bench.key(code));
            bench.frame()
        });
    });
    c.bench_function(&format!("an edit to its frame with the analysis in it{over}"), |b| {
        b.iter(|| {
            let effects = bench.key(KeyCode::Char(' '));
            bench.frame();
            bench.analyse(effects);
            bench.frame()
        });
    });
    c.bench_function(&format!("a frame without a change{over}"), |b| b.iter(|| bench.frame()));
}

/// Works on the newest request for variants as the worker thread would, to its first answer or to its end.
fn variants_work(bench: &mut Bench, effects: Vec<Effect>, only_first: bool) -> Vec<Effect> {
    let newest =
        effects.into_iter().filter_map(|e| if let Effect::Variants(Some(r)) = e { Some(*r) } else { None }).last();
    let events = newest.into_iter().flat_map(make_variants);
    events.take(if only_first { 1 } else { usize::MAX }).flat_map(|event| update(&mut bench.state, event)).collect()
}

/// The list of variants of a figure of 16 cells, opened, with the figures of all rows on the screen, and sorted by another aim.
fn variants(c: &mut Criterion) {
    let mut bench = Bench::new(small());
    for code in ['3', '3', '2', '3', '3', '2', 'a'] {
        let modifiers = if code == 'a' { KeyModifiers::CONTROL } else { KeyModifiers::NONE };
        let effects = update(&mut bench.state, Event::Key(KeyEvent::new(KeyCode::Char(code), modifiers), None));
        bench.analyse(effects);
    }
    let mut group = c.benchmark_group("variants of 16 cells");
    group.sample_size(30);
    for (stage, name) in ["list", "figures of the rows", "another order"].into_iter().enumerate() {
        group.bench_function(name, |b| {
            b.iter_custom(|times| {
                let one = |_| {
                    let mut times = [Duration::ZERO; 3];
                    let control_r = KeyEvent::new(KeyCode::Char('r'), KeyModifiers::CONTROL);
                    let start = Instant::now();
                    let effects = update(&mut bench.state, Event::Key(control_r, None));
                    let effects = variants_work(&mut bench, effects, true);
                    assert!(bench.frame() > 0, "no list");
                    times[0] = start.elapsed();
                    let start = Instant::now();
                    variants_work(&mut bench, effects, false);
                    assert!(bench.frame() > 0, "no figures");
                    times[1] = start.elapsed();
                    let start = Instant::now();
                    let effects = bench.key(KeyCode::Tab);
                    variants_work(&mut bench, effects, false);
                    assert!(bench.frame() > 0, "no other order");
                    times[2] = start.elapsed();
                    bench.key(KeyCode::Esc);
                    bench.frame();
                    times[stage]
                };
                (0..times).map(one).sum()
            });
        });
    }
    group.finish();
}

criterion_group!(benches, times, variants);
criterion_main!(benches);
