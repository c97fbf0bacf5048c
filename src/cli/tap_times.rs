//! Reads a list of tap times, one per line, in seconds.

use super::{CliError, Exit, input};
use crate::rhythm::expected;
use std::path::Path;

/// Longest median gap between taps, in seconds (ours, no source): nobody taps more slowly, and milliseconds read as seconds are
/// far beyond it.
const MAX_MEDIAN_GAP: f64 = 20.0;

/// The first field of a line, its position, and what comes after it.
struct TapLine<'a> {
    /// From 1.
    number: usize,
    /// In characters, from 1.
    column: usize,
    field: &'a str,
    after: &'a str,
}

/// The times of a file, `-` for standard input, and a note if its first line was skipped as a header.
pub(super) fn read(path: &Path) -> Result<(Vec<f64>, Option<String>), CliError> {
    let name = input::name(path);
    let invalid = |reason: String| CliError::new(Exit::BadGroove, reason);
    let text = String::from_utf8(input::read_bytes(path)?);
    let text = text.map_err(|_| invalid(format!("{name}: invalid UTF-8")))?;
    parse_times(text.trim_start_matches('\u{feff}'), &name).map_err(invalid)
}

/// Skips empty lines, lines that begin with `#`, and a first line whose field has no digit.
fn parse_times(text: &str, name: &str) -> Result<(Vec<f64>, Option<String>), String> {
    let invalid = |line: &TapLine<'_>, wanted: &str, found: &str| {
        let found: String = found.chars().take(40).collect();
        format!("{name}:{}:{}: {}", line.number, line.column, expected(wanted, format_args!("'{found}'")))
    };
    let mut lines: Vec<TapLine<'_>> = text.lines().enumerate().filter_map(|(n, l)| parse_line(n + 1, l)).collect();
    let heading = lines.first().filter(|l| !l.field.chars().any(|c| c.is_ascii_digit())).map(|l| {
        let field: String = l.field.chars().take(40).collect();
        format!("{name}: line {} ('{field}') skipped as a header", l.number)
    });
    if heading.is_some() {
        lines.remove(0);
    }
    if let Some(first) = decimal_comma(&lines) {
        let digits: String = first.after.chars().skip(1).take_while(char::is_ascii_digit).collect();
        let wanted = format!("a decimal point, like {}.{digits}", first.field);
        return Err(invalid(first, &wanted, &format!("{},{digits}", first.field)));
    }
    let mut times = Vec::with_capacity(lines.len());
    for line in &lines {
        match line.field.parse::<f64>() {
            Ok(seconds) if seconds.abs() <= 1e6 => times.push(seconds),
            _ => return Err(invalid(line, "a number of seconds up to 1000000", line.field)),
        }
    }
    if let Some(gap) = median_gap(&times).filter(|gap| *gap > MAX_MEDIAN_GAP) {
        let wanted = format!("times in seconds with a median gap of at most {MAX_MEDIAN_GAP} (400 ms is 0.4)");
        return Err(format!("{name}: {}", expected(wanted, format_args!("a median gap of {gap}"))));
    }
    Ok((times, heading))
}

fn is_separator(c: char) -> bool {
    c.is_whitespace() || matches!(c, ',' | ';')
}

/// A line that is neither empty nor a comment.
fn parse_line(number: usize, text: &str) -> Option<TapLine<'_>> {
    let trimmed = text.trim();
    if trimmed.is_empty() || trimmed.starts_with('#') {
        return None;
    }
    let column = text.chars().take_while(|c| c.is_whitespace()).count() + 1;
    let (field, after) = trimmed.split_at(trimmed.find(is_separator).unwrap_or(trimmed.len()));
    Some(TapLine { number, column, field, after })
}

