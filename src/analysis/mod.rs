//! What can be said of a groove: pure functions from a groove to a report, the same on every machine; they cannot fail.
//! It must not know files, threads, screens or sound.

pub(crate) mod answer;
pub(crate) mod attacks;
pub(crate) mod clock;
mod finding;
pub mod groups;
pub(crate) mod hearing;
#[cfg(test)]
mod invariance;
pub(crate) mod landing;
pub(crate) mod limits;
pub(crate) mod listener;
pub(crate) mod measure;
mod reason;
mod report;
#[cfg(test)]
mod soundness;
pub(crate) mod speeds;
pub(crate) mod stream;
pub mod tap;
#[cfg(test)]
mod tests;

pub(crate) use answer::{Answer, HardnessPart};
pub use attacks::Scope;
pub use clock::Clock;
pub(crate) use finding::Finding;
pub(crate) use groups::{AccentGroups, Figure, Groups};
pub(crate) use hearing::Stretch;
pub use hearing::{Hearing, HearingKind};
pub(crate) use landing::{Landing, Landings};
pub use limits::{Carry, Limits};
pub(crate) use listener::Leader;
pub(crate) use measure::Measure;
pub(crate) use reason::{Reason, percent, tempo_row};
pub use report::{AnalysisOptions, Report, full_report, report};
pub(crate) use report::{LayerReport, SectionReport, listening};
pub(crate) use speeds::{LeadingHearing, LostSpeeds, SpeedReport};
pub(crate) use stream::{Stream, StreamPair, StreamSource};
