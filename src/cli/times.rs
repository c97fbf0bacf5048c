//! A list of times as programs and people write it, one a line, in seconds. It must not know what happened at these times.

use crate::store;
use std::io::{self, Read};
use std::path::Path;

/// Middle gap between taps, in seconds, from which on they cannot be meant as seconds (ours, no source): nobody taps so slowly,
/// and milliseconds taken for seconds are far beyond it.
const MIN_SPEED: f64 = 20.0;

/// The first field of a line, where it stands, and what comes after it.
struct Line<'a> {
    /// From 1.
    number: usize,
    /// In characters, from 1.
    column: usize,
    field: &'a str,
    after: &'a str,
}

/// The times of a file, and what is to be said of its heading where it has one; `-` is standard input.
///
/// # Errors
/// What was found and what is allowed, with the file's name, line and column.
pub(super) fn read(path: &Path) -> Result<(Vec<f64>, Option<String>), String> {
    let name = if path.as_os_str() == "-" { "standard input".to_owned() } else { path.display().to_string() };
    let cannot = |e: io::Error| format!("{name}: cannot read: {}", store::reason(&e));
    let mut bytes = Vec::new();
    let read = if path.as_os_str() == "-" {
        io::stdin().lock().take(store::LIMIT + 1).read_to_end(&mut bytes)
    } else {
        std::fs::File::open(path).map_err(cannot)?.take(store::LIMIT + 1).read_to_end(&mut bytes)
    };
    read.map_err(cannot)?;
    if bytes.len() as u64 > store::LIMIT {
        return Err(format!("{name}: found more than {} bytes, allowed are at most that", store::LIMIT));
    }
    let text = String::from_utf8(bytes)
        .map_err(|_| format!("{name}: found bytes that are no text, allowed are lines of text"))?;
    times(text.trim_start_matches('\u{feff}'), &name)
}

/// Empty lines and lines that begin with `#` are passed over; so is a first line whose field has no digit.
fn times(text: &str, name: &str) -> Result<(Vec<f64>, Option<String>), String> {
    let refused = |line: &Line<'_>, found: &str, allowed: &str| {
        let found: String = found.chars().take(40).collect();
        format!("{name}:{}:{}: found '{found}', allowed is {allowed}", line.number, line.column)
    };
    let mut lines: Vec<Line<'_>> = text.lines().enumerate().filter_map(|(n, l)| line(n + 1, l)).collect();
    let heading = lines.first().filter(|l| !l.field.chars().any(|c| c.is_ascii_digit())).map(|l| {
        let field: String = l.field.chars().take(40).collect();
        format!("{name}: line {} ('{field}') was taken for a heading", l.number)
    });
    if heading.is_some() {
        lines.remove(0);
    }
    if let Some(first) = decimal_comma(&lines) {
        let digits: String = first.after.chars().skip(1).take_while(char::is_ascii_digit).collect();
        let (found, allowed) =
            (format!("{},{digits}", first.field), format!("a decimal point, as {}.{digits}", first.field));
        return Err(refused(first, &found, &allowed));
    }
    let mut times = Vec::with_capacity(lines.len());
    for line in &lines {
        match line.field.parse::<f64>() {
            Ok(seconds) if seconds.abs() <= 1e6 => times.push(seconds),
            _ => return Err(refused(line, line.field, "a number of seconds up to 1000000")),
        }
    }
    if let Some(gap) = middle_gap(&times).filter(|gap| *gap > MIN_SPEED) {
        return Err(format!(
            "{name}: found taps {gap} apart in the middle, allowed are times in seconds, at most {MIN_SPEED} apart in the middle \
             (400 milliseconds are 0.4)"
        ));
    }
    Ok((times, heading))
}

/// A line with something on it; fields are parted by white space, tabs, commas or semicolons.
fn line(number: usize, text: &str) -> Option<Line<'_>> {
    let within = text.trim();
    if within.is_empty() || within.starts_with('#') {
        return None;
    }
    let column = text.chars().take_while(|c| c.is_whitespace()).count() + 1;
    let end = within.find(|c: char| c.is_whitespace() || matches!(c, ',' | ';')).unwrap_or(within.len());
    Some(Line { number, column, field: &within[..end], after: &within[end..] })
}

