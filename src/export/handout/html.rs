//! A page as HTML, without network access or system fonts. The only script is the player of a student's page, inline.

use super::content::Block;
use super::figure::Layout;
use super::name::link;
use super::{Handout, MARKER, Reader, Sound, blocks};
use crate::export::picture::canvas::escaped;
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use std::fmt::Write;

/// Maximum height, in CSS pixels, of a picture that is kept on one printed page: A4 or Letter within its margins, less a heading.
const MAX_UNBROKEN_HEIGHT: f32 = 900.0;

const NO_PLAYER: &str = "This page has no player: no layer is audible, or the groove is too long.";

/// Suits A4 and Letter on paper, and any width of a screen.
const STYLE: &str = include_str!("page.css");
const PLAYER_STYLE: &str = include_str!("player.css");
const PLAYER: &str = include_str!("player.js");

/// A page for a reader.
pub fn html(handout: &Handout<'_>, reader: Reader) -> String {
    let title = escaped(handout.piece.groove.title());
    let (player, class) = match reader {
        Reader::Student => (PLAYER_STYLE, "student"),
        Reader::Teacher => ("", "teacher"),
    };
    let mut page = format!(
        "<!DOCTYPE html>\n{MARKER}\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<title>{title}</title>\n\
         <style>\n{STYLE}{player}</style>\n</head>\n<body class=\"{class}\">\n<main>\n"
    );
    for block in blocks(handout, reader, &[Layout::Sheet, Layout::Phone]) {
        // Writing to a String cannot fail.
        let _ = write(&mut page, &block);
    }
    page.push_str("</main>\n");
    if page.contains("<div id=\"player\">") {
        // Writing to a String cannot fail.
        let _ = write!(page, "<script>\n{PLAYER}</script>\n");
    }
    page.push_str("</body>\n</html>\n");
    page
}

fn list(page: &mut String, tag: &str, items: &[String]) -> std::fmt::Result {
    writeln!(page, "<{tag}>")?;
    items.iter().try_for_each(|item| writeln!(page, "<li>{}</li>", escaped(item)))?;
    writeln!(page, "</{tag}>")
}

fn write(page: &mut String, block: &Block<'_>) -> std::fmt::Result {
    match block {
        Block::Title(words) => writeln!(page, "<h1>{}</h1>", escaped(words)),
        Block::Heading(words) => writeln!(page, "<h2>{}</h2>", escaped(words)),
        Block::Text(words) => writeln!(page, "<p>{}</p>", escaped(words)),
        Block::Small(words) => writeln!(page, "<p class=\"small\">{}</p>", escaped(words)),
        Block::List(items) => list(page, "ul", items),
        Block::Steps(items) => list(page, "ol", items),
        Block::Numbered(items) => {
            page.push_str("<ol>\n");
            for (item, more) in items {
                writeln!(page, "<li>{}<br><span class=\"small\">{}</span></li>", escaped(item), escaped(more))?;
            }
            writeln!(page, "</ol>")
        }
        Block::Table(heads, rows) => {
            page.push_str("<div class=\"wide\" tabindex=\"0\">\n<table>\n<thead><tr>");
            for head in heads {
                write!(page, "<th scope=\"col\">{}</th>", escaped(head))?;
            }
            page.push_str("</tr></thead>\n<tbody>\n");
            for row in rows {
                page.push_str("<tr>");
                for cell in row {
                    write!(page, "<td>{}</td>", escaped(cell))?;
                }
                page.push_str("</tr>\n");
            }
            writeln!(page, "</tbody>\n</table>\n</div>")
        }
        Block::Preformatted(text) => {
            let lines: Vec<String> = text.lines().map(escaped).collect();
            writeln!(page, "<pre>{}</pre>", lines.join("\n"))
        }
        Block::Picture(figure) => {
            // Each line of a picture is an image, so that pages break between lines. Only a grid repeats its names on every line; the
            // others stay on one page if they fit.
            let whole = !figure.name.starts_with("grid") && figure.printed_height() <= MAX_UNBROKEN_HEIGHT;
            let class = match figure.layout {
                Layout::Phone => "phone",
                Layout::Sheet if whole => "sheet whole",
                Layout::Sheet => "sheet",
            };
            writeln!(page, "<figure id=\"{}\" class=\"{class}\">", figure.element_id())?;
            figure.picture.blocks().iter().for_each(|block| page.push_str(block));
            writeln!(page, "</figure>")
        }
        Block::TickBoxes(items) => {
            page.push_str("<p class=\"boxes\">\n");
            let item = |item: &String| writeln!(page, "<label><input type=\"checkbox\"/> {}</label>", escaped(item));
            items.iter().try_for_each(item)?;
            writeln!(page, "</p>")
        }
        Block::Player(None) => writeln!(page, "<p class=\"small\">{NO_PLAYER}</p>"),
        Block::Player(Some(data)) => {
            writeln!(
                page,
                "<div id=\"player\"></div>\n<script type=\"application/json\" id=\"teeter-data\">{data}</script>"
            )
        }
        Block::Sound(take) => {
            let (name, label) = (escaped(&take.name), escaped(&take.label()));
            let source = match &take.sound {
                Sound::Embedded(bytes) => format!("data:audio/wav;base64,{}", STANDARD.encode(bytes)),
                Sound::File(file) => link(file),
            };
            writeln!(
                page,
                "<p class=\"take\">{label}</p>\n<audio controls=\"\" preload=\"metadata\" aria-label=\"{name}\" src=\"{source}\"></audio>"
            )
        }
    }
}
