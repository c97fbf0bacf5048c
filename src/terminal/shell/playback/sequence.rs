//! Playback of a sequence: which part plays, and which parts are still to be sent.

use super::super::super::Event;
use super::super::super::event::SequencePosition;
use super::samples::UserSampleLoader;
use crate::jobs::play_request::Sequence;
use crate::sound::take::Take;
use crate::sound::{AudioBackend, Playhead, SampleRate, Segment};
use std::collections::VecDeque;

/// A part of a sequence that is one segment: a take or its count-in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Part {
    take: usize,
    counting: bool,
}

/// A part that was sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Sent {
    /// Id of the segment.
    id: u64,
    part: Part,
    /// Passes of the take that were complete before.
    behind: u64,
    /// Whether it starts after the current pass of the previous segment, whatever that one's limit.
    step: bool,
}

/// Playback of a sequence: which part plays, and which parts are still to be sent.
pub(crate) struct SequencePlayback {
    sequence: Sequence,
    takes: Vec<Take>,
    /// Parts that were sent and may still be heard, in order.
    sent: VecDeque<Sent>,
    /// Parts to send, in order.
    next: VecDeque<Part>,
    /// Part and pass reported last.
    told: Option<(Part, u64)>,
}

impl SequencePlayback {
    /// Plays from the sequence's current take.
    pub(crate) fn new(sequence: Sequence) -> Self {
        let takes = sequence.takes();
        let next = parts(&sequence);
        Self { sequence, takes, sent: VecDeque::new(), next, told: None }
    }

    pub(crate) fn number(&self) -> u32 {
        self.sequence.number
    }

    /// The segment of a part, without the passes that are complete.
    fn segment(&self, part: Part, behind: u64, rate: SampleRate, own: &mut UserSampleLoader) -> Option<Segment> {
        let (asked, take) = (self.sequence.takes.get(part.take)?, self.takes.get(part.take)?);
        let groove = &asked.spec.groove;
        if part.counting {
            return Some(Segment::new(take.count_in_schedule(groove, rate)?).passes(1));
        }
        let segment = take.segment(groove, rate, &own.of(groove, rate));
        let is_last = part.take + 1 == self.takes.len();
        let segment = match asked.times {
            None => segment.passes(u64::MAX),
            Some(_) if is_last => segment.stop_at_end(),
            Some(_) => segment,
        };
        Some(segment.skip_passes(behind))
    }

    /// Sends the first part, to start now or after the current pass.
    pub(crate) fn begin(&mut self, player: &mut AudioBackend, own: &mut UserSampleLoader, now: bool) {
        while let Some(part) = self.next.pop_front() {
            if let Some(segment) = self.segment(part, 0, player.rate(), own) {
                let id = if now { player.start(segment, None) } else { player.switch_to(segment) };
                self.sent.push_back(Sent { id, part, behind: 0, step: !now });
                return;
            }
        }
    }

    /// Queues parts while there is room.
    pub(crate) fn send(&mut self, player: &mut AudioBackend, own: &mut UserSampleLoader) {
        while !self.next.is_empty() && player.has_room() {
            if let Some(part) = self.next.pop_front()
                && let Some(segment) = self.segment(part, 0, player.rate(), own)
            {
                let id = player.queue(segment);
                self.sent.push_back(Sent { id, part, behind: 0, step: false });
            }
        }
    }

    /// Replaces the sequence by an edited one.
    pub(crate) fn change(&mut self, sequence: Sequence, player: &mut AudioBackend, own: &mut UserSampleLoader) {
        self.takes = sequence.takes();
        self.sequence = sequence;
        for s in &self.sent {
            if let Some(segment) = self.segment(s.part, s.behind, player.rate(), own) {
                player.replace(s.id, segment);
            }
        }
    }

    /// Resets to the part that was heard, after everything sent was lost. Returns the part, its completed passes, and whether the
    /// next part was to start after the current pass. A count-in starts again.
    fn recall(&mut self, head: &Playhead) -> Option<(Part, u64, bool)> {
        let found = self.sent.iter().position(|s| s.id == head.segment);
        let mut sent = std::mem::take(&mut self.sent).split_off(found.unwrap_or(0));
        let Sent { part, behind, .. } = sent.pop_front()?;
        // Parts before a step will not be heard any more.
        let step = sent.iter().rposition(|s| s.step);
        sent.drain(..step.unwrap_or(0));
        sent.iter().rev().for_each(|s| self.next.push_front(s.part));
        let heard = if found.is_some() && !part.counting { head.loop_pass } else { 0 };
        Some((part, behind + heard, step.is_some()))
    }

    /// Sends everything again from the position that was heard.
    pub(crate) fn resume(&mut self, head: &Playhead, player: &mut AudioBackend, own: &mut UserSampleLoader) {
        let there = self.sent.iter().any(|s| s.id == head.segment);
        let Some((part, behind, step)) = self.recall(head) else { return self.begin(player, own, true) };
        let Some(segment) = self.segment(part, behind, player.rate(), own) else {
            return self.begin(player, own, true);
        };
        let id = player.start(segment, Some(head.position()).filter(|_| there && !part.counting));
        self.sent.push_back(Sent { id, part, behind, step: false });
        if step {
            self.begin(player, own, false);
        }
    }

