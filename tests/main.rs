//! The tests that see the package from outside, in one binary.

// Every file in patterns/: it loads, it survives print and update, it says that it is invented, and all features occur.
mod patterns;
// One wrong file per message: the exact words.
mod refusals;
// What several of them need.
mod support;
