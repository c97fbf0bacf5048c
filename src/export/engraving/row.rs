//! Draws a row of the page: the staves with clefs, meter and bar lines.

use super::glyph;
use super::plan::{NAME_STEP, StaffPlan};
use super::shape::HALF_STAFF;
use super::spacing::{BarColumn, BarEnd, REPEAT_WIDTH};
use super::{TEXT_SIZE, bar::PlacedBar, bar::Tie};
use crate::analysis::clock::wholes;
use crate::export::picture::canvas::{Anchor, Canvas};
use crate::export::picture::font;
use crate::export::picture::music_font::SPACE;
use crate::export::picture::theme::StyleClass;
use crate::rhythm::Section;

/// Thickness of a staff line, and of the lines of a staff of five.
const LINE: f32 = 1.0;
const THIN_LINE: f32 = 0.8;
const NAME_SIZE: f32 = 9.5;
/// Around a clef, and around a meter.
const CLEF_SPACE: f32 = 10.0;
const METER_SPACE: f32 = 12.0;

/// Bars of all staves in one row of the page.
pub(super) struct StaffRow<'a> {
    /// At least one, as well as `plans`.
    pub(super) columns: &'a [BarColumn<'a>],
    pub(super) plans: &'a [StaffPlan<'a>],
    pub(super) left: f32,
    pub(super) has_meter: bool,
    /// Factor of all widths of bars.
    pub(super) stretch: f32,
}

/// The upper number of a meter.
fn meter_upper(section: &Section) -> String {
    section.meter.terms().iter().map(u16::to_string).collect::<Vec<_>>().join("+")
}

