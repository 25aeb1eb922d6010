//! The logbook of a club's flights: how each was beside its plan, and what that teaches the next one.
//!
//! A TOML file, a `[[flight]]` table each, read by people and merged line by line.

// Numbers and lengths from outside are another kind until they were found to be ours.
#![cfg_attr(
    not(test),
    deny(
        clippy::cast_possible_truncation,
        clippy::cast_possible_wrap,
        clippy::cast_sign_loss,
        clippy::indexing_slicing,
        clippy::string_slice
    )
)]

pub mod learn;

use std::fmt::Write as _;
use std::path::Path;

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use self::learn::{InverseGamma, NormalGamma, NormalWishart};
use crate::clock::seconds_between;
use crate::error::{Fault, Result};
use crate::files::{read_text, write_atomically};
use crate::geodesy::Position;

/// One flight beside its plan.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Flight {
    /// Its name.
    pub name: String,
    /// When it was released.
    pub released: Timestamp,
    /// Latitude of the landing, degrees north.
    pub lat: f64,
    /// Longitude of the landing, degrees east.
    pub lon: f64,
    /// From the planned landing, km.
    pub miss_km: f64,
    /// The miss along the planned drift, km.
    pub along_km: f64,
    /// The miss to the right of it, km.
    pub across_km: f64,
    /// The share of the zone's draws that were nearer to its middle.
    #[serde(default)]
    pub within: Option<f64>,
    /// Measured over planned rate of rise, in the lowest 10 km.
    #[serde(default)]
    pub rate: Option<f64>,
    /// Measured over planned burst diameter, by the burst's altitude.
    #[serde(default)]
    pub burst_diameter: Option<f64>,
    /// Measured over planned speed of fall.
    #[serde(default)]
    pub fall: Option<f64>,
    /// How far out the winds' part of the miss was, in standard deviations, squared.
    #[serde(default)]
    pub winds_squared: Option<f64>,
    /// The energy score of the zone's draws, km.
    #[serde(default)]
    pub energy_km: Option<f64>,
    /// The miss along the planned drift, in standard deviations of the zone's draws.
    #[serde(default)]
    pub along_sigmas: Option<f64>,
    /// The miss to the right of it, likewise.
    #[serde(default)]
    pub across_sigmas: Option<f64>,
}

/// A logbook.
#[derive(Debug, Clone, PartialEq)]
pub struct Logbook {
    /// Its flights, as they stand there.
    pub flights: Vec<Flight>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Written {
    #[serde(default)]
    flight: Vec<Flight>,
}

/// What a file should be.
const EXPECTED: &str =
    "a logbook in TOML, a [[flight]] each, as windfall debrief --logbook writes it";
/// Releases nearer in time and landings nearer than this are one flight's, s and m.
const SAME_S: f64 = 600.0;
const SAME_M: f64 = 2_000.0;
/// Measured over planned lies within this.
const RATIOS: std::ops::RangeInclusive<f64> = 0.1..=10.0;
/// A burst at less than this share of the usual diameter was an early one: it teaches nothing of the others.
const EARLY: f64 = 0.85;
/// A flight's winds count as no farther out than this, squared: one wrong row must not widen all zones.
const FARTHEST_SQUARED: f64 = 25.0;

impl Logbook {
    /// Reads a logbook's file.
    ///
    /// # Errors
    ///
    /// A file that cannot be read or is no logbook.
    pub fn read(path: &Path) -> Result<Logbook> {
        let text = read_text(path, EXPECTED)?;
        Logbook::parse(&path.display().to_string(), &text)
    }

    /// Reads a logbook from text.
    ///
    /// # Errors
    ///
    /// What is wrong with it, and where.
    pub fn parse(name: &str, text: &str) -> Result<Logbook> {
        let written: Written =
            toml::from_str(text).map_err(|wrong| Fault::of_toml(name, text, &wrong, EXPECTED))?;
        // Rows are edited and merged by hand: a slip must not move every zone that learns from
        // them.
        for flight in &written.flight {
            flight.check(name)?;
        }
        Ok(Logbook {
            flights: written.flight,
        })
    }

