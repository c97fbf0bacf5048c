//! `teeter vary`: the grooves near to a groove, with what each does to the ear.

use super::args::VaryArgs;
use super::{CliError, Exit, input, output};
use crate::analysis::{AnalysisOptions, Carry, Reason, Scope};
use crate::describe::{rest_lead, visible_json, visible_lines};
use crate::jobs::{JobControl, OutputFile, write_files};
use crate::rhythm::{Fraction, Groove, Part, count, group_line};
use crate::store;
use crate::variation::{Effect, FAMILIES, RotationOf, Subject, Variant, variants};
use serde_json::{Value, json};
use std::fmt::Write as _;
use std::io::{self, Write};
use std::path::Path;

/// Version of the JSON: raised when a key goes or changes its meaning.
const SCHEMA: u32 = 1;

/// A variant with its number in the order of making, from 0, and what it does to the ear.
struct Listed<'a> {
    index: usize,
    variant: &'a Variant,
    effect: Effect,
}

pub(super) fn run(args: &VaryArgs) -> Result<Exit, CliError> {
    let groove = input::read_groove(&args.file)?;
    let subject = subject(args, &groove).map_err(|error| error.in_file(&args.file))?;
    let config = input::listener_limits()?;
    let mut limits = args.listener.cell_limit.unwrap_or(config);
    limits.carry = if args.listener.cold { Carry::Nothing } else { config.carry };
    let layers = if args.all_layers { (0..groove.layers().len()).collect() } else { vec![subject.layer] };
    let options = AnalysisOptions { scope: Scope { layers, region: None }, speed: Fraction::ONE, limits };
    let families = if args.by.is_empty() { FAMILIES.to_vec() } else { args.by.clone() };
    let made = variants(&groove, &subject, &families, args.most);
    let original = Effect::new(&groove, &options, args.aim);
    // Only what the aim needs is worked out for all variants, and the rest for those that are listed.
    let ranks = output::map_parallel(&made.found, |v| args.aim.rank(&v.groove, v.distance, &options));
    let mut order: Vec<usize> = (0..made.found.len()).collect();
    let rank = |i: &usize| (ranks[*i], made.found[*i].distance);
    order.sort_by(|a, b| rank(a).0.total_cmp(&rank(b).0).then(rank(a).1.total_cmp(&rank(b).1)));
    order.truncate(args.top);
    let effects = output::map_parallel(&order, |i| Effect::new(&made.found[*i].groove, &options, args.aim));
    let listed: Vec<Listed<'_>> = order
        .into_iter()
        .zip(effects)
        .map(|(index, effect)| Listed { index, variant: &made.found[index], effect })
        .collect();
    let mut out = io::stdout().lock();
    if args.results.json {
        let value = json(args, &groove, &original, &listed, made.found.len(), made.has_more);
        writeln!(out, "{}", visible_json(&value.to_string()))?;
    } else {
        let (lead, groups) = subject.line(&groove);
        let text = text(&line(lead, &groups), &original, &listed, made.found.len(), made.has_more);
        write!(out, "{}", visible_lines(&text))?;
    }
    out.flush()?;
    if let Some(folder) = &args.results.into {
        write_all(args, folder, &groove, &listed)?;
    }
    Ok(Exit::Success)
}

/// What the arguments name to be varied.
fn subject(args: &VaryArgs, groove: &Groove) -> Result<Subject, CliError> {
    let layers = groove.layers().iter().map(|l| l.name.as_str());
    let has_attacks = |part: &Part| part.stored().iter().any(|c| c.attack().is_some());
    let layer = if let Some(name) = &args.layer {
        input::index_of("layer", name, layers)?
    } else {
        let first = groove.layers().iter().position(|l| l.parts.iter().any(|part| has_attacks(part)));
        first.ok_or_else(|| CliError::usage("the groove has no attacks to vary"))?
    };
    let section = if let Some(name) = &args.section {
        input::index_of("section", name, groove.sections().iter().map(|s| s.name.as_str()))?
    } else {
        (0..groove.sections().len()).find(|s| has_attacks(groove.part(layer, *s))).unwrap_or(0)
    };
    let subject = match (&args.cells, args.figure) {
        (Some(range), _) => Subject::cells(groove, layer, section, range.0.clone()),
        (None, true) => Subject::figure(groove, layer, section),
        (None, false) => Subject::layer(groove, layer, section),
    };
    subject.map_err(CliError::usage)
}

/// Groups with the rest before them.
fn line(lead: usize, groups: &[u32]) -> String {
    rest_lead(lead) + &group_line::print(&group_line::compress(groups))
}

/// How a variant was made, and what it is a rotation of.
fn sentence(listed: &Listed<'_>, all: &[Listed<'_>]) -> String {
    let mut text = listed.variant.made.first().map(ToString::to_string).unwrap_or_default();
    let others = listed.variant.made.len().saturating_sub(1);
    if others > 0 {
        let _ = write!(text, "; also made in {}", count(others, "other way"));
    }
    match listed.variant.rotation_of {
        Some(RotationOf::Original) => text += "; a rotation of the original",
        Some(RotationOf::Variant(index)) => {
            let number = all.iter().position(|l| l.index == index);
            if let Some(number) = number {
                let _ = write!(text, "; a rotation of {}", number + 1);
            }
        }
        None => {}
    }
    text
}

