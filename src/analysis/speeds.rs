//! The listener model over the playing speeds: how hard the groove is and which hearing leads.

use super::hearing::HearingKind;
use super::listener::{self, LeadChange, Leader, SpeedChart, distinct_tempos};

/// A hearing that leads at some speed.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct LeadingHearing {
    pub(crate) kind: HearingKind,
    /// The periods of its stretches in seconds at full speed.
    pub(crate) periods: Vec<f64>,
}

impl LeadingHearing {
    /// The tempos of its stretches at full speed times `speed`.
    pub(crate) fn tempos(&self, speed: f64) -> Vec<f64> {
        distinct_tempos(self.periods.iter().copied(), speed)
    }
}

/// At which of some speeds most listeners lose the written beat.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum LostSpeeds {
    Nowhere,
    Somewhere,
    Everywhere,
}

/// The model over 40 to 120 percent of the written tempos.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct SpeedReport {
    /// Speed in percent and hardness, from slow to fast.
    pub(crate) points: Vec<(u16, f64)>,
    pub(crate) hearings: Vec<LeadingHearing>,
    /// From slow to fast; the first is the slowest speed looked at.
    pub(crate) changes: Vec<LeadChange>,
}

impl SpeedReport {
    pub(super) fn new(chart: SpeedChart, kind: impl Fn(&listener::ModelHearing) -> HearingKind) -> Self {
        let leading = |h: &listener::ModelHearing| LeadingHearing {
            kind: kind(h),
            periods: h.stretches.iter().map(|s| s.period).collect(),
        };
        Self {
            points: chart.points.iter().map(|p| (p.percent, p.hardness)).collect(),
            hearings: chart.hearings.iter().map(leading).collect(),
            changes: chart.lead_changes,
        }
    }

    /// The hearing that leads; `None` if it is the written beat or none.
    pub(crate) fn hearing(&self, leader: Leader) -> Option<&LeadingHearing> {
        match leader {
            Leader::Written | Leader::Unclear => None,
            Leader::Hearing(index) => self.hearings.get(index),
        }
    }

    /// The change that holds at a playing speed; slower than the chart that of its slowest speed.
    pub(crate) fn change_at(&self, percent: f64) -> Option<LeadChange> {
        let before = self.changes.iter().rev().find(|c| f64::from(c.percent) <= percent + 1e-6);
        before.or(self.changes.first()).copied()
    }

    /// Whether most listeners lose the written beat at a playing speed (1 as written).
    pub(crate) fn is_lost(&self, speed: f64) -> bool {
        self.hardness_at(speed * 100.0).is_some_and(|h| h > 0.5)
    }

    /// Whether most listeners lose it at the speeds from `from` to below `to`, in percent.
    pub(crate) fn lost_between(&self, from: u16, to: u16) -> LostSpeeds {
        let range = || self.points.iter().filter(|p| (from..to).contains(&p.0));
        match range().filter(|p| p.1 > 0.5).count() {
            0 => LostSpeeds::Nowhere,
            n if n == range().count() => LostSpeeds::Everywhere,
            _ => LostSpeeds::Somewhere,
        }
    }

    /// The hardness at a playing speed, by a straight line between the speeds looked at; `None` outside of them.
    pub(crate) fn hardness_at(&self, percent: f64) -> Option<f64> {
        let next = self.points.partition_point(|p| f64::from(p.0) < percent - 1e-6);
        let (to, hard) = *self.points.get(next)?;
        if (f64::from(to) - percent).abs() < 1e-6 {
            return Some(hard);
        }
        let (from, before) = *self.points.get(next.checked_sub(1)?)?;
        let share = (percent - f64::from(from)) / (f64::from(to) - f64::from(from));
        Some(before + share * (hard - before))
    }
}
