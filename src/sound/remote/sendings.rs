//! What the editor calls the legs that a speaker's device was given.

use std::collections::VecDeque;

/// Sendings that are remembered.
const MOST: usize = 512;

/// A leg that the device was given: its number and this sending of it, and what the editor calls them.
#[derive(Debug, Clone, Copy)]
struct Sent {
    id: u64,
    generation: u64,
    leg: u64,
    editors: u64,
}

/// The legs given of late, in their order.
#[derive(Debug, Default)]
pub(super) struct Sendings(VecDeque<Sent>);

impl Sendings {
    /// The device has been given sending `generation` of its leg `id`, which is sending `editors` of the editor's leg `leg`.
    pub(super) fn add(&mut self, (id, generation): (u64, u64), (leg, editors): (u64, u64)) {
        self.0.push_back(Sent { id, generation, leg, editors });
        while self.0.len() > MOST {
            self.0.pop_front();
        }
    }

    /// The device's number of an editor's leg.
    pub(super) fn id(&self, leg: u64) -> Option<u64> {
        self.0.iter().rev().find(|s| s.leg == leg).map(|s| s.id)
    }

    /// The device's last leg, and what the editor calls it.
    pub(super) fn last(&self) -> Option<(u64, u64)> {
        self.0.iter().map(|s| (s.id, s.leg)).max()
    }

    /// The device's leg `id` is heard as it was in its sending `generation`; gives what the editor calls that. Legs before it never come
    /// again.
    pub(super) fn heard(&mut self, id: u64, generation: u64) -> Option<u64> {
        let editors = self.0.iter().find(|s| s.generation == generation)?.editors;
        self.0.retain(|s| s.id >= id);
        Some(editors)
    }

    /// Nothing given before counts any more.
    pub(super) fn clear(&mut self) {
        self.0.clear();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_leg_is_found_by_either_name_until_one_after_it_is_heard() {
        let mut sent = Sendings::default();
        assert_eq!((sent.id(7), sent.last(), sent.heard(1, 1)), (None, None, None));
        for (device, editor) in [((1, 1), (7, 40)), ((2, 2), (8, 41)), ((1, 3), (7, 42))] {
            sent.add(device, editor);
        }
        assert_eq!((sent.id(7), sent.id(8), sent.id(9)), (Some(1), Some(2), None));
        assert_eq!(sent.last(), Some((2, 8)), "an edited leg is not a later one");
        assert_eq!(sent.heard(1, 3), Some(42));
        assert_eq!(sent.heard(2, 2), Some(41));
        assert_eq!((sent.id(7), sent.heard(1, 3)), (None, None));
        for k in 3..2000 {
            sent.add((k, k), (k, k));
        }
        assert_eq!((sent.0.len(), sent.id(2000 - MOST as u64), sent.id(1999 - MOST as u64)), (MOST, Some(1488), None));
        sent.clear();
        assert_eq!(sent.last(), None);
    }
}
