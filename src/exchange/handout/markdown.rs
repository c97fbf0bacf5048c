//! A handout as Markdown (`CommonMark` with pipe tables), its pictures and sounds as files beside. It must not know what is said in it.

use super::content::{Block, blocks};
use super::{Handout, SIGN, Sound};
use std::fmt::Write;

/// A handout as Markdown.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Markdown {
    /// The text.
    pub text: String,
    /// Names and bytes of the files that it shows; they belong into its folder.
    pub files: Vec<(String, Vec<u8>)>,
}

/// The text and its files.
pub fn markdown(handout: &Handout<'_>) -> Markdown {
    let mut out = Markdown { text: format!("{SIGN}\n"), files: Vec::new() };
    let mut sounds = 0;
    for block in blocks(handout) {
        out.text.push('\n');
        // Writing to a String cannot fail.
        let _ = write(&mut out, handout, &block, &mut sounds);
    }
    out
}

/// Text in which nothing is markup, on one line.
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

fn write(out: &mut Markdown, handout: &Handout<'_>, block: &Block<'_>, sounds: &mut usize) -> std::fmt::Result {
    let text = &mut out.text;
    match block {
        Block::Title(words) => writeln!(text, "# {}", escaped(words)),
        Block::Heading(words) => writeln!(text, "## {}", escaped(words)),
        // A number and a full stop at the start of a line would begin a list.
        Block::Text(words) | Block::Small(words) => writeln!(
            text,
            "{}",
            escaped(words.trim()).replacen(". ", "\\. ", usize::from(words.starts_with(|c: char| c.is_ascii_digit())))
        ),
        Block::List(items) => items.iter().try_for_each(|item| writeln!(text, "- {}", escaped(item))),
        Block::Numbered(items) => {
            let mut number = 0;
            items.iter().try_for_each(|(item, more)| {
                number += 1;
                writeln!(text, "{number}. {}: {}", escaped(item), escaped(more))
            })
        }
        Block::Steps(items) => {
            items.iter().enumerate().try_for_each(|(k, item)| writeln!(text, "{}. {}", k + 1, escaped(item)))
        }
        Block::Table(heads, rows) => {
            let line =
                |cells: &mut dyn Iterator<Item = String>| format!("| {} |", cells.collect::<Vec<_>>().join(" | "));
            writeln!(text, "{}", line(&mut heads.iter().map(|h| escaped(h))))?;
            writeln!(text, "{}", line(&mut heads.iter().map(|_| "---".to_owned())))?;
            rows.iter().try_for_each(|row| writeln!(text, "{}", line(&mut row.iter().map(|c| escaped(c)))))
        }
        Block::Lines(lines) => lines.lines().try_for_each(|l| writeln!(text, "    {l}")),
        Block::Picture(id, picture) => {
            let file = format!("{}-{id}.svg", handout.stem);
            writeln!(text, "![{}]({file})\n\n{}", escaped(&picture.title), escaped(&picture.alt))?;
            out.files.push((file, picture.svg().into_bytes()));
            Ok(())
        }
        Block::Sound(take) => {
            *sounds += 1;
            let file = match &take.sound {
                Sound::Beside(file) => file.clone(),
                Sound::Within(bytes) => {
                    let file = format!("{}-{sounds}.wav", handout.stem);
                    out.files.push((file.clone(), bytes.clone()));
                    file
                }
            };
            writeln!(text, "- [{}]({file})", escaped(&take.name))
        }
    }
}
