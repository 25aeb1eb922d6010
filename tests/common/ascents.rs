//! Measured ascents by campaign, ready to be compared with a climb.
//!
//! Sources of the flights: tests/data/flights/README.md, tests/data/flights/whole/README.md,
//! tests/data/soundings/README.md.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "a helper of a test may fail as the test itself may"
)]

use std::path::Path;

use windfall::atmosphere::{AirLevel, AirProfile, Geopotential, virtual_temperature_k};
use windfall::sources::{Hints, read_soundings};
use windfall::vehicle::ascent::{Climb, ClimbAir, Climber, DragCurve, GasHeat};
use windfall::vehicle::balloon::{Gas, GasFill, LiftingGas};
use windfall::wind::sounding::Sounding;

use super::common::{DARWIN, MeasuredFlight, flights_dir, interpolate};

/// Bands of height in which rates are compared, m.
pub const BAND_M: f64 = 2_500.0;
/// A band counts where the flight covers this share of it.
const COVERED: f64 = 0.6;
/// Thickness of the climb's layers, m; 100 m would change residuals by less than 0.002.
const LAYER_M: f64 = 500.0;

/// Flights of one place and time.
pub struct Campaign {
    pub name: &'static str,
    pub ascents: Vec<Ascent>,
}

/// The way up of one flight.
pub struct Ascent {
    pub name: String,
    pub balloon_kg: f64,
    load_kg: f64,
    gas: Gas,
    air: AirProfile,
    layers: ClimbAir,
    layer_m: f64,
    /// Altitude and time, strictly rising.
    track: Vec<(f64, f64)>,
    /// From where to where each band is covered, m.
    pub bands: Vec<(f64, f64)>,
}

/// Its rate falls to 0.56 of itself between 10 and 16 km (ice or a leak is suspected, not shown):
/// printed, but in no fit and no mean.
pub const SUSPECT: &str = "darwin 2006-01-21T1716";
/// A flight that is slower than this on the whole nearly floats, from a leak or for want of gas:
/// what is left of its lift says nothing of the drag, m/s. Printed like the suspect one. One flight,
/// of five hours at 1.6 m/s.
const NEARLY_FLOATS_M_S: f64 = 2.5;

/// All nine campaigns.
///
/// Balloon and load are not recorded, but of the Illinois flights ("1,500 to 1,600 g", "about 4
/// lb"). Assumed are loads of a sonde, and balloons of 200 g (Barbados), 350 g, or 600 g (Riverton),
/// but where the campaign got higher than the maker's table lets them, the smallest balloon of the
/// table that gets there ([`BURST_REACH`]).
pub fn campaigns() -> Vec<Campaign> {
    let darwin = darwin_temperatures();
    let in_darwin = |release: &str| {
        sounding(&format!("darwin_{release}"), 1.00, 0.30, &darwin)
            .renamed(format!("darwin {release}"))
    };
    let one = |name: &'static str, file: &str, balloon_kg, load_kg| Campaign {
        name,
        ascents: vec![sounding(file, balloon_kg, load_kg, &[])],
    };
    vec![
        Campaign {
            name: "Darwin 2006",
            ascents: DARWIN.iter().map(|r| in_darwin(r)).collect(),
        },
        Campaign {
            name: "Prague 2007",
            ascents: ["", "_2", "_3", "_4"].map(prague).into(),
        },
        Campaign {
            name: "Utqiagvik 2010",
            ascents: igra("utqiagvik_3soundings", 0.70, 0.25),
        },
        one("Barbados 2019", "barbados_2019-02-10", 0.30, 0.15),
        one("Oklahoma 2019", "oklahoma_2019-01-01", 0.35, 0.20),
        Campaign {
            name: "Germany 2021",
            ascents: whole("rs41_", 0.70, 0.20),
        },
        Campaign {
            name: "Omaha 2021",
            ascents: igra("omaha_2025", 0.60, 0.25),
        },
        Campaign {
            name: "Illinois 2022-24",
            ascents: whole("student_", 1.55, 1.80),
        },
        one("Riverton 2026", "riverton_2026-02-05", 1.00, 0.25),
    ]
}

/// No assumed balloon is blown up to more than this share of the diameter at which its maker has it
/// burst. With 350 g everywhere the flights to 35 km would have reached 1.7 of it.
pub const BURST_REACH: f64 = 1.10;

