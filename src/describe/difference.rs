//! The difference of two grooves, line by line: settings and groups, `-` in the first one, `+` in the second.

use crate::describe::plain::{boxes, groups, whole_section};
use crate::describe::visible;
use crate::rhythm::{Groove, Layer, Region, Section, count, print_note_value};

/// What differs, or nothing. Sections and layers are compared by name.
pub(crate) fn difference(old: &Groove, new: &Groove) -> Vec<String> {
    let mut lines = Vec::new();
    let mut compare = |a: Option<String>, b: Option<String>| {
        if a != b {
            lines.extend(a.map(|a| format!("- {a}")));
            lines.extend(b.map(|b| format!("+ {b}")));
        }
    };
    let named = |what: &str, text: &str| Some(format!("{what}: {}", visible(text)));
    compare(named("title", old.title()), named("title", new.title()));
    compare(named("note", old.note()), named("note", new.note()));
    let names = |g: &Groove| g.sections().iter().map(|s| s.name.clone()).collect::<Vec<_>>();
    for name in union(names(old), names(new)) {
        let of = |g: &Groove| g.sections().iter().find(|s| s.name == name).map(section);
        compare(of(old), of(new));
    }
    let names = |g: &Groove| g.layers().iter().map(|l| l.name.clone()).collect::<Vec<_>>();
    for name in union(names(old), names(new)) {
        let of = |g: &Groove| g.layers().iter().find(|l| l.name == name).map(|l| layer(l, g.sections()));
        compare(of(old), of(new));
        for s in new.sections() {
            let texts = |text: fn(&Groove, &Region) -> String| {
                let line = |g: &Groove| {
                    let text = text(g, &region(g, &name, &s.name)?);
                    Some(format!("{}, section {}: {text}", visible(&name), visible(&s.name)))
                };
                (line(old), line(new))
            };
            let (in_old, in_new) = texts(groups);
            if in_old == in_new {
                // The groups say nothing of rests and accents.
                let (in_old, in_new) = texts(boxes);
                compare(in_old, in_new);
            } else {
                compare(in_old, in_new);
            }
        }
    }
    if lines.is_empty() && old != new {
        lines.push("only pitches, or the order of layers or sections, differ".to_owned());
    }
    lines
}

/// The names of both, in the order of the second.
fn union(old: Vec<String>, mut new: Vec<String>) -> Vec<String> {
    new.extend(old.into_iter().filter(|name| !new.contains(name)).collect::<Vec<_>>());
    new
}

fn region(groove: &Groove, layer: &str, section: &str) -> Option<Region> {
    let layer = groove.layers().iter().position(|l| l.name == layer)?;
    let section = groove.sections().iter().position(|s| s.name == section)?;
    Some(Region { layers: layer..layer + 1, ..whole_section(groove, section) })
}

fn section(s: &Section) -> String {
    let (name, unit) = (visible(&s.name), print_note_value(s.tempo.unit()));
    let times = if s.times > 1 { format!(" x{}", s.times) } else { String::new() };
    let swing = s.swing.map(|swing| format!(", swing {swing}")).unwrap_or_default();
    let bars = count(usize::from(s.bars), "bar");
    format!("section {name}: {}, {unit} = {}, {bars}{times}{swing}", s.meter, s.tempo.bpm())
}

fn layer(l: &Layer, sections: &[Section]) -> String {
    let in_section = |(d, s): (&u16, &Section)| format!("{d} in {}", visible(&s.name));
    let by_section = || l.divisions.iter().zip(sections).map(in_section).collect::<Vec<_>>().join(" and ");
    let divisions = l.one_division().map_or_else(by_section, |d| d.to_string());
    let mut text = format!("layer {}: {}, division {divisions}", visible(&l.name), l.voice);
    let settings = [
        l.sound.as_ref().map(|s| format!("sound {}", visible(s))),
        l.swing.map(|s| format!("swing {s}")),
        (l.gain != 0).then(|| format!("gain {} dB", l.gain)),
        l.depth.map(|d| format!("accents {d} dB")),
        (l.pan != 0).then(|| format!("pan {}", l.pan)),
        l.mute.then(|| "muted".to_owned()),
        l.solo.then(|| "solo".to_owned()),
    ];
    for setting in settings.into_iter().flatten() {
        text += ", ";
        text += &setting;
    }
    text
}

#[cfg(test)]
mod tests;