/// The first line with a decimal comma. A comma parts fields as well, so that it is one only if no line has a decimal point and
/// every line is a whole number that nothing but other digits follow after a comma.
fn decimal_comma<'a, 't>(lines: &'a [Line<'t>]) -> Option<&'a Line<'t>> {
    let whole = |text: &str| !text.is_empty() && text.chars().all(|c| c.is_ascii_digit());
    let comma = |l: &&Line<'_>| {
        let second = l.after.strip_prefix(',').map(|a| a.split(|c: char| c.is_whitespace() || matches!(c, ',' | ';')));
        second.and_then(|mut s| s.next()).is_some_and(whole)
    };
    let all =
        lines.iter().all(|l| whole(l.field.trim_start_matches(['-', '+'])) && (comma(&l) || !l.after.starts_with(',')));
    lines.iter().find(comma).filter(|_| all)
}

/// The gap between two times that follow each other, the middle one of all.
fn middle_gap(times: &[f64]) -> Option<f64> {
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
        times(text, "taps").map(|t| t.0)
    }

    #[test]
    fn fields_are_parted_by_any_separator() {
        for text in [
            "0.269 tap\n0.5 tap\n",
            "0.269\ttap\n0.5\t\n",
            "0.269,1\n0.5,2\n",
            "0.269; x\n  0.5;y",
            "0.269\u{a0}x\r\n0.5\r\n",
        ] {
            assert_eq!(read(text), Ok(vec![0.269, 0.5]), "{text:?}");
        }
        // Whole seconds with words after a comma, and numbers beside times that have a point.
        assert_eq!(read("1,tap\n2,tap"), Ok(vec![1.0, 2.0]));
        assert_eq!(read("1,80\n1.5,90\n2,100"), Ok(vec![1.0, 1.5, 2.0]));
        assert_eq!(read("1;80\n2;90"), Ok(vec![1.0, 2.0]));
    }

    #[test]
    fn a_decimal_comma_is_refused() {
        let said = "taps:1:1: found '0,375', allowed is a decimal point, as 0.375";
        for text in ["0,375\n0,750\n", "0,375\n1\n1,5", "0,375 tap\n0,7 tap", "0,375;x\n1,5;x", "0,375,x\n0,7,x"] {
            assert_eq!(read(text), Err(said.into()), "{text:?}");
        }
        assert_eq!(
            read("time\n\n 1\n  -1,5"),
            Err("taps:4:3: found '-1,5', allowed is a decimal point, as -1.5".into())
        );
    }

    #[test]
    fn milliseconds_are_refused() {
        let said = read("0\n400\n800\n1200\n").expect_err("ms");
        assert!(said.starts_with("taps: found taps 400 apart in the middle, allowed are times in seconds"), "{said}");
        // A pause is no tempo, and two far taps are.
        assert_eq!(read("0\n0.5\n1\n100\n100.5"), Ok(vec![0.0, 0.5, 1.0, 100.0, 100.5]));
        assert!(read("0\n20").is_ok() && read("0\n20.5").is_err() && read("5000").is_ok());
    }

    #[test]
    fn a_heading_has_no_digit_and_is_told() {
        let told = |text| times(text, "taps");
        let heading = "taps: line 2 ('seconds') was taken for a heading".to_owned();
        assert_eq!(told("# by hand\nseconds what\n0.5 1"), Ok((vec![0.5], Some(heading))));
        assert_eq!(told("0.5\n1"), Ok((vec![0.5, 1.0], None)));
        for (text, found) in
            [("0:00.5\n1", "1:1: found '0:00.5'"), ("t1\n1", "1:1: found 't1'"), ("1\nsoon", "2:1: found 'soon'")]
        {
            let said = read(text).expect_err(text);
            assert!(said.starts_with(&format!("taps:{found}, allowed is a number of seconds")), "{said}");
        }
        assert!(read("1\ninf").is_err() && read("1\nnan").is_err());
    }
}
