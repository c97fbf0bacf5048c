//! The landing chart: the number of attacks per landing, under the written beat and under hearings.

use super::canvas::{Anchor, Canvas, Shape};
use super::theme::StyleClass;
use super::{DrawingSummary, PageLayout, legend, strip};
use crate::analysis::{Hearing, Landings};
use crate::describe;
use crate::export::ExportInput;

const ROW_HEIGHT: f32 = 21.0;
const LABEL_WIDTH: f32 = 128.0;
const NUMBER_WIDTH: f32 = 76.0;
const MIN_COLUMN_WIDTH: f32 = 330.0;
/// The level of attacks off the pulse.
const OFF_PULSE: u32 = 5;

pub(super) struct Bar {
    pub(super) label: String,
    pub(super) count: usize,
    level: u32,
}

pub(super) struct Block {
    pub(super) name: String,
    pub(super) bars: Vec<Bar>,
    pub(super) total: usize,
}

/// The landings of the analysed layers under the written beat and under each chosen hearing.
pub(super) fn blocks(piece: &ExportInput<'_>) -> Vec<Block> {
    let mut all = Landings::default();
    for layer in piece.report.layers.iter().filter(|l| piece.report.focus.contains(&l.layer)) {
        all.merge(&layer.landings);
    }
    let bars = all.rows.iter().map(|r| Bar { label: r.depth.to_string(), count: r.count, level: r.depth.level() });
    let mut blocks = vec![Block { name: "under the written beat".into(), bars: bars.collect(), total: all.total }];
    blocks.extend(strip::selected_hearings(piece).into_iter().map(|(index, h)| block(index, h)));
    blocks
}

fn block(index: usize, h: &Hearing) -> Block {
    let mut bars = vec![Bar { label: "on the pulse".into(), count: h.on_pulse, level: 0 }];
    bars.extend(h.between.iter().map(|&(parts, count)| Bar {
        label: format!("on its {}", describe::subdivisions(parts)),
        count,
        level: if parts < 4 { 3 } else { 4 },
    }));
    if h.off_pulse > 0 {
        bars.push(Bar { label: "off the pulse".into(), count: h.off_pulse, level: OFF_PULSE });
    }
    let total = bars.iter().map(|b| b.count).sum();
    Block { name: format!("under {}", strip::hearing_label(index, h)), bars, total }
}

pub(super) fn draw(piece: &ExportInput<'_>, canvas: &mut Canvas, page: PageLayout) -> (f32, DrawingSummary) {
    let blocks = blocks(piece);
    let focus: Vec<&str> =
        piece.report.focus.iter().filter_map(|l| piece.groove.layers().get(*l)).map(|l| l.name.as_str()).collect();
    let title = match focus[..] {
        [] => "No attacks.".to_owned(),
        _ => format!("Attacks of {}, whole groove, all passes: {}", focus.join(" + "), blocks[0].total),
    };
    let room = page.right - page.left;
    canvas.fitted_text(StyleClass::Faint, page.left, page.top + 10.0, 10.0, &title, room);
    let columns = if room >= 2.0 * MIN_COLUMN_WIDTH { 2 } else { 1 };
    let wide = (room - 20.0 * (columns - 1) as f32) / columns as f32;
    let mut y = page.top + 26.0;
    for (k, pair) in blocks.chunks(columns).enumerate() {
        if k > 0 {
            canvas.allow_break(y - 6.0);
        }
        let tall = pair.iter().map(|b| b.bars.len()).max().unwrap_or(0);
        for (i, b) in pair.iter().enumerate() {
            draw_block(canvas, b, page.left + (wide + 20.0) * i as f32, y, wide);
        }
        y += 22.0 + ROW_HEIGHT * tall as f32 + 12.0;
    }
    (y + 4.0, DrawingSummary::default())
}

fn draw_block(canvas: &mut Canvas, block: &Block, x: f32, y: f32, wide: f32) {
    canvas.fitted_text(StyleClass::Text, x, y + 10.0, 11.0, &block.name, wide);
    let (from, room) = (x + LABEL_WIDTH, wide - LABEL_WIDTH - NUMBER_WIDTH);
    for (i, bar) in block.bars.iter().enumerate() {
        let top = y + 20.0 + ROW_HEIGHT * i as f32;
        let middle = top + ROW_HEIGHT / 2.0;
        let shape = if bar.level == OFF_PULSE { Shape::Cross } else { legend::shape(bar.level) };
        canvas.mark(StyleClass::Landing(legend::level(bar.level)), shape, x + 6.0, middle, 4.2);
        canvas.fitted_text(StyleClass::Text, x + 16.0, middle + 3.5, 10.0, &bar.label, LABEL_WIDTH - 22.0);
        let share = bar.count as f32 / block.total.max(1) as f32;
        if bar.count > 0 {
            let class = StyleClass::Hatch(legend::level(bar.level));
            canvas.rect(class, from, top + 3.5, (room * share).max(1.0), ROW_HEIGHT - 7.0);
        }
        let numbers = format!("{} ({:.0}%)", bar.count, share * 100.0);
        canvas.text(StyleClass::Text, Anchor::Start, from + room * share + 6.0, middle + 3.5, 10.0, &numbers);
    }
    let tall = block.bars.len() as f32;
    canvas.line(StyleClass::Beat, from, y + 20.0, from, y + 20.0 + ROW_HEIGHT * tall);
}