    /// The row of the same flight: released at about the same time, and landed at about the same place, or of the same
    /// name where one of the two was not heard to its landing.
    pub fn same_as(&self, flight: &Flight) -> Option<&Flight> {
        // Not exactly: of another tracker or in other winds the same flight gets other numbers, and of a part of its
        // track another landing.
        let same = |other: &&Flight| {
            let cut = flight.within.is_none() || other.within.is_none();
            let named = !flight.name.is_empty() && other.name == plain_name(&flight.name);
            let landed = |f: &Flight| Position::new(f.lat, f.lon);
            let landings = landed(other).zip(landed(flight));
            seconds_between(other.released, flight.released).abs() < SAME_S
                && ((named && cut) || landings.is_some_and(|(a, b)| a.distance_m(b) < SAME_M))
        };
        self.flights.iter().find(same)
    }

    /// Appends a flight to a file, which is made if it is not there. Where the flight is in it already, nothing is
    /// written, and its row comes back.
    ///
    /// # Errors
    ///
    /// A file that is no logbook, or cannot be read or written; a flight with numbers beyond what a logbook takes.
    pub fn append(path: &Path, flight: &Flight) -> Result<Option<Flight>> {
        let mut text = match path.exists() {
            true => read_text(path, EXPECTED)?,
            false => "# Flights beside their plans: measured over planned, misses in km along and to the right of the planned drift.\n".to_owned(),
        };
        let name = path.display().to_string();
        if let Some(row) = Logbook::parse(&name, &text)?.same_as(flight) {
            return Ok(Some(row.clone()));
        }
        // A file that was edited by hand may lack its last line's end.
        if !text.ends_with('\n') {
            text.push('\n');
        }
        text += &flight.text();
        // What could not be read back would spoil the file for all flights to come.
        Logbook::parse(&name, &text)?;
        write_atomically(path, text.as_bytes())?;
        Ok(None)
    }

    /// What the flights teach of something whose logarithm was believed to vary by `sigma`.
    fn of(&self, what: impl Fn(&Flight) -> Option<f64>, sigma: f64) -> Option<Shift> {
        // In logarithms twice as fast is as far off as half as fast.
        let seen: Vec<f64> = self.flights.iter().filter_map(what).map(f64::ln).collect();
        Shift::of(&seen, sigma)
    }

    /// What they teach of the rate of rise.
    pub fn rate(&self, sigma: f64) -> Option<Shift> {
        self.of(|f| f.rate, sigma)
    }

    /// What they teach of the speed of fall.
    pub fn fall(&self, sigma: f64) -> Option<Shift> {
        self.of(|f| f.fall, sigma)
    }

    /// What they teach of the burst diameter; early bursts, told from the median of the flights and of the two
    /// that the plan counts for, are left out.
    pub fn burst(&self, sigma: f64) -> Option<Shift> {
        let seen = self.flights.iter().filter_map(|f| f.burst_diameter);
        let mut all: Vec<f64> = seen.clone().chain([1.0, 1.0]).collect();
        all.sort_by(f64::total_cmp);
        let least = EARLY * crate::numeric::quantile(&all, 0.5)?;
        let usual: Vec<f64> = seen.filter(|x| *x >= least).map(f64::ln).collect();
        Shift::of(&usual, sigma)
    }

    /// Misses along and across the drift, in the zones' own standard deviations: what is to be expected of the
    /// next one, and from how many flights.
    pub fn misses(&self) -> Option<(NormalWishart, usize)> {
        let seen: Vec<[f64; 2]> = self
            .flights
            .iter()
            .filter_map(|f| Some([f.along_sigmas?, f.across_sigmas?]))
            .collect();
        let unit = [[1.0, 0.0], [0.0, 1.0]];
        (!seen.is_empty()).then(|| (NormalWishart::prior(unit).after(&seen), seen.len()))
    }