fn clef_width(plans: &[StaffPlan<'_>]) -> f32 {
    let widths = plans.iter().filter_map(|p| p.clef).map(|(glyph, _)| glyph.width() + CLEF_SPACE);
    widths.fold(0.0, f32::max)
}

/// Width of a section's meter, and of the sign that begins its repeat.
fn meter_width(section: &Section) -> f32 {
    let numbers = [meter_upper(section), section.meter.lower().to_string()];
    let wide = numbers.iter().map(|n| glyph::meter_width(n)).fold(0.0, f32::max);
    wide + METER_SPACE + if section.times > 1 { REPEAT_WIDTH } else { 0.0 }
}

/// Width of what stands before the first bar of a row.
pub(super) fn prefix_width(plans: &[StaffPlan<'_>], section: &Section, has_meter: bool) -> f32 {
    clef_width(plans) + if has_meter { meter_width(section) } else { 0.0 }
}

impl StaffRow<'_> {
    fn first_bar(&self) -> f32 {
        self.left + prefix_width(self.plans, self.columns[0].section, self.has_meter)
    }

    /// The times of its onsets and its end, in whole notes from the start of the section, and where they are.
    pub(super) fn points(&self) -> Vec<(f64, f32)> {
        let (mut points, mut x) = (Vec::new(), self.first_bar());
        for column in self.columns {
            let start = wholes(column.start);
            points.extend(column.onsets.iter().map(|(at, offset)| (start + wholes(*at), x + offset * self.stretch)));
            x += column.width * self.stretch;
        }
        points.extend(self.columns.last().map(|last| (wholes(last.end_time()), x)));
        points
    }

    /// Returns the lower edge.
    pub(super) fn draw(&self, canvas: &mut Canvas, name_x: f32, top: f32) -> f32 {
        let start = self.first_bar();
        let right = start + self.columns.iter().map(|c| c.width * self.stretch).sum::<f32>();
        let mut y = top + 6.0;
        let mut staves = Vec::new();
        for plan in self.plans {
            let staff = y - plan.top;
            staves.push(staff);
            y = staff + plan.bottom;
            self.draw_staff(canvas, plan, staff, (name_x, right));
        }
        self.draw_bar_lines(canvas, &staves);
        let number = (self.columns[0].number + 1).to_string();
        canvas.text(StyleClass::Faint, Anchor::End, self.left - 3.0, top + 5.0, 8.0, &number);
        for (plan, staff) in self.plans.iter().zip(&staves) {
            self.draw_notes(canvas, plan, *staff, right);
        }
        y
    }

    fn draw_staff(&self, canvas: &mut Canvas, plan: &StaffPlan<'_>, staff: f32, (name_x, right): (f32, f32)) {
        let (left, section) = (self.left, self.columns[0].section);
        let room = left - name_x - 14.0;
        let mut y = staff + 3.5 - NAME_STEP * (plan.names.len() - 1) as f32 / 2.0;
        for name in &plan.names {
            canvas.fitted_text(StyleClass::Text, name_x, y, NAME_SIZE, name, room);
            y += NAME_STEP;
        }
        for row in &plan.rows {
            if let Some(name) = row.name {
                let name = font::fit(name, TEXT_SIZE, left - name_x - 4.0);
                canvas.text(StyleClass::Faint, Anchor::End, left - 3.0, staff + row.baseline, TEXT_SIZE, &name);
            }
        }
        if plan.has_five_lines {
            for line in -2_i8..=2 {
                let y = staff + f32::from(line) * SPACE;
                canvas.rect(StyleClass::Staff, left, y - THIN_LINE / 2.0, right - left, THIN_LINE);
            }
        } else {
            canvas.rect(StyleClass::Staff, left, staff - LINE / 2.0, right - left, LINE);
        }
        let clefs = clef_width(self.plans);
        if let Some((clef, y)) = plan.clef {
            glyph::centred(canvas, clef, left + clefs / 2.0, staff + y);
        }
        if self.has_meter {
            let repeat = if section.times > 1 { REPEAT_WIDTH } else { 0.0 };
            let middle = left + clefs + (meter_width(section) - repeat) / 2.0;
            glyph::meter_number(canvas, middle, staff - SPACE, &meter_upper(section));
            glyph::meter_number(canvas, middle, staff + SPACE, &section.meter.lower().to_string());
        }
    }

    fn draw_bar_lines(&self, canvas: &mut Canvas, staves: &[f32]) {
        let (first, last) = (staves[0], staves[staves.len() - 1]);
        let (line_top, line_end) = (first - HALF_STAFF, last + HALF_STAFF);
        // Offsets and thicknesses of the strokes of a bar line, and the offset of its repeat dots.
        let mut bar_line = |x: f32, strokes: &[(f32, f32)], dots: Option<f32>| {
            for (offset, thickness) in strokes {
                canvas.rect(StyleClass::Staff, x + offset, line_top, *thickness, line_end - line_top);
            }
            if let Some(offset) = dots {
                for y in staves.iter().flat_map(|staff| [staff - SPACE / 2.0, staff + SPACE / 2.0]) {
                    glyph::repeat_dot(canvas, x + offset, y);
                }
            }
        };
        bar_line(self.left, &[(0.0, 1.2)], None);
        let mut x = self.first_bar();
        if self.has_meter && self.columns[0].section.times > 1 {
            bar_line(x - REPEAT_WIDTH, &[(0.0, 2.6), (4.4, 1.2)], Some(8.2));
        }
        for column in self.columns {
            x += column.width * self.stretch;
            match column.end {
                BarEnd::Bar => bar_line(x, &[(-0.6, 1.2)], None),
                _ if column.section.times > 1 => bar_line(x, &[(-2.6, 2.6), (-5.6, 1.2)], Some(-8.2)),
                BarEnd::Section => bar_line(x, &[(-4.2, 1.2), (-0.6, 1.2)], None),
                BarEnd::Groove => bar_line(x, &[(-5.6, 1.2), (-2.6, 2.6)], None),
            }
        }
    }

    fn draw_notes(&self, canvas: &mut Canvas, plan: &StaffPlan<'_>, y: f32, right: f32) {
        for voice in &plan.voices {
            let (mut x, mut open_tie): (f32, Option<Tie>) = (self.first_bar(), None);
            for (k, column) in self.columns.iter().enumerate() {
                let planned = &voice[column.index];
                let placed = PlacedBar { plan, planned, column, left: x, y, stretch: self.stretch };
                placed.draw(canvas, k == 0, &mut open_tie);
                x += column.width * self.stretch;
            }
            if let Some(tie) = open_tie {
                tie.draw(canvas, right - 2.0);
            }
        }
        let mut x = self.first_bar();
        for column in self.columns {
            for mark in plan.marks {
                for at in mark.pulses_between(column.section_index, column.start, column.end_time()) {
                    let at = at.minus(column.start).and_then(|t| column.onsets.iter().find(|o| o.0 == t));
                    let offset = at.map_or(0.0, |o| o.1) * self.stretch;
                    canvas.text(StyleClass::Sign, Anchor::Middle, x + offset, y + plan.marks_y, TEXT_SIZE, &mark.sign);
                }
            }
            x += column.width * self.stretch;
        }
    }
}
