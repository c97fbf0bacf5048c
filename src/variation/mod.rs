//! Other grooves made from one, and searches for lines of groups: pure functions with a budget. It must not know files, threads,
//! clocks or screens.

mod effect;
mod listened;
mod operation;
mod row;
pub(crate) mod search;
#[cfg(test)]
mod tests;
mod variants;

pub(crate) use effect::{Aim, Effect};
pub(crate) use listened::{Wanted, probability_of};
pub(crate) use operation::{FAMILIES, PERMUTE};
pub(crate) use variants::{RotationOf, Subject, SubjectError, Variant, Variants, variants};
