//! What can be said of a groove: pure functions from a groove to a report, the same on every machine; they cannot fail.
//! It must not know files, threads, screens or sound.

pub mod attacks;
pub mod clock;
mod finding;
pub mod groups;
pub mod hearing;
#[cfg(test)]
mod invariance;
pub mod landing;
pub mod limits;
pub mod listener;
pub mod measure;
mod reason;
mod report;
#[cfg(test)]
mod soundness;
pub mod stream;
pub mod tap;
#[cfg(test)]
mod tests;

pub use attacks::{Scope, TimedAttack};
pub use clock::{Clock, Moment};
pub use finding::Finding;
pub use groups::{Figure, Groups};
pub use hearing::{Hearing, Kind, Parts, Stretch, Turn};
pub use landing::{Depth, Landing, Landings};
pub use limits::{Limit, Limits};
pub use measure::Measure;
pub use reason::Reason;
pub use report::{Ask, LayerReport, Report, SectionReport, report};
pub use stream::{Pair, Source, Stream};
