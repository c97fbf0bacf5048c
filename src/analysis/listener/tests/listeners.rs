//! The model against what people were found to hear: the patterns of Povel & Essens 1985.

use super::*;

/// A row of the table: its category, C score, rating, and the grid with the clock that fits it best.
struct Row {
    number: usize,
    category: usize,
    grid: Vec<bool>,
    score: f64,
    unit: usize,
    location: usize,
    judged: f64,
}

/// Povel & Essens 1985, Music Perception 2(4), experiment 1; ratings of Shmulevich & Povel 2000.
fn table() -> Vec<Row> {
    include_str!("../../../../tests/tables/povel_essens.csv")
        .lines()
        .skip(1)
        .map(|line| {
            let f: Vec<&str> = line.split(',').collect();
            let number = |i: usize| f[i].parse::<usize>().expect(line);
            Row {
                number: number(0),
                category: number(1),
                grid: f[3].chars().map(|c| c == '1').collect(),
                score: number(5) as f64,
                unit: number(6),
                location: number(7),
                judged: f[11].parse().expect(line),
            }
        })
        .collect()
}

/// A pattern `turn` cells late, a cell of 200 ms as in the experiment, written in 4/4.
fn heard(row: &Row, turn: usize) -> Listening {
    let cells: String = (0..16).map(|i| if row.grid[(i + 16 - turn) % 16] { 'x' } else { '.' }).collect();
    Piece::new(FOUR, 75.0, 1, &[(Voice::Wood, 4, &cells)]).heard()
}

/// How many turned patterns are heard on the clock of their tones, of how many: of categories 1 to 3, and of 4 to 7.
pub(super) fn on_clock() -> [(usize, usize); 2] {
    let (mut strong, mut weak) = ((0, 0), (0, 0));
    for row in table() {
        // Two clocks fit patterns 23 and 33 equally well.
        if [23, 33].contains(&row.number) {
            continue;
        }
        for turn in 1..=3 {
            let from = (row.location + turn) % row.unit;
            // On the written beat nothing would be shown.
            if from == 0 {
                continue;
            }
            let l = heard(&row, turn);
            let count = if row.category <= 3 { &mut strong } else { &mut weak };
            count.0 += usize::from(is_even_on(&l, row.unit, from, 0.2, 16));
            count.1 += 1;
        }
    }
    [strong, weak]
}

#[test]
fn turned_patterns_are_heard_on_the_clock_of_their_tones() {
    let [strong, weak] = on_clock();
    assert_eq!((strong, weak.1), ((45, 45), 49));
    assert!(weak.0 >= 43, "{weak:?}");
}

/// Rank correlation of the hardness with the C score and with the judged complexity.
pub(super) fn correlations() -> [f64; 2] {
    let rows = table();
    let hardness: Vec<f64> = rows.iter().map(|r| heard(r, 0).hardness()).collect();
    let of = |f: &dyn Fn(&Row) -> f64| spearman(&hardness, &rows.iter().map(f).collect::<Vec<_>>());
    [of(&|r| r.score), of(&|r| r.judged)]
}

#[test]
fn hardness_follows_the_scores_and_the_judgements() {
    let [score, judged] = correlations();
    assert!(score >= 0.95, "{score}");
    assert!(judged >= 0.70, "{judged}");
}
