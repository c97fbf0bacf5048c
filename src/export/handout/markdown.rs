//! A handout as Markdown (`CommonMark` with pipe tables), with its pictures and audio in files.

use super::content::Block;
use super::figure::Layout;
use super::name::link;
use super::{Handout, MARKER, Reader, Sound, blocks};
use std::fmt::Write;

/// The text of a handout and its files.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Markdown {
    pub text: String,
    /// Names and bytes of the files next to the page.
    pub files: Vec<(String, Vec<u8>)>,
}

/// Writes a page for a reader, and its files.
pub fn markdown(handout: &Handout<'_>, reader: Reader) -> Markdown {
    let mut out = Markdown { text: format!("{MARKER}\n"), files: Vec::new() };
    let mut sounds = 0;
    for block in blocks(handout, reader, &[Layout::Sheet]) {
        out.text.push('\n');
        // Writing to a String cannot fail.
        let _ = write(&mut out, handout, &block, &mut sounds);
    }
    out
}

/// Text on one line, markup escaped.
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '\\' | '`' | '*' | '_' | '[' | ']' | '<' | '>' | '|' | '#' | '~' | '!' | '&' => {
                out.push('\\');
                out.push(c);
            }
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

/// Escapes the start of a line: a sign, or a number with a stop, would begin a list, and `=` would make the line before it a heading.
fn escaped_start(text: &str) -> String {
    let digits = text.bytes().take_while(u8::is_ascii_digit).count();
    let sign = if digits == 0 { ['-', '+', '='].as_slice() } else { ['.', ')'].as_slice() };
    if text[digits..].starts_with(sign) { format!("{}\\{}", &text[..digits], &text[digits..]) } else { text.to_owned() }
}

fn write(out: &mut Markdown, handout: &Handout<'_>, block: &Block<'_>, sounds: &mut usize) -> std::fmt::Result {
    let text = &mut out.text;
    match block {
        Block::Title(words) => writeln!(text, "# {}", escaped(words)),
        Block::Heading(words) => writeln!(text, "## {}", escaped(words)),
        Block::Text(words) | Block::Small(words) => writeln!(text, "{}", escaped_start(&escaped(words.trim()))),
        Block::List(items) => items.iter().try_for_each(|item| writeln!(text, "- {}", escaped(item))),
        Block::Numbered(items) => {
            let line = |(k, (item, more)): (usize, &(String, String))| {
                writeln!(text, "{}. {}: {}", k + 1, escaped(item), escaped(more))
            };
            items.iter().enumerate().try_for_each(line)
        }
        Block::Steps(items) => {
            items.iter().enumerate().try_for_each(|(k, item)| writeln!(text, "{}. {}", k + 1, escaped(item)))
        }
        Block::Table(heads, rows) => {
            let cells: Vec<String> = heads.iter().map(|h| escaped(h)).collect();
            writeln!(text, "| {} |\n| {} |", cells.join(" | "), vec!["---"; heads.len()].join(" | "))?;
            rows.iter().try_for_each(|row| {
                let cells: Vec<String> = row.iter().map(|c| escaped(c)).collect();
                writeln!(text, "| {} |", cells.join(" | "))
            })
        }
        Block::Preformatted(lines) => lines.lines().try_for_each(|l| writeln!(text, "    {l}")),
        Block::Player(_) => Ok(()),
        Block::TickBoxes(items) => items.iter().try_for_each(|item| writeln!(text, "- [ ] {}", escaped(item))),
        Block::Picture(figure) => {
            let picture = &figure.picture;
            let file = format!("{}-{}.svg", handout.stem, figure.name);
            writeln!(text, "![{}]({})\n\n{}", escaped(&picture.title), link(&file), escaped(&picture.alt))?;
            out.files.push((file, picture.svg().into_bytes()));
            Ok(())
        }
        Block::Sound(take) => {
            *sounds += 1;
            let file = match &take.sound {
                Sound::File(file) => file.clone(),
                Sound::Embedded(bytes) => {
                    let file = format!("{}-{sounds}.wav", handout.stem);
                    out.files.push((file.clone(), bytes.clone()));
                    file
                }
            };
            writeln!(text, "- [{}]({})", escaped(&take.name), link(&file))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_text_begins_a_list_or_a_heading() {
        // CommonMark 0.31: list markers are `-`, `+`, `*`, and up to nine digits with `.` or `)`; `===` underlines a heading.
        for (text, told) in [
            ("- a", "\\- a"),
            ("+ a", "\\+ a"),
            ("===", "\\==="),
            ("1. a", "1\\. a"),
            ("12) a", "12\\) a"),
            ("12 a", "12 a"),
            ("a - b. c", "a - b. c"),
            ("", ""),
        ] {
            assert_eq!(escaped_start(&escaped(text)), told);
        }
        assert_eq!(escaped_start(&escaped("* a")), "\\* a");
    }
}
