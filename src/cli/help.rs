//! `windfall help`: a command's page, or a few lines on what all of them share.

use std::io::Write;

use clap::{Args, CommandFactory};

use super::command::Cli;
use super::output;
use windfall::error::{Fault, Result};
use windfall::units::{Dimension, symbols};

/// Shows help on a command, or on units, plan, winds or exit-codes.
#[derive(Debug, Args)]
#[command(after_long_help = "\
Examples:
  windfall help zone
  windfall help units")]
pub struct HelpArgs {
    /// A command, or one of units, plan, winds, exit-codes; all of it unless given.
    #[arg(value_name = "TOPIC")]
    pub topic: Option<String>,
}

/// What commands share, by name.
pub const TOPICS: [(&str, &str); 4] = [
    ("units", include_str!("help/units.txt")),
    ("plan", include_str!("help/plan.txt")),
    ("winds", include_str!("help/winds.txt")),
    ("exit-codes", include_str!("help/exit-codes.txt")),
];

/// Runs the command.
///
/// # Errors
///
/// A topic that there is not.
pub fn run(args: &HelpArgs, out: &mut impl Write) -> Result<()> {
    let mut cli = Cli::command();
    // Or the usage of a command would not begin with the name of the program.
    cli.build();
    let text = match args.topic.as_deref() {
        None => cli.render_long_help().to_string(),
        Some(name) => match TOPICS.iter().find(|(topic, _)| *topic == name) {
            Some(("units", text)) => format!("{text}{}", units()),
            // `winds` is a command as well: both belong together.
            Some((_, text)) => match cli.find_subcommand_mut(name) {
                Some(command) => format!("{text}\n{}", command.render_long_help()),
                None => (*text).to_owned(),
            },
            None => page(&mut cli, name)?,
        },
    };
    output::print(out, "standard output", &text)
}

/// The units that are read, by what they measure.
fn units() -> String {
    use Dimension::{
        AreaDensity, Force, Length, Mass, MassPerLength, Pressure, Ratio, Speed, Temperature, Time,
        Volume,
    };
    let rows = [
        ("masses", Mass),
        ("lengths, heights", Length),
        ("speeds", Speed),
        ("pressures", Pressure),
        ("volumes", Volume),
        ("temperatures", Temperature),
        ("times", Time),
        ("strengths", Force),
        ("masses of lines", MassPerLength),
        ("masses by area", AreaDensity),
        ("shares", Ratio),
    ];
    let row = |(what, dimension)| format!("  {what:18}{}\n", symbols(dimension));
    rows.map(row).concat()
}

fn page(cli: &mut clap::Command, name: &str) -> Result<String> {
    if let Some(command) = cli.find_subcommand_mut(name) {
        return Ok(command.render_long_help().to_string());
    }
    let mut known: Vec<&str> = cli.get_subcommands().map(clap::Command::get_name).collect();
    // `winds` is both.
    for (topic, _) in TOPICS {
        if !known.contains(&topic) {
            known.push(topic);
        }
    }
    let expected = format!("one of {}", known.join(", "));
    Err(Fault::new("help", format!("\"{name}\""), expected).into())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What a person looks for there and what the program knows.
    #[test]
    fn topics_name_all_that_they_are_about() {
        for (name, all) in [
            (
                "plan",
                "[[cylinders]] door shelter table filler issued logbook dark_release filling",
            ),
            ("winds", "IGRA GSL SPC BUFR BUFKIT JSON NetCDF GRIB Zarr"),
            ("exit-codes", "0 1 2 75"),
        ] {
            let text = TOPICS.iter().find(|(topic, _)| *topic == name).map(|t| t.1);
            let words: Vec<&str> = text
                .into_iter()
                .flat_map(|text| text.split([' ', '\n', ',', ';', ':', ')', '(']))
                .collect();
            for word in all.split(' ') {
                assert!(words.contains(&word), "no {word} in {name}");
            }
        }
    }
}
