//! The measures against the published tables in tests/tables, each row with its own source.

use super::table::{Row, numbers, table};
use super::*;
use std::collections::HashMap;

fn ring_of(text: &str) -> Ring {
    let attacks = text.chars().enumerate().filter(|(_, c)| matches!(c, 'x' | '1')).map(|(i, _)| i).collect();
    Ring::new(text.len(), attacks).expect("a ring")
}

/// Whether the expected value was found in a source or computed.
fn is_sourced(row: &Row) -> bool {
    row["status"].contains("computed") || row["status"] == "found"
}

fn fraction(text: &str) -> f64 {
    let (n, d) = text.split_once('/').unwrap_or((text, "1"));
    n.parse::<f64>().expect("number") / d.parse::<f64>().expect("number")
}

#[test]
fn timelines_and_their_measures() {
    let lines: HashMap<String, Ring> = table(include_str!("../../../tests/tables/timelines.csv"))
        .into_iter()
        .map(|r| (r["name"].clone(), ring_of(&r["box"])))
        .collect();
    assert_eq!(lines.len(), 16);
    let mut checked = 0;
    for row in table(include_str!("../../../tests/tables/timeline_measures.csv")).iter().filter(|r| is_sourced(r)) {
        let ring = &lines[&row["rhythm"]];
        let expected = fraction(&row["value"]);
        let tree = Tree::new(&[2, 2, 2, 2]).expect("tree");
        let got = match row["measure"].as_str() {
            "wnbd" => weighted_beat_distance(ring, if ring.pulses == 16 { 4 } else { 3 }),
            "off_beatness" => off_beatness(ring) as f64,
            "keith_count" => keith(ring) as f64,
            "npvi" => npvi(&ring.intervals()).expect("defined"),
            "rhythmic_oddity" => f64::from(u8::from(oddity(ring).expect("even"))),
            "maximally_even" => f64::from(u8::from(evenness(ring).expect("defined") > 1.0 - 1e-9)),
            "metric_complexity" => metric_complexity(ring, &tree).expect("defined"),
            _ => continue,
        };
        assert!(
            (got - expected).abs() < 0.0501,
            "{} {}: {got} against {expected}; {}",
            row["rhythm"],
            row["measure"],
            row["source"]
        );
        checked += 1;
    }
    assert_eq!(checked, 72);
}

#[test]
fn all_patterns_of_povel_and_essens() {
    let rows = table(include_str!("../../../tests/tables/povel_essens.csv"));
    assert_eq!(rows.len(), 35);
    for row in rows {
        let ring = ring_of(&row["grid"]);
        let accents: Vec<usize> = accented(&ring).iter().enumerate().filter(|(_, a)| **a).map(|(i, _)| i).collect();
        assert_eq!(accents, numbers::<usize>(&row["accented_pulses"]), "pattern {}; {}", row["no"], row["source"]);
        let best = best_clock(&ring).expect("a clock");
        let expected: Vec<u32> =
            ["ev_pos", "ev_zero", "ev_neg", "c_best_w4"].map(|k| row[k].parse().expect("number")).to_vec();
        assert_eq!([best.accented, best.plain, best.silent, best.score].to_vec(), expected, "pattern {}", row["no"]);
        let clock = (best.unit.to_string(), best.start.to_string());
        assert_eq!(clock, (row["clock_unit"].clone(), row["clock_location"].clone()), "pattern {}", row["no"]);
    }
}

#[test]
fn the_worked_example_of_povel_and_essens() {
    let rows = table(include_str!("../../../tests/tables/povel_essens_example.csv"));
    assert_eq!(rows.len(), 10);
    for row in rows {
        let ring = ring_of(&row["grid"]);
        let [unit, start] = ["clock_unit", "clock_location"].map(|k| row[k].parse().expect("n"));
        let found = clock(&ring, &accented(&ring), unit, start);
        let got = [found.accented, found.plain, found.silent, found.score].map(|n| n.to_string());
        assert_eq!(got, ["ev_pos", "ev_zero", "ev_neg", "c_w4"].map(|k| row[k].clone()), "{}", row["source"]);
    }
}

#[test]
fn examples_of_longuet_higgins_and_lee() {
    let rows = table(include_str!("../../../tests/tables/lhl_examples.csv"));
    assert_eq!(rows.len(), 5);
    for row in rows {
        let tree = Tree::new(&numbers::<u32>(&row["meter_divisions"])).expect("tree");
        let intervals: Vec<usize> = numbers(&row["intervals"]);
        let starts = intervals.iter().scan(0, |at, d| Some(std::mem::replace(at, *at + d)));
        let ring = Ring::new(intervals.iter().sum(), starts.collect()).expect("ring");
        let got: Vec<u32> = syncopations(&ring, &tree).expect("bars").into_iter().map(|s| s.1).collect();
        let expected: Vec<u32> = if row["strengths"] == "none" { Vec::new() } else { numbers(&row["strengths"]) };
        assert_eq!(got, expected, "{}; {}", row["example"], row["source"]);
    }
    // Totals computed from the same rule; no published table of them was found (weak).
    for row in table(include_str!("../../../tests/tables/lhl_derived_unpublished.csv")) {
        let tree = Tree::new(&[2, 2, 2, 2]).expect("tree");
        let got: u32 = syncopations(&ring_of(&row["box"]), &tree).expect("bars").iter().map(|s| s.1).sum();
        assert_eq!(got.to_string(), row["total"], "{}", row["rhythm"]);
    }
}

