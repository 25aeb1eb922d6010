//! `windfall new`: a plan begun from a few answers.

use std::io::{self, BufRead, IsTerminal, Write};
use std::path::{Path, PathBuf};

use clap::Args;

use super::options::Units;
use super::output;
use windfall::clock::local::read_time;
use windfall::draft::{
    ALL_OF_LOAD, Answers, Elevation, ElevationFrom, elevation, site, usually_us_units,
};
use windfall::error::{Error, Fault, Result};
use windfall::files::write_atomically;
use windfall::ground::time_zone::time_zone;
use windfall::plan::Plan;
use windfall::report::files::plan::{Draft, draft};
use windfall::units::{Dimension, UnitSystem, parse};

/// Starts a plan: asks for what it needs, or takes it from options, and looks up what it can.
#[derive(Debug, Args)]
#[command(after_long_help = "\
Examples:
  windfall new first.toml
  windfall new first.toml --place \"Allegan, MI\" --release \"2026-05-09 08:00\" --balloon \"1200 g\" --load \"8.5 lb\" --parachute \"7 ft\"")]
pub struct NewArgs {
    /// The plan to write (TOML); a file that exists is never overwritten.
    #[arg(value_name = "PLAN.toml")]
    pub plan: PathBuf,
    /// Where to release: a town, as in "Riverton WY", or coordinates in any usual form.
    #[arg(long, value_name = "PLACE", allow_hyphen_values = true)]
    pub place: Option<String>,
    /// Elevation of the site above sea level, as in "38 m"; looked up unless given.
    #[arg(long, value_name = "HEIGHT", allow_hyphen_values = true)]
    pub elevation: Option<String>,
    /// Terrain files, to look up the elevation and to land on.
    #[arg(long, value_name = "FILE", num_args = 1..)]
    pub terrain: Vec<PathBuf>,
    /// Local time of the release, as in "2026-05-01 09:00".
    #[arg(long, value_name = "TIME")]
    pub release: Option<String>,
    /// Mass of the empty balloon, as in "1200 g".
    #[arg(long, value_name = "MASS")]
    pub balloon: Option<String>,
    /// Diameter at which it bursts, as in "8.6 m"; that of the program's tables unless given.
    #[arg(long, value_name = "LENGTH")]
    pub burst_diameter: Option<String>,
    /// helium or hydrogen; helium is assumed.
    #[arg(long, value_name = "GAS", value_parser = ["helium", "hydrogen"])]
    pub gas: Option<String>,
    /// Rate of ascent at release to fill for; 5 m/s or 1000 ft/min is assumed.
    #[arg(long, value_name = "SPEED")]
    pub ascent_rate: Option<String>,
    /// All that hangs below the balloon, parachute and lines included: a mass, as in "6 lb", or items, as in
    /// "tracker=1.2 lb" "parachute=0.7 lb".
    #[arg(long, value_name = "[NAME=]MASS", num_args = 1..)]
    pub load: Vec<String>,
    /// Diameter of the parachute laid out flat, as in "7 ft".
    #[arg(long, value_name = "LENGTH")]
    pub parachute: Option<String>,
    /// The flight's name; that of the file unless given.
    #[arg(long, value_name = "TEXT")]
    pub name: Option<String>,
    /// Units for people; those usual at the site unless given.
    #[arg(long, value_enum)]
    pub units: Option<Units>,
}

/// Runs the command: asks on `talk`, tells on `out`.
///
/// # Errors
///
/// A plan that is there already; an answer that is missing or was not understood.
pub fn run(args: &NewArgs, out: &mut impl Write, talk: &mut impl Write) -> Result<()> {
    // Before the first question: the answers would be given in vain.
    if args.plan.exists() {
        return Err(Error::CannotDo {
            why: format!("{} is there already", args.plan.display()),
            remedy: "expected the name of a new file: plans are never overwritten".into(),
        });
    }
    let mut asking = Asking {
        // Lines of a pipe are no answers: where nobody is asked, options give them.
        input: io::stdin().is_terminal().then(|| io::stdin().lock()),
        talk,
    };
    let answers = answers(args, &mut asking)?;
    let draft = draft(&answers);
    // What is written can be read.
    let folder = args.plan.parent().unwrap_or(Path::new(""));
    let plan = Plan::parse(&args.plan.display().to_string(), &draft.text, folder)?;
    write_atomically(&args.plan, draft.text.as_bytes())?;
    let outside = !plan.outside.is_empty();
    let told = told(&args.plan, &answers, &draft, outside);
    output::print(out, "standard output", &told)
}

/// Where answers come from: a terminal, or nowhere.
struct Asking<R, W> {
    input: Option<R>,
    talk: W,
}

