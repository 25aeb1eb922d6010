//! Loggers and cameras lined up with a flight's track.

use std::io::Write;
use std::path::{Path, PathBuf};

use clap::Args;
use serde_json::json;

use super::output::{self, Outputs};
use windfall::debrief::clocks::{Aligned, Shown, TrackPlaces, align, by_photo};
use windfall::debrief::measured::Measured;
use windfall::error::{Error, Fault, Result};
use windfall::files::read_bytes;
use windfall::follow::flights::keep_nearest;
use windfall::plan::Plan;
use windfall::report::{files, tables};
use windfall::track::Outcome;
use windfall::track::gate::Gate;
use windfall::track::logger::{Logger, LoggerColumns};
use windfall::track::photo::Photo;
use windfall::units::UnitSystem;
use windfall::zone::Mark;

/// What says how the flight is compared with its prediction, which nothing is that is lined up.
const NOT_BESIDE: [&str; 5] = ["out", "logbook", "wind", "format", "columns"];

/// What is lined up; the flight is then not compared with its prediction.
#[derive(Debug, Args)]
pub struct ClockArgs {
    /// Lines up a data logger's file (CSV) with the track: by its pressures or heights, else by the shocks of burst
    /// and landing in its accelerations, or by one of them that stands out.
    #[arg(long, value_name = "FILE", requires = "track", conflicts_with_all = NOT_BESIDE)]
    pub align: Option<PathBuf>,
    /// Which column is which in the logger's file: time=...,date=...,pressure=...,height=...,acceleration=...,
    /// with names or numbers of columns, and units after a colon.
    #[arg(long, value_name = "MAP", requires = "align")]
    pub logger_columns: Option<String>,
    /// Writes the logger's rows with time, place and altitude beside them (CSV).
    #[arg(long, value_name = "FILE.csv", requires = "align")]
    pub aligned: Option<PathBuf>,
    /// Lines up a camera by one photo and what it shows: IMG_0123.JPG=burst, or =release, or =landing.
    #[arg(long, value_name = "PHOTO=EVENT", requires = "track", conflicts_with_all = NOT_BESIDE)]
    pub camera: Option<String>,
    /// Writes where the photos in the folder of that photo were taken: .geojson or .kml.
    #[arg(long, value_name = "FILE", requires = "camera", value_parser = places_file)]
    pub places: Option<PathBuf>,
}

fn places_file(text: &str) -> std::result::Result<PathBuf, String> {
    output::path_of_kind(text, &["geojson", "json", "kml"])
}

impl ClockArgs {
    /// Whether anything is to be lined up.
    pub fn is_asked(&self) -> bool {
        self.align.is_some() || self.camera.is_some()
    }

    /// What is read for it.
    fn inputs(&self) -> impl Iterator<Item = PathBuf> {
        let photo = self.camera.as_ref().and_then(|text| text.rsplit_once('='));
        let photo = photo.map(|(photo, _)| PathBuf::from(photo));
        self.align.iter().cloned().chain(photo)
    }

