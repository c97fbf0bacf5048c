//! A leg as it travels: its loop, times through, and the silent ones.

use super::few::Few;
use super::frame::MOST;
use super::message;
use super::packed::{Packed, Shelved, Unfit, pack};
use crate::sound::segment::Segment;
use crate::sound::units::SampleRate;
use serde::{Deserialize, Serialize};

/// Most silent times through.
const SILENCES: usize = 1 << 16;
/// Bytes of a message beside the leg.
const BESIDE: usize = 64;

/// The form that travels.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct PackedLeg {
    turns: u64,
    last: bool,
    silences: Few<u32, SILENCES>,
    /// How many of the loop's sounds, in their order, sound in a silent time through.
    opening: u32,
    round: Packed,
}

/// Packs a leg into bytes that fit into one message.
///
/// # Errors
/// [`Unfit`] if it is larger than the far speaker takes.
pub(super) fn pack_leg(leg: &Segment) -> Result<Vec<u8>, Unfit> {
    let Some(schedule) = &leg.schedule else { return Err(Unfit::new("the segment is empty")) };
    let (silences, opening) = (&schedule.muted_passes, schedule.opening_notes);
    let (turns, last) = (leg.passes, leg.stops_at_end);
    if silences.len() > SILENCES {
        return Err(Unfit::new(&format!(
            "expected at most {SILENCES} muted passes for the remote speaker, found {}",
            silences.len()
        )));
    }
    let (silences, round) = (Few(silences.clone()), pack(schedule)?);
    let packed = message::write(&PackedLeg { turns, last, silences, opening: opening as u32, round });
    if packed.len() + BESIDE > MOST {
        let (has, may) = (packed.len() >> 20, MOST >> 20);
        return Err(Unfit::new(&format!("expected a loop of at most {may} MiB for the remote speaker, found {has}")));
    }
    Ok(packed)
}

/// Why there is no leg.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum SegmentError {
    /// It cannot be sounded: why.
    Unfit(String),
    /// A sound of the user's own of this hash has not come.
    Lacks(u64),
}

/// Makes the leg for a device of this rate, with the user's own sounds that have come. This synthesises sounds.
///
/// # Errors
/// [`SegmentError`] if it is damaged, for another rate, breaks a rule that every leg keeps, or needs a sound that is not there.
pub(super) fn unpack_leg(bytes: &[u8], rate: SampleRate, own: Shelved<'_>) -> Result<Segment, SegmentError> {
    let damaged = || SegmentError::Unfit("the loop is damaged or too large".into());
    let packed: PackedLeg = message::read(bytes).ok_or_else(damaged)?;
    if !packed.silences.0.is_sorted_by(|a, b| a < b) {
        return Err(SegmentError::Unfit("its muted passes are not in ascending order".into()));
    }
    if let Some(hash) = packed.round.lacks(own) {
        return Err(SegmentError::Lacks(hash));
    }
    let mut schedule = packed.round.unpack(rate, own).map_err(|e| SegmentError::Unfit(e.to_string()))?;
    (schedule.muted_passes, schedule.opening_notes) = (packed.silences.0, schedule.len().min(packed.opening as usize));
    let segment = Segment::new(schedule).passes(packed.turns);
    Ok(if packed.last { segment.stop_at_end() } else { segment })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rhythm::{Time, Voice};
    use crate::sound::tests::groove;
    use crate::sound::{Schedule, ScheduleOptions};
    use proptest::prelude::*;

    fn loop_of_two_layers() -> Segment {
        let groove = groove(&[Voice::Rim, Voice::Pluck], &[("4/4", "137.3", 2, None, "X..x{5: xoxxx}x..x..x.")]);
        Segment::new(Schedule::build(&groove, &ScheduleOptions::whole(SampleRate::STUDIO)))
    }

    fn leg() -> Segment {
        loop_of_two_layers().passes(7).stop_at_end().mute_passes(&[1, 4], Time::new(1, 4).expect("a beat"))
    }

    /// Muted passes and number of notes in them.
    fn muted(segment: &Segment) -> (&[u32], usize) {
        let schedule = segment.schedule.as_ref().expect("a loop");
        (&schedule.muted_passes, schedule.opening_notes)
    }

    #[test]
    fn a_leg_arrives_with_its_times_and_silences() {
        let leg = leg();
        let arrived = unpack_leg(&pack_leg(&leg).expect("small"), SampleRate::STUDIO, &|_| None).expect("valid");
        assert_eq!((arrived.passes, arrived.stops_at_end), (7, true));
        assert_eq!(muted(&arrived), muted(&leg));
        assert!(muted(&leg).1 > 0 && muted(&leg).1 < leg.schedule.as_ref().expect("loud").len());
        let plain = pack_leg(&loop_of_two_layers()).expect("small");
        let arrived = unpack_leg(&plain, SampleRate::STUDIO, &|_| None).expect("valid");
        assert_eq!((arrived.passes, arrived.stops_at_end, muted(&arrived)), (u64::MAX, false, (&[][..], 0)));
    }

    #[test]
    fn silences_that_are_not_in_order_are_refused() {
        let mut packed: PackedLeg = message::read(&pack_leg(&leg()).expect("small")).expect("a leg");
        packed.silences.0.reverse();
        let refused = unpack_leg(&message::write(&packed), SampleRate::STUDIO, &|_| None);
        assert!(matches!(refused, Err(SegmentError::Unfit(why)) if why.contains("not in ascending order")));
    }

    proptest! {
        #![proptest_config(crate::rhythm::random::config(256))]

        #[test]
        fn a_changed_byte_gives_a_leg_or_none(at: prop::sample::Index, byte: u8) {
            let mut bytes = pack_leg(&leg()).expect("small");
            let at = at.index(bytes.len());
            bytes[at] = byte;
            if let Ok(leg) = unpack_leg(&bytes, SampleRate::STUDIO, &|_| None) {
                prop_assert!(muted(&leg).1 <= leg.schedule.as_ref().expect("loud").len());
            }
        }
    }
}