    /// Playback of a step that starts after the current pass; until then this one is still reported.
    pub(crate) fn step(self, sequence: Sequence) -> Self {
        Self { sent: self.sent, told: self.told, ..Self::new(sequence) }
    }

    /// Ids of the segments that may still be heard, in order.
    pub(crate) fn sent(&self) -> impl DoubleEndedIterator<Item = u64> {
        self.sent.iter().map(|s| s.id)
    }

    /// Whether every part was sent.
    pub(crate) fn is_sent(&self) -> bool {
        self.next.is_empty()
    }

    /// The event for what is heard, unless it was the last one reported.
    pub(crate) fn news(&mut self, segment: u64, turn: u64) -> Option<Event> {
        while self.sent.len() > 1 && self.sent.front().is_some_and(|s| s.id < segment) {
            self.sent.pop_front();
        }
        let &Sent { part, behind, .. } = self.sent.iter().find(|s| s.id == segment)?;
        let turn = turn + behind;
        let told = Some((part, turn));
        if self.told == told {
            return None;
        }
        self.told = told;
        let silent =
            u32::try_from(turn).is_ok_and(|t| self.takes.get(part.take).is_some_and(|k| k.muted_passes.contains(&t)));
        let (take, is_count_in, silent) = (part.take, part.counting, silent && !part.counting);
        Some(Event::Take(SequencePosition { sequence: self.number(), take, is_count_in, pass: turn, silent }))
    }
}

/// Parts of a sequence from its current take, up to one without an end.
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
    use crate::jobs::play_request::{LoopSpec, SequenceTake};
    use crate::jobs::{Click, Range};
    use crate::rhythm::{Fraction, Groove, Meter, Tempo, Time};
    use std::sync::Arc;

    /// Three takes, the last of them without an end.
    fn sequence() -> Sequence {
        let tempo = Tempo::new(Fraction::whole(120), Time::new(1, 4).expect("quarter")).expect("tempo");
        let groove = Arc::new(Groove::blank(Meter::parse("4/4").expect("meter"), tempo, 1).expect("groove"));
        let (speed, range, beat) = (Fraction::ONE, Range::Whole, Click::Off);
        let playing = LoopSpec { groove, speed, range, layers: true, beat, click_db: 0.0, hearings: Vec::new() };
        let asked = |times, count_in| SequenceTake { spec: playing.clone(), times, count_in };
        let takes = vec![asked(Some(6), true), asked(Some(8), false), asked(None, true), asked(None, true)];
        Sequence { number: 1, takes, at: 0, silence: None }
    }

    fn part(take: usize, counting: bool) -> Part {
        Part { take, counting }
    }

    #[test]
    fn a_sequence_becomes_parts_up_to_the_one_that_goes_on() {
        let sequence = sequence();
        assert_eq!(parts(&sequence), [part(0, true), part(0, false), part(1, false), part(2, true), part(2, false)]);
        let later = Sequence { at: 3, ..sequence.clone() };
        assert_eq!(parts(&later), [part(3, true), part(3, false)]);
    }
    #[test]
    fn a_sequence_that_is_sent_anew_goes_on_where_it_was_heard() {
        let sent = |id, part, behind, step| Sent { id, part, behind, step };
        let head = |segment, loop_pass| Playhead { section: 1, pass: 0, wholes: 0.5, loop_pass, segment };
        let plan = || {
            let mut plan = SequencePlayback::new(sequence());
            plan.next.drain(..3);
            let all = [
                sent(4, part(0, true), 0, false),
                sent(5, part(0, false), 2, false),
                sent(6, part(1, false), 0, false),
            ];
            plan.sent = all.into();
            plan
        };
        // In the second time through of what was sent when two lay behind it.
        let mut here = plan();
        assert_eq!(here.recall(&head(5, 1)), Some((part(0, false), 3, false)));
        assert_eq!(here.next, [part(1, false), part(2, true), part(2, false)]);
        assert!(here.sent.is_empty());
        // A count-in begins again; of a segment that nobody knows of it is not known how far it was.
        assert_eq!(plan().recall(&head(4, 0)), Some((part(0, true), 0, false)));
        assert_eq!(plan().recall(&head(9, 5)), Some((part(0, true), 0, false)));
        // A step that waits for the end of the time through still does.
        let mut stepping = plan();
        stepping.sent.push_back(sent(7, part(2, true), 0, true));
        stepping.next = [part(2, false)].into();
        assert_eq!(stepping.recall(&head(5, 0)), Some((part(0, false), 2, true)));
        assert_eq!(stepping.next, [part(2, true), part(2, false)]);
        assert_eq!(SequencePlayback::new(sequence()).recall(&head(1, 0)), None);
        // The fourth time through falls silent, of which two lay behind.
        let mut hushed = plan();
        hushed.takes = Sequence { silence: Some(4), ..sequence() }.takes();
        assert!(matches!(hushed.news(5, 0), Some(Event::Take(SequencePosition { pass: 2, silent: false, .. }))));
        assert!(matches!(hushed.news(5, 1), Some(Event::Take(SequencePosition { pass: 3, silent: true, .. }))));
        // What is told goes on counting.
        assert!(matches!(
            plan().news(5, 1),
            Some(Event::Take(SequencePosition { sequence: 1, take: 0, is_count_in: false, pass: 3, silent: false }))
        ));
    }
}
