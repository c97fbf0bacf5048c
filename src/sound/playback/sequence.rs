//! Playback of a sequence: the parts that were sent, and those still to send.

use super::thread::Samples;
use super::{ResumePoint, Sequence, SequencePosition};
use crate::sound::take::Take;
use crate::sound::{Frame, Player, Playhead, Position, SampleRate, Segment};
use std::collections::VecDeque;

/// A part of a sequence that is one segment: a take or its count-in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct SequencePart {
    take: usize,
    is_count_in: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct SentPart {
    id: u64,
    part: SequencePart,
    /// Passes of the take that were complete before.
    completed: u64,
    /// Starts after the current pass of the previous segment, even if that has more.
    step: bool,
}

/// What was heard of a sequence.
#[derive(Debug, PartialEq, Eq)]
struct HeardPart {
    part: SequencePart,
    /// Completed passes of the part.
    completed: u64,
    /// Whether the next part starts after the current pass.
    step: bool,
}

pub(super) struct SequencePlayback {
    pub(super) sequence: Sequence,
    takes: Vec<Take>,
    /// Parts that were sent and may still be heard, in order.
    sent: VecDeque<SentPart>,
    /// Parts to send, in order.
    pub(super) next: VecDeque<SequencePart>,
    /// Part and pass reported last.
    reported: Option<(SequencePart, u64)>,
}

impl SequencePlayback {
    pub(super) fn new(sequence: Sequence) -> Self {
        let takes = sequence.takes();
        let next = parts(&sequence);
        Self { sequence, takes, sent: VecDeque::new(), next, reported: None }
    }

    /// The segment of a part, without the passes that are complete.
    fn segment(&self, part: SequencePart, completed: u64, rate: SampleRate, samples: &mut Samples) -> Option<Segment> {
        let (request, take) = (self.sequence.takes.get(part.take)?, self.takes.get(part.take)?);
        let groove = &request.spec.groove;
        if part.is_count_in {
            return Some(Segment::new(take.count_in_schedule(groove, rate)?).passes(1));
        }
        let segment = take.segment(groove, rate, &samples.load(groove, rate));
        let is_last = part.take + 1 == self.takes.len();
        let segment = match request.times {
            None => segment.passes(u64::MAX),
            Some(_) if is_last => segment.stop_at_end(),
            Some(_) => segment,
        };
        segment.prepare_at(Frame(0));
        Some(segment.skip_passes(completed))
    }

    /// Takes the next part that has a segment, without its completed passes.
    fn next_segment(
        &mut self,
        completed: u64,
        player: &Player,
        samples: &mut Samples,
    ) -> Option<(SequencePart, Segment)> {
        loop {
            let part = self.next.pop_front()?;
            if let Some(segment) = self.segment(part, completed, player.handle.rate, samples) {
                return Some((part, segment));
            }
        }
    }

    /// Starts the next part, without its completed passes, from a position or from its start.
    pub(super) fn begin(
        &mut self,
        completed: u64,
        position: Option<Position>,
        player: &mut Player,
        samples: &mut Samples,
    ) {
        if let Some((part, segment)) = self.next_segment(completed, player, samples) {
            let id = player.start(segment, position);
            self.sent.push_back(SentPart { id, part, completed, step: false });
        }
    }

    /// Starts the next part after the current pass.
    pub(super) fn begin_after_pass(&mut self, player: &mut Player, samples: &mut Samples) {
        if let Some((part, segment)) = self.next_segment(0, player, samples) {
            let id = player.handle.switch_to(segment);
            self.sent.push_back(SentPart { id, part, completed: 0, step: true });
        }
    }

    /// Starts in the current take, without its count-in.
    pub(super) fn begin_at(&mut self, start: ResumePoint, player: &mut Player, samples: &mut Samples) {
        if self.next.front().is_some_and(|part| part.is_count_in) {
            self.next.pop_front();
        }
        self.begin(start.passes, Some(start.position), player, samples);
    }