/// A flight of tests/data/flights. Three Darwin flights have no temperature above the ground:
/// theirs is the mean of the others, given by altitude.
fn sounding(file: &str, balloon_kg: f64, load_kg: f64, elsewhere: &[(f64, f64)]) -> Ascent {
    let flight = MeasuredFlight::read(file);
    let rising = flight.rising();
    let measured = rising.iter().filter(|r| r.temperature_k.is_some()).count();
    let air = if measured > 10 {
        flight.air()
    } else {
        let levels: Vec<AirLevel> = rising
            .iter()
            .filter_map(|r| {
                Some(AirLevel {
                    altitude_m: r.altitude_m,
                    temperature_k: interpolate(elsewhere, r.altitude_m)?,
                    pressure_pa: r.pressure_pa,
                    vapour_pressure_pa: 0.0,
                })
            })
            .collect();
        AirProfile::from_levels(&levels)
    };
    let track = rising.iter().map(|r| (r.altitude_m, r.time_s)).collect();
    Ascent::new(file.to_owned(), balloon_kg, load_kg, air, track)
}

/// Mean virtual temperature above Darwin by altitude.
fn darwin_temperatures() -> Vec<(f64, f64)> {
    let profiles: Vec<Vec<(f64, f64)>> = MeasuredFlight::all_darwin()
        .iter()
        .map(|flight| {
            let rising = flight.rising().into_iter();
            rising
                .filter_map(|r| {
                    let t = r.temperature_k?;
                    let tv = virtual_temperature_k(t, r.pressure_pa, r.vapour_pressure_pa);
                    Some((r.altitude_m, tv))
                })
                .collect::<Vec<_>>()
        })
        .filter(|p: &Vec<_>| p.len() > 10)
        .collect();
    (0..150)
        .filter_map(|k| {
            let z = 32.0 + 200.0 * f64::from(k);
            let there: Vec<f64> = profiles.iter().filter_map(|p| interpolate(p, z)).collect();
            let mean = there.iter().sum::<f64>() / there.len() as f64;
            (!there.is_empty()).then_some((z, mean))
        })
        .collect()
}

/// Rows of a table, each as a function from column to number.
fn rows<T>(path: &Path, mut row: impl FnMut(&dyn Fn(&str) -> Option<String>) -> T) -> Vec<T> {
    let mut reader = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_path(path)
        .unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    let headers = reader.headers().expect("a header").clone();
    let read = |r: Result<csv::StringRecord, csv::Error>| {
        let r = r.expect("a row");
        row(&|key| {
            let at = headers.iter().position(|h| h == key)?;
            r.get(at).filter(|t| !t.is_empty()).map(str::to_owned)
        })
    };
    reader.records().map(read).collect()
}

/// A fix: altitude, time, and the air where it was measured.
struct Fix {
    altitude_m: f64,
    time_s: f64,
    air: Option<AirLevel>,
}

/// Fixes higher than all before.
fn rising(fixes: Vec<Fix>) -> Vec<Fix> {
    let mut top = f64::NEG_INFINITY;
    let higher = |f: &Fix| {
        let higher = f.altitude_m > top;
        top = top.max(f.altitude_m);
        higher
    };
    fixes.into_iter().filter(higher).collect()
}

fn ascent(name: String, balloon_kg: f64, load_kg: f64, fixes: &[Fix]) -> Ascent {
    let levels: Vec<AirLevel> = fixes.iter().filter_map(|f| f.air).collect();
    let start = fixes.first().expect("a fix").time_s;
    let track = fixes.iter().map(|f| (f.altitude_m, f.time_s - start));
    Ascent::new(
        name,
        balloon_kg,
        load_kg,
        AirProfile::from_levels(&levels),
        track.collect(),
    )
}

/// A sounding from Prague-Libus: significant levels with times. The station fills its balloons with
/// hydrogen (its page on the method, chmi.cz, "sondaz_PTU_vitr", read).
fn prague(which: &str) -> Ascent {
    let path = flights_dir().with_file_name(format!("soundings/chmi_11520{which}.csv"));
    let fixes = rows(&path, |text| {
        let value = |key: &str| text(key).and_then(|t| t.parse::<f64>().ok());
        let altitude_m = Geopotential(value("geopotential_height_m")?).altitude_m(50.0);
        // The level of 1,000 hPa lies below the ground and has no temperature.
        let temperature_k = value("temperature_k")?;
        Some(Fix {
            altitude_m,
            time_s: value("time_s")?,
            air: Some(AirLevel {
                altitude_m,
                temperature_k,
                pressure_pa: value("pressure_pa")?,
                vapour_pressure_pa: 0.0,
            }),
        })
    });
    let fixes = rising(fixes.into_iter().flatten().collect());
    Ascent {
        gas: Gas::Hydrogen,
        ..ascent(format!("prague{which}"), 0.70, 0.25, &fixes)
    }
}

