//! Assigns onsets to expected strokes, one to one.

/// For every expected stroke the index of its onset, if one is nearer than `gate`. Both lists ascend.
///
/// Onsets choose in order of their distance from the nearest stroke (ties: the earlier one first). One that finds its stroke taken
/// goes to the nearer neighbour that is free and near enough.
pub fn match_one_to_one(expected: &[f64], onsets: &[f64], gate: f64) -> Vec<Option<usize>> {
    let mut owner = vec![None; expected.len()];
    let mut wishes = Vec::with_capacity(onsets.len());
    let mut next = 0;
    for (onset, t) in onsets.iter().enumerate() {
        while next < expected.len() && expected[next] < *t {
            next += 1;
        }
        let after = expected.get(next).map_or(f64::INFINITY, |e| e - t);
        let before = next.checked_sub(1).map_or(f64::INFINITY, |i| t - expected[i]);
        let (stroke, distance) = if before <= after { (next.wrapping_sub(1), before) } else { (next, after) };
        if distance < gate {
            wishes.push((distance, onset, stroke));
        }
    }
    wishes.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    for (_, onset, stroke) in wishes {
        if owner[stroke].is_none() {
            owner[stroke] = Some(onset);
            continue;
        }
        let neighbours = [stroke.checked_sub(1), Some(stroke + 1)];
        let free = neighbours
            .into_iter()
            .flatten()
            .filter(|i| owner.get(*i) == Some(&None))
            .map(|i| ((expected[i] - onsets[onset]).abs(), i))
            .filter(|(distance, _)| *distance < gate)
            .min_by(|a, b| a.0.total_cmp(&b.0));
        if let Some((_, i)) = free {
            owner[i] = Some(onset);
        }
    }
    owner
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #![proptest_config(crate::rhythm::random::config(256))]

        #[test]
        fn no_onset_serves_two_strokes_and_all_are_near(
            mut expected in proptest::collection::vec(0.0..10.0f64, 0..60),
            mut onsets in proptest::collection::vec(0.0..10.0f64, 0..60),
            gate in 0.01..0.5f64,
        ) {
            expected.sort_by(f64::total_cmp);
            onsets.sort_by(f64::total_cmp);
            let owner = match_one_to_one(&expected, &onsets, gate);
            let mut used = vec![false; onsets.len()];
            for (e, o) in expected.iter().zip(&owner) {
                if let Some(o) = o {
                    prop_assert!((e - onsets[*o]).abs() < gate);
                    prop_assert!(!std::mem::replace(&mut used[*o], true));
                }
            }
            // Nobody is left alone beside somebody who is left alone and nearest.
            for (i, e) in expected.iter().enumerate().filter(|(i, _)| owner[*i].is_none()) {
                for (o, t) in onsets.iter().enumerate().filter(|(o, _)| !used[*o]) {
                    let nearest = expected.iter().map(|x| (x - t).abs()).fold(f64::INFINITY, f64::min);
                    let distance = (e - t).abs();
                    prop_assert!(distance >= gate || distance > nearest, "stroke {i} and onset {o}");
                }
            }
        }
    }

    #[test]
    fn the_second_onset_goes_to_the_free_neighbour() {
        assert_eq!(match_one_to_one(&[1.0, 1.1], &[1.01, 1.04], 0.08), vec![Some(0), Some(1)]);
        assert_eq!(match_one_to_one(&[1.0, 1.2], &[1.01, 1.04], 0.08), vec![Some(0), None]);
    }
}