    pub(super) fn send(&mut self, player: &mut Player, samples: &mut Samples) {
        while !self.next.is_empty() && player.handle.has_room() {
            if let Some((part, segment)) = self.next_segment(0, player, samples) {
                let id = player.handle.queue(segment);
                self.sent.push_back(SentPart { id, part, completed: 0, step: false });
            }
        }
    }

    pub(super) fn change(&mut self, sequence: Sequence, player: &mut Player, samples: &mut Samples) {
        self.takes = sequence.takes();
        self.sequence = sequence;
        for s in &self.sent {
            if let Some(segment) = self.segment(s.part, s.completed, player.handle.rate, samples) {
                player.handle.replace(s.id, segment);
            }
        }
    }

    /// After everything sent was lost, finds what was heard. A count-in starts again.
    fn recall(&mut self, head: &Playhead) -> Option<HeardPart> {
        let index = self.sent.iter().position(|s| s.id == head.segment);
        let mut sent = std::mem::take(&mut self.sent).split_off(index.unwrap_or(0));
        let SentPart { part, completed, .. } = sent.pop_front()?;
        // Parts before a step are not played any more.
        let step = sent.iter().rposition(|s| s.step);
        sent.drain(..step.unwrap_or(0));
        sent.iter().rev().for_each(|s| self.next.push_front(s.part));
        let passes = if index.is_some() && !part.is_count_in { head.loop_pass } else { 0 };
        Some(HeardPart { part, completed: completed + passes, step: step.is_some() })
    }

    /// Sends everything again from the position that was heard.
    pub(super) fn resume(&mut self, head: &Playhead, player: &mut Player, samples: &mut Samples) {
        let is_known = self.sent.iter().any(|s| s.id == head.segment);
        let Some(HeardPart { part, completed, step }) = self.recall(head) else {
            return self.begin(0, None, player, samples);
        };
        self.next.push_front(part);
        let position = Some(head.position).filter(|_| is_known && !part.is_count_in);
        self.begin(completed, position, player, samples);
        if step {
            self.begin_after_pass(player, samples);
        }
    }

    /// Playback of a step that starts after the current pass. Until then the current part is reported.
    pub(super) fn step(self, sequence: Sequence) -> Self {
        Self { sent: self.sent, reported: self.reported, ..Self::new(sequence) }
    }

    /// Ids of the segments that may still be heard, in order.
    pub(super) fn sent(&self) -> impl DoubleEndedIterator<Item = u64> {
        self.sent.iter().map(|s| s.id)
    }

    /// Whether a count-in was reported last.
    pub(super) fn is_count_in(&self) -> bool {
        self.reported.is_some_and(|(part, _)| part.is_count_in)
    }

    /// What is heard, unless it was reported last.
    pub(super) fn position(&mut self, segment: u64, pass: u64) -> Option<SequencePosition> {
        while self.sent.len() > 1 && self.sent.front().is_some_and(|s| s.id < segment) {
            self.sent.pop_front();
        }
        let &SentPart { part, completed, .. } = self.sent.iter().find(|s| s.id == segment)?;
        let pass = pass + completed;
        let reported = Some((part, pass));
        if self.reported == reported {
            return None;
        }
        self.reported = reported;
        let silent =
            u32::try_from(pass).is_ok_and(|t| self.takes.get(part.take).is_some_and(|k| k.muted_passes.contains(&t)));
        let (take, is_count_in, silent) = (part.take, part.is_count_in, silent && !part.is_count_in);
        Some(SequencePosition { sequence: self.sequence.number, take, is_count_in, pass, silent })
    }
}

