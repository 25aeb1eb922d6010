//! `windfall fill`: masses, lift, gas and what follows.

use std::io::Write;
use std::path::PathBuf;

use clap::{ArgGroup, Args};

use super::options::{self, Units};
use super::output::{self, Outputs};
use super::plan_file::{PlanFiles, inputs};
use super::wind_files::WindArgs;
use windfall::error::Result;
use windfall::files::read_text;
use windfall::fill::findings::SLOW_M_S;
use windfall::fill::rules::RuleBook;
use windfall::fill::{Options, checklist, size};
use windfall::report::fill_words::round_in_kg;
use windfall::report::{json, pages::fill_card, pictures, tables};
use windfall::sizing::Known;
use windfall::units::{Dimension, parse};

/// Sizes a flight: masses, lift, gas, cylinders, rate, burst height, the weight that proves the lift.
#[derive(Debug, Args)]
#[command(after_long_help = "\
Examples:
  windfall fill flight.toml --rules us --out card.html
  windfall fill flight.toml --burst-altitude \"30 km\"
  windfall fill flight.toml --lifted \"15 lb\"")]
#[command(group(ArgGroup::new("known").multiple(false)))]
pub struct FillArgs {
    /// The plan (TOML).
    #[arg(value_name = "PLAN.toml")]
    pub plan: PathBuf,
    /// What it may read.
    #[command(flatten)]
    pub files: PlanFiles,
    /// The winds whose air it is filled in.
    #[command(flatten)]
    pub winds: WindArgs,
    /// Uses the standard atmosphere, whatever winds the plan has.
    #[arg(long, conflicts_with = "wind")]
    pub standard_air: bool,
    /// Solves from this lift at the neck, as in "6.8 kg", in place of the plan's fill.
    #[arg(long, value_name = "MASS", value_parser = mass, group = "known")]
    pub neck_lift: Option<f64>,
    /// Solves from this lift beyond the load.
    #[arg(long, value_name = "MASS", value_parser = mass, group = "known")]
    pub free_lift: Option<f64>,
    /// Solves from this volume of gas at the site, as in "8 m3".
    #[arg(long, value_name = "VOLUME", value_parser = volume, group = "known")]
    pub gas_volume: Option<f64>,
    /// Solves from this rate of ascent at release, as in "5 m/s".
    #[arg(long, value_name = "SPEED", value_parser = speed, group = "known")]
    pub ascent_rate: Option<f64>,
    /// Solves from this altitude of the burst above sea level, as in "30 km".
    #[arg(long, value_name = "HEIGHT", value_parser = height, group = "known")]
    pub burst_altitude: Option<f64>,
    /// Solves from this time from release to landing, as in "150 min".
    #[arg(long, value_name = "TIME", value_parser = time, group = "known")]
    pub flight_time: Option<f64>,
    /// A weight that the balloon just lifted, as in "15 lb": one more row of the lift test.
    #[arg(long, value_name = "MASS", value_parser = mass)]
    pub lifted: Option<f64>,
    /// Published thresholds to compare with: us, icao, uk, canada, none, or one of --rules-file.
    #[arg(long, value_name = "NAME", default_value = "none")]
    pub rules: String,
    /// More thresholds, or others in place of the program's.
    #[arg(long, value_name = "FILE.toml")]
    pub rules_file: Option<PathBuf>,
    /// A checklist of your own for the launch-day card.
    #[arg(long, value_name = "FILE.toml")]
    pub checklist: Option<PathBuf>,
    /// Also writes the launch-day card (.txt, .html), the trade-offs (.svg, .png) or all (.json).
    #[arg(long, value_name = "PATH", value_parser = output_path)]
    pub out: Vec<PathBuf>,
    /// Units for people; those of the plan's [flight] units, else metric.
    #[arg(long, value_enum)]
    pub units: Option<Units>,
    /// Prints the result as JSON instead of the table.
    #[arg(long)]
    pub json: bool,
}

const KINDS: [&str; 5] = ["txt", "html", "svg", "png", "json"];

fn output_path(text: &str) -> std::result::Result<PathBuf, String> {
    output::path_of_kind(text, &KINDS)
}

