//! Calls the command line and exits.
fn main() {}
