//! The command line of endpin.

use clap::Parser;
use endpin::{command_line::Cli, failure::Failure};
use std::{
    io::{Write, stderr},
    process::ExitCode,
};

fn main() -> ExitCode {
    // A mistake of ours is told in one line; standard error may be closed, and then nobody listens.
    std::panic::set_hook(Box::new(|panic| {
        let _ = writeln!(
            stderr(),
            "endpin: a mistake of endpin's own, please report it: {panic}"
        );
    }));
    match std::panic::catch_unwind(|| Cli::parse().command.run()) {
        Ok(Ok(code)) => code,
        Ok(Err(failure)) => {
            let _ = writeln!(stderr(), "endpin: {failure}");
            failure.exit_code()
        }
        Err(_) => Failure::Output(String::new()).exit_code(),
    }
}
