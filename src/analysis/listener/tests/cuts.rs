//! Another cut of a loop: it begins at another bar line, or its section is written as two. Nothing changes but, at times, what is
//! heard first.

use super::super::merge::on_each_other;
use super::*;
use crate::analysis::attacks::LayerAttacks;
use crate::analysis::clock::Clock;
use crate::analysis::groups::{groups, groups_through};
use crate::analysis::invariance::{same, single, split};
use crate::analysis::stream::{Stream, StreamSource};
use crate::analysis::{AnalysisOptions, Report, report};
use crate::rhythm::{Groove, Layer, Part};
use proptest::strategy::{Strategy, ValueTree};
use proptest::test_runner::TestRunner;
use std::sync::Arc;

/// Pulses within this part of the period are the same.
const SAME_PULSE: f64 = 0.12;

/// The section from another bar line on, and round again.
fn turned(g: &Groove, bars: usize) -> Groove {
    let s = &g.sections()[0];
    let layers = g.layers().iter().map(|layer| {
        let Part::Barred { spans, cells } = &*layer.parts[0] else { unreachable!("made as bars") };
        let (mut spans, mut cells) = (spans.clone(), cells.clone());
        spans.rotate_left(bars * s.meter.beats());
        let bar = cells.len() / usize::from(s.bars);
        cells.rotate_left(bars * bar);
        Layer { parts: vec![Arc::new(Part::Barred { spans, cells })], ..(**layer).clone() }
    });
    Groove::new("t", "", vec![s.clone()], layers.collect()).expect("groove")
}

/// The groups round the loop, from the one that comes first in order.
fn groups_round(g: &Groove) -> Vec<u32> {
    let mut line = groups(g, 0, 0).map(|found| (found.lead, found.line)).expect("attacks");
    *line.1.last_mut().expect("a group") += line.0;
    let turns = (0..line.1.len()).map(|i| [&line.1[i..], &line.1[..i]].concat());
    turns.min().expect("a group")
}

/// Whether the written beat and the layers that are streams of one report are streams of the other; and every stream, where the
/// likely hearings are the same.
fn has_streams_of(a: &Report, b: &Report) -> bool {
    let periods = |r: &Report| r.streams.iter().map(|s| s.period).collect::<Vec<f64>>();
    let near = |x: f64, y: f64| (x / y - 1.0).abs() < 1e-6;
    let of_hearing = |s: &Stream| matches!(s.source, StreamSource::Hearing { .. });
    let known = periods(b);
    let own = a.streams.iter().filter(|s| !of_hearing(s)).all(|s| known.iter().any(|p| near(*p, s.period)));
    let is_same = a.streams.len() == b.streams.len() && periods(a).iter().zip(&known).all(|(x, y)| near(*x, *y));
    own && (is_same || same(a, b).is_err())
}

/// How often the first hearing is another one.
#[derive(Debug, Default)]
struct Changes {
    /// Of those asked about.
    all: usize,
    /// By more than hearings that are about as likely.
    clear: usize,
    /// By more than these also with the term left out of the model that is to cause it.
    without: usize,
}

/// Whether the first hearing is more than about as likely as the second.
fn is_clear(l: &Listening) -> bool {
    let second = l.hearings.get(1).map_or(0.0, |h| h.probability);
    l.hearings[0].probability >= second * super::super::ABOUT_AS_LIKELY
}

impl Changes {
    /// Compares the answers for a groove and for another cut of it, which begins `later`; then again with the model changed.
    fn count(&mut self, plain: &Listening, grooves: [&Groove; 2], later: f64, change: impl Fn(&mut Input)) {
        let question = |g: &Groove| {
            let clock = Clock::new(g);
            Input::new(&LayerAttacks::new(g, &clock), &[0], None, 1.0)
        };
        let changes = |a: &Listening, b: &Listening| {
            let (first, other) = (&a.hearings[0], &b.hearings[0]);
            let mut moved: Vec<f64> = other.pulses.iter().map(|p| (p + later) % a.length).collect();
            moved.sort_by(f64::total_cmp);
            let is_other = !on_each_other(&first.pulses, &moved, a.length, SAME_PULSE * first.period);
            (is_other, is_other && is_clear(a) && is_clear(b))
        };
        let (is_other, clearly) = changes(plain, &listen(&question(grooves[1])).expect("a pulse"));
        self.all += usize::from(is_other);
        self.clear += usize::from(clearly);
        if clearly {
            let [a, b] = grooves.map(|g| {
                let mut question = question(g);
                change(&mut question);
                listen(&question).expect("a pulse")
            });
            self.without += usize::from(changes(&a, &b).1);
        }
    }
}

#[test]
#[allow(clippy::print_stdout)]
fn another_cut_keeps_groups_landings_and_streams() {
    let mut runner = TestRunner::deterministic();
    let (mut asked, mut begun, mut halved) = (0, Changes::default(), Changes::default());
    while asked < 2000 {
        let g = single().new_tree(&mut runner).expect("a groove").current();
        let bars = g.sections()[0].bars;
        let clock = Clock::new(&g);
        let heard = listen(&Input::new(&LayerAttacks::new(&g, &clock), &[0], None, 1.0));
        let Some(heard) = heard.filter(|_| bars > 1) else { continue };
        asked += 1;
        let plain = report(&g, &AnalysisOptions::default());
        let from = 1 + asked as u16 % (bars - 1);
        let turn = turned(&g, usize::from(from));
        let r = report(&turn, &AnalysisOptions::default());
        assert_eq!(groups_round(&g), groups_round(&turn));
        assert_eq!(plain.layers[0].landings, r.layers[0].landings);
        assert!(has_streams_of(&plain, &r) && has_streams_of(&r, &plain), "{:?}\n{:?}", plain.streams, r.streams);
        let later = plain.clock.total() * f64::from(from) / f64::from(bars);
        begun.count(&heard, [&g, &turn], later, |input| input.params.first_beat_bonus = 0.0);

        let cut = split(&g, bars / 2);
        let r = report(&cut, &AnalysisOptions::default());
        assert_eq!(groups(&g, 0, 0), groups_through(&cut, 0, 0..2));
        assert_eq!(plain.layers[0].landings, r.layers[0].landings);
        assert!(has_streams_of(&plain, &r) && has_streams_of(&r, &plain), "{:?}\n{:?}", plain.streams, r.streams);
        halved.count(&heard, [&g, &cut], 0.0, |input| input.params.change_cost = 1e6);
    }
    // What a cut changes is known: shares far from these tell of something else.
    assert!(begun.all * 2 < asked && halved.all * 50 < asked && halved.without == 0, "{begun:?} {halved:?}");
    println!("first hearing of {asked} grooves under another cut: {begun:?}; with a halved section: {halved:?}");
}
