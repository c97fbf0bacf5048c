//! A row of cells of one length, taken apart into its groups and put together again.

use crate::rhythm::{Attack, Cell};

/// An attack and the cells up to the next one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(crate) struct Group {
    pub(crate) attack: Attack,
    /// Its length in cells.
    pub(crate) size: usize,
    /// Holds that follow the attack; the other cells are rests.
    pub(crate) holds: usize,
}

/// A row as its groups.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Row {
    /// The cells before the first attack.
    pub(crate) lead: Vec<Cell>,
    pub(crate) groups: Vec<Group>,
}

impl Group {
    /// The group with another length. A group that sounds to its end still does.
    #[must_use]
    pub(crate) fn resized(self, size: usize) -> Self {
        let is_full = self.holds + 1 >= self.size;
        let holds = if is_full { size.saturating_sub(1) } else { self.holds.min(size.saturating_sub(1)) };
        Self { size, holds, ..self }
    }
}

impl Row {
    pub(crate) fn new(cells: &[Cell]) -> Self {
        let first = cells.iter().position(|c| c.attack().is_some()).unwrap_or(cells.len());
        let mut groups: Vec<Group> = Vec::new();
        for cell in &cells[first..] {
            match (cell, groups.last_mut()) {
                (Cell::Attack(attack), _) => groups.push(Group { attack: *attack, size: 1, holds: 0 }),
                (cell, Some(group)) => {
                    if *cell == Cell::Hold && group.holds + 1 == group.size {
                        group.holds += 1;
                    }
                    group.size += 1;
                }
                (_, None) => {}
            }
        }
        Self { lead: cells[..first].to_vec(), groups }
    }

    /// The cells, cut or filled with rests to a length.
    pub(crate) fn cells(&self, length: usize) -> Vec<Cell> {
        let mut cells = self.lead.clone();
        for group in &self.groups {
            cells.push(Cell::Attack(group.attack));
            cells.extend(std::iter::repeat_n(Cell::Hold, group.holds));
            cells.extend(std::iter::repeat_n(Cell::Rest, group.size - group.holds - 1));
        }
        cells.resize(length, Cell::Rest);
        cells
    }

    /// The same lead with other groups.
    pub(crate) fn with(&self, groups: Vec<Group>) -> Self {
        Self { lead: self.lead.clone(), groups }
    }

    pub(crate) fn sizes(&self) -> Vec<u32> {
        self.groups.iter().map(|g| g.size as u32).collect()
    }
}
