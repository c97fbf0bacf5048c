//! A handout as one HTML page without scripts, network access or system fonts.

use super::content::{Block, blocks};
use super::name::link;
use super::{Handout, SIGN, Sound};
use crate::export::picture::canvas::escaped;
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use std::fmt::Write;

/// Height of a picture that still fits a printed page, in CSS pixels: that of A4 and Letter within their margins, less a heading.
const PAGE: f32 = 900.0;

/// Margins serve A4 and Letter; on a narrow screen wide pictures and tables are moved sideways within their own frame.
const STYLE: &str = "@page{margin:14mm}*{box-sizing:border-box}html{-webkit-text-size-adjust:100%}\
body{margin:0 auto;padding:1.2rem 1rem 3rem;max-width:46rem;color:#111;background:#fff;\
font:1rem/1.5 serif}\
h1{font-size:1.9rem;line-height:1.2;margin:.2em 0 .5em}h2{font-size:1.25rem;margin:1.8em 0 .5em;border-bottom:2px solid #111}\
p,li{overflow-wrap:anywhere}ul,ol{padding-left:1.4em}li{margin:.3em 0}.small{font-size:.85em;color:#444}\
figure{margin:1em 0}.wide{overflow-x:auto}figure svg{display:block;width:100%;height:auto;min-width:620px}\
table{border-collapse:collapse;font-size:.85em;width:100%}th,td{text-align:left;padding:.25em .5em;\
border-bottom:1px solid #bbb;vertical-align:top}th{border-bottom:1.5px solid #111;font-weight:bold}\
pre{font:.72rem/1.35 monospace;overflow-x:auto;border-left:3px solid #111;padding:.3em .8em;margin:.6em 0}\
audio{display:block;width:100%;margin:.2em 0 .8em}\
@media print{body{padding:0;max-width:none;font-size:10.5pt}h2{break-after:avoid}figure.whole,figure svg,table,tr,li,p,pre{break-inside:avoid}thead{display:table-header-group}p,li{orphans:3;widows:3}\
.wide,pre{overflow:visible}pre{white-space:pre-wrap;font-size:7.5pt}figure svg{min-width:0;max-height:25cm}audio{display:none}a{color:inherit}}";

/// The page.
pub fn html(handout: &Handout<'_>) -> String {
    let title = escaped(handout.piece.groove.title());
    let mut page = format!(
        "<!DOCTYPE html>\n{SIGN}\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<title>{title}</title>\n\
         <style>{STYLE}</style>\n</head>\n<body>\n<main>\n"
    );
    for block in blocks(handout) {
        // Writing to a String cannot fail.
        let _ = write(&mut page, &block);
    }
    page.push_str("</main>\n</body>\n</html>\n");
    page
}

fn write(page: &mut String, block: &Block<'_>) -> std::fmt::Result {
    match block {
        Block::Title(words) => writeln!(page, "<h1>{}</h1>", escaped(words)),
        Block::Heading(words) => writeln!(page, "<h2>{}</h2>", escaped(words)),
        Block::Text(words) => writeln!(page, "<p>{}</p>", escaped(words)),
        Block::Small(words) => writeln!(page, "<p class=\"small\">{}</p>", escaped(words)),
        Block::List(items) => {
            page.push_str("<ul>\n");
            for item in items {
                writeln!(page, "<li>{}</li>", escaped(item))?;
            }
            writeln!(page, "</ul>")
        }
        Block::Numbered(items) => {
            page.push_str("<ol>\n");
            for (item, more) in items {
                writeln!(page, "<li>{}<br><span class=\"small\">{}</span></li>", escaped(item), escaped(more))?;
            }
            writeln!(page, "</ol>")
        }
        Block::Steps(items) => {
            page.push_str("<ol>\n");
            for item in items {
                writeln!(page, "<li>{}</li>", escaped(item))?;
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
        Block::Lines(text) => {
            let lines: Vec<String> = text.lines().map(escaped).collect();
            writeln!(page, "<pre>{}</pre>", lines.join("\n"))
        }
        // The picture carries its title and its words itself, as an image of that name. Its lines are images of their own, so that a
        // page is turned between them.
        Block::Picture(id, picture) => {
            // Notation is read through, so it is not parted where it fits a page. A grid's lines have all their names before them.
            let whole = !id.starts_with("grid") && picture.height() <= PAGE;
            let class = if whole { "wide whole" } else { "wide" };
            writeln!(page, "<figure class=\"{class}\" tabindex=\"0\">")?;
            picture.blocks().iter().for_each(|block| page.push_str(block));
            writeln!(page, "</figure>")
        }
        Block::Sound(take) => {
            let name = escaped(&take.name);
            let source = match &take.sound {
                Sound::Within(bytes) => format!("data:audio/wav;base64,{}", STANDARD.encode(bytes)),
                Sound::Beside(file) => link(file),
            };
            writeln!(
                page,
                "<p>{name}</p>\n<audio controls=\"\" preload=\"metadata\" aria-label=\"{name}\" src=\"{source}\"></audio>"
            )
        }
    }
}