    /// The factor on how wrong the winds are said to be, and from how many flights.
    pub fn winds(&self) -> Option<(f64, usize)> {
        let squares: Vec<f64> = self
            .flights
            .iter()
            .filter_map(|f| f.winds_squared)
            .map(|q| q.min(FARTHEST_SQUARED))
            .collect();
        let learnt = InverseGamma::PRIOR.after(&squares);
        (!squares.is_empty()).then(|| (learnt.factor(), squares.len()))
    }
}

/// What flights teach of one thing.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Shift {
    /// Multiplies what the plan says.
    pub factor: f64,
    /// Multiplies how much it varies.
    pub wider: f64,
    /// From how many flights.
    pub flights: usize,
}

impl Shift {
    /// No wider than this.
    #[must_use]
    pub fn at_most(self, wider: f64) -> Shift {
        Shift {
            wider: self.wider.min(wider),
            ..self
        }
    }

    fn of(seen: &[f64], sigma: f64) -> Option<Shift> {
        // What a plan takes as certain cannot be learnt.
        if seen.is_empty() || sigma <= 0.0 {
            return None;
        }
        let next = NormalGamma::prior(sigma).after(seen).next();
        Some(Shift {
            factor: next.location.exp(),
            wider: next.scale / sigma,
            flights: seen.len(),
        })
    }
}

impl Flight {
    fn check(&self, file: &str) -> Result<()> {
        let wrong = |key: &str, found: f64, expected: &str| {
            let found = format!("{key} = {found} of the flight \"{}\"", self.name);
            Err(Fault::new(file, found, expected).into())
        };
        if Position::new(self.lat, self.lon).is_none() {
            return wrong("lat", self.lat, "lat and lon of a place on earth");
        }
        let ratios = [
            ("rate", self.rate),
            ("burst_diameter", self.burst_diameter),
            ("fall", self.fall),
        ];
        for (key, ratio) in ratios {
            if let Some(found) = ratio.filter(|r| !RATIOS.contains(r)) {
                return wrong(key, found, "measured over planned, 0.1 to 10");
            }
        }
        let plain = [
            ("miss_km", Some(self.miss_km), 0.0..=f64::MAX, "0 or more"),
            ("within", self.within, 0.0..=1.0, "a share, 0 to 1"),
            (
                "winds_squared",
                self.winds_squared,
                0.0..=f64::MAX,
                "0 or more",
            ),
            ("energy_km", self.energy_km, 0.0..=f64::MAX, "0 or more"),
            (
                "along_sigmas",
                self.along_sigmas,
                -1e3..=1e3,
                "-1000 to 1000",
            ),
            (
                "across_sigmas",
                self.across_sigmas,
                -1e3..=1e3,
                "-1000 to 1000",
            ),
        ];
        for (key, value, range, expected) in plain {
            if let Some(found) = value.filter(|v| !range.contains(v)) {
                return wrong(key, found, expected);
            }
        }
        Ok(())
    }

    /// Its table in a logbook.
    pub fn text(&self) -> String {
        let name = plain_name(&self.name);
        // A JSON string is a TOML one as well, once control characters are gone.
        let quoted = serde_json::Value::String(name);
        let mut text = format!(
            "\n[[flight]]\nname = {quoted}\nreleased = \"{:.0}\"\nlat = {:.5}\nlon = {:.5}\nmiss_km = {:.2}\nalong_km = {:.2}\nacross_km = {:.2}\n",
            self.released, self.lat, self.lon, self.miss_km, self.along_km, self.across_km
        );
        let more = [
            ("within", self.within),
            ("rate", self.rate),
            ("burst_diameter", self.burst_diameter),
            ("fall", self.fall),
            ("winds_squared", self.winds_squared),
            ("energy_km", self.energy_km),
            ("along_sigmas", self.along_sigmas),
            ("across_sigmas", self.across_sigmas),
        ];
        for (key, value) in more {
            if let Some(value) = value {
                let _ = writeln!(text, "{key} = {value:.3}");
            }
        }
        text
    }
}

