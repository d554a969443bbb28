//! The command line of endpin.

use endpin::{
    command_line::{Cli, help},
    failure::Failure,
};
use std::{
    io::{Write, stderr},
    process::ExitCode,
};

fn main() -> ExitCode {
    // A mistake of ours is told in one line; standard error may be closed, and then nobody listens.
    std::panic::set_hook(Box::new(|panic| {
        let _ = writeln!(
            stderr(),
            "endpin: internal error, please report it: {panic}"
        );
    }));
    match std::panic::catch_unwind(|| help::parse().and_then(Cli::run)) {
        Ok(Ok(code)) => code,
        Ok(Err(failure)) => {
            let _ = writeln!(stderr(), "endpin: {failure}");
            failure.exit_code()
        }
        Err(_) => Failure::Output(String::new()).exit_code(),
    }
}