/// The first line with a decimal comma. A comma also separates fields, so it is a decimal one only if every line is a whole number,
/// and every comma after one is followed by digits only.
fn decimal_comma<'a, 't>(lines: &'a [TapLine<'t>]) -> Option<&'a TapLine<'t>> {
    let is_whole = |text: &str| !text.is_empty() && text.chars().all(|c| c.is_ascii_digit());
    let has_fraction = |l: &&TapLine<'_>| {
        let second = l.after.strip_prefix(',').and_then(|a| a.split(is_separator).next());
        second.is_some_and(is_whole)
    };
    let is_decimal = |l: &TapLine<'_>| {
        is_whole(l.field.trim_start_matches(['-', '+'])) && (has_fraction(&l) || !l.after.starts_with(','))
    };
    lines.iter().find(has_fraction).filter(|_| lines.iter().all(is_decimal))
}

fn median_gap(times: &[f64]) -> Option<f64> {
    let mut order = times.to_vec();
    order.sort_by(f64::total_cmp);
    let mut gaps: Vec<f64> = order.windows(2).map(|w| w[1] - w[0]).collect();
    gaps.sort_by(f64::total_cmp);
    gaps.get(gaps.len() / 2).copied()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<Vec<f64>, String> {
        parse_times(text, "taps").map(|t| t.0)
    }

    #[test]
    fn any_separator_ends_a_field() {
        for text in [
            "0.269 tap\n0.5 tap\n",
            "0.269\ttap\n0.5\t\n",
            "0.269,1\n0.5,2\n",
            "0.269; x\n  0.5;y",
            "0.269\u{a0}x\r\n0.5\r\n",
        ] {
            assert_eq!(read(text), Ok(vec![0.269, 0.5]), "{text:?}");
        }
        // Whole seconds with words after a comma, and numbers next to times that have a point.
        assert_eq!(read("1,tap\n2,tap"), Ok(vec![1.0, 2.0]));
        assert_eq!(read("1,80\n1.5,90\n2,100"), Ok(vec![1.0, 1.5, 2.0]));
        assert_eq!(read("1;80\n2;90"), Ok(vec![1.0, 2.0]));
    }

    #[test]
    fn a_decimal_comma_is_refused() {
        let error = "taps:1:1: expected a decimal point, like 0.375, found '0,375'";
        for text in ["0,375\n0,750\n", "0,375\n1\n1,5", "0,375 tap\n0,7 tap", "0,375;x\n1,5;x", "0,375,x\n0,7,x"] {
            assert_eq!(read(text), Err(error.into()), "{text:?}");
        }
        assert_eq!(
            read("time\n\n 1\n  -1,5"),
            Err("taps:4:3: expected a decimal point, like -1.5, found '-1,5'".into())
        );
    }

    #[test]
    fn milliseconds_are_refused() {
        let error = read("0\n400\n800\n1200\n").expect_err("ms");
        assert!(error.starts_with("taps: expected times in seconds"), "{error}");
        assert!(error.ends_with("found a median gap of 400"), "{error}");
        // One long pause does not change the median.
        assert_eq!(read("0\n0.5\n1\n100\n100.5"), Ok(vec![0.0, 0.5, 1.0, 100.0, 100.5]));
        assert!(read("0\n20").is_ok() && read("0\n20.5").is_err() && read("5000").is_ok());
    }

    #[test]
    fn a_heading_has_no_digit_and_is_noted() {
        let read_all = |text| parse_times(text, "taps");
        let heading = "taps: line 2 ('seconds') skipped as a header".to_owned();
        assert_eq!(read_all("# by hand\nseconds what\n0.5 1"), Ok((vec![0.5], Some(heading))));
        assert_eq!(read_all("0.5\n1"), Ok((vec![0.5, 1.0], None)));
        for (text, position, found) in
            [("0:00.5\n1", "1:1", "'0:00.5'"), ("t1\n1", "1:1", "'t1'"), ("1\nsoon", "2:1", "'soon'")]
        {
            let error = read(text).expect_err(text);
            let wanted = "a number of seconds up to 1000000";
            assert_eq!(error, format!("taps:{position}: expected {wanted}, found {found}"));
        }
        assert!(read("1\ninf").is_err() && read("1\nnan").is_err());
    }
}
