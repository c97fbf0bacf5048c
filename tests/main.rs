//! The tests that see the package from outside, in one binary.

// The program without a screen: words, output, exit codes.
mod cli;
// The editor in a terminal of its own: typed, saved, ended by a signal, opened again.
mod editor;
// Every file in patterns/: it loads, it survives print and update, it says that it is invented, and all features occur.
mod patterns;
// One wrong file per message: the exact words.
mod refusals;
// The README: its tables, its picture and its example equal the code.
mod readme;
// The house: which room may name which, and the size and sentence of every file.
mod rooms;
// Scripted tappers on the shipped grooves: each is named for what it follows.
mod tap;
// What several of them need.
mod support;
