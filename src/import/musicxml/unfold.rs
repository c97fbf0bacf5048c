//! The playing order of measures: repeats and endings.

use super::document::Measure;
use crate::notation::FormatError;
use crate::rhythm::expected;

const MAX_PLAYED_MEASURES: usize = 65_536;

/// Indices of the measures in playing order: repeats and endings written out. Jumps (da capo and the like) are not followed.
pub(super) fn playing_order(measures: &[Measure]) -> Result<Vec<usize>, FormatError> {
    let (mut order, mut at, mut start, mut pass) = (Vec::new(), 0, 0, 1);
    let mut under_ending = false;
    while let Some(measure) = measures.get(at) {
        if (measure.repeat_start && at != start) || (under_ending && measure.endings.is_empty()) {
            (start, pass) = (at, 1);
        }
        under_ending = !measure.endings.is_empty();
        if under_ending && !measure.endings.contains(&pass) {
            at += 1;
            continue;
        }
        order.push(at);
        if order.len() > MAX_PLAYED_MEASURES {
            let wanted = format!("at most {MAX_PLAYED_MEASURES} measures with repeats written out");
            return Err(FormatError::new(format!("measure {}", measure.number), expected(wanted, "more")));
        }
        let times = match measure.repeat_count {
            None => 1,
            // Under an ending, a further pass needs a following ending for it.
            Some(_) if under_ending => {
                let last = measure.endings.iter().copied().max().unwrap_or(1);
                let mut endings =
                    measures[at + 1..].iter().take(1024).map(|m| &m.endings).take_while(|e| !e.is_empty());
                let more = endings.any(|e| e.contains(&(pass + 1)));
                if more || pass < last { pass + 1 } else { pass }
            }
            Some(times) => times,
        };
        if pass < times {
            pass += 1;
            at = start;
            under_ending = false;
        } else {
            at += 1;
            if measure.repeat_count.is_some() {
                (start, pass) = (at, if under_ending { pass } else { 1 });
            }
        }
    }
    Ok(order)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(rows: &[(&str, &[usize])], expected: &[usize]) {
        let measures: Vec<Measure> = rows
            .iter()
            .map(|(marks, endings)| Measure {
                repeat_start: marks.contains('<'),
                repeat_count: marks
                    .contains('>')
                    .then(|| marks.chars().find_map(|c| c.to_digit(10)).map_or(2, |d| d as usize)),
                endings: endings.to_vec(),
                ..Measure::default()
            })
            .collect();
        assert_eq!(playing_order(&measures).expect("an order"), expected, "{rows:?}");
    }

    #[test]
    fn repeats_and_endings_are_written_out() {
        check(&[("", &[]), ("", &[])], &[0, 1]);
        check(&[("", &[]), (">", &[]), ("", &[])], &[0, 1, 0, 1, 2]);
        check(&[("", &[]), ("<>3", &[]), ("", &[])], &[0, 1, 1, 1, 2]);
        check(&[("<", &[]), (">", &[1]), ("", &[2]), ("", &[])], &[0, 1, 0, 2, 3]);
        check(&[("<", &[]), (">", &[1, 2]), ("", &[3])], &[0, 1, 0, 1, 0, 2]);
        check(&[("<", &[]), (">", &[1]), (">", &[2]), ("", &[3])], &[0, 1, 0, 2, 0, 3]);
        check(&[("<", &[]), (">", &[1]), (">", &[2]), ("", &[])], &[0, 1, 0, 2, 3]);
        check(&[("<>", &[]), ("<>", &[])], &[0, 0, 1, 1]);
        check(&[("<", &[]), ("", &[1]), (">", &[1]), ("", &[2]), ("<>", &[])], &[0, 1, 2, 0, 3, 4, 4]);
        check(&[("<", &[]), (">1", &[])], &[0, 1]);
    }

    #[test]
    fn endless_repeats_are_refused() {
        let row = Measure { repeat_start: true, repeat_count: Some(64), ..Measure::default() };
        assert!(playing_order(&vec![row; 2000]).is_err());
    }
}
