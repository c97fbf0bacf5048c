//! Reports progress, and stops the work once it is cancelled.

/// Steps between two reports.
const STRIDE: usize = 64;

/// The progress of the whole work, of which the current part covers a range.
pub(super) struct Progress<'a> {
    report: &'a mut dyn FnMut(f32) -> bool,
    range: (f32, f32),
}

impl<'a> Progress<'a> {
    pub(super) fn new(report: &'a mut dyn FnMut(f32) -> bool) -> Self {
        Self { report, range: (0.0, 1.0) }
    }

    /// Maps the steps that follow to a range from 0 to 1.
    pub(super) fn set_range(&mut self, from: f32, to: f32) {
        self.range = (from, to);
    }

    /// Reports a step; `None` if the work was cancelled.
    pub(super) fn report(&mut self, step: usize, steps: usize) -> Option<()> {
        if !step.is_multiple_of(STRIDE) {
            return Some(());
        }
        let (from, to) = self.range;
        (self.report)(from + (to - from) * step as f32 / steps.max(1) as f32).then_some(())
    }
}