/// The soundings of a file of the IGRA archive whose levels say when they were passed.
fn igra(file: &str, balloon_kg: f64, load_kg: f64) -> Vec<Ascent> {
    let path = flights_dir().with_file_name(format!("soundings/igra2_{file}.txt"));
    let soundings = read_soundings(&path, Hints::default()).expect("soundings");
    soundings
        .iter()
        .map(|s| {
            let name = format!("{file} {}", s.time.expect("a time"));
            ascent(name, balloon_kg, load_kg, &rising(timed_levels(s)))
        })
        .collect()
}

/// Levels later than all before: some share a minute with the one below.
fn timed_levels(sounding: &Sounding) -> Vec<Fix> {
    let mut latest_s = f64::NEG_INFINITY;
    let mut later = |time_s: &f64| {
        let later = *time_s > latest_s;
        latest_s = latest_s.max(*time_s);
        later
    };
    let timed = sounding.levels.iter().filter_map(|level| {
        let time_s = level.after_s.filter(&mut later)?;
        let air = level.pressure_pa.zip(level.temperature_k);
        Some(Fix {
            altitude_m: level.altitude_m,
            time_s,
            air: air.map(|(pressure_pa, temperature_k)| AirLevel {
                altitude_m: level.altitude_m,
                temperature_k,
                pressure_pa,
                vapour_pressure_pa: level.vapour_pressure_pa.unwrap_or(0.0),
            }),
        })
    });
    timed.collect()
}

/// Flights of tests/data/flights/whole, up to their highest fix. Where nothing was measured the air
/// is the standard one (students: spring at 40 N).
fn whole(prefix: &str, balloon_kg: f64, load_kg: f64) -> Vec<Ascent> {
    let mut paths: Vec<_> = std::fs::read_dir(flights_dir().join("whole"))
        .expect("the folder")
        .map(|entry| entry.expect("an entry").path())
        .filter(|path| {
            path.file_name()
                .unwrap()
                .to_str()
                .unwrap()
                .starts_with(prefix)
        })
        .collect();
    paths.sort();
    paths
        .iter()
        .map(|path| {
            let name = path.file_stem().unwrap().to_str().unwrap().to_owned();
            ascent(
                name,
                balloon_kg,
                load_kg,
                &off_the_ground(whole_fixes(path)),
            )
        })
        .collect()
}

fn whole_fixes(path: &Path) -> Vec<Fix> {
    rows(path, |text| {
        let value = |key: &str| text(key).and_then(|t| t.parse::<f64>().ok());
        let time: jiff::Timestamp = text("time").unwrap().parse().expect("a time");
        let altitude_m = value("altitude_m").expect("an altitude");
        // -273 is the receiver's filler.
        let temperature_k = value("temperature_C").filter(|t| *t > -100.0);
        Fix {
            altitude_m,
            time_s: time.as_second() as f64,
            air: temperature_k
                .zip(value("pressure_hPa"))
                .map(|(t, hpa)| AirLevel {
                    altitude_m,
                    temperature_k: t + 273.15,
                    pressure_pa: 100.0 * hpa,
                    vapour_pressure_pa: 0.0,
                }),
        }
    })
}

/// The rising fixes of a whole flight. Some records begin with hours on the ground and noisy
/// altitudes: if they begin below 500 m, so does what counts 300 m above the lowest.
fn off_the_ground(mut fixes: Vec<Fix>) -> Vec<Fix> {
    let highest = (0..fixes.len())
        .max_by(|&a, &b| fixes[a].altitude_m.total_cmp(&fixes[b].altitude_m))
        .expect("fixes");
    fixes.truncate(highest + 1);
    let lowest_m = fixes
        .iter()
        .map(|f| f.altitude_m)
        .fold(f64::INFINITY, f64::min);
    let from_m = match fixes[0].altitude_m > 500.0 {
        true => lowest_m,
        false => lowest_m + 300.0,
    };
    let mut fixes = rising(fixes);
    fixes.retain(|f| f.altitude_m >= from_m);
    fixes
}