/// A name as it is written.
fn plain_name(name: &str) -> String {
    name.chars().filter(|c| !c.is_control()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn flight(rate: f64) -> Flight {
        Flight {
            name: "Kite \"A\"\n".into(),
            released: "2024-05-03T14:03:33Z".parse().unwrap(),
            lat: 40.88394,
            lon: -87.82408,
            miss_km: 4.9,
            along_km: 3.5,
            across_km: -3.4,
            within: Some(0.02),
            rate: Some(rate),
            burst_diameter: Some(0.7),
            fall: None,
            winds_squared: Some(1e6),
            energy_km: Some(2.5),
            along_sigmas: Some(0.4),
            across_sigmas: Some(-0.5),
        }
    }

    #[test]
    fn a_flight_is_written_and_read_and_never_twice() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("flights.toml");
        let append = |flight: &Flight| Logbook::append(&path, flight).unwrap();
        assert_eq!(append(&flight(0.9)), None);
        assert_eq!(append(&flight(0.8)).unwrap().rate, Some(0.9));
        // Of a part of its track it came down elsewhere, and is the same flight still.
        let mut cut = flight(0.8);
        cut.lat += 0.3;
        cut.within = None;
        assert!(append(&cut).is_some());
        cut.name = "another".into();
        assert_eq!(append(&cut), None);
        // Two balloons of one plan, released one after the other, land apart.
        let mut second = flight(0.8);
        second.lat -= 0.3;
        assert_eq!(append(&second), None);
        let mut later = flight(0.8);
        later.released = "2024-05-04T14:03:33Z".parse().unwrap();
        assert_eq!(append(&later), None);
        let read = Logbook::read(&path).unwrap();
        assert_eq!(read.flights.len(), 4);
        assert_eq!(read.flights[0].name, "Kite \"A\"");
        assert_eq!(read.flights[3].released, later.released);
        assert_eq!(read.flights[0].fall, None);
    }

    #[test]
    fn what_is_no_logbook_is_refused_with_its_file() {
        let good = flight(1.0).text();
        assert!(Logbook::parse("f.toml", &good).is_ok());
        for wrong in [
            "[flight]\n".to_owned(),
            good.replace("miss_km", "miss_mi"),
            good.replace("rate = 1.000", "rate = -1.0"),
            good.replace("rate = 1.000", "rate = nan"),
            good.replace("lat = 40", "lat = 140"),
            good[..good.len() / 2].to_owned(),
        ] {
            let error = Logbook::parse("f.toml", &wrong).unwrap_err().to_string();
            assert!(error.starts_with("f.toml"), "{error}");
        }
    }

    /// Two flights move little, ten a lot; none nothing.
    #[test]
    fn flights_teach_by_their_number() {
        let of = |count: usize| Logbook {
            flights: vec![flight(0.8); count],
        };
        assert_eq!(of(0).rate(0.15), None);
        let [two, ten] = [2, 10].map(|n| of(n).rate(0.15).unwrap());
        assert!((two.factor.ln() / 0.8f64.ln() - 0.5).abs() < 1e-9);
        assert!((ten.factor.ln() / 0.8f64.ln() - 10.0 / 12.0).abs() < 1e-9);
        assert!(ten.wider < 1.0 && ten.flights == 10);
        // One burst at 0.7 is an early one; of five it is the kind.
        assert_eq!(of(1).burst(0.05), None);
        assert_eq!(of(5).burst(0.05).unwrap().flights, 5);
        // One absurd row of winds does not widen zones without limit: (3 + 25 / 2) / 4.
        let (factor, flights) = of(1).winds().unwrap();
        assert!((factor - 3.875f64.sqrt()).abs() < 1e-12 && flights == 1);
    }
}
