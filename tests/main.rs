//! The tests that see the package from outside, in one binary.

// Which module may name which, and the form every source file has.
mod architecture;
// The program without a screen: arguments, output, exit codes.
mod cli;
// The editor in a terminal of its own: typed, saved, ended by a signal, opened again.
mod editor;
// Exports read by other programs' libraries, and their files imported.
mod outside;
// The shipped handouts, regenerated.
mod handouts;
// Every file in patterns/: it loads, it survives print and update, it says that it is invented, and all features occur.
mod patterns;
// One invalid file per message: the exact text.
mod refusals;
// The README: its tables, its picture and its example equal the code.
mod readme;
// Scripted tappers on the shipped grooves: each is named for what it follows.
mod tap;
// Shared by several of them.
mod support;
