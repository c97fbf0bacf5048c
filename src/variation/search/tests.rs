//! The exact search against enumeration and published patterns.

use super::exact::nearest;
use super::figure::{Budget, FigureRequest, MAX_CELLS, Period};
use crate::analysis::groups::necklace;
use proptest::prelude::*;

fn free(cells: usize, sizes: &[usize], period: (i64, i64)) -> FigureRequest {
    FigureRequest {
        sizes: sizes.to_vec(),
        may: vec![true; cells],
        must: vec![false; cells],
        period: Period::new(period.0, period.1).expect("a period"),
        times: 1,
        between: false,
        attacks: None,
        max_deviation: None,
    }
}

fn groups(attacks: &[usize], cells: usize) -> Vec<u32> {
    attacks.iter().zip(attacks.iter().skip(1).chain([&cells])).map(|(a, b)| (b - a) as u32).collect()
}

/// Every line of a request, from the definition.
fn every_line(request: &FigureRequest) -> Vec<Vec<usize>> {
    let cells = request.may.len();
    let (mut done, mut open) = (Vec::new(), vec![vec![0]]);
    while let Some(line) = open.pop() {
        let last = *line.last().expect("an attack");
        for size in &request.sizes {
            let next = last + size;
            if next > cells || (last + 1..next).any(|c| request.must[c]) {
                continue;
            }
            if next == cells {
                done.push(line.clone());
            } else if request.may[next] {
                open.push([&line[..], &[next]].concat());
            }
        }
    }
    done.retain(|l| request.attacks.is_none_or(|n| l.len() == n));
    done
}

/// The RMS deviation of a line from the definition, written out over all repetitions; the least over all ways to give the pulses attacks.
/// `None` if there is no way.
fn deviation(line: &[usize], request: &FigureRequest) -> Option<f64> {
    let (cells, period) = (request.may.len(), request.period.cells());
    let mut best: Option<f64> = None;
    for pulses in request.period.pulses_in(cells) {
        if !request.between && pulses != line.len() {
            continue;
        }
        for on in choices(line.len(), pulses) {
            let distances: Vec<f64> = (0..request.times)
                .flat_map(|r| {
                    let place = move |i: usize| (line[i] + r * cells) as f64;
                    on.iter()
                        .enumerate()
                        .map(move |(j, i)| place(*i) - (r * pulses + j) as f64 * period)
                        .collect::<Vec<_>>()
                })
                .collect();
            let mean = distances.iter().sum::<f64>() / distances.len() as f64;
            let greatest = distances.iter().map(|d| (d - mean).abs()).fold(0.0, f64::max);
            if greatest > request.max_deviation.unwrap_or(f64::INFINITY).min(period / 2.0) + 1e-9 {
                continue;
            }
            let rms = (distances.iter().map(|d| (d - mean).powi(2)).sum::<f64>() / distances.len() as f64).sqrt();
            best = Some(best.map_or(rms, |b: f64| b.min(rms)));
        }
    }
    best
}

/// Every way to choose `n` of the attacks, the first always among them.
fn choices(attacks: usize, n: usize) -> Vec<Vec<usize>> {
    if n > attacks {
        return Vec::new();
    }
    if n == attacks {
        return vec![(0..n).collect()];
    }
    let mut all = vec![vec![0]];
    for _ in 1..n {
        all = all.iter().flat_map(|c| (c[c.len() - 1] + 1..attacks).map(move |i| [&c[..], &[i]].concat())).collect();
    }
    all
}

fn check(request: &FigureRequest) -> Result<usize, TestCaseError> {
    let lines = every_line(request);
    let mut expected: Vec<f64> = lines.iter().filter_map(|l| deviation(l, request)).collect();
    expected.sort_by(f64::total_cmp);
    let keep = 12;
    let found = nearest(request, keep, Budget::default()).expect("a small table");
    prop_assert!(!found.out_of_budget);
    prop_assert_eq!(found.found.len(), expected.len().min(keep), "{:?}", request);
    for (f, expected) in found.found.iter().zip(&expected) {
        prop_assert!((f.deviation.rms() - expected).abs() < 1e-6, "{:?}: {} {}", f, f.deviation.rms(), expected);
        prop_assert!(lines.contains(&f.attacks));
        // The deviation is that of this line; with other attacks it may be one of several ways to give the pulses attacks.
        let own = deviation(&f.attacks, request).expect("a way");
        prop_assert!((own - f.deviation.rms()).abs() < 1e-6);
    }
    Ok(lines.len())
}

