//! `endpin chart`: the chart as understood.

use crate::{cli::shared::ChartOptions, failure::Failure, output, text::Table};
use std::{path::PathBuf, process::ExitCode};

/// Arguments of `endpin chart`.
#[derive(Debug, clap::Args)]
#[command(after_help = "Example: endpin chart scenarios/breakwater-blues.toml")]
pub struct Args {
    /// The chart file; - is standard input
    chart: Option<PathBuf>,
    #[command(flatten)]
    chart_options: ChartOptions,
}

/// Reads the chart and shows its chords.
///
/// # Errors
/// A chart that cannot be read.
pub fn run(args: &Args) -> Result<ExitCode, Failure> {
    let chorus = args.chart_options.chart(args.chart.as_deref())?.chorus();
    let mut table = Table::new(&["bar", "beats", "chord"]);
    for span in &chorus.spans {
        table.row([
            format!("{}.{}", span.bar, span.beat),
            span.beats.to_string(),
            span.symbol.clone(),
        ]);
    }
    output::print(&table.to_string())?;
    Ok(ExitCode::SUCCESS)
}
