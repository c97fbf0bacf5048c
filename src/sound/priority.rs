//! Priority of the audio thread: real-time, where the system grants it and while the device sets the pace.

use std::time::Instant;

/// Seconds of sound after which the pace of the device is judged.
const WINDOW_SECONDS: f64 = 0.25;

/// Judges whether a device waits between buffers.
///
/// A real-time thread that never waits keeps everything else off its processor. A null device takes frames as fast as they are
/// rendered, and so may one that is failing, so the audio thread has the priority only while the buffers come at the pace of
/// the sound.
#[derive(Debug, Default)]
pub(super) struct Pace {
    since: Option<Instant>,
    /// Seconds of sound taken since then.
    taken: f64,
}

impl Pace {
    /// Counts a buffer that is asked for at `now`. Once per window, returns whether the device has waited.
    pub(super) fn on_buffer(&mut self, seconds: f64, now: Instant) -> Option<bool> {
        let since = *self.since.get_or_insert(now);
        let taken = self.taken;
        self.taken += seconds;
        if taken < WINDOW_SECONDS {
            return None;
        }
        (self.since, self.taken) = (Some(now), seconds);
        Some(now.saturating_duration_since(since).as_secs_f64() > taken / 2.0)
    }
}

/// Whether the system grants this program real-time priority.
pub(crate) fn is_real_time_granted() -> bool {
    std::thread::spawn(|| set_real_time(true)).join().unwrap_or(false)
}

/// Gives the calling thread real-time priority, or takes it away; returns whether the system has done it.
#[cfg(target_os = "linux")]
pub(super) fn set_real_time(on: bool) -> bool {
    use thread_priority::{
        NormalThreadSchedulePolicy, RealtimeThreadSchedulePolicy, ThreadPriority, ThreadPriorityOsValue,
        ThreadSchedulePolicy, set_thread_priority_and_policy, thread_native_id,
    };
    /// Of 1 to 99: above all ordinary programs, but not above drivers and sound servers.
    const REAL_TIME: u8 = 5;
    let (priority, policy) = match REAL_TIME.try_into() {
        Ok(value) if on => (
            ThreadPriority::Crossplatform(value),
            ThreadSchedulePolicy::Realtime(RealtimeThreadSchedulePolicy::RoundRobin),
        ),
        _ => (
            ThreadPriority::Os(ThreadPriorityOsValue::default()),
            ThreadSchedulePolicy::Normal(NormalThreadSchedulePolicy::Other),
        ),
    };
    set_thread_priority_and_policy(thread_native_id(), priority, policy).is_ok()
}

/// Elsewhere the audio library sets the priority.
#[cfg(not(target_os = "linux"))]
pub(super) fn set_real_time(_: bool) -> bool {
    true
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;

    #[test]
    fn only_a_device_that_waits_is_paced() {
        let start = Instant::now();
        // Buffers of 20 ms, asked for every so many microseconds.
        let judged = |interval: u64, buffers: u32| {
            let mut pace = Pace::default();
            let at = |k| start + Duration::from_micros(interval) * k;
            (0..buffers).filter_map(|k| pace.on_buffer(0.02, at(k))).collect::<Vec<_>>()
        };
        assert!(judged(20_000, 13).is_empty(), "too early to say");
        assert_eq!(judged(20_000, 40), [true, true, true]);
        assert_eq!(judged(15, 40), [false, false, false], "a null device");
        // A late device is paced, and one that fills its queue at first only afterwards.
        assert_eq!(judged(500_000, 14), [true]);
        let mut pace = Pace::default();
        let at = |k: u32| start + Duration::from_millis(20) * k.saturating_sub(20);
        let found: Vec<bool> = (0..60).filter_map(|k| pace.on_buffer(0.02, at(k))).collect();
        assert!(!found[0]);
        assert!(found[2..].iter().all(|waits| *waits), "{found:?}");
    }

    #[test]
    fn the_priority_can_always_be_given_back() {
        let changed = std::thread::spawn(|| (set_real_time(true), set_real_time(false)));
        let (granted, _) = changed.join().expect("the thread ends");
        assert_eq!(granted, is_real_time_granted());
    }
}
