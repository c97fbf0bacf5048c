//! Messages that say what an edit did to a groove.

use crate::rhythm::{Edit, Event, Groove, Time, bounds, count, print_note_value};
use std::collections::HashSet;
use std::ops::Range;

/// Characters of a layer's name in a message.
const MAX_NAME_LENGTH: usize = 16;

/// Section and offset of a layer's attacks in one pass of each section, of a cycle those of its first repetition.
fn attacks(groove: &Groove, layer: usize) -> Vec<(usize, Time)> {
    let is_written = |e: &Event| {
        let part = groove.part(layer, e.section);
        e.pass == 0 && (!part.is_cycle() || e.cell < part.stored().len())
    };
    groove.events(layer).iter().filter(|e| is_written(e)).map(|e| (e.section, e.offset)).collect()
}

/// The attacks that stand in the cells of a groove, without the repeats of cycles.
pub(crate) fn written_attacks(groove: &Groove) -> usize {
    let parts = groove.layers().iter().flat_map(|l| &l.parts);
    parts.flat_map(|p| p.stored()).filter(|c| c.attack().is_some()).count()
}

/// `bar 3` or `bars 3 to 5`, from a range that counts from 0.
pub(crate) fn bar_range(bars: &Range<usize>) -> String {
    if bars.len() == 1 { format!("bar {}", bars.end) } else { format!("bars {} to {}", bars.start + 1, bars.end) }
}

/// `4 times in total`.
pub(crate) fn in_total(times: usize) -> String {
    format!("{} in total", count(times, "time"))
}

pub(super) fn layer_name(groove: &Groove, layer: usize) -> String {
    groove.layers()[layer].name.chars().take(MAX_NAME_LENGTH).collect()
}

/// What an edit sets in a layer: `layer 'kick': gain -3 dB`; `None` for other edits.
pub(super) fn layer_setting(groove: &Groove, layer: usize, edit: &Edit) -> Option<String> {
    let old = &groove.layers()[layer];
    let setting = match edit {
        Edit::RenameLayer(_, name) => format!("renamed to '{name}'"),
        Edit::Voice(_, voice) => format!("voice {voice}: {}", voice.description()),
        Edit::SoundFile(_, Some(name)) => format!("sound: the file '{name}'"),
        Edit::SoundFile(_, None) => format!("sound: the voice {}", old.voice),
        Edit::AccentDepth(_, Some(depth)) => format!("accent depth {depth} dB"),
        Edit::AccentDepth(_, None) => "accent depth of the voice".to_owned(),
        Edit::LayerSwing(_, Some(swing)) => format!("swing {swing}"),
        Edit::LayerSwing(_, None) => "swing of the section".to_owned(),
        Edit::Gain(_, gain) => format!("gain {gain:+} dB"),
        Edit::Pan(_, 0) => "pan center".to_owned(),
        Edit::Pan(_, pan) => format!("pan {} {}", pan.unsigned_abs(), if *pan < 0 { "left" } else { "right" }),
        Edit::Mute(_, mute) => if *mute { "muted" } else { "not muted" }.to_owned(),
        Edit::Solo(_, solo) => if *solo { "solo" } else { "not solo" }.to_owned(),
        _ => return None,
    };
    Some(format!("layer '{}': {setting}", layer_name(groove, layer)))
}

/// `; 3 attacks lost`, of all layers; empty if none is.
pub(crate) fn lost_attacks(old: &Groove, new: &Groove) -> String {
    let of = |g: &Groove, layer| attacks(g, layer).len();
    suffix((0..old.layers().len()).map(|l| of(old, l).saturating_sub(of(new, l))).sum(), "lost")
}

/// Like [`lost_attacks`], for a removed layer.
pub(super) fn attacks_lost_with_layer(old: &Groove, layer: usize) -> String {
    suffix(attacks(old, layer).len(), "lost")
}

fn suffix(attacks: usize, what: &str) -> String {
    if attacks == 0 { String::new() } else { format!("; {} {what}", count(attacks, "attack")) }
}

