//! Drums that share a staff, out and in again.

use super::round_trip::{layers, sections, sounding, straight, with_remarks};
use crate::analysis::Report;
use crate::describe::notes::KitStaves;
use crate::export::ExportInput;
use crate::export::annotations::NotationOptions;
use crate::export::musicxml::write_mxl;
use crate::import::musicxml::read;
use crate::rhythm::random;
use crate::rhythm::tests::grooves;
use crate::rhythm::{Edit, Fraction, Groove, Layer, Meter, Section, Swing, Tempo, Voice, cell_notation};
use proptest::prelude::*;

/// Bars of 4/4 with a layer for each name, voice, division and drawing of its cells.
fn groove(bars: u16, rows: &[(&str, Voice, u16, &str)]) -> Groove {
    let meter = Meter::parse("4/4").expect("meter");
    let tempo = Tempo::new(Fraction::whole(100), meter.beat()).expect("tempo");
    let layer = |(name, voice, division, cells): &(&str, Voice, u16, &str)| {
        let part = cell_notation::parse_bars(cells, &meter, usize::from(bars), *division).expect("cells");
        Layer { gain: -(name.len() as i8), pan: 10, ..Layer::new(name, *voice, *division, vec![part]) }
    };
    let layers = rows.iter().map(layer).collect();
    let section = Section { name: "A".into(), meter: meter.clone(), tempo, bars, times: 2, swing: None };
    Groove::new("t", "", vec![section], layers).expect("groove")
}

fn exported(g: &Groove) -> String {
    String::from_utf8(with_remarks(g, KitStaves::Shared).expect("a score").0).expect("text")
}

fn sorted<T: Ord>(mut all: Vec<T>) -> Vec<T> {
    all.sort();
    all
}

/// A groove with the voices of its layers replaced by drums.
fn drums(g: &Groove, voices: &[Voice]) -> Groove {
    let voice = |g: Groove, (layer, voice): (usize, &Voice)| g.edited(&Edit::Voice(layer, *voice)).unwrap_or(g);
    voices.iter().enumerate().take(g.layers().len()).fold(g.clone(), voice)
}

const DRUMS: [Voice; 6] = [Voice::Hat, Voice::Kick, Voice::Snare, Voice::Ride, Voice::Clap, Voice::Wood];

proptest! {
    #![proptest_config(crate::rhythm::random::config(200))]

    #[test]
    fn layers_of_a_shared_staff_come_back(g in grooves(), all_drums in any::<bool>()) {
        let g = if all_drums { drums(&g, &DRUMS) } else { g };
        let g = straight(&g).titled("A title", "");
        let (bytes, remarks) = with_remarks(&g, KitStaves::Shared).map_err(|e| TestCaseError::fail(format!("{e:?}")))?;
        let back = read(&bytes).map_err(|e| TestCaseError::fail(e.to_string()))?;
        prop_assert_eq!(sections(&back.groove), sections(&g));
        // The drums stand together where the first of them stood.
        prop_assert_eq!(sorted(layers(&back.groove)), sorted(layers(&g)));
        prop_assert!(remarks.is_empty());
        let told: Vec<String> = back.warnings.iter().map(ToString::to_string).filter(|w| w.contains("chord")).collect();
        prop_assert!(told.is_empty(), "{:?}", told);
    }

    #[test]
    fn swing_of_a_shared_staff_comes_back(g in random::grooves(), ratio in prop::sample::select(vec!["2:1", "3:2", "5:4"])) {
        let g = drums(&g, &DRUMS);
        let g = (0..g.sections().len()).fold(g, |g, s| g.edited(&Edit::Swing(s, Swing::parse(ratio))).unwrap_or(g));
        let Ok((bytes, remarks)) = with_remarks(&g, KitStaves::Shared) else { return Ok(()) };
        let back = read(&bytes).map_err(|e| TestCaseError::fail(e.to_string()))?;
        if remarks.is_empty() && back.warnings.is_empty() && !g.layers().is_empty() {
            prop_assert_eq!(sorted(sounding(&back.groove)), sorted(sounding(&g)));
        }
    }
}