impl<R: BufRead, W: Write> Asking<R, W> {
    /// The answer given by an option, else the first that can be read of those asked for.
    fn answer<T>(
        &mut self,
        option: &str,
        given: Option<&str>,
        question: &str,
        read: impl Fn(&str) -> Result<T>,
    ) -> Result<T> {
        if let Some(given) = given {
            return read(given);
        }
        let missing = || {
            let found = "nothing, and no terminal to ask on";
            Fault::new(option, found, question)
        };
        let input = self.input.as_mut().ok_or_else(missing)?;
        loop {
            // Nothing depends on whether somebody sees the question.
            let _ = write!(self.talk, "{question}: ").and_then(|()| self.talk.flush());
            let mut line = String::new();
            let read_bytes = input.read_line(&mut line);
            let there = read_bytes
                .map_err(|cause| Error::file(Path::new("the terminal"), "read", cause))?;
            if there == 0 {
                return Err(Fault::new(option, "the end of the input", question).into());
            }
            match read(line.trim()) {
                Ok(answer) => return Ok(answer),
                Err(error) => {
                    let _ = writeln!(self.talk, "  {error}");
                }
            }
        }
    }
}

fn answers<R: BufRead, W: Write>(args: &NewArgs, asking: &mut Asking<R, W>) -> Result<Answers> {
    // The place first: the release is told on its clocks.
    let site = asking.answer(
        "--place",
        args.place.as_deref(),
        "where to release: a town, as in \"Riverton WY\", or latitude and longitude",
        |text| {
            site(text)?.map_err(|wrong| Fault::new("--place", wrong.found, wrong.expected).into())
        },
    )?;
    let timezone = time_zone(site.position).ok_or_else(|| Error::CannotDo {
        why: format!("no time zone is known at {}", site.position.text()),
        remedy: "expected a place on the earth's time zones".into(),
    })?;
    let release = asking.answer(
        "--release",
        args.release.as_deref(),
        &format!(
            "when to release on the clocks of {}, as in \"2026-05-01 09:00\"",
            timezone.iana_name().unwrap_or("the site")
        ),
        |text| {
            read_time(text, Some(&timezone))
                .map_err(|wrong| Fault::new("--release", wrong.found, wrong.expected).into())
        },
    )?;
    let balloon = asking.answer(
        "--balloon",
        args.balloon.as_deref(),
        "mass of the empty balloon, as in \"1200 g\"",
        |text| quantity("--balloon", text, Dimension::Mass),
    )?;
    let load = load(args, asking)?;
    let parachute = asking.answer(
        "--parachute",
        args.parachute.as_deref(),
        "diameter of the parachute laid out flat, as in \"2.1 m\" or \"7 ft\"",
        |text| quantity("--parachute", text, Dimension::Length),
    )?;
    let checked = |option: &str, text: &Option<String>, dimension| {
        let text = text.as_deref();
        text.map(|text| quantity(option, text, dimension))
            .transpose()
    };
    let folder = args.plan.parent().unwrap_or(Path::new(""));
    // What was typed is kept for the plan as it was typed; the number is for what is told here.
    let elevation = match checked("--elevation", &args.elevation, Dimension::Length)? {
        Some(written) => Some(Elevation {
            elevation_m: parsed("--elevation", &written, Dimension::Length)?,
            from: ElevationFrom::Given(written),
        }),
        None => elevation(site.position, &args.terrain)?,
    };
    Ok(Answers {
        name: name(args),
        elevation,
        timezone,
        release,
        balloon,
        burst_diameter: checked("--burst-diameter", &args.burst_diameter, Dimension::Length)?,
        gas: args.gas.clone(),
        ascent_rate: checked("--ascent-rate", &args.ascent_rate, Dimension::Speed)?,
        load,
        parachute,
        terrain: args
            .terrain
            .iter()
            .map(|path| seen_from(folder, path))
            .collect(),
        us_units: args.units.map_or_else(
            || usually_us_units(&site),
            |units| matches!(units, Units::Us),
        ),
        site,
    })
}

/// What hangs below: items by name, or all of it.
fn load<R: BufRead, W: Write>(
    args: &NewArgs,
    asking: &mut Asking<R, W>,
) -> Result<Vec<(String, String)>> {
    let item = |text: &str| {
        // From the end: a name may have a `=` in it, a mass has none.
        let (name, mass) = text.rsplit_once('=').unwrap_or((ALL_OF_LOAD, text));
        Ok((
            name.trim().to_owned(),
            quantity("--load", mass, Dimension::Mass)?,
        ))
    };
    if args.load.is_empty() {
        let question = "mass of all that hangs below the balloon, parachute and lines included, as in \"2.7 kg\" or \"6 lb\"";
        return Ok(vec![asking.answer("--load", None, question, item)?]);
    }
    args.load.iter().map(|text| item(text)).collect()
}