/// Parts of a sequence from its current take on, up to one without a limit.
fn parts(sequence: &Sequence) -> VecDeque<SequencePart> {
    let mut parts = VecDeque::new();
    for (take, request) in sequence.takes.iter().enumerate().skip(sequence.at) {
        if request.count_in {
            parts.push_back(SequencePart { take, is_count_in: true });
        }
        parts.push_back(SequencePart { take, is_count_in: false });
        if request.times.is_none() {
            break;
        }
    }
    parts
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rhythm::{Fraction, Groove, Meter, Tempo, Time};
    use crate::sound::playback::{LoopSpec, SequenceTake};
    use crate::sound::{Click, Range};
    use std::sync::Arc;

    /// Takes with and without count-in and limit.
    fn sequence() -> Sequence {
        let tempo = Tempo::new(Fraction::whole(120), Time::new(1, 4).expect("quarter")).expect("tempo");
        let groove = Arc::new(Groove::blank(Meter::parse("4/4").expect("meter"), tempo, 1).expect("groove"));
        let (speed, range, beat) = (Fraction::ONE, Range::Whole, Click::Off);
        let playing = LoopSpec {
            groove,
            speed,
            range,
            layers: true,
            beat,
            click_db: 0.0,
            click_sound: crate::rhythm::ClickSound::default(),
            hearings: Vec::new(),
            recording: None,
        };
        let request = |times, count_in| SequenceTake { spec: playing.clone(), times, count_in };
        let takes = vec![request(Some(6), true), request(Some(8), false), request(None, true), request(None, true)];
        Sequence { number: 1, takes, at: 0, silence: None }
    }

    fn part(take: usize, is_count_in: bool) -> SequencePart {
        SequencePart { take, is_count_in }
    }

    #[test]
    fn a_sequence_has_parts_up_to_the_one_without_a_limit() {
        let sequence = sequence();
        assert_eq!(parts(&sequence), [part(0, true), part(0, false), part(1, false), part(2, true), part(2, false)]);
        let later = Sequence { at: 3, ..sequence.clone() };
        assert_eq!(parts(&later), [part(3, true), part(3, false)]);
    }

    #[test]
    fn a_sequence_that_is_sent_again_continues_where_it_was_heard() {
        let sent = |id, part, completed, step| SentPart { id, part, completed, step };
        let heard = |part, completed, step| Some(HeardPart { part, completed, step });
        let head = |segment, loop_pass| Playhead {
            position: Position { section: 1, pass: 0, wholes: 0.5 },
            loop_pass,
            segment,
        };
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
        // In the second pass of a segment that was sent with two passes completed.
        let mut here = plan();
        assert_eq!(here.recall(&head(5, 1)), heard(part(0, false), 3, false));
        assert_eq!(here.next, [part(1, false), part(2, true), part(2, false)]);
        assert!(here.sent.is_empty());
        // A count-in starts again, and so does the first part after an unknown segment.
        assert_eq!(plan().recall(&head(4, 0)), heard(part(0, true), 0, false));
        assert_eq!(plan().recall(&head(9, 5)), heard(part(0, true), 0, false));
        // A step still waits for the end of the pass.
        let mut stepping = plan();
        stepping.sent.push_back(sent(7, part(2, true), 0, true));
        stepping.next = [part(2, false)].into();
        assert_eq!(stepping.recall(&head(5, 0)), heard(part(0, false), 2, true));
        assert_eq!(stepping.next, [part(2, true), part(2, false)]);
        assert_eq!(SequencePlayback::new(sequence()).recall(&head(1, 0)), None);
        // The fourth pass is silent; two passes are completed.
        let mut with_silence = plan();
        with_silence.takes = Sequence { silence: Some(4), ..sequence() }.takes();
        assert!(matches!(with_silence.position(5, 0), Some(SequencePosition { pass: 2, silent: false, .. })));
        assert!(matches!(with_silence.position(5, 1), Some(SequencePosition { pass: 3, silent: true, .. })));
        // Reported passes include the completed ones.
        assert!(matches!(
            plan().position(5, 1),
            Some(SequencePosition { sequence: 1, take: 0, is_count_in: false, pass: 3, silent: false })
        ));
    }
}