#[test]
fn metrical_weights_of_the_literature() {
    let mut checked = 0;
    for row in table(include_str!("../../../tests/tables/metrical_weights.csv")).iter().filter(|r| is_sourced(r)) {
        let meter = crate::rhythm::Meter::parse(&row["meter"]).expect("meter");
        // Cells per beat at the table's grid.
        let grid = Time::new(1, row["grid"].trim_end_matches("th").parse().expect("n")).expect("time");
        let cells = meter.beat().ratio_to(grid).expect("ratio").numer() as usize;
        let tree = Tree::of_meter(&meter, cells).expect("tree");
        let got: Vec<i64> = match row["model"].as_str() {
            "longuet_higgins_lee_1984" => tree.weights().into_iter().map(i64::from).collect(),
            "lerdahl_jackendoff_dots" => tree.dots().into_iter().map(i64::from).collect(),
            "barlow_indispensability" => indispensability(&tree).into_iter().map(i64::from).collect(),
            _ => continue,
        };
        assert_eq!(
            got,
            numbers::<i64>(&row["weights"]),
            "{} {} {}; {}",
            row["model"],
            row["meter"],
            row["grid"],
            row["source"]
        );
        checked += 1;
    }
    assert_eq!(checked, 16);
}

#[test]
fn examples_of_npvi() {
    let rows = table(include_str!("../../../tests/tables/npvi_examples.csv"));
    assert_eq!(rows.len(), 16);
    for row in rows {
        // In 48ths, to make the fractions whole.
        let durations: Vec<usize> =
            row["durations"].split_whitespace().map(|d| (fraction(d) * 48.0).round() as usize).collect();
        let got = npvi(&durations).expect("defined");
        assert!((got - fraction(&row["npvi"])).abs() < 0.0501, "{}: {got}; {}", row["durations"], row["source"]);
    }
}

#[test]
fn necklaces_with_the_oddity_property() {
    let rows = table(include_str!("../../../tests/tables/rhythmic_oddity.csv"));
    assert_eq!(rows.len(), 10);
    for row in rows {
        let (threes, twos): (usize, usize) = (row["threes"].parse().expect("n"), row["twos"].parse().expect("n"));
        let mut found = std::collections::BTreeSet::new();
        for mask in 0..1_u32 << (threes + twos) {
            if mask.count_ones() as usize != threes {
                continue;
            }
            let line: Vec<u32> = (0..threes + twos).map(|i| if mask >> i & 1 == 1 { 3 } else { 2 }).collect();
            let starts = line.iter().scan(0, |at, d| Some(std::mem::replace(at, *at + *d as usize)));
            let ring = Ring::new(line.iter().sum::<u32>() as usize, starts.collect()).expect("ring");
            if oddity(&ring) == Ok(true) {
                found.insert(crate::analysis::groups::necklace(&line));
            }
        }
        assert_eq!(found.len().to_string(), row["necklaces_with_oddity"], "{threes} and {twos}; {}", row["source"]);
        for pattern in row["patterns"].split('|') {
            let line: Vec<u32> = pattern.chars().filter_map(|c| c.to_digit(10)).collect();
            assert!(found.contains(&crate::analysis::groups::necklace(&line)), "{pattern}");
        }
    }
}

#[test]
fn euclidean_rhythms_are_the_most_even() {
    let rows = table(include_str!("../../../tests/tables/euclidean.csv"));
    assert_eq!(rows.len(), 25);
    for row in rows.iter().filter(|r| r["k"] != "1") {
        let even = evenness(&ring_of(&row["box"])).expect("two attacks");
        assert!(even > 1.0 - 1e-9, "E({},{}): {even}; {}", row["k"], row["n"], row["source"]);
    }
}

#[test]
fn the_limits_are_those_of_the_literature() {
    use crate::analysis::limits;
    let rows = table(include_str!("../../../tests/tables/perceptual_limits.csv"));
    let row = |item: &str| rows.iter().find(|r| r["item"] == item).unwrap_or_else(|| panic!("{item}"));
    let pairs = [("subdivision_lower_limit", limits::FASTEST_CELL), ("fastest_tactus", limits::FASTEST_BEAT)];
    for (item, limit) in pairs {
        assert_eq!((row(item)["low"].parse(), row(item)["high"].parse()), (Ok(limit.low), Ok(limit.high)), "{item}");
    }
    let values = [
        ("lower_rate_limit_sync", limits::SLOWEST_BEAT),
        ("jnd_tempo_6_intervals", limits::TEMPO_CHANGE),
        ("temporal_order", limits::COINCIDENCE),
        ("weber_fraction_clicks_below_20Hz", limits::NOISE),
    ];
    for (item, limit) in values {
        assert_eq!(row(item)["low"].parse(), Ok(limit.value), "{item}");
    }
    let conventions = table(include_str!("../../../tests/tables/evaluation_conventions.csv"));
    let phase: f64 = conventions[0]["value"].parse().expect("number");
    assert!((phase * 100.0 - limits::PULSE_TOLERANCE.value).abs() < 1e-9);
}

#[test]
fn undefined_measures_give_the_reason() {
    assert_eq!(oddity(&ring_of("x.x")), Err("a cycle with an odd number of cells cannot be divided into halves"));
    assert!(npvi(&[3]).is_err());
    assert!(Tree::of_meter(&crate::rhythm::Meter::parse("3+2+2/8").expect("meter"), 2).is_err());
    assert!(Tree::of_meter(&crate::rhythm::Meter::parse("5/4").expect("meter"), 4).is_err());
    let tree = Tree::new(&[2, 2]).expect("tree");
    assert!(syncopations(&ring_of("x.x.x"), &tree).is_err());
    assert_eq!(best_clock(&ring_of("x")), None);
}
