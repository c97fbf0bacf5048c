//! What is played of a sequence and what still comes, part by part. It must not know who asked for it, nor a device.

use super::super::super::{Event, Sequence};
use super::super::playing::takes;
use super::own::Own;
use crate::sound::take::Take;
use crate::sound::{Keep, Leg, Output, SampleRate};
use std::collections::VecDeque;

/// A part of a sequence that is sent as one leg: a take, or its count-in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Part {
    take: usize,
    counting: bool,
}

/// What is played of a sequence and what still comes.
pub(super) struct Plan {
    sequence: Sequence,
    takes: Vec<Take>,
    /// What was sent and may still be heard, by the leg's number.
    sent: VecDeque<(u64, Part)>,
    /// What is sent next, in order.
    next: VecDeque<Part>,
    /// What was last told: a part, and times through it.
    told: Option<(Part, u64)>,
}

impl Plan {
    /// Everything from the sequence's take on.
    pub(super) fn new(sequence: Sequence) -> Self {
        let takes = takes(&sequence);
        let next = parts(&sequence);
        Self { sequence, takes, sent: VecDeque::new(), next, told: None }
    }

    /// The leg of a part.
    fn leg(&self, part: Part, rate: SampleRate, own: &mut Own) -> Option<Leg> {
        let (asked, take) = (self.sequence.takes.get(part.take)?, self.takes.get(part.take)?);
        let groove = &asked.playing.groove;
        if part.counting {
            return Some(Leg::new(take.count(groove, rate)?).times(1));
        }
        let leg = take.leg_with(groove, rate, &own.of(groove, rate));
        let is_last = part.take + 1 == self.takes.len();
        Some(match asked.times {
            None => leg.times(u64::MAX),
            Some(_) if is_last => leg.last(),
            Some(_) => leg,
        })
    }

    /// Sends the first part: now, or at the end of the time through that is heard.
    pub(super) fn begin(&mut self, player: &mut Output, own: &mut Own, now: bool) {
        while let Some(part) = self.next.pop_front() {
            if let Some(leg) = self.leg(part, player.rate(), own) {
                let id = if now { player.start(leg, None) } else { player.then(leg) };
                self.sent.push_back((id, part));
                return;
            }
        }
    }

    /// Sends what comes as far as there is room.
    pub(super) fn send(&mut self, player: &mut Output, own: &mut Own) {
        while !self.next.is_empty() && player.has_room() {
            if let Some(part) = self.next.pop_front()
                && let Some(leg) = self.leg(part, player.rate(), own)
            {
                let id = player.queue(leg);
                self.sent.push_back((id, part));
            }
        }
    }

    /// Puts an edited sequence in the place of this one.
    pub(super) fn change(&mut self, sequence: Sequence, player: &mut Output, own: &mut Own) {
        self.takes = takes(&sequence);
        self.sequence = sequence;
        for &(id, part) in &self.sent {
            if let Some(leg) = self.leg(part, player.rate(), own) {
                player.replace(id, leg, Keep::Place);
            }
        }
    }

    /// The sequence from the take that was last told on.
    pub(super) fn rest(self) -> Sequence {
        let at = self.told.map_or(self.sequence.at, |(part, _)| part.take);
        Sequence { at, ..self.sequence }
    }

    /// The plan of a step that begins at the end of the time through that is heard, until which what is heard now is told.
    pub(super) fn step(self, sequence: Sequence) -> Self {
        Self { sent: self.sent, told: self.told, ..Self::new(sequence) }
    }

    /// The legs that were sent and may still be heard.
    pub(super) fn sent(&self) -> impl DoubleEndedIterator<Item = u64> {
        self.sent.iter().map(|(id, _)| *id)
    }

    /// Whether all of it was sent.
    pub(super) fn is_sent(&self) -> bool {
        self.next.is_empty()
    }

    /// What is heard, if it is not what was last told.
    pub(super) fn news(&mut self, leg: u64, turn: u64) -> Option<Event> {
        while self.sent.len() > 1 && self.sent.front().is_some_and(|(id, _)| *id < leg) {
            self.sent.pop_front();
        }
        let &(_, part) = self.sent.iter().find(|(id, _)| *id == leg)?;
        let told = Some((part, turn));
        if self.told == told {
            return None;
        }
        self.told = told;
        Some(Event::Take { take: part.take, counting: part.counting, turn })
    }
}

/// The parts of a sequence from its take `at` on, up to one that has no end.
fn parts(sequence: &Sequence) -> VecDeque<Part> {
    let mut parts = VecDeque::new();
    for (take, asked) in sequence.takes.iter().enumerate().skip(sequence.at) {
        if asked.count_in {
            parts.push_back(Part { take, counting: true });
        }
        parts.push_back(Part { take, counting: false });
        if asked.times.is_none() {
            break;
        }
    }
    parts
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rhythm::{Fraction, Groove, Meter, Tempo, Time};
    use crate::terminal::{Clicks, Over, Playing, Take as Asked};
    use std::sync::Arc;

    #[test]
    fn a_sequence_becomes_parts_up_to_the_one_that_goes_on() {
        let tempo = Tempo::new(Fraction::whole(120), Time::new(1, 4).expect("quarter")).expect("tempo");
        let groove = Arc::new(Groove::blank(Meter::parse("4/4").expect("meter"), tempo, 1).expect("groove"));
        let (speed, over, beat) = (Fraction::ONE, Over::All, Clicks::Off);
        let playing = Playing { groove, speed, over, layers: true, beat, lines: Vec::new() };
        let asked = |times, count_in| Asked { playing: playing.clone(), times, count_in };
        let takes = vec![asked(Some(6), true), asked(Some(8), false), asked(None, true), asked(None, true)];
        let sequence = Sequence { takes, at: 0, silence: None };
        let part = |take, counting| Part { take, counting };
        assert_eq!(parts(&sequence), [part(0, true), part(0, false), part(1, false), part(2, true), part(2, false)]);
        let later = Sequence { at: 3, ..sequence.clone() };
        assert_eq!(parts(&later), [part(3, true), part(3, false)]);
    }
}