impl Ascent {
    fn new(
        name: String,
        balloon_kg: f64,
        load_kg: f64,
        air: AirProfile,
        track: Vec<(f64, f64)>,
    ) -> Ascent {
        let (low, high) = (track[0].0, track[track.len() - 1].0);
        let count = ((high - low) / LAYER_M).ceil() as usize;
        let layer_m = (high - low) / count as f64;
        let bands = (0..16).filter_map(|k| {
            let edge = BAND_M * f64::from(k);
            let (from, to) = (edge.max(low), (edge + BAND_M).min(high));
            (to - from >= COVERED * BAND_M).then_some((from, to))
        });
        Ascent {
            name,
            gas: Gas::Helium,
            balloon_kg,
            load_kg,
            layers: ClimbAir::new(&air, low, layer_m, count),
            bands: bands.collect(),
            air,
            layer_m,
            track,
        }
    }

    fn renamed(mut self, name: String) -> Ascent {
        self.name = name;
        self
    }

    /// Whether it counts.
    pub fn sound(&self) -> bool {
        let (first, last) = (self.track[0], self.track[self.track.len() - 1]);
        let mean_rate_m_s = (last.0 - first.0) / (last.1 - first.1);
        self.name != SUSPECT && mean_rate_m_s > NEARLY_FLOATS_M_S
    }

    /// Time of the whole ascent, s.
    pub fn seconds(&self) -> f64 {
        self.track[self.track.len() - 1].1 - self.track[0].1
    }

    fn climb(&self, ln_free_kg: f64, drag: DragCurve) -> Climb {
        let dead_mass_kg = self.balloon_kg + self.load_kg;
        let gas = LiftingGas {
            gas: self.gas,
            purity: 1.0,
        };
        let gross_kg = dead_mass_kg + ln_free_kg.exp();
        let climber = Climber {
            dead_mass_kg,
            fill: GasFill::of_gross_lift(gas, gross_kg, &self.air.at(self.track[0].0)),
            drag,
            drag_factor: 1.0,
            heat: GasHeat::Convective,
        };
        climber.climb_through(&self.layers)
    }

    /// The climb whose free lift gives the measured time of the whole ascent: the secant where both
    /// ends rise, every third step bisection.
    pub fn matched(&self, drag: DragCurve) -> Climb {
        let too_slow = |x: f64| {
            let climb = self.climb(x, drag);
            let ratio = climb.seconds.iter().sum::<f64>() / self.seconds();
            (ratio.ln(), climb)
        };
        let (mut low, mut high) = (0.005f64.ln(), 8f64.ln());
        let (mut of_low, mut of_high) = (f64::INFINITY, f64::NEG_INFINITY);
        for step in 0..60 {
            let x = match of_low.is_finite() && of_high.is_finite() && step % 3 != 2 {
                true => low + (high - low) * of_low / (of_low - of_high),
                false => 0.5 * (low + high),
            };
            let (slow, climb) = too_slow(x);
            if slow.abs() < 1e-6 {
                return climb;
            }
            if slow > 0.0 {
                (low, of_low) = (x, slow);
            } else {
                (high, of_high) = (x, slow);
            }
        }
        panic!("{}: no free lift gives its time", self.name)
    }

    /// ln(measured / model) of the rate, a band each.
    pub fn residuals(&self, drag: DragCurve) -> Vec<f64> {
        let mut time = 0.0;
        let mut model = vec![(self.track[0].0, 0.0)];
        for (k, seconds) in self.matched(drag).seconds.iter().enumerate() {
            time += seconds;
            model.push((self.track[0].0 + self.layer_m * (k + 1) as f64, time));
        }
        let last = model.len() - 1;
        model[last].0 = self.track[self.track.len() - 1].0;
        self.against(|from, to| {
            interpolate(&model, to).unwrap() - interpolate(&model, from).unwrap()
        })
    }

    /// The same of the constant rate that gives the measured time of the whole ascent.
    pub fn constant_residuals(&self) -> Vec<f64> {
        let rate = (self.track[self.track.len() - 1].0 - self.track[0].0) / self.seconds();
        self.against(|from, to| (to - from) / rate)
    }

    fn against(&self, modelled_s: impl Fn(f64, f64) -> f64) -> Vec<f64> {
        let measured = |from, to| self.band_seconds(from, to);
        let of = |&(from, to): &(f64, f64)| (modelled_s(from, to) / measured(from, to)).ln();
        self.bands.iter().map(of).collect()
    }

    /// Measured time between two altitudes, s.
    pub fn band_seconds(&self, from_m: f64, to_m: f64) -> f64 {
        let at = |z| interpolate(&self.track, z).expect("within the track");
        at(to_m) - at(from_m)
    }
}
