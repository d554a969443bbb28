//! The command line of endpin.

fn main() {}