#[test]
fn a_shared_staff_has_an_instrument_for_each_sound_and_a_voice_for_each_direction() {
    let rows = [
        ("kick", Voice::Hat, 2, "x-x-xXx-"),
        ("bass", Voice::Bass, 1, "x..."),
        ("slap", Voice::Snare, 4, "....X-----..o..."),
        ("foot", Voice::Kick, 1, "x-x-"),
    ];
    let g = groove(1, &rows);
    let text = exported(&g);
    assert_eq!((text.matches("<part id").count(), text.matches("<score-instrument").count()), (2, 4));
    for (instrument, name, key) in [("P1-I1", "kick", 43), ("P1-I2", "slap", 39), ("P1-I3", "foot", 37)] {
        assert!(text.contains(&format!("<instrument-name>{name}</instrument-name>")));
        assert!(text.contains(&format!("<midi-unpitched>{key}</midi-unpitched>")), "{name}");
        assert!(text.contains(&format!("<instrument id=\"{instrument}\"/>")), "{name}");
    }
    let compact: String = text.split('\n').map(str::trim).collect();
    // Common practice: the bass drum in the lowest space, the snare drum above the middle line, the hi-hat on top.
    for (step, octave) in [("G", 5), ("C", 5), ("F", 4)] {
        let place = format!("<display-step>{step}</display-step><display-octave>{octave}<");
        assert!(compact.contains(&place), "{step}{octave}");
    }
    assert!(text.contains("<backup>") && text.contains("<voice>2</voice>") && text.contains("<chord/>"));
    assert!(!text.contains("<staff-lines>1"));
    let back = read(text.as_bytes()).expect("read");
    let names: Vec<&str> = back.groove.layers().iter().map(|l| l.name.as_str()).collect();
    assert_eq!(names, ["kick", "slap", "foot", "bass"], "the layers of the staff stand together");
    for layer in g.layers() {
        let same = back.groove.layers().iter().find(|l| l.name == layer.name).expect("the layer");
        assert_eq!((same.voice, same.gain, same.pan), (layer.voice, layer.gain, layer.pan), "{}", layer.name);
    }
    assert_eq!(sorted(layers(&back.groove)), sorted(layers(&g)));
    // Each layer has a staff of its own on request.
    let separate = with_remarks(&g, KitStaves::Separate).expect("a score").0;
    assert_eq!(String::from_utf8_lossy(&separate).matches("<part id").count(), 4);
    let report = Report::default();
    let piece = ExportInput { groove: &g, report: &report, hearings: Vec::new(), section: None };
    let mut packed = Vec::new();
    write_mxl(&piece, &NotationOptions::default(), &mut packed).expect("packed");
    assert_eq!(layers(&read(&packed).expect("read").groove), layers(&back.groove));
}

#[test]
fn swung_drums_share_a_staff() {
    let rows =
        [("hat", Voice::Hat, 2, "xxxxxxxx"), ("kick", Voice::Kick, 1, "x.x."), ("snare", Voice::Snare, 2, "...xx..x")];
    let rows = rows.map(|(name, voice, division, bar)| (name, voice, division, format!("{bar} | {bar}")));
    let g = groove(2, &rows.each_ref().map(|r| (r.0, r.1, r.2, r.3.as_str())));
    let g = g.edited(&Edit::Swing(0, Swing::parse("2:1"))).expect("a swing");
    let (bytes, remarks) = with_remarks(&g, KitStaves::Shared).expect("a score");
    let text = String::from_utf8(bytes).expect("text");
    assert_eq!(
        (text.matches("<part id").count(), text.matches("<swing-type>eighth").count(), remarks.len()),
        (1, 1, 0)
    );
    let back = read(text.as_bytes()).expect("read");
    assert!(back.warnings.is_empty());
    assert_eq!(sounding(&back.groove), sounding(&g));
    // A layer with a swing of its own keeps the drums apart.
    let own = g.edited(&Edit::LayerSwing(1, Swing::parse("3:2"))).expect("a swing");
    assert_eq!(exported(&own).matches("<part id").count(), 3);
}
