//! A handout as one HTML page without scripts, network access or system fonts.

use super::content::{Block, blocks};
use super::name::link;
use super::{Handout, MARKER, Sound};
use crate::export::picture::canvas::escaped;
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use std::fmt::Write;

/// Maximum height, in CSS pixels, of a picture that is kept on one printed page: A4 or Letter within its margins, less a heading.
const MAX_UNBROKEN_HEIGHT: f32 = 900.0;

/// The margins suit A4 and Letter; on a narrow screen wide pictures and tables scroll sideways within their own frame.
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

/// The handout as one HTML page.
pub fn html(handout: &Handout<'_>) -> String {
    let title = escaped(handout.piece.groove.title());
    let mut page = format!(
        "<!DOCTYPE html>\n{MARKER}\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
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
        Block::Picture(id, picture) => {
            // Each line of a picture is an image, so that pages break between lines. Only a grid repeats its names on every line; the
            // others stay on one page if they fit.
            let whole = !id.starts_with("grid") && picture.drawing.height <= MAX_UNBROKEN_HEIGHT;
            let class = if whole { "wide whole" } else { "wide" };
            writeln!(page, "<figure class=\"{class}\" tabindex=\"0\">")?;
            picture.blocks().iter().for_each(|block| page.push_str(block));
            writeln!(page, "</figure>")
        }
        Block::Sound(take) => {
            let name = escaped(&take.name);
            let source = match &take.sound {
                Sound::Embedded(bytes) => format!("data:audio/wav;base64,{}", STANDARD.encode(bytes)),
                Sound::File(file) => link(file),
            };
            writeln!(
                page,
                "<p>{name}</p>\n<audio controls=\"\" preload=\"metadata\" aria-label=\"{name}\" src=\"{source}\"></audio>"
            )
        }
    }
}