fn row(number: &str, effect: &Effect, distance: &str, line: &str) -> String {
    let share = |p: Option<f64>| p.map(|p| format!("{p:.2}")).unwrap_or_default();
    let aimed = effect.aimed.map(|p| format!("  {p:>5.2}")).unwrap_or_default();
    let first = effect.first.as_ref().map_or_else(|| "no pulse".to_owned(), |(_, bpm)| format!("{bpm:.1}"));
    format!(
        "{number:>4}  {distance:>7}  {:>7}{aimed}  {first:>9}  {:>7.2}  {line}\n",
        share(effect.shown_written),
        effect.on_beat
    )
}

fn text(line_before: &str, original: &Effect, listed: &[Listed<'_>], made: usize, has_more: bool) -> String {
    let more = if has_more { "; there are more, see --most" } else { "" };
    let aimed = if original.aimed.is_some() { "  aimed" } else { "" };
    let mut text = format!("{} made, {} listed{more}\n\n", count(made, "variant"), listed.len());
    let _ = writeln!(text, "   #  differs  written{aimed}  heard BPM  on beat  line");
    text += &row("", original, "", &format!("{line_before} (the original)"));
    for (i, l) in listed.iter().enumerate() {
        text += &row(
            &(i + 1).to_string(),
            &l.effect,
            &format!("{:.1}", l.variant.distance),
            &line(l.variant.lead, &l.variant.groups),
        );
        let _ = writeln!(text, "      {}", sentence(l, listed));
        for reason in l.effect.reasons_without(original) {
            let _ = writeln!(text, "      + {reason}");
        }
        for reason in original.reasons_without(&l.effect) {
            let _ = writeln!(text, "      - {reason}");
        }
    }
    text
}

fn json(
    args: &VaryArgs,
    groove: &Groove,
    original: &Effect,
    listed: &[Listed<'_>],
    made: usize,
    has_more: bool,
) -> Value {
    let reasons = |all: &mut dyn Iterator<Item = &Reason>| -> Vec<Value> {
        all.map(|r| json!({ "reason": r.name(), "words": r.to_string() })).collect()
    };
    json!({
        "schema": SCHEMA,
        "file": args.file.display().to_string(),
        "title": groove.title(),
        "made": made,
        "has_more": has_more,
        "original": effect_json(original),
        "variants": listed.iter().map(|l| json!({
            "text": line(l.variant.lead, &l.variant.groups),
            "lead": l.variant.lead,
            "groups": l.variant.groups,
            "made_by": l.variant.made.iter().map(|op| json!({ "operation": op.family(), "words": op.to_string() })).collect::<Vec<_>>(),
            "rotation_of_original": l.variant.rotation_of == Some(RotationOf::Original),
            "rotation_of": match l.variant.rotation_of {
                Some(RotationOf::Variant(index)) => listed.iter().position(|other| other.index == index),
                _ => None,
            },
            "differs": l.variant.distance,
            "effect": effect_json(&l.effect),
            "reasons_won": reasons(&mut l.effect.reasons_without(original)),
            "reasons_lost": reasons(&mut original.reasons_without(&l.effect)),
        })).collect::<Vec<_>>(),
    })
}

fn effect_json(effect: &Effect) -> Value {
    let round = |x: f64| (x * 1e6).round() / 1e6 + 0.0;
    json!({
        "written": effect.written.map(round),
        "shown_written": effect.shown_written.map(round),
        "first": effect.first.as_ref().map(|(kind, bpm)| json!({ "kind": kind.to_string(), "bpm": round(*bpm) })),
        "on_beat": round(effect.on_beat),
        "aimed": effect.aimed.map(round),
    })
}

/// Writes the listed variants as grooves into a folder.
fn write_all(args: &VaryArgs, folder: &Path, groove: &Groove, listed: &[Listed<'_>]) -> Result<(), CliError> {
    let stem = if input::is_stdin(&args.file) {
        "groove".into()
    } else {
        args.file.file_stem().unwrap_or_default().to_string_lossy()
    };
    let file = |(i, l): (usize, &Listed<'_>)| {
        let made = l.variant.made.first().map(ToString::to_string).unwrap_or_default();
        let note = format!("Variant of {}: {made}.", groove.title());
        let note = if groove.note().is_empty() { note } else { format!("{}\n{note}", groove.note()) };
        let varied = l.variant.groove.titled(groove.title(), &note);
        OutputFile { path: folder.join(format!("{stem}-{:02}.toml", i + 1)), bytes: store::print(&varied).into_bytes() }
    };
    let files: Vec<OutputFile> = listed.iter().enumerate().map(file).collect();
    output::create_folder(folder)?;
    let inputs: Vec<_> = input::file_of(&args.file).into_iter().collect();
    write_files(files, &inputs, args.results.overwrite.policy(), &JobControl::detached())?;
    output::print_to_stderr(format_args!("written: {} in {}", count(listed.len(), "groove"), folder.display()))?;
    Ok(())
}