/// A quantity as it was written, once it can be read.
fn quantity(option: &str, text: &str, dimension: Dimension) -> Result<String> {
    parsed(option, text, dimension)?;
    Ok(text.trim().to_owned())
}

fn parsed(option: &str, text: &str, dimension: Dimension) -> Result<f64> {
    parse(text, dimension).map_err(|wrong| Fault::new(option, wrong.found, wrong.expected).into())
}

fn name(args: &NewArgs) -> String {
    let of_file = || {
        args.plan
            .file_stem()
            .map(|stem| stem.to_string_lossy().into_owned())
    };
    args.name.clone().or_else(of_file).unwrap_or_default()
}

/// A file as a plan in a folder names it: from there where it lies below, else so that it is found from anywhere
/// (as it is named, where the folder is this one).
fn seen_from(folder: &Path, path: &Path) -> PathBuf {
    let whole = |path: &Path| std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
    let here = folder.as_os_str().is_empty();
    let folder = whole(if here { Path::new(".") } else { folder });
    let path_there = whole(path);
    match path_there.strip_prefix(&folder) {
        Ok(below) => below.to_owned(),
        Err(_) if here => path.to_owned(),
        Err(_) => path_there,
    }
}

/// What was written, assumed, and comes next.
fn told(path: &Path, answers: &Answers, draft: &Draft, outside: bool) -> String {
    let plan = path.display();
    let more = if outside { " --outside" } else { "" };
    let site = &answers.site;
    let town = site.town.map(|town| format!(", {}", town.full_name()));
    let mut out = format!(
        "wrote {plan}\n  site      {}{}\n  release   {}\n",
        site.position.text(),
        town.unwrap_or_default(),
        answers
            .timezone
            .to_datetime(answers.release)
            .strftime("%A %-d %B %Y, %H:%M"),
    );
    let zone = answers.timezone.iana_name().unwrap_or("UTC");
    out += &format!("  clocks    {zone}\n");
    if let Some(elevation) = &answers.elevation {
        let height = UnitSystem::of(answers.us_units).height(elevation.elevation_m);
        out += &format!("  elevation {height}\n");
    }
    out += "\nAssumed or looked up:\n";
    for line in &draft.assumed {
        out += &format!("  {line}\n");
    }
    out += &format!(
        "\nNext:\n  windfall fill {plan}{more}       masses, gas, lift, burst\n  \
         windfall fetch {plan}{more}      winds: the part of a public forecast that the plan needs\n  \
         windfall zone {plan}{more} --wind FILE...\n\
         By hand, winds are the newest sounding of the nearest upper-air station, or a weather \
         service's forecast\non pressure levels (GRIB2, netCDF); the plan says more.\n"
    );
    if outside {
        out += "Files that the plan names lie outside of its folder: commands read them with --outside only.\n";
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn questions_are_asked_until_they_are_answered() {
        let args = NewArgs {
            plan: "no/such/first.toml".into(),
            place: None,
            elevation: None,
            terrain: Vec::new(),
            release: None,
            balloon: None,
            burst_diameter: None,
            gas: None,
            ascent_rate: None,
            load: Vec::new(),
            parachute: None,
            name: None,
            units: None,
        };
        let typed = "Riverton\nRiverton, WY\n2026-03-08 02:30\n2026-05-01 9:00 am\n1,2 kg\n\
                     1,200 g\n6 lbs\n7'\n";
        let mut talk = Vec::new();
        let mut asking = Asking {
            input: Some(typed.as_bytes()),
            talk: &mut talk,
        };
        let answers = answers(&args, &mut asking).unwrap();
        assert_eq!(answers.site.town.unwrap().full_name(), "Riverton, WY");
        assert_eq!(answers.timezone.iana_name(), Some("America/Denver"));
        assert_eq!(answers.release.to_string(), "2026-05-01T15:00:00Z");
        assert_eq!(answers.balloon, "1,200 g");
        assert_eq!(answers.load, [(ALL_OF_LOAD.to_owned(), "6 lbs".to_owned())]);
        assert_eq!(answers.parachute, "7'");
        assert!(answers.us_units);
        assert_eq!(answers.name, "first");
        assert!(matches!(
            answers.elevation.unwrap().from,
            ElevationFrom::Airport("KRIW", _)
        ));
        let talk = String::from_utf8(talk).unwrap();
        for words in ["Riverton, UT (", "skip", "perhaps \"1.2 kg\""] {
            assert!(talk.contains(words), "{talk}");
        }
        let mut asking = Asking {
            input: Some("Riverton, WY\n".as_bytes()),
            talk: Vec::new(),
        };
        let error = super::answers(&args, &mut asking).unwrap_err().to_string();
        assert!(error.starts_with("--release: found the end"), "{error}");
    }
}