    /// Lines up what is asked for with the flight that was heard; `read` are the files of both, none of which
    /// is written over.
    ///
    /// # Errors
    ///
    /// A track that is none, files that cannot be read or written, and what cannot be lined up.
    pub fn run(
        &self,
        plan: &Plan,
        heard: Vec<Outcome>,
        mut read: Vec<PathBuf>,
        units: UnitSystem,
        as_json: bool,
        out: &mut impl Write,
    ) -> Result<()> {
        let mut gate = Gate::of_past(plan.site.position, plan.release);
        for outcome in heard {
            // Read and not heard: what has no time of its own has none at all.
            gate.offer(outcome, None);
        }
        // Where the plan has no elevation, the lowest report stands for the ground.
        let lowest = gate.fixes().iter().map(|f| f.altitude_m);
        let lowest_m = lowest.fold(f64::INFINITY, f64::min);
        let site_m = plan.site.elevation_m.unwrap_or(lowest_m);
        let mut fixes = gate.fixes().to_vec();
        keep_nearest(&mut fixes, plan.site.position, site_m, plan.release);
        // Nothing is known of the ground here.
        let measured = Measured::of(&fixes, site_m, |_| f64::INFINITY)?;
        let outputs = [&self.aligned, &self.places];
        let paths: Vec<PathBuf> = outputs.into_iter().flatten().cloned().collect();
        read.extend(self.inputs());
        // Before anything is lined up: a place that cannot be written to is told at once.
        let mut begun = Outputs::begin(&paths, &read)?;
        let logger = self.align.as_ref().map(|p| self.logger(p, plan, &measured));
        let logger = logger.transpose()?;
        let camera = self.camera.as_ref().map(|text| Camera::of(text, &measured));
        let camera = camera.transpose()?;
        let places = TrackPlaces::of(&measured);
        begun.write(|path| match (&logger, &camera) {
            (Some((logger, aligned)), _) if self.aligned.as_deref() == Some(path) => {
                Ok(files::clocks::logger_csv(logger, aligned, &places)?.into_bytes())
            }
            (_, Some(camera)) => Ok(camera.file(path, &plan.name, units).into_bytes()),
            // Does not come up: clap takes neither path without what it is of.
            _ => Ok(Vec::new()),
        })?;
        let zone = &plan.timezone;
        let mut text = String::new();
        if let Some((logger, aligned)) = &logger {
            // A logger may hold other flights and hours on the ground, which no track has.
            let rows = &logger.rows[aligned.rows[0]..aligned.rows[1]];
            let times = rows.iter().filter_map(|r| r.time_s);
            let placed = times
                .filter(|t| places.at(aligned.time(*t)).is_some())
                .count();
            text += &tables::clocks::logger(logger, aligned, placed, zone, units);
        }
        if let Some(c) = &camera {
            let counts = [c.all, c.placed.len(), c.without];
            text += &tables::clocks::camera(&c.photo, c.shown, &c.aligned, counts, zone);
        }
        if as_json {
            let logger = logger.as_ref().map(|(_, aligned)| aligned);
            let camera = camera.as_ref().map(|c| &c.aligned);
            text = output::json(&json!({ "logger": logger, "camera": camera }))?;
        }
        begun.finish(|| output::print(out, "standard output", &text))
    }

    fn logger(&self, path: &Path, plan: &Plan, measured: &Measured) -> Result<(Logger, Aligned)> {
        let columns = self.logger_columns.as_deref();
        let columns = columns.map_or(Ok(LoggerColumns::default()), LoggerColumns::parse)?;
        let bytes = read_bytes(path)?;
        let name = path.display().to_string();
        let logger = Logger::read(&name, &bytes, &columns, plan.release)?;
        let aligned = align(&logger, measured).ok_or_else(|| Error::CannotDo {
            why: format!("{name} cannot be lined up with the track"),
            remedy: "expected heights or pressures that both have below 10 km, over 500 m and more, or the shocks of burst and landing, or one of them that is far larger than all others".into(),
        })?;
        Ok((logger, aligned))
    }
}

/// A camera lined up.
struct Camera {
    photo: Photo,
    shown: Shown,
    aligned: Aligned,
    /// Photos with a time, those on the track, and those without a time.
    all: usize,
    placed: Vec<(Photo, Mark)>,
    without: usize,
}

impl Camera {
    fn of(text: &str, measured: &Measured) -> Result<Camera> {
        let fault = || {
            let expected = "a photo and what it shows: IMG_0123.JPG=burst, =release or =landing";
            Error::from(Fault::new("--camera", format!("\"{text}\""), expected))
        };
        // From the end: a path may have a `=` in it, an event has none.
        let (path, event) = text.rsplit_once('=').ok_or_else(fault)?;
        let shown = match event {
            "release" => Shown::Release,
            "burst" => Shown::Burst,
            "landing" => Shown::Landing,
            _ => return Err(fault()),
        };
        let path = Path::new(path);
        let photo = Photo::read(path)?;
        let aligned = by_photo(photo.clock_s, photo.step_s, shown, measured);
        let aligned = aligned.ok_or_else(|| Error::CannotDo {
            why: format!("the track does not tell when the {event} was"),
            remedy: "expected a photo of an event that was heard".into(),
        })?;
        // A name alone has the empty path for its folder, which is this one.
        let folder = path.parent().filter(|p| !p.as_os_str().is_empty());
        let (photos, without) = Photo::all_in(folder.unwrap_or(Path::new(".")))?;
        let places = TrackPlaces::of(measured);
        let all = photos.len();
        let placed = photos.into_iter().filter_map(|p| {
            let mark = places.at(aligned.time(p.clock_s))?;
            Some((p, mark))
        });
        Ok(Camera {
            placed: placed.collect(),
            photo,
            shown,
            aligned,
            all,
            without,
        })
    }

    fn file(&self, path: &Path, title: &str, units: UnitSystem) -> String {
        match output::extension(path).as_deref() {
            Some("kml") => files::clocks::photos_kml(title, &self.placed, units),
            _ => files::clocks::photos_geojson(&self.placed),
        }
    }
}