#[test]
fn every_length_up_to_24_equals_enumeration() {
    let mut lines = 0;
    for cells in 2..=24 {
        for sizes in [&[3, 4][..], &[2, 3], &[2, 3, 4, 5, 6, 7], &[1, 2], &[2, 5], &[4]] {
            for period in [(7, 2), (10, 3), (3, 1), (200, 57), (5, 2), (9, 2)] {
                lines += check(&free(cells, sizes, period)).expect("equal");
            }
        }
    }
    assert_eq!(lines, 1_524_006, "lines enumerated");
}

proptest! {
    #![proptest_config(crate::rhythm::random::config(400))]

    #[test]
    fn any_request_equals_enumeration(
        cells in 2_usize..17,
        sizes in prop::sample::subsequence(vec![1_usize, 2, 3, 4, 5, 7], 1..5),
        period in (10_i64..70, 10_i64..14),
        times in 1_usize..5,
        between in any::<bool>(),
        attacks in prop::option::weighted(0.3, 1_usize..9),
        limit in prop::option::of(0.1_f64..2.0),
        never in prop::collection::vec(prop::bool::weighted(0.1), 17),
        must in prop::collection::vec(prop::bool::weighted(0.06), 17),
    ) {
        let may: Vec<bool> = (0..cells).map(|c| c == 0 || !never[c]).collect();
        let must: Vec<bool> = (0..cells).map(|c| must[c] && may[c]).collect();
        prop_assume!(period.0 >= period.1);
        let request = FigureRequest { may, must, times, between, attacks, max_deviation: limit, ..free(cells, &sizes, period) };
        check(&request)?;
    }
}

/// Toussaint 2005; Demaine et al. 2009: every row of the table, up to rotation.
#[test]
fn the_most_even_lines_are_the_published_patterns() {
    let table = include_str!(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/tables/euclidean.csv"));
    let mut rows = 0;
    for line in table.lines().skip(1) {
        let columns: Vec<&str> = line.split(',').collect();
        let (k, n): (usize, usize) = (columns[0].parse().expect("k"), columns[1].parse().expect("n"));
        let expected: Vec<u32> = columns[3].split(' ').map(|g| g.parse().expect("a group")).collect();
        let sizes: Vec<usize> = (1..=n).collect();
        let found = nearest(&free(n, &sizes, (n as i64, k as i64)), 2 * n, Budget::default()).expect("a small table");
        let best = found.found[0].deviation;
        for f in found.found.iter().filter(|f| f.deviation == best) {
            assert_eq!(necklace(&groups(&f.attacks, n)), necklace(&expected), "{k} in {n}");
        }
        rows += 1;
    }
    assert!(rows > 20, "{rows}");
}

/// Common practice, no source: 13 cells of a sixteenth at 150 in three nearly even groups are heard near 138.
#[test]
fn thirteen_cells_in_three_groups() {
    let found = nearest(&free(13, &[3, 4, 5, 6], (13, 3)), 1, Budget::default()).expect("a small table");
    assert_eq!(necklace(&groups(&found.found[0].attacks, 13)), [4, 4, 5]);
    assert!((60.0 / (13.0 / 3.0 * 0.1) - 138.46_f64).abs() < 0.01);
}

/// Common practice, no source: threes and fours for a pulse of 171 over sixteenths at 150 average 3.5.
#[test]
fn threes_and_fours_for_171_average_three_and_a_half() {
    let found = nearest(&free(56, &[3, 4], (600, 171)), 1, Budget::default()).expect("a table");
    let line = groups(&found.found[0].attacks, 56);
    assert_eq!(line.iter().sum::<u32>() as f64 / line.len() as f64, 3.5);
    assert_eq!(line, [4, 3].repeat(8));
}

/// With threes and fours at 3.5 cells every line of 18 groups is allowed; the table proves the best without looking at them.
#[test]
fn sixty_four_cells_are_searched_within_a_small_budget() {
    let budget = Budget { states: 50_000, steps: 20_000 };
    for (sizes, period) in [(&[3, 4][..], (7, 2)), (&[3, 4], (200, 57)), (&[2, 3, 4, 5, 6, 7], (200, 57))] {
        for between in [false, true] {
            let request = FigureRequest { between, ..free(64, sizes, period) };
            let found = nearest(&request, 200, budget).expect("a small table");
            assert!(!found.out_of_budget && found.found.len() == 200, "{sizes:?} {period:?} {between}");
            assert!(found.found.is_sorted_by_key(|f| f.deviation));
        }
    }
}

#[test]
fn the_longest_line_stays_within_the_budget() {
    let sizes: Vec<usize> = (2..=7).collect();
    let request = free(MAX_CELLS, &sizes, (200, 57));
    assert_eq!(nearest(&request, 1, Budget::default()), None);
    let short = nearest(&free(1024, &sizes, (200, 57)), 5, Budget::default());
    assert_eq!(short.map(|f| f.found.len()), Some(5));
}