/// A quantity above zero.
fn quantity(text: &str, dimension: Dimension, most: f64) -> std::result::Result<f64, String> {
    let value = parse(text, dimension).map_err(|wrong| wrong.to_string())?;
    if value > 0.0 && value <= most {
        Ok(value)
    } else {
        let unit = dimension.si_symbol();
        Err(format!("expected more than 0 and at most {most} {unit}"))
    }
}

fn mass(text: &str) -> std::result::Result<f64, String> {
    quantity(text, Dimension::Mass, 100.0)
}

fn volume(text: &str) -> std::result::Result<f64, String> {
    quantity(text, Dimension::Volume, 200.0)
}

fn speed(text: &str) -> std::result::Result<f64, String> {
    quantity(text, Dimension::Speed, 15.0)
}

fn height(text: &str) -> std::result::Result<f64, String> {
    quantity(text, Dimension::Length, 50_000.0)
}

fn time(text: &str) -> std::result::Result<f64, String> {
    quantity(text, Dimension::Time, 172_800.0)
}

impl FillArgs {
    /// What is known in place of the plan's fill; clap lets one through at most.
    fn known(&self) -> Option<Known> {
        let of = |value: Option<f64>, known: fn(f64) -> Known| value.map(known);
        of(self.neck_lift, Known::NeckLift)
            .or(of(self.free_lift, Known::FreeLift))
            .or(of(self.gas_volume, Known::GasVolume))
            .or(of(self.ascent_rate, Known::AscentRate))
            .or(of(self.burst_altitude, Known::BurstAltitude))
            .or(of(self.flight_time, Known::FlightTime))
    }
}

/// Runs the command; the report goes to `out`.
///
/// # Errors
///
/// Whatever is wrong with the plan, the winds, the files of data or the places to write to, and a
/// fill that no gas can make. That the stack should not fly is a result.
pub fn run(args: &FillArgs, out: &mut impl Write) -> Result<()> {
    let plan = args.files.read(&args.plan)?;
    let units = options::units(args.units, &plan);
    let mut book = RuleBook::built_in()?;
    if let Some(path) = &args.rules_file {
        book = book.with(
            &path.display().to_string(),
            &read_text(path, "data in TOML")?,
        )?;
    }
    let rules = match args.rules.as_str() {
        "none" => None,
        name => Some(book.get(name)?),
    };
    let list = match &args.checklist {
        Some(path) => checklist::read(
            &path.display().to_string(),
            &read_text(path, "data in TOML")?,
        )?,
        None => checklist::built_in()?,
    };
    // A plan without winds is sized all the same: only the air is missing, and that is told.
    let without_winds = args.winds.wind.is_empty() && plan.wind_files.is_empty();
    let winds = match args.standard_air || without_winds {
        true => None,
        false => Some(args.winds.read(&plan)?),
    };
    let mut read = inputs(&args.plan, &plan);
    read.extend(args.winds.wind.iter().chain(&args.rules_file).cloned());
    read.extend(args.checklist.clone());
    let mut begun = Outputs::begin(&args.out, &read)?;
    let options = Options {
        known: args.known(),
        lifted_kg: args.lifted,
        rules,
        round_in_kg: round_in_kg(units),
    };
    let fill = size(&plan, winds.as_ref(), options)?;
    begun.write(|path| {
        // Not drawn yet, as not every ending needs it.
        let picture = || pictures::fill::draw(&fill, SLOW_M_S, units);
        Ok(match output::extension(path).as_deref() {
            Some("txt") => fill_card::text(&fill, &list, units).into_bytes(),
            Some("html") => fill_card::html(&fill, &list, units).into_bytes(),
            Some("json") => output::json(&json::fill(&fill, units))?.into_bytes(),
            Some("png") => picture().png()?,
            _ => picture().svg().into_bytes(),
        })
    })?;
    let report = match args.json {
        true => output::json(&json::fill(&fill, units))?,
        false => tables::fill::table(&fill, units),
    };
    begun.finish(|| output::print(out, "standard output", &report))
}