/// After a change of a layer's division in one or all sections: its cells, and how many attacks moved or were lost.
pub(super) fn after_division(old: &Groove, new: &Groove, layer: usize, section: Option<usize>) -> String {
    let (before, after) = (attacks(old, layer), attacks(new, layer));
    let old_attacks: HashSet<_> = before.iter().collect();
    let moved = after.iter().filter(|a| !old_attacks.contains(a)).count();
    let lost = before.len().saturating_sub(after.len());
    let division = usize::from(new.layers()[layer].divisions[section.unwrap_or(0)]);
    let place = match section {
        _ if new.sections().len() == 1 => String::new(),
        Some(section) => format!(" in section '{}'", new.sections()[section].name),
        None => " in all sections".to_owned(),
    };
    let change = match (moved, lost) {
        (0, 0) => "no attack moved".to_owned(),
        (0, lost) => format!("{} lost", count(lost, "attack")),
        (moved, 0) => format!("{} moved", count(moved, "attack")),
        (moved, lost) => format!("{} moved, {lost} lost", count(moved, "attack")),
    };
    // In all sections a cell has one length only if all beats are equal.
    let beat = section.map_or_else(|| one_beat(new), |section| Some(new.sections()[section].meter.beat()));
    let cell = beat.and_then(|beat| beat.divided(division));
    let cell = cell.map(|c| format!(", cell = {c}")).unwrap_or_default();
    format!("{}: {} per beat{place}{cell}; {change}", layer_name(new, layer), count(division, "cell"))
}

/// After a cycle is set or written out: its cells, and how many attacks were replaced.
pub(super) fn after_cycle(old: &Groove, new: &Groove, layer: usize, section: usize) -> String {
    let after: HashSet<_> = new.events(layer).iter().map(|e| (e.section, e.offset)).collect();
    let replaced = attacks(old, layer).iter().filter(|a| a.0 == section && !after.contains(a)).count();
    let part = new.part(layer, section);
    let change = if part.is_cycle() {
        format!("cycle of {}", count(part.stored().len(), "cell"))
    } else {
        "cycle written out".to_owned()
    };
    format!("{}: {change}{}", layer_name(new, layer), suffix(replaced, "replaced"))
}

/// After a change of a section's meter: its beat, the cell of a layer, and how many attacks were lost.
pub(super) fn after_meter(old: &Groove, new: &Groove, layer: usize, section: usize) -> String {
    let meter = &new.sections()[section].meter;
    let cell = new.layers().get(layer).and_then(|l| meter.beat().divided(usize::from(l.divisions[section])));
    let cell = cell.map(|c| format!(", cell of {} = {c}", layer_name(new, layer))).unwrap_or_default();
    format!("{meter}: beat = {}{cell}{}", print_note_value(meter.beat()), lost_attacks(old, new))
}

/// The beat of all sections, if they have the same.
fn one_beat(groove: &Groove) -> Option<Time> {
    let mut beats = groove.sections().iter().map(|s| s.meter.beat());
    let first = beats.next()?;
    beats.all(|b| b == first).then_some(first)
}

/// After a section got another beat, keeps the sixteenths of its layers, if it has no attacks and the beat is a whole number of
/// sixteenths.
pub(super) fn keep_sixteenths(mut new: Groove, section: usize, old_beat: Time) -> Groove {
    let Some(sixteenth) = Time::new(1, 16) else { return new };
    let cells = new.sections()[section].meter.beat().ratio_to(sixteenth).filter(|r| r.denom() == 1);
    let Some(cells) = cells.and_then(|r| bounds::DIVISION.check(r.numer()).ok()) else { return new };
    let mut written = new.layers().iter().flat_map(|l| l.parts[section].stored());
    if written.any(|c| c.attack().is_some()) {
        return new;
    }
    for layer in 0..new.layers().len() {
        let was_sixteenth = old_beat.divided(usize::from(new.context(layer, section).division)) == Some(sixteenth);
        let edit = Edit::Division(layer, Some(section), cells as u16);
        if was_sixteenth && let Ok(kept) = new.edited(&edit) {
            new = kept;
        }
    }
    new
}
